"""Keys alone: whoever has no mouse marks what is seen, once, and never loses the keyboard."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence
from PySide6.QtWidgets import QMenu

from calibration import Measures, Pixel
from measure_app.gui.hand import Hand
from measure_app.gui.keys import KEYS
from measure_app.gui.main_window import MainWindow
from measure_app.gui.marks import Handle, Kind, place_of
from measure_app.gui.panels.steps import Step
from measure_app.gui.theme import DARK, LIGHT, style_sheet
from measure_app.gui.tools import Tool
from measure_app.words import use_language
from tests.gui.conftest import Driver

SHIFT = Qt.KeyboardModifier.ShiftModifier


def _cross_is_seen(driver: Driver) -> bool:
    cross = driver.view._cross
    return cross is not None and driver.view.viewport().rect().contains(
        driver.view.map.view_at(cross).toPoint()
    )


def _mark_here(driver: Driver, value: str) -> None:
    driver.key(Qt.Key.Key_Return)
    driver.type(value)


def test_enter_takes_a_value_and_marks_nothing_more(driver: Driver) -> None:
    driver.open_bench()
    hand: Hand = driver.window.bench.hand
    driver.window.bench.use_tool(Tool.GRADUATION, measures=Measures.BOTH)
    driver.key(Qt.Key.Key_Left, SHIFT)
    _mark_here(driver, "100")
    assert driver.window.focusWidget() is driver.view
    assert not driver.window.stage.entry.isVisible()
    assert (hand.draft.graduation, len(hand.draft.pending), hand.selected) == (None, 1, None)


def test_an_engraved_value_that_is_no_number_is_refused_in_words(driver: Driver) -> None:
    driver.open_bench()
    entry = driver.window.stage.entry
    driver.window.bench.use_tool(Tool.GRADUATION, measures=Measures.BOTH)
    driver.key(Qt.Key.Key_Left, SHIFT)
    _mark_here(driver, "hundred")
    assert entry.isVisible()
    assert "A number in millimetres is wanted" in entry._error.text()
    assert driver.view.viewport().rect().contains(entry.geometry())
    assert entry._error.height() >= entry._error.heightForWidth(entry._error.width())
    driver.window.focusWidget().selectAll()
    driver.type("100")
    assert not entry.isVisible()
    driver.key(Qt.Key.Key_Down, SHIFT)
    driver.key(Qt.Key.Key_Return)
    assert entry.isVisible()
    assert not entry._error.isVisible()


def test_the_cross_stays_where_it_is_when_a_rule_is_made_of_its_marks(driver: Driver) -> None:
    driver.open_bench()
    document, hand = driver.window.bench.document, driver.window.bench.hand
    driver.window.bench.use_tool(Tool.GRADUATION, measures=Measures.BOTH)
    for value in ("100", "90", "80"):
        for _ in range(4):
            driver.key(Qt.Key.Key_Down, SHIFT)
        _mark_here(driver, value)
    rule = document.run.rules[-1]
    assert [round(each.value_m, 4) for each in rule.graduations] == [0.08, 0.09, 0.1]
    lower, middle, upper = (each.px for each in rule.graduations)
    assert (lower.y - middle.y, middle.y - upper.y) == pytest.approx((40, 40))
    assert hand.selected is None


def test_escape_drops_a_value_and_gives_the_keyboard_back_to_the_frame(driver: Driver) -> None:
    driver.open_bench()
    driver.window.bench.use_tool(Tool.GRADUATION, measures=Measures.BOTH)
    driver.key(Qt.Key.Key_Left, SHIFT)
    driver.key(Qt.Key.Key_Return)
    assert driver.window.stage.entry.isVisible()
    driver.key(Qt.Key.Key_Escape)
    assert not driver.window.stage.entry.isVisible()
    assert driver.window.focusWidget() is driver.view
    assert driver.window.bench.hand.draft.graduation is None


def test_the_picture_follows_the_cross_to_the_frames_edge_and_no_farther(driver: Driver) -> None:
    driver.open_bench()
    driver.view.zoom(4.0)
    driver.window.bench.use_tool(Tool.ORIFICE)
    for key in (Qt.Key.Key_Left, Qt.Key.Key_Up):
        for _ in range(150):
            driver.key(key, SHIFT)
            assert _cross_is_seen(driver)
    cross = driver.view._cross
    assert cross is not None
    assert (cross.x, cross.y) == (0, 0)


def test_keys_magnify_about_the_cross(driver: Driver) -> None:
    driver.open_bench()
    driver.window.bench.use_tool(Tool.ORIFICE)
    for _ in range(20):
        driver.key(Qt.Key.Key_Left, SHIFT)
    before = driver.view.map.view_at(driver.view._cross)
    driver.view.zoom(1.25)
    after = driver.view.map.view_at(driver.view._cross)
    assert (after.x(), after.y()) == pytest.approx((before.x(), before.y()))


def test_a_mark_that_keys_choose_comes_into_sight(driver: Driver) -> None:
    driver.open_bench()
    run = driver.window.bench.document.run
    driver.view.zoom(8.0)
    for rule, each in enumerate(run.rules):
        for i in (0, len(each.graduations) - 1):
            handle = Handle(Kind.GRADUATION, rule, i)
            driver.window.bench.hand.select(handle)
            place = driver.view.map.view_at(place_of(run, handle)).toPoint()
            assert driver.view.viewport().rect().contains(place)


def _menus(menu: QMenu) -> Iterator[QMenu]:
    yield menu
    actions = menu.actions()
    for action in actions:
        inner = action.menu()
        if isinstance(inner, QMenu):
            yield from _menus(inner)


@pytest.mark.parametrize("language", ["en", "de"])
def test_no_letter_in_a_menu_stands_for_two_things(
    language: str, make_window: Callable[[], MainWindow]
) -> None:
    use_language(language)
    try:
        window = make_window()
    finally:
        use_language("en")
    bar = window.menuBar()
    # PySide before 6.11 lets go of a menu together with the action that gave it.
    actions = bar.actions()
    tops = [action.menu() for action in actions]
    groups = [[action.text() for action in bar.actions()]]
    groups += [
        [a.text() for a in inner.actions() if not a.isSeparator()]
        for top in tops
        if isinstance(top, QMenu)
        for inner in _menus(top)
    ]
    assert len(groups) >= 6
    for texts in groups:
        letters = Counter(QKeySequence.mnemonic(text).toString() for text in texts)
        letters.pop("", None)
        assert {letter: n for letter, n in letters.items() if n > 1} == {}, texts


def test_the_list_of_keys_names_every_key_of_the_menus(window: MainWindow) -> None:
    listed = {
        key
        for each in KEYS
        for part in each.keys.replace(" … ", ", ").replace(" and ", ", ").replace(" or ", ", ").split(", ")
        for key in (part.replace("\u2212", "-"),)
    } | {f"Alt+{number}" for number in range(2, 6)}
    tops = window.menuBar().actions()
    menus = [top.menu() for top in tops]
    actions = [action for menu in menus for action in menu.actions()]
    keys = {each.toString() for a in actions for each in a.shortcuts()[:1]}
    assert len(keys) > 25
    assert keys - listed == set()


def test_the_button_that_enter_presses_does_not_look_as_if_it_had_the_keyboard() -> None:
    for scheme in (LIGHT, DARK):
        rules = [each.split("{") for each in style_sheet(scheme).split("}")]
        looks = {name.strip(): " ".join(look.split()) for name, look in (r for r in rules if len(r) == 2)}
        (focus,) = [look for name, look in looks.items() if name.startswith("QPushButton:focus")]
        assert looks["QPushButton:default"] != focus
        assert focus.split(";")[0] not in looks["QPushButton:default"]


def test_the_frame_shows_at_once_that_the_keyboard_came(driver: Driver) -> None:
    driver.open_bench()
    window = driver.window
    with driver.qtbot.waitActive(window):
        window.activateWindow()
    window.rail.rows[0].setFocus()
    driver.qtbot.wait(20)
    view = driver.view
    before = view.viewport().grab().toImage().pixelColor(1, 100).name()
    painted: list[bool] = []
    paint = view.paintEvent
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(view, "paintEvent", lambda event: (painted.append(view.hasFocus()), paint(event)))
        view.setFocus(Qt.FocusReason.TabFocusReason)
        driver.qtbot.waitUntil(lambda: True in painted, timeout=5_000)
    assert view.viewport().grab().toImage().pixelColor(1, 100).name() != before


def test_a_reading_is_let_go_when_its_frame_is_left(driver: Driver) -> None:
    driver.open_bench()
    document, hand = driver.window.bench.document, driver.window.bench.hand
    line = document.run.gauge_line
    place = Pixel((line.from_px.x + line.to_px.x) / 2, (line.from_px.y + line.to_px.y) / 2)
    driver.window.bench.use_tool(Tool.SURFACE, advance=15)
    driver.press(place)
    driver.shows_frame(15)
    document.go_to(0)
    driver.shows_frame(0)
    driver.press(place)  # once more: it is chosen, marked again, and the film moves on
    driver.shows_frame(15)
    assert hand.selected is None
    before = document.run
    driver.key(Qt.Key.Key_Up)
    assert document.run == before
    hand.select(Handle(Kind.ORIFICE))
    document.go_to(30)
    assert hand.selected == Handle(Kind.ORIFICE)


def test_a_notice_put_away_by_key_leaves_the_keyboard_at_the_frame(driver: Driver) -> None:
    driver.open_bench()
    notice, view = driver.window.stage.notice, driver.view
    with driver.qtbot.waitActive(driver.window):
        driver.window.activateWindow()
    notice.say("Something.")
    notice._away.setFocus()
    driver.key(Qt.Key.Key_Return)
    assert notice.isHidden()
    assert driver.window.focusWidget() is view
    notice.say("Something else.")
    driver.window.rail.rows[1].setFocus()
    notice.clear()
    assert driver.window.focusWidget() is driver.window.rail.rows[1]


def test_the_loupe_goes_with_the_cross(driver: Driver) -> None:
    driver.open_bench()
    with driver.qtbot.waitActive(driver.window):
        driver.window.activateWindow()
    driver.window.bench.use_tool(Tool.ORIFICE)
    driver.key(Qt.Key.Key_Left)
    assert driver.view.loupe.isVisible()
    driver.window.rail.rows[0].setFocus()
    assert not driver.view.loupe.isVisible()
    driver.view.setFocus()
    driver.key(Qt.Key.Key_Left)
    driver.window.bench.use_tool(Tool.GAUGE_LINE)
    assert not driver.view.loupe.isVisible()


def test_the_keyboard_goes_along_the_steps_but_does_not_leave_its_work(driver: Driver) -> None:
    driver.open_bench()
    window = driver.window
    with driver.qtbot.waitActive(window):
        window.activateWindow()
    window.rail.rows[0].setFocus()
    window.go_to_step(Step.DATUM)
    assert window.focusWidget() is window.rail.rows[2]
    driver.view.setFocus()
    window.go_to_step(Step.READINGS)
    assert window.focusWidget() is driver.view
