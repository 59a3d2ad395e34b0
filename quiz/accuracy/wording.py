"""The patterns of the accuracy log in words: title, numbers, what would explain them, and the practice for it.

Optics of looking off the axis: the meridian that holds the tilt turns the more myopic, so standing to the side adds
minus cylinder axis 90 (J0 falls in either eye, whichever side it is) and standing above or below adds minus cylinder
axis 180 (J0 rises in either eye); see cases.optics.schematic_eye.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import date

import numpy as np

from cases.notation.plurals import counted
from cases.notation.prescription import write_distance, write_power, write_size
from cases.optics.tolerances import AXIS_AGREEMENT
from cases.optics.vergence import USUAL_CM
from quiz.accuracy.patterns import USUAL_SD, YOUNG_EYE_PLUS, Distance, Evidence, explaining_angle, mean_end_point
from quiz.accuracy.statistics import Agreement

AT_A_GLANCE = 0.1
"""A mean cylinder component of the eyes themselves, in D, from which it is worth naming as another explanation."""


Told = tuple[str, str, str, str]
"""Title, what the numbers are, what would explain them (the likeliest first), and the key of the practice."""


def signed_interval(mean: float, low: float, high: float) -> str:
    """Write a value in D with its 95 % interval."""
    return f"{write_power(mean)} D (95 %: {write_power(low)} to {write_power(high)} D)"


def span_words(agreement: Agreement) -> str:
    """Write the interval of a mean as a span."""
    interval = agreement.mean_interval
    return f"{write_power(interval.low)} and {write_power(interval.high)} D"


def distance_words(distance: Distance) -> str:
    """Write the distance that would explain the shift, with its 95 % interval."""
    low, high = distance.interval
    if distance.cm is None:
        return "no distance, however far, would explain it"
    return f"{write_distance(distance.cm)} ({_span_cm(low, high)})"


def _span_cm(low: float, high: float) -> str:
    return f"95 %: {write_distance(low)} {'or more' if math.isinf(high) else 'to ' + write_distance(high)}"


def allowed_words(distance: Distance) -> str:
    """Write the distance that was allowed for."""
    return f"{write_distance(distance.allowed_cm)}{' (mostly)' if distance.several else ''}"


def left_in(evidence: Evidence) -> Told:
    """Tell of eyes that are off by about their own working distance."""
    left = sum(sign > 0 for _, sign in evidence.forgotten)
    twice = len(evidence.forgotten) - left
    says = [f"{counted(left, 'eye')} read too plus by about the working distance"] if left else []
    says += [f"{counted(twice, 'eye')} read too minus by about the working distance"] if twice else []
    means = ["left in"] if left else []
    means += ["taken off twice"] if twice else []
    return (
        "A working distance forgotten or taken twice",
        f"{' and '.join(says)}, far from all other eyes of the log.",
        f"The working distance was perhaps {' or '.join(means)}: a slip on one patient, not a habit of measuring. Look "
        "these rows up first.",
        "left-in",
    )


def _distance(evidence: Evidence) -> Told:
    M, distance = evidence.M, evidence.distance
    if M is None or distance is None:
        raise ValueError("a distance is claimed of a log that has none")
    plus = M.mean > 0
    says = (
        f"Retinoscopy reads too {'plus' if plus else 'minus'} by "
        f"{signed_interval(M.mean, M.mean_interval.low, M.mean_interval.high)} on the whole."
    )
    work = float(np.average(100 / evidence.used.distance_cm, weights=evidence.used.weight))
    if M.mean_interval.low <= math.copysign(work, M.mean) <= M.mean_interval.high:
        way = "left in" if plus else "taken off twice"
        return (
            f"The whole working distance {way}",
            says,
            f"That is the size of the working distance itself, {write_size(work)} D: it was perhaps {way} throughout.",
            "left-in",
        )
    title = f"Retinoscopy reads too {'plus' if plus else 'minus'} on the whole"
    if distance.cm is None or not USUAL_CM[0] <= distance.cm <= USUAL_CM[1]:
        return (
            title,
            says,
            "No usual working distance explains a shift of this size: look at how the net is worked out, and at the "
            "fixation and the end-point.",
            "nearer",
        )
    causes = [
        f"a sight hole at {distance_words(distance)}, where {allowed_words(distance)} was allowed for",
        *(_plus_causes(evidence) if plus else _minus_causes()),
    ]
    suggests = (
        f"Causes that fit, in no order: {'; '.join(causes)}. M alone cannot separate them. Measure your distance "
        "with a tape before you change it."
    )
    if not plus and not (np.nan_to_num(evidence.used.accommodates, nan=1.0) == 0).all() and evidence.groups is None:
        suggests += " The log has too few eyes without accommodation to separate fixation from distance."
    if any(evidence.claims(f"cylinder-{one}") for one in ("level", "mirrored", "uneven", "oblique")):
        suggests += (
            " The cylinder is off as well (see below): looking in off the axis moves M too, in a direction that "
            "differs from eye to eye, so mend that first."
        )
    return title, says, suggests, "nearer"


def _plus_causes(evidence: Evidence) -> list[str]:
    causes = ["a subjective that stopped short of its most plus"]
    low = evidence.M.mean_interval.low if evidence.M else math.inf
    if low <= YOUNG_EYE_PLUS and not (evidence.used.young == 0).all():
        causes.append(
            f"the young eye itself, in which retinoscopy is held to read up to {YOUNG_EYE_PLUS:.2f} D more plus "
            "(common practice; a study of 192 young adults found no such difference)"
        )
    return causes


def _minus_causes() -> list[str]:
    return [
        "a patient who looks at you instead of far away",
        "a chart at 6 m, which alone accounts for −0.17 D",
        "a subjective given too much plus",
    ]


def _angle_words(cylinder: float, evidence: Evidence) -> str:
    least, most = explaining_angle(cylinder)
    at = float(np.average(evidence.used.distance_cm, weights=evidence.used.weight))
    near, far = at * math.tan(math.radians(least)), None if most is None else at * math.tan(math.radians(most))
    angles = f"{least:g}° or more" if most is None else f"{least:g}° to {most:g}°"
    way = f"{near:.0f} cm or more" if far is None else f"{near:.0f} to {far:.0f} cm"
    return f"in a usual eye it takes about {angles} off the axis, {way} at this distance (eyes scatter threefold)"


def _own_cylinder(shift: float, own: float, names: tuple[str, str]) -> str:
    """Name the other explanation of a shift along the cylinders that the eyes have anyway."""
    if abs(own) < AT_A_GLANCE:
        return ""
    kind = names[0] if own > 0 else names[1]
    way = "too strong" if shift * own > 0 else "too weak"
    return (
        f" These eyes have cylinder {kind} on the whole, so taking every cylinder a little {way} would look the same."
    )


def _level(evidence: Evidence) -> Told:
    J0 = 0.0 if evidence.mirrored is None else float(evidence.mirrored[1])
    cylinder, axis = 2 * abs(J0), 180 if J0 > 0 else 90
    says = (
        f"Both eyes come out with {cylinder:.2f} D more minus cylinder at axis {axis} than the end-point (J0 "
        f"{write_power(J0)} D)."
    )
    place = "from above or below" if J0 > 0 else "from the side"
    suggests = (
        f"Looking in {place} does that in either eye, whichever side it is: {_angle_words(cylinder, evidence)}."
        + _own_cylinder(J0, float(mean_end_point(evidence.used)[1]), ("with the rule", "against the rule"))
    )
    return f"As if seen {place}", says, suggests, "height" if J0 > 0 else "side"


def _mirrored(evidence: Evidence) -> Told:
    J45 = 0.0 if evidence.mirrored is None else float(evidence.mirrored[2])
    right, left = (45, 135) if J45 > 0 else (135, 45)
    side = "temporal" if J45 > 0 else "nasal"
    other = "nasal" if J45 > 0 else "temporal"
    says = (
        f"More minus cylinder of {2 * abs(J45):.2f} D: in right eyes at axis {right}, in left eyes, mirrored, at axis "
        f"{left} (J45 {write_power(J45)} D as in a right eye)."
    )
    suggests = (
        f"Looking off axis does that when the direction is the same for both eyes: from above and the {side} side, or "
        f"from "
        f"below and the {other} side; {_angle_words(2 * J45, evidence)}."
    )
    return "As if seen off axis, mirrored in the two eyes", says, suggests, "askew"


def _uneven(evidence: Evidence) -> Told:
    gap = 0.0 if evidence.uneven is None else float(evidence.uneven[1])
    eye = "right" if gap < 0 else "left"
    says = f"Right less left, J0 differs by {write_power(gap)} D: the {eye} eye has the more minus cylinder at axis 90."
    suggests = (
        f"The {eye} eye was perhaps seen more from the side than the other, or the other more from above. That "
        f"happens when one "
        "place serves for both eyes, so that one is seen from the temporal and one from the nasal side. The visual "
        "axis is not the optical one, so the two sides differ."
    )
    return "The two eyes’ cylinders differ, level or upright", says, suggests, "side"


def _oblique(evidence: Evidence) -> Told:
    J45 = 0.0 if evidence.uneven is None else float(evidence.uneven[2]) / 2
    axis = 45 if J45 > 0 else 135
    side, other = ("left", "right") if J45 > 0 else ("right", "left")
    says = (
        f"Both eyes come out with {2 * abs(J45):.2f} D more minus cylinder at axis {axis} (J45 {write_power(J45)} D "
        "in both, not mirrored)."
    )
    suggests = (
        f"Looking in askew from one place for both eyes does that: from above and your {side}, or from below "
        f"and your {other}."
    )
    own = float(mean_end_point(evidence.used)[1])
    if abs(own) >= AT_A_GLANCE:
        turn = math.degrees(J45 / (2 * own))
        way = "anticlockwise" if turn > 0 else "clockwise"
        suggests += (
            f" So does a trial frame or a head that is turned: with the cylinder that these eyes have, all axes about "
            f"{abs(turn):.0f}° {way}. See the chart of the axes: turned equally at every strength of cylinder, or most "
            "in the weak ones."
        )
    return "Axes turned the same way in both eyes", says, suggests, "turned"


def _eyes_differ(evidence: Evidence) -> Told:
    gap = 0.0 if evidence.uneven is None else float(evidence.uneven[0])
    eye = "right" if gap > 0 else "left"
    says = (
        f"Right less left, M differs by {write_power(gap)} D from what the end-points say: the {eye} eye is read "
        "the more plus."
    )
    suggests = (
        f"You perhaps come nearer for the {eye} eye, with another hand and another eye of your own; or the other eye "
        "accommodates while you work on it, when your head hides the chart or its fellow is not fogged."
    )
    return "The two eyes are measured differently", says, suggests, "one-eye"


def _accommodation(evidence: Evidence) -> Told:
    if evidence.groups is None:
        raise ValueError("accommodation is claimed of a log without the two groups")
    playing, resting = evidence.groups
    says = (
        f"Dry and under 40, M differs from the end-point by {write_power(playing.mean)} D on the whole; under "
        f"cycloplegia or from 40 on by {write_power(resting.mean)} D."
    )
    suggests = (
        "The eyes that can accommodate read the more minus: they perhaps looked at you, at the light, or at a target "
        "that is not far enough, or the other eye was not fogged. Local rules say when cycloplegia is called for."
    )
    return "More minus where accommodation is in play", says, suggests, "accommodation"


def _drift(evidence: Evidence) -> Told:
    line = evidence.line
    if line is None:
        raise ValueError("a drift is claimed of a log without a line")
    first, last = float(evidence.used.day.min()), float(evidence.used.day.max())
    begun, ended = (date.fromordinal(round(day)).isoformat() for day in (first, last))
    says = (
        f"Along a straight line, M went from {write_power(line.value(first))} D on {begun} to "
        f"{write_power(line.value(last))} D on {ended}."
    )
    way = "nearer" if line.slope > 0 else "farther"
    suggests = (
        f"Something changed with time: the place you take up (it would have moved {way}), the end-point, the lenses, "
        "or the patients who come. Measure your distance again."
    )
    return "M has drifted", says, suggests, "nearer"


def _scatter(evidence: Evidence) -> Told:
    sd = 0.0 if evidence.M is None else evidence.M.sd
    others = any(evidence.claims(one) for one in ("distance", "eyes-differ", "accommodation", "drift"))
    says = (
        f"Single eyes scatter by {sd:.2f} D (SD of M) about your mean; one examiner who repeated the measure scattered "
        f"by {USUAL_SD:.2f} D in a published study."
    )
    suggests = (
        ("Beside the shift, " if others else "There is no shift that would say in which direction to look, but ")
        + "repeated measures disagree more than need be: take the end-point twice, from the with and the against side, "
        "and average only measures that agree."
    )
    return "Wide scatter", says, suggests, "scatter"


def _axis_scatter(evidence: Evidence) -> Told:
    within, of = evidence.axes_within or (0, 0)
    degrees, share, least = AXIS_AGREEMENT
    says = (
        f"In {within} of {of} eyes with {least:g} D of cylinder or more (one a patient) your axis lies within "
        f"{degrees:g}° of the end-point’s; of two examiners’ axes {100 * share:.0f} % did so in a published study."
    )
    suggests = (
        "Check the axis by straddling it and by the thickness and the break of the streak, most of all where "
        "the cylinder is weak."
    )
    return "Axes scatter", says, suggests, "axis"


def _vector(evidence: Evidence) -> Told:
    vector = evidence.vector
    if vector is None or evidence.mirrored is None:
        raise ValueError("a mean vector is claimed of a log without one")
    M, J0, J45 = (write_power(float(one)) for one in evidence.mirrored)
    says = (
        f"The mean difference as a lens is not zero (M {M}, J0 {J0}, J45 {J45} D as in a right eye; T² = "
        f"{vector.t_squared:.1f})."
    )
    return (
        "A bias that no one pattern explains",
        says,
        "Sphere and cylinder together are off, but neither alone clearly so. More eyes are needed.",
        "any",
    )


TELL: dict[str, Callable[[Evidence], Told]] = {
    "distance": _distance,
    "eyes-differ": _eyes_differ,
    "accommodation": _accommodation,
    "cylinder-level": _level,
    "cylinder-mirrored": _mirrored,
    "cylinder-uneven": _uneven,
    "cylinder-oblique": _oblique,
    "drift": _drift,
    "axis-scatter": _axis_scatter,
    "scatter": _scatter,
    "mean-vector": _vector,
}
"""By test, the pattern that most explains first."""
