"""Results made from a small table, and from the bench film once for all tests."""

from pathlib import Path

import numpy as np
import pytest

from analysis import Conditions
from measure_app.clip import open_clip
from measure_app.outcome import Outcome, measure
from measure_app.report import Results, results_of_table
from measure_app.runfile import load_run
from measure_app.table import decode_table

BENCH = Path(__file__).parents[3] / "sample_clips" / "bench" / "bench.run.json"


@pytest.fixture(scope="session")
def table_results() -> Results:
    """Twelve pairs that follow Torricelli's law with Cv 0.97, with a little scatter from a fixed seed."""
    rng = np.random.default_rng(20)
    times = np.arange(12) * 1.5
    heads = (np.sqrt(0.2) - 0.012 * times) ** 2
    throws = 2 * 0.97 * np.sqrt(heads * 0.3) + rng.normal(0, 0.001, 12)
    rows = "".join(
        f"{t!r},{h!r},{x!r}\n"
        for t, h, x in zip(times.tolist(), heads.tolist(), throws.tolist(), strict=True)
    )
    table = decode_table(f"time_s,head_m,throw_m\n{rows}30,,\n".encode(), "t.csv")
    return results_of_table(table, Conditions(gravity_m_s2=9.81), 0.3, 0.001)


@pytest.fixture(scope="session")
def bench_outcome() -> Outcome:
    """Measure the first four seconds of the bench film."""
    import msgspec

    run = load_run(BENCH)
    run = msgspec.structs.replace(run, clip=msgspec.structs.replace(run.clip, stop_frame=60))
    with open_clip(BENCH.with_name("bench.mp4")) as clip:
        return measure(run, clip)
