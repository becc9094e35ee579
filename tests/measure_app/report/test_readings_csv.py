"""readings.csv: the contract's columns, RFC 4180, nothing that a spreadsheet would run."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration import Pixel
from measure_app.outcome import ReadingRow
from measure_app.report.readings_csv import number, readings_csv, text, uncertainty
from measure_app.run import By, Spot

HEADER = (
    "frame,time_s,surface_x_px,surface_y_px,surface_u_px,surface_by,landing_x_px,landing_y_px,landing_u_px,landing_by,"
    "head_m,head_u_m,throw_m,throw_u_m,speed_m_s,speed_u_m_s,kept,reason"
)  # as in the contract, letter by letter
FULL = ReadingRow(
    frame=7, time_s=7 / 30, surface=Spot(Pixel(455.0, 160.31234), 0.1, By.FOUND), landing=Spot(Pixel(1011.2, 690), 1.5, By.HAND),
    surface_u_px=0.156, landing_u_px=1.5, head_m=0.1234567, head_u_m=0.00045678, throw_m=0.4, throw_u_m=0.002,
    speed_m_s=1.9, speed_u_m_s=0.01, kept=True, reason="",
)  # fmt: skip
EMPTY = ReadingRow(
    frame=8, time_s=None, surface=None, landing=None, surface_u_px=None, landing_u_px=None, head_m=None, head_u_m=None,
    throw_m=None, throw_u_m=None, speed_m_s=None, speed_u_m_s=None, kept=False, reason='=1+1, "quoted"',
)  # fmt: skip


def test_header_and_rows_are_rfc_4180():
    lines = readings_csv([FULL, EMPTY]).decode("utf-8").split("\r\n")
    assert lines[0] == HEADER
    assert (
        lines[1]
        == "7,0.233333333,455,160.3123,0.156,found,1011.2,690,1.5,hand,0.1234567,0.0004568,0.4,0.002,1.9,0.01,yes,"
    )
    assert lines[2] == """8,,,,,,,,,,,,,,,,no,"'=1+1, ""quoted\"\"\""""
    assert lines[3:] == [""]


def test_every_row_has_all_columns_when_read_back():
    rows = list(csv.reader(io.StringIO(readings_csv([FULL, EMPTY]).decode(), newline=""), strict=True))
    assert {len(row) for row in rows} == {18}


@pytest.mark.parametrize(
    ("words", "written"),
    [
        ("=HYPERLINK(1)", "'=HYPERLINK(1)"),
        ("+1", "'+1"),
        ("-1", "'-1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1", "'=1"),
        ("\r=1", "'=1"),
        (" =1", "'=1"),
        ("\x00\u200b=1", "'=1"),
        ("＝1", "'＝1"),
        ("surface: covered", "surface: covered"),
        ("two\nlines", "two lines"),
        ("", ""),
    ],
)
def test_text_is_never_a_formula(words, written):
    assert text(words) == written


@given(st.text(st.sampled_from(" \t\r\n\x00\x1b\u2009\u200b=+-@＝＋－＠a1"), max_size=8))
def test_no_text_begins_as_a_formula_does_whatever_stands_before_it(words):
    cell = text(words)
    assert not cell.lstrip().startswith(("=", "+", "-", "@", "＝", "＋", "－", "＠"))
    assert cell == "" or cell.isprintable()


def test_numbers_stay_numbers_with_enough_digits():
    assert number(-0.0123456, 7) == "-0.0123456"
    assert number(-1e-12, 7) == "0"
    assert number(100.0, 4) == "100"
    assert number(float("nan"), 4) == number(None, 4) == ""
    assert uncertainty(0.000123456) == "0.0001235"
    assert uncertainty(float("inf")) == ""


def test_numbers_of_the_film_come_back_within_their_last_place(bench_outcome):
    rows = list(csv.DictReader(io.StringIO(readings_csv(bench_outcome.rows).decode(), newline="")))
    assert len(rows) == 60
    for row, wanted in zip(rows, bench_outcome.rows, strict=True):
        assert int(row["frame"]) == wanted.frame
        assert float(row["time_s"]) == pytest.approx(wanted.time_s, abs=1e-9)
        assert float(row["head_m"]) == pytest.approx(wanted.head_m, abs=1e-7)
        assert float(row["throw_m"]) == pytest.approx(wanted.throw_m, abs=1e-7)
        assert row["kept"] in ("yes", "no")
