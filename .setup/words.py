"""The catalogue of everything that is said: gather the texts, merge translations, compile, show what lacks.

    python .setup/words.py gather             texts from the code into template and every language, compiled
    python .setup/words.py lacks de           what a language does not say yet, as JSON ready to be filled in
    python .setup/words.py take de FILE.json  merge filled-in translations, then compile

Needs Babel (`pip install -e .[test]`).
"""

from __future__ import annotations

import ast
import fcntl
import inspect
import io
import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import cast

from babel.messages.catalog import Catalog, Message
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

ROOT = Path(__file__).resolve().parent.parent
CATALOGUES = ROOT / "measure_app" / "languages"
TEMPLATE = CATALOGUES / "clepsydra.pot"
PACKAGES = ("calibration", "analysis", "measure_app")
FORMS = {"said": 1, "marked": 1, "counted": 2}
"""Functions that say a text, and how many forms of it they are given first."""
DECIMAL_MARK = ("decimal mark", ".")
PASSING = (
    "POT-Creation-Date",
    "PO-Revision-Date",
    "Last-Translator",
    "Language-Team",
    "Generated-By",
    "Report-Msgid",
)
"""Headers that change without a change of what is said."""


def gathered() -> Catalog:
    """Gather every text of the code that is said, with the file that says it."""
    catalogue = Catalog(project="clepsydra", charset="utf-8", fuzzy=False)
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            for text in texts_of(path.read_text(encoding="utf-8")):
                catalogue.add(text, locations=[(path.relative_to(ROOT).as_posix(), 0)])
    for text, where in help_texts():
        catalogue.add(text, locations=[(where, 0)])
    catalogue.add(DECIMAL_MARK[1], context=DECIMAL_MARK[0], locations=[("measure_app/words.py", 0)])
    return catalogue


def texts_of(source: str) -> list[str | tuple[str, ...]]:
    """List the texts that a source says, in the order of its lines.

    By its syntax tree, as a search through its tokens misses what is said within an f-string or another text.
    """
    found: list[tuple[int, str | tuple[str, ...]]] = []
    for node in ast.walk(ast.parse(source)):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in FORMS):
            continue
        forms = [each.value for each in node.args[: FORMS[node.func.id]] if isinstance(each, ast.Constant)]
        texts = tuple(each for each in forms if isinstance(each, str))
        if len(texts) == FORMS[node.func.id]:
            found.append((node.lineno, texts if len(texts) > 1 else texts[0]))
    return [text for _, text in sorted(found, key=lambda each: each[0])]


def help_texts() -> Iterator[tuple[str, str]]:
    """Walk the commands for their help, which stands in docstrings and options."""
    sys.path.insert(0, str(ROOT))
    import click

    from measure_app.cli import commands

    waiting: list[click.Command] = [commands]
    while waiting:
        command = waiting.pop(0)
        if isinstance(command, click.Group):
            waiting += command.commands.values()
        if command.help:
            yield inspect.cleandoc(command.help), "measure_app/cli"
        for each in command.params:
            if isinstance(each, click.Option) and each.help:
                yield each.help, "measure_app/cli"


def po_of(code: str) -> Path:
    """Say where a language's catalogue is."""
    return CATALOGUES / code / "LC_MESSAGES" / "clepsydra.po"


def language_codes() -> list[str]:
    """List the languages that have a folder."""
    return sorted(each.name for each in CATALOGUES.iterdir() if each.is_dir() and len(each.name) <= 5)


def loaded(code: str) -> Catalog:
    """Read a language's catalogue; one that is not there yet is empty."""
    path = po_of(code)
    if not path.exists():
        return Catalog(locale=code, project="clepsydra", charset="utf-8", fuzzy=False)
    with path.open("rb") as stream:
        return read_po(stream, locale=code)


def as_po(catalogue: Catalog) -> bytes:
    """Write a catalogue as text, without dates and line numbers: it changes only with what it says."""
    stream = io.BytesIO()
    catalogue.header_comment = "# What is said, and how another language says it."
    write_po(stream, catalogue, width=110, omit_header=False, include_lineno=False, ignore_obsolete=True)
    lines = stream.getvalue().decode("utf-8").splitlines(keepends=True)
    dated = tuple(f'"{name}' for name in PASSING)
    return "".join(each for each in lines if not each.startswith(dated)).encode("utf-8")


def as_mo(catalogue: Catalog) -> bytes:
    """Write a catalogue as gettext reads it, without dates too."""
    stream = io.BytesIO()
    write_mo(stream, cast("Catalog", _Undated(catalogue)))
    return stream.getvalue()


class _Undated:
    """A catalogue whose header says what it needs to and no more."""

    def __init__(self, catalogue: Catalog) -> None:
        self.charset = catalogue.charset
        self._catalogue = catalogue

    def __iter__(self) -> Iterator[Message]:
        for each in self._catalogue:
            if each.id:
                yield each
                continue
            lines = str(each.string).splitlines(keepends=True)
            yield Message("", "".join(line for line in lines if not line.startswith(PASSING)))


def store(code: str, catalogue: Catalog) -> None:
    """Write a language's catalogue, as text and compiled."""
    path = po_of(code)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(as_po(catalogue))
    # Compiled from what was written, so that both say the same.
    path.with_suffix(".mo").write_bytes(as_mo(loaded(code)))


@contextmanager
def alone() -> Iterator[None]:
    """Let one process at a time change the catalogues."""
    with TEMPLATE.open("ab") as stream:
        fcntl.flock(stream, fcntl.LOCK_EX)
        yield


def gather() -> None:
    """Bring the template and every language up to the code."""
    template = gathered()
    for code in language_codes():
        catalogue = loaded(code)
        catalogue.update(template, no_fuzzy_matching=True)
        store(code, catalogue)
    TEMPLATE.write_bytes(as_po(template))


def lacks(code: str) -> list[dict[str, object]]:
    """List what a language does not say yet."""
    catalogue = loaded(code)
    catalogue.update(gathered(), no_fuzzy_matching=True)
    return [
        {
            "text": each.id,
            "context": each.context,
            "says": "",
            "where": sorted({f for f, _ in each.locations}),
        }
        for each in catalogue
        if each.id and not (all(each.string) if isinstance(each.string, tuple) else each.string)
    ]


def take(code: str, file: Path) -> int:
    """Merge translations (a list of {"text", "says"} or a mapping of text to translation) and compile."""
    said = json.loads(file.read_text(encoding="utf-8"))
    pairs = said.items() if isinstance(said, dict) else [(each["text"], each["says"]) for each in said]
    catalogue = loaded(code)
    catalogue.update(gathered(), no_fuzzy_matching=True)
    taken = 0
    for text, says in pairs:
        message = catalogue.get(text[0] if isinstance(text, list) else text)
        if message is not None and says:
            message.string = tuple(says) if isinstance(says, list) else says
            taken += 1
    store(code, catalogue)
    gather()
    return taken


def main(arguments: list[str]) -> int:
    """Run one of the commands above."""
    match arguments:
        case ["gather"]:
            with alone():
                gather()
        case ["lacks", code]:
            print(json.dumps(lacks(code), ensure_ascii=False, indent=1))
        case ["take", code, file]:
            with alone():
                print(f"{take(code, Path(file))} taken, {len(lacks(code))} lack")
        case _:
            print(__doc__, file=sys.stderr)
            return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
