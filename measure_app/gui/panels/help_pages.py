"""One short page of help for each step, in the words of the trade. No Qt here."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from measure_app.gui.panels.steps import Step
from measure_app.words import marked, said

_CAUTIONS = marked("Cautions")
CAUTIONS = (
    marked(
        "Keep water and wet hands away from mains leads, sockets and lamps; use low-voltage "
        "or battery lights, and a supply with residual-current protection for anything that "
        "must be plugged in nearby."
    ),
    marked("Wipe up spills at once: a wet floor is the likeliest accident of this experiment."),
    marked("Holes are made by an adult or a technician, with the container clamped, before the lesson."),
    marked("Wear eye protection where glass may break, or where jets are under pressure."),
    marked("Ask before you film anyone, and keep faces and names out of films that leave the room."),
    marked("The rules of your school and the word of its qualified staff go before anything written here."),
)
"""The usual cautions; shown wherever a set-up is suggested."""


@dataclass(frozen=True, slots=True)
class HelpPage:
    """A page of help."""

    step: Step
    about: str
    """What the step is for."""
    points: tuple[str, ...]
    """What to do and what to mind."""
    suggests_set_up: bool = False
    """Whether the page suggests a set-up, so that the cautions belong on it."""


PAGES = (
    HelpPage(
        Step.FILM,
        marked(
            "One film of the whole drain is enough: the container, the rules, the jet and its "
            "landing in one frame that does not move."
        ),
        (
            marked(
                "Stand the camera on something firm, level with the middle of the water's fall, and "
                "face the jet's plane squarely from 1 m or more; zoom in rather than go near."
            ),
            marked(
                "Colour the water, put a plain bright ground behind it, lock focus and exposure, and "
                "let the camera run before the hole is opened and until the jet dribbles."
            ),
            marked(
                "Choose the part to be measured with the two brackets on the strips: start after the "
                "hand and the first splash are gone, stop before the jet breaks up or clings to the "
                "wall."
            ),
            marked(
                "In slow motion the file plays slower than the world. Give the rate at which the "
                "camera took the frames, and all times are put right; a wrong rate makes every g "
                "wrong by its square."
            ),
        ),
        suggests_set_up=True,
    ),
    HelpPage(
        Step.RULES,
        marked(
            "A rule in the picture turns pixels into millimetres. One stands upright for the "
            "heads, one lies along the tray for the throws; a square may serve for both."
        ),
        (
            marked(
                "Press on engraved lines far apart and type what is written there. Two give the "
                "scale; five or more show the perspective and how well you read."
            ),
            marked(
                "Best is a rule in the plane of the jet. If it stands behind or before that plane, "
                "say how far: from 1 m, 20 mm of depth are 2 % of every length."
            ),
            marked(
                "A whisker on a graduation shows by how much it misses the common scale. One that "
                "stands out was misread: drag it to its line or correct its value."
            ),
            marked("Choose lines, not edges of figures, and always the same side or the middle of a line."),
        ),
    ),
    HelpPage(
        Step.DATUM,
        marked(
            "The datum is all that lengths count from: the hole's centre for the heads, a point "
            "under it for the throws, and the landing level for the drop."
        ),
        (
            marked(
                "Head counts from the centre of the hole to the flat level of the water, not to the "
                "edge that creeps up the wall."
            ),
            marked(
                "The drop runs from the hole's centre down to the surface on which the jet lands: "
                "the film of water in the tray, where it lands, not the table."
            ),
            marked(
                "The water line you see lies on the near wall of the container, a radius before the "
                "jet's plane. Give that depth and the camera's distance, and it is corrected."
            ),
            marked(
                "Hole diameter and inner area of the container open the discharge coefficient and a "
                "g from the clock. Measure the area inside, not outside."
            ),
            marked(
                "Every figure has a ± : one standard uncertainty, that is a figure which your error "
                "exceeds about one time in three. Choose an instrument for a usual one."
            ),
        ),
        suggests_set_up=True,
    ),
    HelpPage(
        Step.READINGS,
        marked(
            "A reading is the water's surface on the gauge line and the jet on the landing line, "
            "in one frame. Mark them by hand, or let the program find them in every frame."
        ),
        (
            marked(
                "Mark the same edge in every frame: the lower rim of the water's dark band on the near wall."
            ),
            marked(
                "The jet lands where its middle meets the landing level, not where the farthest drop "
                "splashes."
            ),
            marked("With a move of 10 frames after each press, twenty readings take twenty presses."),
            marked(
                "Three hand marks, early, midway and late, also steer the finding when it follows "
                "the wrong edge. Hand marks are never overwritten."
            ),
            marked(
                "Mark some frames twice without looking at the first mark: the scatter is yours, and "
                "better founded than a guess."
            ),
            marked(
                "Set a reading aside only for a reason you can name. A reading that is merely far "
                "from the line is news."
            ),
            marked(
                "A drop that falls beside the rule, marked frame by frame, tells g without the "
                "accepted one. Let it fall in the jet's plane, film it with the phone upright, and "
                "mark its middle in a dozen frames."
            ),
        ),
    ),
    HelpPage(
        Step.FINDINGS,
        marked(
            "Torricelli's law says that the jet's speed goes as the root of the head. The graphs "
            "show whether it does, the findings say how well, and the budget says what limits "
            "you."
        ),
        (
            marked(
                "Cv tells how close the jet comes to the speed without losses: 0.95 to 0.99 for a "
                "clean hole in a thin wall. Above 1 something is measured wrong, for losses only "
                "take away."
            ),
            marked(
                "A slope of speed gives back the g that went into the speeds, times Cv². It is no "
                "measurement of g; one that is news needs the clock: a drop marked as it falls, or "
                "the drain's own rate with the jet's width."
            ),
            marked(
                "Look at the residuals before you look at R². A bend means that the law, the zero of "
                "the head, or the angle of the jet is not what was assumed."
            ),
            marked(
                "What all readings share, such as the drop or a rule's scale, does not shrink with "
                "more frames. The bars tell you which measurement to better first."
            ),
        ),
    ),
    HelpPage(
        Step.HAND_IN,
        marked(
            "Tables, graphs, findings and a report are written together into a folder of your "
            "choice, all or none."
        ),
        (
            marked(
                "Say who read the film, and when and how it was filmed: a number without its story "
                "cannot be checked."
            ),
            marked(
                "Save the run as well and hand it in: whoever opens it sees your marks on the film and "
                "can follow each figure."
            ),
            marked("Say what you would better first, and by how much the uncertainty would shrink."),
        ),
    ),
)


def page_of(step: Step) -> HelpPage:
    """Return the page of one step."""
    return next(page for page in PAGES if page.step is step)


def help_html(step: Step) -> str:
    """Write a step's page as simple rich text."""
    page = page_of(step)
    parts = [f"<p><b>{escape(said(page.about))}</b></p>", _list(page.points)]
    if page.suggests_set_up:
        parts += [f"<p><b>{said(_CAUTIONS)}</b></p>", _list(CAUTIONS)]
    return "".join(parts)


def _list(points: tuple[str, ...]) -> str:
    items = "".join(f"<li style='margin-bottom:4px'>{escape(said(point))}</li>" for point in points)
    return f"<ul style='margin-left:-22px'>{items}</ul>"
