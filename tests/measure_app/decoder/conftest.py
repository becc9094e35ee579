"""A small film and a decoder that is begun once for all tests of this folder."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from measure_app.clip import write_clip
from measure_app.decoder import Decoder
from tests.measure_app.decoder.falling import command

COUNT = 40
GOP = 10


def _pictures(bit_depth: int) -> Iterator[np.ndarray]:
    rng = np.random.default_rng(3)
    ground = rng.integers(40, 200, (48, 80, 3)).astype(np.float64)
    for i in range(COUNT):
        picture = np.roll(ground, i, axis=1)
        if bit_depth == 10:
            yield (4 * picture[..., 0]).astype(np.uint16)
        else:
            yield picture.astype(np.uint8)


@pytest.fixture(scope="session")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Forty coloured frames; decoding can begin at every tenth."""
    path = tmp_path_factory.mktemp("decoded") / "small film.mp4"
    return write_clip(path, _pictures(8), base=Fraction(1, 30), gop=GOP, crf=20)


@pytest.fixture(scope="session")
def odd_film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten bits, turned, mirrored and stretched."""
    path = tmp_path_factory.mktemp("decoded") / "odd.mp4"
    return write_clip(
        path,
        _pictures(10),
        bit_depth=10,
        rotation=90,
        sample_aspect=Fraction(4, 3),
        gop=GOP,
    )


@pytest.fixture(scope="module")
def decoder() -> Iterator[Decoder]:
    with_none = Decoder()
    yield with_none
    with_none.close()


@pytest.fixture
def falling() -> Iterator[Callable[..., Decoder]]:
    """Decoders that end where they are told to."""
    made: list[Decoder] = []

    def make(patience_s: float = 60.0, **faults: object) -> Decoder:
        made.append(Decoder(command(**faults), patience_s))
        return made[-1]

    yield make
    for each in made:
        each.close()
