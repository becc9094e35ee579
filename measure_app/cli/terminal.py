"""What goes to the terminal, and Ctrl-C."""

from __future__ import annotations

import signal
import sys
import textwrap
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

import click

from measure_app.cli.group import NOTHING_FOUND

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from measure_app.report import Results


def deliver(
    results: Results,
    out: Path,
    stopped: Callable[[], bool],
    *,
    picture: NDArray[np.uint8] | None = None,
    report: bool = True,
) -> int:
    """Write a result, print its summary, and return the exit status."""
    from measure_app.report import summary, write_checked

    with told_progress() as telling:
        results, files = write_checked(
            results, out, picture=picture, report=report, stop_requested=stopped, telling=telling
        )
    click.echo(summary(results, str(out), files, encoding()))
    return 0 if results.found_anything else NOTHING_FOUND


def encoding() -> str:
    """Return the encoding of what is printed."""
    return getattr(sys.stdout, "encoding", None) or "ascii"


def say(words: str) -> None:
    """Print words, wrapped, in signs that the terminal has."""
    from measure_app.report.summary import WIDTH, shown

    click.echo(shown(textwrap.fill(words, WIDTH, subsequent_indent="  "), encoding()))


@contextmanager
def stop_flag() -> Iterator[Callable[[], bool]]:
    """Turn the first Ctrl-C into a flag that long work asks for; a second one interrupts at once."""
    pressed = False

    def on_interrupt(_number: int, _frame: FrameType | None) -> None:
        nonlocal pressed
        if pressed:
            raise KeyboardInterrupt
        pressed = True

    try:
        before = signal.signal(signal.SIGINT, on_interrupt)
    except ValueError:  # not the main thread: whoever runs us there handles Ctrl-C
        yield lambda: False
        return
    try:
        yield lambda: pressed
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def shown_progress(what: str) -> Iterator[Callable[[int, int], None] | None]:
    """Show progress on one line of the terminal; on anything else say nothing."""
    with told_progress() as tell:
        yield None if tell is None else lambda done, total: tell(done, total, what)


@contextmanager
def told_progress() -> Iterator[Callable[[int, int, str], None] | None]:
    """Show on one line of the terminal how far the work is and what is done now; elsewhere say nothing."""
    if not sys.stderr.isatty():
        yield None
        return
    shown = ""

    def show(done: int, total: int, what: str) -> None:
        nonlocal shown
        percent = min(100, 100 * done // max(1, total))
        line = f"{what} [{'#' * (percent // 4):.<25}] {percent:3d} %"
        if line != shown:
            click.echo("\r" + line.ljust(len(shown)), nl=False, err=True)
            shown = line

    try:
        yield show
    finally:
        click.echo("\r" + " " * len(shown) + "\r", nl=False, err=True)
