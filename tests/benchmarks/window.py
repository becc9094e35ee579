"""How fast the window is, as ratios within one run.

    python -m tests.benchmarks.window [--frames 120] [--starts 7] [--only-start]

A 1080p film is written, then measured: a step of one frame either way from the wish to the painted view (against
decoding one frame, and against the 17 ms of a screen at 60 Hz), a window with the first frame painted against an
empty Qt window's start, converting and painting against decoding, and the recompute of all findings after an edit
with 2,000 readings.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np

EMPTY = """
import time
from PySide6.QtWidgets import QApplication, QWidget
application = QApplication([])
class W(QWidget):
    def paintEvent(self, event):
        print(time.clock_gettime(time.CLOCK_MONOTONIC), flush=True)
        application.exit()
w = W(); w.resize(1280, 800); w.show(); application.exec()
import os; os._exit(0)
"""
OURS = """
import os, sys, time
from pathlib import Path
from measure_app.decoder import command_of_decoder, started
begun = started(command_of_decoder())
from measure_app.decoder import Decoder
from PySide6.QtCore import QStandardPaths
QStandardPaths.setTestModeEnabled(True)
from measure_app.gui.app import make_application, make_window
application = make_application()
window = make_window(Path(sys.argv[1]), Decoder(begun=begun))
def done(frame):
    print(time.clock_gettime(time.CLOCK_MONOTONIC), flush=True)
    os._exit(0)
window.stage.view.painted.connect(done)
window.show()
application.exec()
"""

BARE = """
import os, sys, time
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage, QPainter
from PySide6.QtWidgets import QApplication, QWidget
application = QApplication([])
from measure_app.clip import open_clip
clip = open_clip(sys.argv[1])
pixels = clip.frame(0).bgra()
image = QImage(pixels.data, pixels.shape[1], pixels.shape[0], QImage.Format.Format_RGB32)
class W(QWidget):
    def paintEvent(self, event):
        QPainter(self).drawImage(self.rect(), image)
        print(time.clock_gettime(time.CLOCK_MONOTONIC), flush=True)
        os._exit(0)
w = W(); w.resize(1280, 800); w.show(); application.exec()
"""


def film(path: Path, count: int) -> Path:
    """Write a 1080p film with some texture, as a phone gives it."""
    from measure_app.clip import write_clip

    rng = np.random.default_rng(5)
    ground = np.kron(rng.integers(60, 190, (68, 120)), np.ones((16, 16))).astype(np.float32)[:1080, :1920]

    def picture(i: int) -> np.ndarray:
        luma = np.roll(ground, i, axis=1) + rng.normal(0, 3, ground.shape)
        return np.clip(luma, 16, 235).astype(np.uint8)

    return write_clip(path, (picture(i) for i in range(count)), base=Fraction(1, 30), gop=60, crf=23)


def start_s(code: str, compiled: Path, *arguments: str) -> float:
    """Seconds from the start of a process to its first painting.

    Bytecode is kept, for both alike: an installed package comes compiled, a checkout is at its second start.
    """
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    environment["PYTHONPYCACHEPREFIX"] = str(compiled)
    begun = time.clock_gettime(time.CLOCK_MONOTONIC)
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True, env=environment
    )
    return float(done.stdout.split()[-1]) - begun


def starts(path: Path, compiled: Path, count: int) -> None:
    """Start all three in turn, so that whatever else the machine does meets them alike."""
    rows = [
        (start_s(EMPTY, compiled), start_s(BARE, compiled, str(path)), start_s(OURS, compiled, str(path)))
        for _ in range(count + 2)
    ][2:]
    empty, bare, ours = (statistics.median(each) for each in zip(*rows, strict=True))
    ratios = [statistics.median(row[i] / row[0] for row in rows) for i in (1, 2)]
    print(
        f"start: empty Qt window {1000 * empty:.0f} ms; one that only decodes and paints the first 1080p frame "
        f"{1000 * bare:.0f} ms = {ratios[0]:.2f} ×; ours with that frame painted {1000 * ours:.0f} ms "
        f"= {ratios[1]:.2f} × (goal 4)"
    )


def share(values: list[float], limit: float) -> float:
    return 100 * sum(v <= limit for v in values) / len(values)


def p95(values: list[float]) -> float:
    return float(np.percentile(values, 95))


def until(holds: Callable[[], bool]) -> None:
    from PySide6.QtCore import QCoreApplication, QEventLoop

    while not holds():
        QCoreApplication.processEvents(QEventLoop.ProcessEventsFlag.WaitForMoreEvents, 5)


def steps(path: Path, settings: Path) -> None:
    from PySide6.QtCore import QSettings

    from measure_app.clip import open_clip
    from measure_app.gui.app import make_application
    from measure_app.gui.frame_item import FrameItem
    from measure_app.gui.main_window import MainWindow

    make_application()
    with open_clip(path) as clip:
        begun = time.perf_counter()
        count = sum(1 for _ in clip.luma_planes())
        decode = (time.perf_counter() - begun) / count
    print(f"plain decoding: {1000 * decode:.1f} ms a frame")
    window = MainWindow(QSettings(str(settings), QSettings.Format.IniFormat))
    window.show()
    window.files.open_file(path)
    painted: list[int] = []
    window.stage.view.painted.connect(painted.append)
    document = window.bench.document
    until(lambda: bool(painted))

    def step(to: int) -> float:
        painted.clear()
        begun = time.perf_counter()
        document.go_to(to)
        until(lambda: to in painted)
        return 1000 * (time.perf_counter() - begun)

    def rest(seconds: float) -> None:
        end = time.monotonic() + seconds
        until(lambda: time.monotonic() > end)

    step(count // 2)
    rest(1.0)
    hot = []
    for sign in [1] * 20 + [-1] * 40 + [1] * 20:
        rest(1 / 30)  # a key held down repeats thirty times a second
        hot.append(step(document.frame + sign))
    print(
        f"step, neighbourhood cached, 30 a second: median {statistics.median(hot):.1f} ms, 95 % {p95(hot):.1f} ms; "
        f"{share(hot, 17):.0f} % within 17 ms (goal 95 %)"
    )
    with open_clip(path) as clip:
        alone = []
        for i in range(2, min(count, 60)):
            begun = time.perf_counter()
            clip.frame(i)
            alone.append(1000 * (time.perf_counter() - begun))
    row = [step(i) for i in range(2, min(count, 60))]
    print(
        f"steps forward in a row, no rest: mean {statistics.mean(row):.1f} ms, 95 % {p95(row):.1f} ms; the clip alone: "
        f"mean {statistics.mean(alone):.1f} ms, 95 % {p95(alone):.1f} ms; ratios "
        f"{statistics.mean(row) / statistics.mean(alone):.2f} and {p95(row) / p95(alone):.2f} (goal 1.2)"
    )
    view = window.stage.view
    held: FrameItem = view._item
    reply = held._reply
    times = []
    for _ in range(30):
        begun = time.perf_counter()
        view.show_reply(reply)
        view.viewport().repaint()
        times.append(time.perf_counter() - begun)
    with open_clip(path) as clip:
        frame = clip.frame(5)
        begun = time.perf_counter()
        for _ in range(20):
            frame.bgra()
        convert = (time.perf_counter() - begun) / 20
    paint = statistics.median(times)
    print(
        f"convert {1000 * convert:.1f} ms + paint {1000 * paint:.1f} ms = {(convert + paint) / decode:.2f} × decoding"
    )
    window.bench.forget_changes()
    window.close()


def recompute(readings: int) -> None:
    import threading
    from dataclasses import replace as changed

    from msgspec.structs import replace

    from measure_app.clip import open_clip
    from measure_app.edits import SetConditions
    from measure_app.gui.lane import Job
    from measure_app.gui.recompute import Question, derive
    from measure_app.outcome import measure
    from measure_app.run import Reading
    from measure_app.runfile import load_run
    from measure_app.sample import sample_run

    path = sample_run()
    run = load_run(path)
    with open_clip(path.parent / run.clip.path) as clip:
        outcome = measure(run, clip)
        info = clip.info
        seconds = clip.stamps.seconds()
    found = {r.frame: r for r in outcome.run.readings}
    frames = np.linspace(0, info.n_frames - 1, readings)
    dense = []
    for i, at in enumerate(frames):  # the sample's readings, drawn out over as many frames as are wanted
        source = found[min(found, key=lambda f: abs(f - at))]
        dense.append(Reading(frame=i, surface=source.surface, landing=source.landing))
    info = changed(info, n_frames=readings)
    run = replace(run, readings=tuple(dense))
    times_s = np.interp(frames, np.arange(len(seconds)), seconds)
    job = Job(1, threading.Event(), lambda _: None)
    derive(Question(run, times_s, info, None), job)
    times, applied = [], []
    for i in range(7):
        begun = time.perf_counter()
        run = SetConditions(replace(run.conditions, water_temperature_c=15.0 + i)).apply(run)
        applied.append(time.perf_counter() - begun)
        begun = time.perf_counter()
        derive(Question(run, times_s, info, None), job)
        times.append(time.perf_counter() - begun)
    print(
        f"recompute of all findings, {readings} readings: median {1000 * statistics.median(times):.0f} ms "
        f"(goal 50); the edit itself {1000 * statistics.median(applied):.0f} ms"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--frames", type=int, default=120)
    parser.add_argument("--starts", type=int, default=7)
    parser.add_argument("--only-start", action="store_true")
    wish = parser.parse_args()
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    with tempfile.TemporaryDirectory() as folder:
        path = film(Path(folder) / "phone.mp4", wish.frames)
        settings = Path(folder) / "settings.ini"
        starts(path, Path(folder) / "compiled", wish.starts)
        if wish.only_start:
            return
        steps(path, settings)
    recompute(2000)


if __name__ == "__main__":
    main()
