"""Signs of shown numbers."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from measure_app.gui.signs import well_signed


@pytest.mark.parametrize(
    ("plain", "shown"),
    [
        ("-0", "0"),
        ("+0.00", "0.00"),
        ("\u22120,0° ± 1,8°", "0,0° ± 1,8°"),
        ("-0.5", "\u22120.5"),
        ("+0.05", "+0.05"),
        ("-0.005", "\u22120.005"),
        ("-10", "\u221210"),
        ("1e-05", "1e\u221205"),
        ("\u22120.5° sideways, -0.0° up", "\u22120.5° sideways, 0.0° up"),
    ],
)
def test_a_zero_has_no_sign_and_others_keep_theirs(plain: str, shown: str) -> None:
    assert well_signed(plain) == shown


@given(st.floats(-1e6, 1e6), st.integers(0, 4))
def test_only_zeros_lose_their_sign(value: float, decimals: int) -> None:
    shown = well_signed(f"{value:+.{decimals}f}")
    rounded = float(f"{value:.{decimals}f}")
    assert shown[0] == ("+" if rounded > 0 else "\u2212" if rounded < 0 else "0")
    assert float(shown.replace("\u2212", "-")) == rounded
