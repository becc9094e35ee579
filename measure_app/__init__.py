"""Clips, runs, finding, outcome, reports and the command line."""

from measure_app._version import __version__

__all__ = ["__version__"]
