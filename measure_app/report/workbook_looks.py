"""How the cells of a workbook look."""

from __future__ import annotations

from typing import Any

_BASE: dict[str, Any] = {"font_name": "Calibri", "font_size": 11, "valign": "top"}
_BOX: dict[str, Any] = {"border": 7, "border_color": "#8A6D00", "bg_color": "#FFF9DB"}
_HEAD: dict[str, Any] = {
    "bold": True, "bottom": 2, "bg_color": "#E9EDF2", "text_wrap": True, "valign": "vcenter",
}  # fmt: skip
_ASK: dict[str, Any] = {"border": 4, "border_color": "#20242B", "bg_color": "#EAF3FB"}
_NUMBERS = ("0", "0.0", "0.00", "0.000", "0.0000", "0.00000", "0.000000", "0.000E+00")

LOOKS: dict[str, dict[str, Any]] = {
    "title": {**_BASE, "bold": True, "font_size": 15},
    "about": {**_BASE, "italic": True, "font_color": "#50565F"},
    "header": {**_BASE, **_HEAD, "align": "left", "indent": 1},
    "header of numbers": {**_BASE, **_HEAD, "align": "right"},
    "text": {**_BASE, "align": "left", "indent": 1},
    "wrapped": {**_BASE, "text_wrap": True, "align": "left", "indent": 1},
    "strong": {**_BASE, "bold": True, "text_wrap": True, "align": "left", "indent": 1},
    "quiet": {**_BASE, "font_color": "#50565F", "align": "left", "indent": 1},
    "mono": {**_BASE, "font_name": "Consolas", "align": "left", "indent": 1},
    "formula": {**_BASE, "font_name": "Consolas", "text_wrap": True, "align": "left", "indent": 1},
    "input": {**_BASE, **_BOX, "num_format": "General"},
    **{shows: {**_BASE, "num_format": shows} for shows in _NUMBERS},
    **{f"box {shows}": {**_BASE, **_BOX, "num_format": shows} for shows in _NUMBERS},
    **{f"ask {shows}": {**_BASE, **_ASK, "num_format": shows} for shows in _NUMBERS},
}  # fmt: skip
"""Cell formats by name. A box is a value that may be changed, a dotted cell one that is to be filled in; the
border says so as well as the colour."""
