"""What the first frame does not wait for; the benchmark *window* shows how long that takes."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

BENCH = Path(__file__).parents[2] / "sample_clips" / "bench"
# The binding makes a class of Qt's with all its enumerations when it is first met, by name or as the kind of some
# object that Qt hands out. A class whose enumeration exists has been made.
_SHOWN = """
import enum, json, os, sys
from pathlib import Path
made = set()
plain = enum.EnumType._create_
def noted(kind, name, *rest, **more):
    made.add(name)
    return plain(kind, name, *rest, **more)
enum.EnumType._create_ = noted
from PySide6.QtCore import QStandardPaths, QTimer
QStandardPaths.setTestModeEnabled(True)
from measure_app.gui.app import make_application, make_window
application = make_application()
window = make_window(Path(sys.argv[1]))
def tell(frame):
    print(json.dumps([sorted(made), sorted(sys.modules)]), flush=True)
    os._exit(0)
window.stage.view.painted.connect(tell)
QTimer.singleShot(60_000, lambda: os._exit(3))
window.show()
application.exec()
"""


def _first_frame() -> tuple[set[str], set[str]]:
    """Enumerations made and modules loaded when the first frame is painted."""
    done = subprocess.run(
        [sys.executable, "-c", _SHOWN, str(BENCH / "bench.mp4")],
        capture_output=True,
        text=True,
        check=True,
        timeout=90,
        env=os.environ | {"QT_QPA_PLATFORM": "offscreen"},
    )
    made, modules = json.loads(done.stdout.splitlines()[-1])
    return set(made), set(modules)


def test_the_first_frame_waits_for_no_kind_of_widget_that_is_not_in_sight() -> None:
    made, modules = _first_frame()
    assert {"Key", "GraphicsItemFlag"} <= made  # what is in sight was noticed at all
    of = {"WizardButton": "QWizard", "DockWidgetFeature": "QDockWidget", "ThemeIcon": "QIcon"}
    of |= {"PrimitiveElement": "QStyle", "TickPosition": "QSlider", "SegmentStyle": "QLCDNumber"}
    assert not {kind for name, kind in of.items() if name in made}
    late = {"pyqtgraph", "scipy", "odrpack", "cv2", "pandas", "matplotlib", "measure_app.outcome"}
    assert not late & modules
    assert not {
        each for each in modules if each.startswith("measure_app.gui.panels.") and "panel" in each[23:]
    }
