"""Films written once for all tests of this folder."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from tests.measure_app.clip.films import FILMS, truth_of


@pytest.fixture(scope="session")
def film_at(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Path of a film by its name, written on first use."""
    folder = tmp_path_factory.mktemp("films")
    return lambda name: FILMS[name].write(folder)


@pytest.fixture(scope="session")
def truth(film_at: Callable[[str], Path]) -> Callable[[str], list[tuple[int | None, int, int]]]:
    """Tell what a plain decode of a film gives, by its name."""

    @cache
    def known(name: str) -> list[tuple[int | None, int, int]]:
        return truth_of(film_at(name))

    return known
