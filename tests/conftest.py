"""What all tests share."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest

from measure_app.words import use_language, use_speaker

# Before Qt is imported anywhere: the tests need no screen.
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
# What is said is asserted in English, whatever the machine speaks.
os.environ["LANGUAGE"] = "en"


@pytest.fixture
def german() -> Iterator[None]:
    """Everything is said in German."""
    use_language("de")
    yield
    use_language("en")


@pytest.fixture
def bracketed() -> Iterator[None]:
    """Everything that the catalogue knows is said between brackets."""
    from tests.bracketed import Bracketed

    use_speaker(Bracketed())
    yield
    use_language("en")
