"""What to mind when water, glass and electricity share a bench; said wherever an experiment is told."""

from __future__ import annotations

from measure_app.words import marked, said

CAUTIONS = (
    marked(
        "Keep water away from mains leads, lamps and chargers; use a supply with residual-current protection."
    ),
    marked(
        "Wipe spills at once: a wet floor is slippery. Stand the container where it cannot be knocked over."
    ),
    marked(
        "An adult or a technician makes holes, with the container empty and clamped; wear eye protection."
    ),
    marked("Ask for consent before anybody is filmed, and frame the picture so that no face is in it."),
    marked("The rules of your school, and what its qualified staff say, come before anything written here."),
)
"""As they are written; `cautions` says them."""


def cautions() -> tuple[str, ...]:
    """Say what to mind."""
    return tuple(said(each) for each in CAUTIONS)
