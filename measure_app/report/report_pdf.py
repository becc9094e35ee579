"""The report as a typeset, tagged PDF."""

from __future__ import annotations

import json
import tempfile
from dataclasses import asdict
from importlib import resources
from pathlib import Path
from typing import Any, Final

from measure_app.report.content import Content, Picture, headings, observed_by, tidy
from measure_app.report.formula import as_data, as_speech
from measure_app.words import language, said

TEMPLATE = "report.typ"
STANDARD: Final = "ua-1"
"""PDF/UA-1 (ISO 14289-1): tagged, titled, with a language and alternative texts."""
_LIFE = 10
"""Further documents for which the typesetter keeps what it worked out for one."""


def report_pdf(content: Content) -> bytes:
    """Typeset the report.

    Parameters
    ----------
    content : Content
        What it says.

    Returns
    -------
    bytes
        PDF/UA-1, the same bytes for the same content. Text from outside reaches the template as data and
        is never read as markup. Fonts come with the typesetter; only for a script that they lack are the
        system's asked, and if those lack it too, the file is tagged all the same but claims no PDF/UA.
    """
    import typst

    template = resources.files("measure_app.report").joinpath(TEMPLATE).read_bytes()
    # The typesetter takes pictures from files only; the folder is all that it may read.
    with tempfile.TemporaryDirectory(prefix="clepsydra-") as folder:
        root = Path(folder)
        root.joinpath(TEMPLATE).write_bytes(template)
        for picture in _pictures(content):
            root.joinpath(picture.name).write_bytes(picture.data)
        inputs = {"content": json.dumps(_tidied(_data(content)))}

        def typeset(*, own_fonts: bool, accessible: bool) -> bytes:
            return typst.compile(
                root / TEMPLATE,
                root=root,
                ignore_system_fonts=own_fonts,
                sys_inputs=inputs,
                format="pdf",
                pdf_standards=STANDARD if accessible else [],
                timestamp=0,
            )

        try:
            for own_fonts in (True, False):
                try:
                    return typeset(own_fonts=own_fonts, accessible=True)
                except typst.TypstError as error:
                    if "could not be displayed" not in str(error):
                        raise
            return typeset(own_fonts=False, accessible=False)
        finally:
            _forget(root)


def _forget(root: Path) -> None:
    """Have the typesetter let go of the report.

    For whoever types it again in a moment, it keeps all that it worked out: 36 MiB a report, which a window
    that writes results now and then would hold ten times over. What ten documents did not use goes; empty
    ones take 3 ms each.
    """
    import typst

    empty = root / "empty.typ"
    empty.touch()
    typesetter = typst.Compiler(empty, root=root, ignore_system_fonts=True)
    for _ in range(_LIFE):
        typesetter.compile(format="pdf", timestamp=0)


def _tidied(tree: Any) -> Any:
    """Return data whose strings hold only what can be shown."""
    if isinstance(tree, dict):
        return {key: _tidied(value) for key, value in tree.items()}
    if isinstance(tree, list | tuple):
        return [_tidied(value) for value in tree]
    return tidy(tree) if isinstance(tree, str) else tree


def _pictures(content: Content) -> tuple[Picture, ...]:
    setup = () if content.setup is None else (content.setup,)
    return (*setup, *content.strips, *content.graphs)


def _data(content: Content) -> dict[str, Any]:
    """Write the content as plain data; pictures by their names."""
    tree = asdict(content)
    tree["algebra"] = [
        {"says": step.says, "formula": as_data(step.formula), "alt": as_speech(step.formula)}
        for step in content.algebra
    ]
    for key in ("strips", "graphs"):
        tree[key] = [_named(picture) for picture in getattr(content, key)]
    tree["observed"] = observed_by(content)
    tree["words"] = headings()
    tree["language"] = language()
    for told, advice in zip(tree["advice"], content.advice, strict=True):
        told["title"] = said("For {about}", about=advice.about)
    tree["setup"] = None if content.setup is None else _named(content.setup)
    return tree


def _named(picture: Picture) -> dict[str, str]:
    return {"name": picture.name, "caption": picture.caption, "alt": picture.alt}
