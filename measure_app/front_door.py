"""Front doors of packages whose names come when they are first asked for."""

import importlib
import sys
from collections.abc import Callable, Mapping


def names_later(package: str, homes: Mapping[str, str]) -> Callable[[str], object]:
    """Make a package's ``__getattr__``: a name is fetched from its module once, and stays the package's.

    Parameters
    ----------
    package : str
        Its ``__name__``.
    homes : mapping
        The module of each name, within the package.
    """

    def fetched(name: str) -> object:
        if name not in homes:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        value = getattr(importlib.import_module(f"{package}.{homes[name]}"), name)
        setattr(sys.modules[package], name, value)
        return value

    return fetched
