"""Plans, comparisons and a class are said by the catalogue as a report is."""

from __future__ import annotations

import io
import re

import openpyxl
import pytest

from measure_app.comparing import compare
from measure_app.comparing import told as compared
from measure_app.comparing.workbook import comparison_xlsx
from measure_app.planning import Asked, forecast, plan_of
from measure_app.planning import told as planned
from tests.bracketed import bare
from tests.measure_app.comparing.test_comparing import repeats

# Names of files, of coefficients, and what the test itself calls its runs.
NOT_SAID = re.compile(
    r"rule along the throw|upright rule|[\w/-]+\.(?:json|csv|png)|figures/|run \d|\bCv|\bCd|\bRe\b|\bWe\b|τ"
)


def a_plan() -> str:
    plan = plan_of(Asked(0.25, 0.004, 0.4, bore_m=0.1, tray_m=0.6))
    return planned(*forecast(plan, (0.004, 0.005), (0.3, 0.4)))


def a_comparison() -> str:
    return compared(compare(repeats(0.960, 0.962, 0.961, 0.99)), "there", ("comparison.json",))


@pytest.mark.usefixtures("bracketed")
@pytest.mark.parametrize("make", [a_plan, a_comparison])
def test_all_is_said(make) -> None:
    assert bare(" ".join(make().split()), NOT_SAID) == []


@pytest.mark.usefixtures("german")
def test_a_plan_and_a_comparison_in_german() -> None:
    plan = a_plan()
    assert "Was der Strahl tun wird" in plan
    assert re.search(r"\d,\d+ m/s", plan)
    assert "Versuche verglichen" in a_comparison()


@pytest.mark.usefixtures("german")
def test_the_workbook_of_a_comparison_names_findings_in_german() -> None:
    comparison = compare(repeats(0.960, 0.962, 0.961, 0.99))
    book = openpyxl.load_workbook(io.BytesIO(comparison_xlsx(comparison)))
    words = {cell.value for sheet in book for row in sheet.iter_rows() for cell in row if cell.value}
    assert {"Geschwindigkeitszahl", "Lauf", "Gewicht", "Wert"} <= words
    assert not {"speed coefficient", "run", "weight", "value"} & words
