"""What each step still lacks."""

from __future__ import annotations

import ast
import inspect

from msgspec.structs import replace
from stand import bench

from calibration import Measures, Pixel
from measure_app.gui.panels import steps
from measure_app.gui.panels.steps import Step, StepState, step_states
from measure_app.outcome import outcome_of
from measure_app.run import By, ClipPart, Reading, Run, Spot


def states(*args: object) -> dict[Step, StepState]:
    return {state.step: state for state in step_states(*args)}  # type: ignore[arg-type]


def test_an_empty_window_lacks_everything_and_says_so() -> None:
    told = states(None, None, None)
    assert list(told) == list(Step)
    assert not any(state.done for state in told.values())
    assert all(state.lacks and state.unlocks for state in told.values())
    assert told[Step.FILM].lacks == ("a film",)


def test_done_means_that_nothing_is_lacking() -> None:
    run, info, _, outcome = bench()
    for args in ((None, None, None), (run, None, None), (run, info, None), (outcome.run, info, outcome)):
        assert all(state.done == (not state.lacks) for state in states(*args).values())


def test_the_bench_run_is_set_up_and_lacks_readings_until_it_is_measured() -> None:
    run, info, _, outcome = bench()
    before = states(run, info, None)
    assert [s for s in Step if before[s].done] == [Step.FILM, Step.RULES, Step.DATUM]
    assert before[Step.FINDINGS].lacks == ("the step Readings",)
    after = states(outcome.run, info, outcome)
    assert after[Step.READINGS].done
    assert after[Step.FINDINGS].done
    assert after[Step.HAND_IN].lacks == ("the observer's name",)


def test_a_film_that_was_moved_is_said_to_be_missing() -> None:
    run, _, _, _ = bench()
    assert "find it again" in states(run, None, None)[Step.FILM].lacks[0]


def test_a_part_of_one_frame_is_no_part() -> None:
    run, info, _, _ = bench()
    short = replace(run, clip=replace(run.clip, start_frame=299))
    assert states(short, info, None)[Step.FILM].lacks == ("a part of two frames or more",)


def test_rules_name_the_direction_that_no_rule_measures() -> None:
    run, info, _, _ = bench()
    upright = replace(run, rules=run.rules[:1])
    assert states(upright, info, None)[Step.RULES].lacks == ("a rule for throws",)
    square = replace(run, rules=(replace(run.rules[0], measures=Measures.BOTH),))
    assert states(square, info, None)[Step.RULES].done
    assert states(replace(run, rules=run.rules[1:]), info, None)[Step.RULES].lacks == ("a rule for heads",)


def test_the_drop_is_lacking_only_where_the_frame_cannot_give_it() -> None:
    run, info, _, _ = bench()
    read = replace(run, drop=None)
    assert states(read, info, None)[Step.DATUM].done
    # As the panel says: a landing line far past the rule's last graduation gives no drop.
    upright = replace(read, rules=run.rules[:1])
    far = outcome_of(upright, bench()[2].seconds(), info)
    assert any(far.calibration.drop().reasons)
    assert states(upright, info, far)[Step.DATUM].lacks == ("the drop",)
    # With a rule that lies along the throws, it does.
    near = outcome_of(read, bench()[2].seconds(), info)
    assert states(read, info, near)[Step.DATUM].lacks == ()
    none = replace(run, drop=None, landing_line=None)
    assert set(states(none, info, None)[Step.DATUM].lacks) == {"the landing line", "the drop"}
    bare = states(replace(run, orifice=None), info, None)[Step.DATUM]
    assert bare.lacks == ("the orifice's centre",)


def test_datum_says_what_more_inputs_would_open() -> None:
    run, info, _, _ = bench()
    no_area = replace(run, conditions=replace(run.conditions, container_area_m2=None))
    assert "discharge coefficient" in states(no_area, info, None)[Step.DATUM].unlocks


def test_readings_are_counted_in_the_part_measured_only() -> None:
    spot = Spot(Pixel(1.0, 2.0), 0.5, By.HAND)
    readings = tuple(Reading(frame, spot, spot) for frame in (0, 1, 10, 11, 12))
    run = Run(clip=ClipPart(path="a.mp4", start_frame=10), readings=readings)
    assert steps.readings_counted(run) == (3, 3, 3)
    ended = replace(run, clip=replace(run.clip, stop_frame=12))  # one past the last, as in a slice
    assert steps.readings_counted(ended) == (2, 2, 2)
    assert states(run, None, None)[Step.READINGS].done
    two = replace(run, readings=readings[:4])
    assert states(two, None, None)[Step.READINGS].lacks == ("1 more frame with surface and landing",)


def test_steps_know_no_window() -> None:
    tree = ast.parse(inspect.getsource(steps))
    names = [n.module or "" for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)]
    assert not [name for name in names if name.startswith(("PySide6", "measure_app.gui"))]


def test_depths_that_wait_for_the_cameras_distance_are_counted_and_block_nothing() -> None:
    run, info, _, outcome = bench()
    assert states(run, info, outcome)[Step.DATUM].waits == ""
    afar = replace(run, camera=replace(run.camera, distance_m=None, distance_u_m=None))
    level = replace(afar.gauge_line, behind_m=-0.03)
    flat = [replace(rule, behind_m=0.0) for rule in afar.rules]
    one = replace(afar, gauge_line=level, rules=tuple(flat))
    assert states(one, info, outcome)[Step.DATUM].waits == "one depth waits for the camera's distance"
    both = replace(one, rules=(replace(flat[0], behind_m=0.01), *flat[1:]))
    told = states(both, info, outcome)[Step.DATUM]
    assert told.waits == "2 depths wait for the camera's distance"
    assert told.done
    assert "depths before and behind the jet" in told.unlocks
    none = replace(one, gauge_line=replace(level, behind_m=0.0))
    assert states(none, info, outcome)[Step.DATUM].waits == ""
