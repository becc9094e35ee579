"""Tables measured by other means: what is read, and errors that name row and column."""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import Column, Conditions, FloatArray
from measure_app.errors import TableError
from measure_app.report import results_of_table
from measure_app.table import MAX_BYTES, MAX_ROWS, Table, decode_table, load_table
from measure_app.table_series import series_from_table

PLAIN = "head_m,throw_m\n0.25,0.53\n0.20,0.48\n"


def read(text: str) -> Table:
    return decode_table(text.encode(), "t.csv")


def same_as_plain(table: Table) -> bool:
    assert table.head_m is not None
    assert table.throw_m is not None
    return bool(
        np.allclose(table.head_m, [0.25, 0.20], rtol=1e-15)
        and np.allclose(table.throw_m, [0.53, 0.48], rtol=1e-15)
    )


@pytest.mark.parametrize(
    "text",
    [
        PLAIN,
        "head_cm,throw_mm\n25,530\n20,480\n",
        "throw_cm,head_mm\n53,250\n48,200\n",
        "head_m;throw_m\n0,25;0,53\n0,20;0,48\n",
        "head_m;throw_m\n0.25;0.53\n0.20;0.48\n",
        "head_m\tthrow_m\n0,25\t0.53\n0.2\t4,8e-1\n",
        "\ufeffhead_m,throw_m\r\n0.25,0.53\r\n\r\n,\r\n0.20,0.48\r\n",
        "# bench two\n Head_M , THROW_m \n# first pair\n 0.25 , 0.53 \n\n0.20,+.48\n",
        'sep=;\n"head_m";"throw_m"\n"0,25";0,53\n0,20;0,48\n',
        "head_m,throw_m\r0.25,0.53\r0.20,0.48",
    ],
    ids=range(10),
)
def test_ways_to_write_the_same_table(text):
    assert same_as_plain(read(text))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings(encoding):
    assert same_as_plain(decode_table(("# Höhe über dem Loch\n" + PLAIN).encode(encoding), "t.csv"))


def test_every_quantity_comes_out_in_si_units():
    table = read(
        "time_s,head_mm,head_u_mm,throw_cm,throw_u_mm,drop_cm,drop_u_m,time_u_s\n"
        "0,250,1,53,2,30,0.001,0.1\n1.5,,,48,2,30,0.001,0.1\n"
    )
    for name, wanted in {
        "time_s": [0, 1.5],
        "head_m": [0.25, np.nan],
        "head_u_m": [0.001, np.nan],
        "throw_m": [0.53, 0.48],
        "throw_u_m": [0.002, 0.002],
        "drop_m": [0.3, 0.3],
        "drop_u_m": [0.001, 0.001],
        "time_u_s": [0.1, 0.1],
    }.items():
        np.testing.assert_allclose(getattr(table, name), wanted, rtol=1e-14, err_msg=name)
    assert table.lines == (2, 3)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "t.csv: is empty"),
        ("\n\n# nothing\n", "t.csv: is empty"),
        ("head_m,throw_m\n", "t.csv: has a header and no rows"),
        ("a,b\n1,2\n", "t.csv: line 1: has neither a head nor a throw column, only a, b"),
        ("head_m,head_cm\n1,100\n", "line 1: column head_cm: gives the same quantity as column head_m"),
        ("head_m,head_m\n1,1\n", "line 1: column head_m: gives the same quantity"),
        ("head_inch\n1\n", 'column head_inch: has the unit "inch", which is not known; give it in m or cm or mm'),
        ("time_min,head_m\n1,1\n", 'column time_min: has the unit "min", which is not known; give it in s'),
        ("haed_m,throw_m\n1,1\n", "column haed_m: is not a known column; did you mean head_m?"),
        ("head (cm),throw_m\n1,1\n", "column head (cm): is not a known column; did you mean head_cm?"),
        ("head,throw_m\n1,1\n", "column head: is not a known column; did you mean"),
        ("head_m,throw_u_m\n1,1\n", "column throw_u_m: is the uncertainty of a throw that has no column"),
        ("head_m,throw_m\n0.25,abc\n", 't.csv: line 2: column throw_m: must be a number, got "abc"'),
        ("head_cm,throw_m\n\n25 cm,0.5\n", 'line 3: column head_cm: must be a number, got "25 cm"; write the number alone'),
        ("head_m,throw_m\n0.25,nan\n", 'got "nan"'),
        ("head_m,throw_m\n0.25,1e999\n", "column throw_m: is beyond any bench, got 1e999"),
        ("head_m,throw_m\n0.25,1_0\n", 'got "1_0"'),
        ('head_m,throw_m\n"0,25",0.5\n', "a decimal comma needs semicolons between the columns"),
        ("head_m;throw_m\n1.000,5;0,5\n", "line 2: column head_m: must be a number"),
        ("head_m\n0,25\n", "line 2: has 2 cells where the header has 1; if the commas are decimal marks"),
        ("head_m,throw_m\n0.25\n", "line 2: has 1 cells where the header has 2"),
        ("head_m,throw_m\n-0.25,0.5\n", "line 2: column head_m: cannot be negative; lengths count from the orifice"),
        ("head_m,drop_m\n0.25,0\n", "line 2: column drop_m: must be greater than 0"),
        ("head_m,head_u_m\n0.25,0\n", "line 2: column head_u_m: must be greater than 0, got 0; no reading is exact"),
        ("head_m,head_u_m\n0.25,0.001\n0.2,\n", "line 3: column head_u_m: is empty where its quantity has a value"),
        ("head_m,throw_m\n2500,0.5\n", "line 2: column head_m: is beyond any bench"),
        ("head_m,time_s\n0.25,0\n0.2,0\n", "line 3: column time_s: must be later than in the row before"),
        ("head_m,time_s\n0.25,\n", "line 2: column time_s: is empty"),
        ('head_m,throw_m\n"0.25,0.5\n', "is no CSV"),
        ("head_m,kept\n0.25,maybe\n", 'line 2: column kept: must be yes or no, got "maybe"'),
        ("head_m,throw_m\n0.25,0.5\0\n", "holds zero bytes"),
    ],
)  # fmt: skip
def test_errors_name_row_and_column(text, words):
    with pytest.raises(TableError) as caught:
        read(text)
    said = str(caught.value)
    assert words in said
    assert said.startswith("t.csv")
    assert "\n" not in said


def test_bounds_on_size(tmp_path):
    with pytest.raises(TableError, match="more than 100000 rows"):
        read("head_m\n" + "0.2\n" * (MAX_ROWS + 1))
    with pytest.raises(TableError, match="larger than 32 MiB"):
        decode_table(b"#" * (MAX_BYTES + 1), "t.csv")
    with pytest.raises(TableError, match="not a plain file"):
        load_table(tmp_path)
    with pytest.raises(TableError, match="no such file"):
        load_table(tmp_path / "none.csv")


@given(st.binary(max_size=200))
def test_any_bytes_give_a_table_or_one_line(data):
    try:
        decode_table(data, "t.csv")
    except TableError as error:
        said = str(error)
        assert "\n" not in said
        assert said.isprintable()


@given(st.lists(st.tuples(st.floats(0, 900), st.floats(0, 900)), min_size=1, max_size=10))
def test_numbers_come_back_exactly(pairs):
    table = read("head_m,throw_m\n" + "".join(f"{h!r},{x!r}\n" for h, x in pairs))
    assert table.head_m is not None
    assert table.throw_m is not None
    assert list(zip(table.head_m.tolist(), table.throw_m.tolist(), strict=True)) == pairs


# --- to a series -----------------------------------------------------------------------------------------------------


def test_a_drop_measured_once_is_a_shared_source():
    series, remarks = series_from_table(
        read("head_m,head_u_m,throw_m,throw_u_m\n0.25,0.001,0.53,0.002\n0.2,0.001,0.48,0.002\n"), 0.3, 0.0012
    )
    assert series.sources == ("drop",)
    assert series.drop is not None
    assert series.drop.values.tolist() == [0.3, 0.3]
    assert series.drop.own_u.tolist() == [0.0, 0.0]
    assert series.drop.shared.tolist() == [[0.0012], [0.0012]]
    assert series.head is not None
    assert series.head.own_u.tolist() == [0.001, 0.001]
    assert not series.head.shared.any()
    assert remarks == ()


def test_assumed_uncertainties_are_said():
    series, remarks = series_from_table(read(PLAIN), 0.3)
    assert series.head is not None
    assert series.throw is not None
    assert series.head.own_u.tolist() == [0.001, 0.001]
    assert series.throw.own_u.tolist() == [0.002, 0.002]
    assert [remark.about for remark in remarks] == [
        "head uncertainty",
        "throw uncertainty",
        "drop uncertainty",
    ]
    assert "1 mm (standard) is assumed" in remarks[0].says


def test_a_drop_in_each_row_has_errors_of_its_own():
    table = read("head_m,throw_m,drop_mm\n0.25,0.53,300\n0.2,0.48,290\n")
    series, _ = series_from_table(table, drop_u_m=0.0005)
    assert series.sources == ()
    assert series.drop is not None
    np.testing.assert_allclose(series.drop.values, [0.3, 0.29])
    assert series.drop.own_u.tolist() == [0.0005, 0.0005]
    with pytest.raises(TableError, match="the drop is given both"):
        series_from_table(table, 0.3, 0.001)


def test_rows_left_out_and_rows_without_a_value_are_not_kept():
    series, remarks = series_from_table(
        read("head_m,throw_m,kept,who\n0.25,,yes,ann\n,,yes,ann\n0.2,0.4,no,bo\n,0.3,yes,bo\n"), 0.3, 0.001
    )
    assert series.kept.tolist() == [True, False, False, True]
    assert remarks[-1].says == "Columns that were not used: who."


def test_a_row_left_out_may_hold_anything_finite():
    series, _ = series_from_table(read("head_m,kept\n-0.01,no\n0.2,yes\n"))
    assert series.kept.tolist() == [False, True]
    with pytest.raises(TableError, match="line 3: column head_m: cannot be negative"):
        read("head_m,kept\n-0.01,no\n-0.2,yes\n")


def test_missing_columns_stay_missing():
    series, _ = series_from_table(read("time_s,head_m\n0,0.25\n1,0.24\n"))
    assert series.throw is None
    assert series.drop is None
    assert series.time_s is not None


def test_uncertainties_are_reckoned_for_all_rows_at_once(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    # Reckoned anew for every row they would take as long as rows squared: minutes for the largest table.
    asked = 0
    reckon = Column.u.fget
    assert reckon is not None

    def counting(column: Column) -> FloatArray:
        nonlocal asked
        asked += 1
        return reckon(column)

    monkeypatch.setattr(Column, "u", property(counting))
    counts = []
    for rows in (20, 200):
        heads = np.linspace(0.2, 0.05, rows)
        lines = [f"{head:.6f},{0.6 * math.sqrt(head):.6f}" for head in heads]
        place = tmp_path / f"{rows}.csv"
        place.write_text("\n".join(["head_m,throw_m", *lines]), encoding="utf-8")
        asked = 0
        results_of_table(load_table(place), Conditions(), 0.4, 0.001)
        counts.append(asked)
    assert counts[1] < counts[0] + 20
