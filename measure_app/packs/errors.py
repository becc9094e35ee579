"""What can be wrong with a pack."""

from __future__ import annotations

from measure_app.errors import AppError


class PackError(AppError):
    """A pack cannot be made or opened; `where` names the file and the entry."""
