"""What is said about a calibration: assumptions made, and marks that do not fit together."""

from __future__ import annotations

import math

import numpy as np

from calibration.errors import CalibrationRemark
from calibration.facing import Facing
from calibration.joint import JointFit
from calibration.pixels import FloatArray
from calibration.plane import Plane, Slot
from calibration.rule_names import rule_words
from calibration.rules import Marks
from calibration.setup import Measures, Setup
from calibration.words import marked, said

_Z = 3.0
_LEANS = {
    True: marked("“{rule}” leans {lean:.1f}° from the plumb: stand it upright, or mark the plumb again"),
    False: marked(
        "“{rule}” leans {lean:.1f}° from the image’s vertical: stand it upright, or mark the plumb again"
    ),
}


def scale_remarks(
    plane: Plane, names: tuple[str, ...], table: FloatArray, fit: JointFit
) -> list[CalibrationRemark]:
    """Say which rules disagree in scale by more than their uncertainties.

    Parameters
    ----------
    plane : Plane
    names : tuple of str
    table : ndarray, shape (1 + 2 k, p)
        Parameters, and the parameters moved up and down by each source.
    fit : JointFit

    Returns
    -------
    list of CalibrationRemark
    """
    scales = plane.rule_scales(table)
    # A scale that its own error can bring to nought contradicts no other one.
    logs = np.log(np.where(scales > 0.0, scales, np.nan))
    k = (len(table) - 1) // 2
    joined = {(a, b) for a, b, _ in fit.equalities}
    remarks = []
    for a in range(len(names)):
        for b in range(a + 1, len(names)):
            pair = logs[:, a] - logs[:, b]
            u = float(np.linalg.norm(pair[1 : k + 1] - pair[k + 1 :]) / 2.0)
            if (a, b) not in joined and abs(pair[0]) > _Z * u:
                remarks.append(
                    CalibrationRemark(
                        "scale",
                        said(
                            "“{one}” and “{other}” disagree in scale by {apart:.2f} % (± {u:.2f} %): check "
                            "the values of their graduations, their behind_m and whether one of them is a "
                            "print that was resized",
                            one=names[a],
                            other=names[b],
                            apart=100 * abs(float(pair[0])),
                            u=100 * u,
                        ),
                    )
                )
    return remarks


def focal_remarks(setup: Setup, plane: Plane, focal_known: str) -> list[CalibrationRemark]:
    """Say when focal length, distance and rules contradict one another.

    Parameters
    ----------
    setup : Setup
    plane : Plane
    focal_known : str
        "lens", "distance" or "assumed".

    Returns
    -------
    list of CalibrationRemark
    """
    distance = setup.camera.distance_m
    implied = float(np.median(plane.rule_scales(plane.base[None])[0]))
    if distance is None:
        return []
    if focal_known == "lens":
        u = setup.camera.distance_u_m or 0.0
        if abs(implied - distance) > max(0.05 * distance, _Z * u):
            return [
                CalibrationRemark(
                    "camera",
                    said(
                        "camera.lens.focal_px and the rules put the camera {implied:.2f} m from the jet's "
                        "plane, camera.distance_m says {distance:.2f} m: one of them is wrong",
                        implied=implied,
                        distance=distance,
                    ),
                )
            ]
        return []
    ratio = plane.focal_px / max(setup.frame_size)
    if not 0.4 < ratio < 6.0:
        return [
            CalibrationRemark(
                "camera",
                said(
                    "with camera.distance_m {distance:g} m the rules make the focal length {ratio:.2g} "
                    "times the long side of the frame, which hardly any camera has: check the distance and "
                    "its unit",
                    distance=distance,
                    ratio=ratio,
                ),
            )
        ]
    return []


def depth_remarks(setup: Setup, typical_m: float, focal_known: str) -> list[CalibrationRemark]:
    """Say what it may cost that no distance is known.

    Parameters
    ----------
    setup : Setup
    typical_m : float
        Distance that the picture suggests, m.
    focal_known : str

    Returns
    -------
    list of CalibrationRemark
    """
    if setup.camera.distance_m is not None:
        if setup.camera.distance_u_m is None:
            return [CalibrationRemark("camera", said("camera.distance_u_m is not given: 2 % was taken"))]
        return []
    remarks = []
    gauge = setup.gauge_line.behind_m if setup.gauge_line else 0.0
    depths = [r.behind_m - gauge for r in setup.rules if r.measures is not Measures.THROW]
    cost = max((abs(d) for d in depths), default=0.0)
    at = said("{distance:.1f} m", distance=1.2)
    if math.isfinite(typical_m):
        at = said("{distance:.1f} m (suggested by focal length and rules)", distance=typical_m)
    distance = typical_m if math.isfinite(typical_m) else 1.2
    if cost > 0:
        says = said(
            "no camera.distance_m: nothing is corrected for depth. The water line lies {depth:.0f} mm "
            "before or behind the rule, which from {at} is {share:.1f} % of every head, and the level seems "
            "shifted by up to {shift:.0f} mm if the camera looks down by 5°. Measure the distance from lens "
            "to jet and give it.",
            depth=1000 * cost,
            at=at,
            share=100 * cost / distance,
            shift=1000 * cost * math.tan(math.radians(5)),
        )
    else:
        says = said(
            "no camera.distance_m: all is taken to lie in the jet's plane. A water line seen on the near "
            "wall of a tube 30 mm before that plane would, from {at}, cost {share:.1f} % of every head. "
            "Give camera.distance_m and the behind_m of rules and gauge_line.",
            at=at,
            share=100 * 0.03 / distance,
        )
    remarks.append(CalibrationRemark("depth", says))
    if focal_known == "assumed" and setup.rules:
        remarks.append(
            CalibrationRemark(
                "camera",
                said(
                    "neither distance nor lens is given: a focal length of {side} px, the long side of the "
                    "frame, was assumed for the perspective",
                    side=max(setup.frame_size),
                ),
            )
        )
    return remarks


def facing_remarks(setup: Setup, fit: JointFit | None, facing: Facing) -> list[CalibrationRemark]:
    """Say when the rules show a facing that the stated one denies.

    Parameters
    ----------
    setup : Setup
    fit : JointFit or None
    facing : Facing

    Returns
    -------
    list of CalibrationRemark
    """
    if fit is None:
        return []
    remarks = []
    for pull, angle, u, words in zip(
        fit.prior_pull,
        (facing.sideways_deg, facing.up_down_deg),
        facing.u_deg,
        (
            marked(
                "the rules show that the camera stands {angle:.1f}° ± {u:.1f}° off the perpendicular "
                "sideways; camera.facing_u_deg allows {allowed:g}°. The perspective was taken out; a lens "
                "that bends straight lines (camera.lens) can feign this."
            ),
            marked(
                "the rules show that the camera stands {angle:.1f}° ± {u:.1f}° off the perpendicular up and "
                "down; camera.facing_u_deg allows {allowed:g}°. The perspective was taken out; a lens that "
                "bends straight lines (camera.lens) can feign this."
            ),
        ),
        strict=True,
    ):
        if abs(pull) > _Z:
            remarks.append(
                CalibrationRemark(
                    "camera",
                    said(words, angle=abs(angle), u=u, allowed=setup.camera.facing_u_deg),
                )
            )
    return remarks


def lens_remarks(plane: Plane, bend_u: float) -> list[CalibrationRemark]:
    """Say when the graduations show a lens that bends more than one that need not be given.

    Parameters
    ----------
    plane : Plane
    bend_u : float
        How far a lens that was not given may bend; 0 when it was given.

    Returns
    -------
    list of CalibrationRemark
    """
    bend = float(plane.base[Slot.BEND])
    if bend_u == 0.0 or abs(bend) <= 2.0 * bend_u:
        return []
    return [
        CalibrationRemark(
            "lens",
            said(
                "the graduations lie as behind a lens that bends straight lines (k1 about {bend:.2f}, by "
                "which lengths at the side of the frame are off by several per cent). Most of it was taken "
                "out; film through a plainer lens, keep to the middle of the frame, or calibrate the lens "
                "and give camera.lens.",
                bend=bend,
            ),
        )
    ]


def plumb_remarks(setup: Setup, plumb: FloatArray, marks: Marks, roll_u: float) -> list[CalibrationRemark]:
    """Say when the vertical is assumed, upside down, or contradicted by the upright rule.

    Parameters
    ----------
    setup : Setup
    plumb : ndarray, shape (2, 2)
        Ends used, px.
    marks : Marks
    roll_u : float
        Standard uncertainty of the vertical, rad.

    Returns
    -------
    list of CalibrationRemark
    """
    remarks = []
    down = plumb[1] - plumb[0]
    down = down / np.hypot(*down)
    if setup.plumb is None:
        remarks.append(
            CalibrationRemark(
                "plumb",
                said(
                    "no plumb is marked: the vertical of the image was taken for the vertical, give or take "
                    "{roll:.1f}°. Mark a hanging thread or the edge of a wall.",
                    roll=math.degrees(roll_u),
                ),
            )
        )
    elif down[1] < 0:
        remarks.append(
            CalibrationRemark(
                "plumb",
                said("plumb.top_px lies lower in the frame than plumb.bottom_px: were they swapped?"),
            )
        )
    for r, rule in enumerate(setup.rules):
        if rule.measures is not Measures.HEAD:
            continue
        lean = math.degrees(
            math.asin(min(1.0, abs(float(marks.along[r][0] * down[1] - marks.along[r][1] * down[0]))))
        )
        if lean > 2.0:
            remarks.append(
                CalibrationRemark(
                    marks.names[r],
                    said(_LEANS[setup.plumb is not None], rule=rule_words(marks.names[r]), lean=lean),
                )
            )
    return remarks
