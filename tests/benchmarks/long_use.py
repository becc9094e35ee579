"""Long use of the real window: memory, handles, threads, and whether any gesture is lost.

    xvfb-run -a python -m tests.benchmarks.long_use [--minutes 120] [--pause 0.15] [--seed 1] [--round 10]

Opens the bench run in a real window and works on it as a patient person would, drawn at random: stepping by keys,
playing, pressing on the frame to read surface and landing, dragging a mark, removing, undoing and redoing, going
through the steps, magnifying, reading blind, saving, and in every round finding the rest and writing the results.
After each gesture the run and the frame are held against what they must be now; a gesture without its effect is
lost. Each round ends with the run opened anew, so that the rounds can be compared: what then still grows, leaks.

Printed at the end of each round: memory that the window alone has written, that its decoders have, and what
they share, MiB, the code of libraries left out; of the window also what the C library has given out, which
tells a leak from memory that was freed but is not in one piece, and what Python's own store for small objects
holds, of which the C library knows nothing; open handles, threads, widgets, gestures made and lost. While
someone steps about in a film its decoder keeps up to 512 MiB of frames besides; they go when the film is
opened anew.

Growth is the median slope between any two rounds of the last half (Theil 1950, Sen 1968), MiB an hour: one odd round
does not move it. Exit status 1 where a gesture was lost, or handles or memory grew over the last half of the rounds.
"""

from __future__ import annotations

import argparse
import ctypes
import gc
import itertools
import os
import random
import re
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

BENCH = Path(__file__).parent.parent.parent / "sample_clips" / "bench"
_PATIENCE_S = 20.0
_LONG_S = 600.0
"""For what takes seconds of work: on a machine that does much besides, minutes are no loss."""
_LEAK_MIB_PER_HOUR = 12.0
"""Growth that counts as a leak; a round differs from the next by a few MiB of the allocator's mood."""


@dataclass(frozen=True, slots=True)
class Level:
    """What the window holds at the end of a round."""

    minute: float
    window_mib: float
    """Written by the window and its alone; code of libraries is no part of it."""
    given_mib: float
    """Of it given out by the C library and not given back; NaN where that cannot be asked."""
    python_mib: float
    """Held by Python's own store for small objects; NaN where that cannot be asked."""
    decoders_mib: float
    """Written by its decoders, each alone."""
    shared_mib: float
    """Seen by the window and a decoder."""
    handles: int
    threads: int
    widgets: int
    children: int
    gestures: int
    lost: int

    def row(self) -> str:
        return (
            f"| {self.minute:.0f} | {self.window_mib:.0f} | {self.given_mib:.0f} | {self.python_mib:.0f} "
            f"| {self.decoders_mib:.0f} | {self.shared_mib:.0f} | {self.handles} | {self.threads} | {self.widgets} | {self.children} "
            f"| {self.gestures} | {self.lost} |"
        )

    @property
    def whole_mib(self) -> float:
        """All memory that would be free without the window."""
        return self.window_mib + self.decoders_mib + self.shared_mib


def _children(pid: int) -> list[int]:
    """Name the processes below one, all the way down."""
    found: list[int] = []
    for task in Path(f"/proc/{pid}/task").iterdir():
        for child in map(int, (task / "children").read_text().split()):
            found += [child, *_children(child)]
    return found


def _memory_mib(pid: int) -> tuple[float, float]:
    """MiB written by this process alone, and its part of what is shared through no file."""
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    kib = {line.split(":")[0]: int(line.split()[1]) for line in lines if line.endswith(" kB")}
    # Clean pages are the libraries' code: they count as private as soon as no other program on the machine happens
    # to use the same library, up to 170 MiB that come and go with the neighbours.
    own = kib["Private_Dirty"] + kib["Swap"]
    return own / 1024, kib["Pss_Shmem"] / 1024


class _MallInfo2(ctypes.Structure):
    """What `mallinfo2` of the GNU C library tells, bytes; see its manual page."""

    _fields_ = [
        (name, ctypes.c_size_t)
        for name in (
            "arena", "ordblks", "smblks", "hblks", "hblkhd", "usmblks", "fsmblks", "uordblks", "fordblks", "keepcost",
        )
    ]  # fmt: skip


def _given_mib() -> float:
    """MiB that the C library has given out in this process, in all threads; NaN where it does not tell."""
    ask = getattr(ctypes.CDLL(None), "mallinfo2", None)
    if ask is None:
        return float("nan")
    ask.restype = _MallInfo2
    told = ask()
    return float(told.uordblks + told.hblkhd) / 2**20


def _python_mib() -> float:
    """MiB that Python's store for small objects has from the system, past the C library; NaN if unknown."""
    ask = getattr(sys, "_debugmallocstats", None)  # CPython's; it writes to the terminal only
    if ask is None:
        return float("nan")
    with tempfile.TemporaryFile() as told:
        terminal = os.dup(2)
        os.dup2(told.fileno(), 2)
        try:
            ask()
        finally:
            os.dup2(terminal, 2)
            os.close(terminal)
        told.seek(0)
        held = re.search(rb"(\d+) arenas \* (\d+) bytes/arena", told.read())
    return float("nan") if held is None else int(held[1]) * int(held[2]) / 2**20


def _handles(pid: int) -> int:
    return len(list(Path(f"/proc/{pid}/fd").iterdir()))


@dataclass
class Person:
    """Someone at the window, and what they know must be true of it."""

    window: Any
    folder: Path
    chance: random.Random
    pause_s: float
    made: Counter[str] = field(default_factory=Counter)
    lost: list[str] = field(default_factory=list)
    past: list[Any] = field(default_factory=list)
    at: int = 0

    def __post_init__(self) -> None:
        from tests.gui.conftest import Driver

        self.driver = Driver(_Bot(), self.window)
        self.document = self.window.bench.document

    # Waiting.

    def until(self, holds: Callable[[], bool], patience_s: float = _PATIENCE_S) -> bool:
        from PySide6.QtCore import QCoreApplication, QEvent, QEventLoop

        end = time.monotonic() + patience_s
        while not holds():
            if time.monotonic() > end:
                return holds()
            QCoreApplication.processEvents(QEventLoop.ProcessEventsFlag.WaitForMoreEvents, 20)
            # A window's own loop takes apart what is to be deleted; events processed by hand leave it standing.
            QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
        return True

    def rest(self, seconds: float) -> None:
        end = time.monotonic() + seconds
        self.until(lambda: time.monotonic() >= end, seconds + 1)

    def expect(self, gesture: str, holds: Callable[[], bool], patience_s: float = _PATIENCE_S) -> None:
        self.made[gesture] += 1
        if not self.until(holds, patience_s):
            self.lost.append(
                f"{gesture} on frame {self.document.frame} after {sum(self.made.values())} gestures"
            )
            print(f"lost: {self.lost[-1]}", file=sys.stderr, flush=True)

    # Gestures.

    def open_run(self) -> None:
        self.window.bench.forget_changes()
        self.window.files.open_file(self.folder / "bench.run.json")
        self.expect("open", lambda: self.driver.view.shown == self.document.frame >= 0)
        self.settle()
        self.past, self.at = [self.document.run], 0

    def settle(self) -> None:
        self.expect("settle", lambda: not self.window.bench.busy, _LONG_S)

    def changed(self) -> None:
        """Note a run that is new in the history, if it is."""
        if self.document.run != self.past[self.at]:
            self.past = [*self.past[: self.at + 1], self.document.run]
            self.at += 1

    def step(self) -> None:
        from PySide6.QtCore import Qt

        keys = {
            Qt.Key.Key_BracketLeft: -1,
            Qt.Key.Key_BracketRight: 1,
            Qt.Key.Key_BraceLeft: -10,
            Qt.Key.Key_BraceRight: 10,
        }
        key, by = self.chance.choice([*keys.items()])
        self.window.stage.view.setFocus()
        for _ in range(self.chance.randint(1, 12)):
            wanted = min(max(self.document.frame + by, 0), self.document.info.n_frames - 1)
            self.driver.key(key)
            self.expect("step", lambda w=wanted: self.document.frame == w)
        self.expect("frame shown", lambda: self.driver.view.shown == self.document.frame)

    def jump(self) -> None:
        frame = self.chance.randrange(self.document.info.n_frames)
        self.document.go_to(frame)
        self.expect("jump", lambda: self.driver.view.shown == frame)

    def play(self) -> None:
        from PySide6.QtCore import Qt

        control = Qt.KeyboardModifier.ControlModifier
        if self.document.frame > self.document.info.n_frames - 60:
            self.document.go_to(0)
        was = self.document.frame
        self.driver.key(Qt.Key.Key_Space, control)
        self.expect("play", lambda: self.document.frame > was + 10)
        self.driver.key(Qt.Key.Key_Space, control)
        self.rest(0.1)
        stopped = self.document.frame
        self.rest(0.3)
        self.expect("stop", lambda: self.document.frame == stopped, 0.1)

    def read(self) -> None:
        from calibration import Pixel
        from measure_app.gui.tools import Tool

        surface = self.chance.random() < 0.5
        tool = Tool.SURFACE if surface else Tool.LANDING
        line = self.document.run.gauge_line if surface else self.document.run.landing_line
        self.window.bench.use_tool(tool, advance=self.chance.choice([1, 5]), px_u=0.5)
        for _ in range(self.chance.randint(1, 5)):
            frame = self.document.frame
            self.expect("frame shown", lambda f=frame: self.driver.view.shown == f)
            part = self.chance.uniform(0.2, 0.8)
            ends = line.from_px, line.to_px
            there = Pixel(*(a + part * (b - a) for a, b in zip(*ends, strict=True)))

            def marked(frame: int = frame, there: Pixel = there) -> bool:
                reading = next((r for r in self.document.run.readings if r.frame == frame), None)
                spot = None if reading is None else reading.surface if surface else reading.landing
                return spot is not None and np.hypot(spot.px.x - there.x, spot.px.y - there.y) < 2.0

            self.driver.press(there)
            self.expect("read", marked)
            self.changed()
        self.window.bench.use_tool(Tool.LOOK)

    def drag(self) -> None:
        from calibration import Pixel

        was, home = self.document.run.orifice.px, self.past[0].orifice.px
        to = was
        while np.hypot(to.x - was.x, to.y - was.y) < 9:  # a shorter one is a press to the view
            to = Pixel(home.x + self.chance.uniform(-8, 8), home.y + self.chance.uniform(-8, 8))
        self.driver.drag(was, to)
        self.expect("drag", lambda: self.document.run.orifice.px != was)
        self.changed()

    def remove(self) -> None:
        from PySide6.QtCore import Qt

        from measure_app.gui.marks import Handle, Kind
        from measure_app.run import By

        mine = [r for r in self.document.run.readings if r.surface is not None and r.surface.by is By.HAND]
        if not mine:
            return
        reading = self.chance.choice(mine)
        self.document.go_to(reading.frame)
        self.expect("frame shown", lambda: self.driver.view.shown == reading.frame)
        self.window.stage.view.setFocus()
        self.window.bench.hand.select(Handle(Kind.SURFACE, frame=reading.frame))
        self.driver.key(Qt.Key.Key_Delete)

        def gone() -> bool:
            now = next((r for r in self.document.run.readings if r.frame == reading.frame), None)
            return now is None or now.surface is None

        self.expect("remove", gone)
        self.changed()

    def undo(self) -> None:
        from PySide6.QtCore import Qt

        control, shift = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier
        for _ in range(self.chance.randint(1, 6)):
            back = self.chance.random() < 0.6
            self.at = max(0, self.at - 1) if back else min(len(self.past) - 1, self.at + 1)
            self.driver.key(Qt.Key.Key_Z, control if back else control | shift)
            self.expect("undo" if back else "redo", lambda: self.document.run == self.past[self.at])

    def look(self) -> None:
        from PySide6.QtCore import QPointF, Qt

        for _ in range(3):
            number = self.chance.randint(1, 6)
            self.driver.key(Qt.Key(Qt.Key.Key_0.value + number), Qt.KeyboardModifier.AltModifier)
            self.expect(
                "step of the work", lambda n=number: list(self.window.panels).index(self.window.step) == n - 1
            )
            self.rest(0.1)
        view = self.driver.view
        view.zoom(self.chance.choice([0.5, 2.0]), QPointF(300, 200))
        self.rest(0.05)
        view.fit()

    def blind(self) -> None:
        from PySide6.QtCore import Qt

        for on in (True, False):
            self.driver.key(Qt.Key.Key_B, Qt.KeyboardModifier.ControlModifier)
            self.expect("blind", lambda o=on: self.document.blind is o)
            self.rest(0.1)

    def save(self) -> None:
        from PySide6.QtCore import Qt

        self.driver.key(Qt.Key.Key_S, Qt.KeyboardModifier.ControlModifier)
        self.expect("save", lambda: not self.window.bench.changed)

    def find(self) -> None:
        from PySide6.QtCore import Qt

        self.driver.key(Qt.Key.Key_F, Qt.KeyboardModifier.ControlModifier)
        self.expect("find", lambda: self.document.current_search is not None, _LONG_S)
        self.settle()
        self.changed()
        self.expect("findings", lambda: self.document.outcome is not None)

    def write(self) -> None:
        written: list[object] = []
        self.window.bench.results_written.connect(written.append)
        self.window.bench.write_results(self.folder / "results")
        self.expect("write results", lambda: bool(written), _LONG_S)
        self.window.bench.results_written.disconnect(written.append)
        if not isinstance(written[0] if written else None, Path):
            self.lost.append(f"write results: {written}")

    def round(self, seconds: float) -> None:
        """Work on the run for a while, then open it anew."""
        end = time.monotonic() + seconds
        kinds = [self.step] * 6 + [self.jump] * 3 + [self.read] * 5 + [self.undo] * 4
        kinds += [self.play, self.drag, self.remove, self.look, self.look, self.blind, self.save]
        self.find()
        middle = False
        while time.monotonic() < end:
            self.chance.choice(kinds)()
            self.rest(self.pause_s)
            if not middle and time.monotonic() > end - seconds / 2:
                middle = True
                self.find()
                self.write()
        shutil.copy(BENCH / "bench.run.json", self.folder / "bench.run.json")
        self.open_run()

    def level(self, minute: float) -> Level:
        from PySide6.QtWidgets import QApplication

        self.rest(3.0)  # some things wait a moment for rest before they begin
        self.expect("at rest", lambda: self.window.bench.at_rest, _LONG_S)
        gc.collect()
        pids = [os.getpid(), *_children(os.getpid())]
        own, shared = zip(*map(_memory_mib, pids), strict=True)
        return Level(
            minute,
            own[0],
            _given_mib(),
            _python_mib(),
            sum(own[1:]),
            sum(shared),
            sum(map(_handles, pids)),
            len(list(Path("/proc/self/task").iterdir())),
            len(QApplication.allWidgets()),
            len(pids) - 1,
            sum(self.made.values()),
            len(self.lost),
        )


class _Bot:
    """The few gestures of Qt's own test kit that a driver needs."""

    def __getattr__(self, name: str) -> Any:
        from PySide6.QtTest import QTest

        return getattr(QTest, name)


def _growth(levels: list[Level], part: Callable[[Level], float]) -> float:
    """MiB an hour over the last half of the rounds: the median of the slopes between any two."""
    late = levels[len(levels) // 2 :]
    slopes = [(part(b) - part(a)) / (b.minute - a.minute) for a, b in itertools.combinations(late, 2)]
    return 60 * median(slopes) if slopes else float("nan")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=120.0)
    parser.add_argument("--round", type=float, default=10.0, help="minutes of one round")
    parser.add_argument("--pause", type=float, default=0.15, help="seconds between gestures")
    parser.add_argument("--seed", type=int, default=1)
    wish = parser.parse_args()

    from PySide6.QtCore import QSettings

    from measure_app.gui.app import make_application
    from measure_app.gui.main_window import MainWindow
    from measure_app.gui.recovery import RecoveryStore
    from tests.gui.conftest import Answers

    application = make_application()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "recovery").mkdir()
        for file in BENCH.iterdir():
            shutil.copy(file, folder / file.name)
        settings = QSettings(str(folder / "settings.ini"), QSettings.Format.IniFormat)
        window = MainWindow(settings, RecoveryStore(folder / "recovery"), Answers())
        window.resize(1280, 800)
        window.show()
        window.activateWindow()  # keys go to the active window alone, and a bare display has nobody who chooses one
        person = Person(window, folder, random.Random(wish.seed), wish.pause)  # noqa: S311
        print(
            f"{application.platformName()}, {wish.minutes:g} minutes, seed {wish.seed}, {wish.pause:g} s between"
        )
        print(
            "| minute | window MiB | of it given out | of Python's | decoders MiB | shared MiB | handles | threads | widgets "
            "| decoders | gestures | lost |"
        )
        print("|" + " ---: |" * 12)
        begun = time.monotonic()
        person.expect("window active", window.isActiveWindow)
        person.open_run()
        levels = [person.level(0.0)]
        print(levels[0].row(), flush=True)
        while (time.monotonic() - begun) / 60 < wish.minutes:
            person.round(60 * wish.round)
            levels.append(person.level((time.monotonic() - begun) / 60))
            print(levels[-1].row(), flush=True)
        window.bench.forget_changes()
        window.close()
    parts: dict[str, Callable[[Level], float]] = {
        "window": lambda level: level.window_mib,
        "given out": lambda level: level.given_mib,
        "of Python's": lambda level: level.python_mib,
        "decoders": lambda level: level.decoders_mib,
        "all": lambda level: level.whole_mib,
    }
    growth = {name: _growth(levels, part) for name, part in parts.items()}
    late = levels[len(levels) // 2 :]
    leaks = late[-1].handles > late[0].handles or late[-1].threads > late[0].threads
    print()
    print(", ".join(f"{kind} {count}" for kind, count in sorted(person.made.items())))
    told = ", ".join(f"{name} {slope:+.1f}" for name, slope in growth.items())
    print(f"growth over the last half, MiB an hour: {told}; lost: {person.lost[:10] or 'none'}")
    return 1 if person.lost or leaks or growth["all"] > _LEAK_MIB_PER_HOUR else 0


if __name__ == "__main__":
    sys.exit(main())
