"""A comparison in a few lines for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from analysis import finding_name, with_uncertainty
from measure_app.comparing.comparison import Comparison
from measure_app.comparing.pools import Pool, scaled
from measure_app.report.summary import WIDTH, shown
from measure_app.words import said


def told(comparison: Comparison, place: str, files: Sequence[str], encoding: str | None = "utf-8") -> str:
    """Return the printed account of a comparison, lines of at most 100 characters."""
    lines = [
        said("{count} runs compared.", count=len(comparison.entries)),
        "",
        *_table(comparison, encoding),
    ]
    told = [
        *comparison.remarks,
        *(f"{_name(pool)}: {words}" for pool in comparison.pools for words in _news(pool)),
    ]
    if comparison.holes is not None:
        told += comparison.holes.says
    told += _sources(comparison)
    if told:
        lines += ["", said("Worth knowing"), *(line for words in told for line in _bullet(words))]
    names = [name for name in files if not name.startswith("figures/")]
    figures = len(files) - len(names)
    where = said(
        "Written to {place}: {join}",
        place=place,
        join=", ".join(
            [
                *names,
                *([f"figures/ ({figures} files)"] if figures else []),
            ]
        ),
    )
    lines += ["", *textwrap.wrap(where, WIDTH, subsequent_indent="  ")]
    return shown("\n".join(lines), encoding)


def _name(pool: Pool) -> str:
    name = finding_name(pool.name)
    return name if pool.group == "all runs" else f"{name}, {pool.group}"


def _news(pool: Pool) -> list[str]:
    """Remarks of a pool whose runs do not agree; what only says Cv again with a borrowed g is passed over."""
    if pool.found.consistent or pool.name.startswith(("slope_", "gravity_from_slope")):
        return []
    return list(pool.remarks)


def _table(comparison: Comparison, encoding: str | None) -> list[str]:
    if not comparison.pools:
        return [said("No finding could be pooled.")]
    rows = [
        (
            said("finding"),
            "",
            "of",
            said("runs"),
            said("mean ± standard u"),
            said("Birge"),
            said("between"),
            said("agree"),
        )
    ]
    for pool in comparison.pools:
        factor, unit = scaled(pool)
        found = pool.found
        between = f"{factor * found.between:.2g}" if found.between > 0.0 else "–"
        rows.append(
            (
                finding_name(pool.name),
                pool.symbol,
                pool.group.removeprefix("hole of ").removesuffix(" runs"),
                str(len(pool.runs)),
                with_uncertainty(factor * found.mean.value, factor * found.mean.u, unit),
                f"{found.birge:.2f}",
                between,
                said("yes") if found.consistent else "no",
            )
        )
    cells = [tuple(shown(cell, encoding) for cell in row) for row in rows]
    widths = [max(len(row[i]) for row in cells) for i in range(len(rows[0]))]
    laid = ["  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in cells]
    return [laid[0], "  ".join("-" * width for width in widths), *laid[1:]]


def _sources(comparison: Comparison) -> list[str]:
    common = [each.source for each in comparison.commons if each.common]
    apart = [f"{each.source} ({each.why})" for each in comparison.commons if not each.common]
    made = []
    if common:
        made.append(
            said(
                "taken as common to the runs, so that more runs do not make them smaller: {join}; "
                "name with --apart what was set up or measured anew for each run",
                join=", ".join(common),
            )
        )
    if apart:
        made.append(said("taken as each run's own: {join}", join=", ".join(apart)))
    return made


def _bullet(words: str) -> list[str]:
    plain = "".join(c if c.isprintable() else "?" for c in words)
    return textwrap.wrap(plain, WIDTH, initial_indent="  • ", subsequent_indent="    ")
