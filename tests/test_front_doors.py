"""Each package shows its public names at one front door."""

from __future__ import annotations

import importlib
import inspect

import pytest


@pytest.mark.parametrize(
    "name",
    [
        "calibration",
        "analysis",
        "measure_app",
        "measure_app.cli",
        "measure_app.clip",
        "measure_app.decoder",
        "measure_app.finders",
        "measure_app.planning",
        "measure_app.report",
    ],
)
def test_front_door_lists_every_public_name_sorted(name: str) -> None:
    package = importlib.import_module(name)
    names = list(package.__all__)
    assert names == sorted(set(names))
    for each in names:
        assert getattr(package, each) is not None
    public = {n for n, v in vars(package).items() if not n.startswith("_") and not inspect.ismodule(v)}
    # `annotations` is the future import, `TYPE_CHECKING` and `Any` serve annotations only.
    assert public - {"annotations", "TYPE_CHECKING", "Any"} <= set(names)
