"""Family A, how far the distance may be out: how far one may drift, and from which plane one measures."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from cases import skills
from cases.casetype import CaseType, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.families.distance import FAMILY
from cases.families.distance_backwards import ANY_DISTANCE, INVERT_DIOPTRES
from cases.fields import Field, Group
from cases.figures_distance import distance_ruler
from cases.kinds import BadFinding, Distance, Power, Size
from cases.lens import SphCyl
from cases.millimetres import Move
from cases.notation import rounded_power, write_distance, write_size
from cases.steps import DISTANCE, distance_in_dioptres, pick_distance, size
from cases.sums import about
from cases.vergence import vergence
from cases.working import Known, Skill, Slip, SlipName, Step

SET_LIMITS = Skill("set-limits", "putting limits round a distance in dioptres")
FIND_LENS_PLANE = Skill("find-lens-plane", "measuring from the lens instead of from the cornea")
WEIGH_DIFFERENCE = Skill("weigh-difference", "saying whether a difference is large enough to matter")

LIMITS_SWAPPED = SlipName(
    "limits-swapped",
    "took more dioptres for farther away",
    "More dioptres is nearer. The near limit comes from the larger number, the far limit from the smaller.",
)
SAME_BOTH_WAYS = SlipName(
    "same-centimetres-both-ways",
    "allowed as many centimetres backward as forward",
    "The same dioptres are more centimetres behind you than before you: work out the far limit for itself.",
)
LENS_FARTHER = SlipName(
    "lens-plane-farther",
    "put the lens behind the cornea",
    "The trial lens stands between the cornea and you, so you are nearer to it: take its distance off.",
)
FROM_CORNEA = SlipName(
    "measured-from-cornea",
    "measured from the cornea though the lens stands before it",
    "What your lens has to match is the distance from the lens, and that is shorter.",
)
MILLIMETRES_THOUGHT_NOTHING = SlipName(
    "difference-thought-too-small",
    "took a few millimetres for nothing at a short distance",
    "Close in, a few millimetres are a good part of the way. Let the difference in dioptres decide.",
)
MILLIMETRES_THOUGHT_MUCH = SlipName(
    "difference-thought-too-large",
    "took a few millimetres for much at a long distance",
    "At arm's length a few millimetres hardly change one over the distance. Let the difference in dioptres decide.",
)


# --- how far one may drift ---------------------------------------------------------------------------------------

TOLERANCES = (0.125, 0.25, 0.5)
CLOSE_TOLERANCES = (0.25, 0.5, 1.0)


def _draw_limits(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_distance(chance, settings)
    near = vergence(distance) > 2.2
    return {"distance_cm": distance, "allowed": chance.among(CLOSE_TOLERANCES if near else TOLERANCES)}


def _begin_limits(findings: Known) -> dict[str, Any]:
    if findings["allowed"] >= vergence(findings["distance_cm"]) - 0.05:
        raise BadFinding(
            findings["allowed"],
            f"the error allowed must be clearly less than the {size(vergence(findings['distance_cm']))} D of "
            f"{write_distance(findings['distance_cm'])}; at this distance one could walk away for ever",
        )
    return {}


def _fine(power: float) -> str:
    """Write a vergence so that an eighth of a dioptre is seen: 0.125, 1.49, 2.25."""
    return write_size(power, 3).removesuffix("0")


def _limits(near: float, far: float) -> Callable[[Known], dict[str, Any]]:
    """Move the dioptres by so many times what is allowed for the near and for the far limit."""
    return lambda known: {
        "near_vergence": known["vergence"] + near * known["allowed"],
        "far_vergence": known["vergence"] + far * known["allowed"],
    }


def _limit(known: Known, name: str) -> str:
    middle, allowed = (float(rounded_power(known[one], 3)) for one in ("vergence", "allowed"))
    shown = middle + allowed if known[name] > known["vergence"] else middle - allowed
    return about(known[name], shown, 3) + _fine(known[name])


def _limits_words(known: Known) -> str:
    return (
        f"{_fine(known['vergence'])} with {_fine(known['allowed'])} allowed: {_limit(known, 'near_vergence')} D at the "
        f"near limit, {_limit(known, 'far_vergence')} D at the far one."
    )


def _back_to_distance(known: Known) -> dict[str, Any]:
    return {"nearest": 100 / known["near_vergence"], "farthest": 100 / known["far_vergence"]}


def _same_both_ways(known: Known) -> dict[str, Any]:
    nearest = 100 / known["near_vergence"]
    return {"nearest": nearest, "farthest": 2 * known["distance_cm"] - nearest}


def _distances_words(known: Known) -> str:
    return f"{write_distance(known['nearest'])} and {write_distance(known['farthest'])}."


drift_allowed = CaseType(
    id="drift-allowed",
    title="How far one may drift",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group((DISTANCE, Field("allowed", "Error that is allowed, either way", Size(low=0.05, high=4)))),
    asks=(
        Field("nearest", "Nearest distance", ANY_DISTANCE),
        Field("farthest", "Farthest distance", ANY_DISTANCE),
    ),
    draw=_draw_limits,
    begin=_begin_limits,
    steps=(
        distance_in_dioptres(exact=True),
        Step(
            SET_LIMITS,
            run=_limits(1, -1),
            says=_limits_words,
            slips=(Slip(LIMITS_SWAPPED, run=_limits(-1, 1), says=_limits_words),),
        ),
        Step(
            INVERT_DIOPTRES,
            run=_back_to_distance,
            says=lambda known: f"One over each, in centimetres: {_distances_words(known)}",
            slips=(
                Slip(
                    SAME_BOTH_WAYS,
                    run=_same_both_ways,
                    says=lambda known: f"As far backward as forward: {_distances_words(known)}",
                ),
                Slip(
                    skills.DRIFT_BY_CENTIMETRES,
                    run=lambda known: {
                        "nearest": known["distance_cm"] - 100 * known["allowed"],
                        "farthest": known["distance_cm"] + 100 * known["allowed"],
                    },
                    says=lambda known: (
                        f"{_fine(known['allowed'])} D taken as {100 * known['allowed']:g} cm: {_distances_words(known)}"
                    ),
                    live=lambda known: known["distance_cm"] - 100 * known["allowed"] >= ANY_DISTANCE.low,
                ),
            ),
        ),
    ),
    answer=lambda known: {"nearest": _sane(known["nearest"]), "farthest": _sane(known["farthest"])},
    found=lambda known: (
        f"The working distance is always taken as {write_distance(known['distance_cm'])}.",
        f"The net may be wrong by {_fine(known['allowed'])} D either way, no more.",
    ),
    question=lambda _: "With exact dioptres, to a centimetre: between which two distances must the sight hole stay?",
    figure=lambda known, uid: distance_ruler(actual_cm=known["distance_cm"], uid=uid),
    needs=("distance-drift", "vergence-distance"),
    sources=("Definition of vergence in air, ISO 13666; the bands are computed",),
)


def _sane(cm: float) -> float:
    """Return a distance that can be written down at all: a slip may lead beyond infinity.

    Raises
    ------
    OutOfRange
        When it does.
    """
    return ANY_DISTANCE.from_json(cm)


# --- from the lens or from the cornea ----------------------------------------------------------------------------

WORTH_MINDING = 0.12
"""A difference in D that a trial lens can show: half a quarter-dioptre step; common practice, no published source."""

PLANE_POWER = Power(exact=0.015, tolerance=0.03)

MATTERS = Choice((Option("yes", "yes, by 0.12 D or more"), Option("no", "no, by less than 0.12 D")))


def _draw_lens_plane(chance: Chance, settings: Settings) -> dict[str, Any]:
    near, far = (16, 28), (40, 60)
    vertex = 12 if settings.level == "novice" else chance.whole(12, 15)
    if settings.fixed_distance:
        return {"distance_cm": settings.distance_cm, "vertex_mm": float(vertex)}
    return {"distance_cm": float(chance.whole(*chance.among((near, far)))), "vertex_mm": float(vertex)}


def _begin_lens_plane(findings: Known) -> dict[str, Any]:
    if findings["distance_cm"] - findings["vertex_mm"] / 10 <= 2:
        raise BadFinding(findings["vertex_mm"], "the lens must stand well between the cornea and the sight hole")
    return {}


def _from_lens(known: Known, centimetres: float) -> dict[str, Any]:
    return {"to_lens": known["distance_cm"] - centimetres}


def _shows(times: float) -> Callable[[Known], bool]:
    """Say whether measuring from so many times the vertex distance before the cornea shows in the answer at all."""

    def live(known: Known) -> bool:
        vertex = known["vertex_mm"] / 10
        right, wrong = (100 / (known["distance_cm"] - share * vertex) for share in (1, times))
        return bool(abs(right - wrong) > PLANE_POWER.tolerance)

    return live


def _plane_words(known: Known) -> str:
    return f"From the lens to the sight hole: {write_distance(known['to_lens'])}."


def _difference(known: Known) -> float:
    return abs(float(known["vergence"]) - vergence(known["distance_cm"]))


lens_plane = CaseType(
    id="lens-plane",
    title="Measured from the lens or from the cornea",
    family=FAMILY,
    level="expert",
    seconds=25,
    findings=Group(
        (
            Field("distance_cm", "Working distance, cornea to sight hole", Distance()),
            Field("vertex_mm", "Cornea to lens", Move(low=0, high=30), default=12.0),
        )
    ),
    asks=(
        Field("power", "Dioptres of the distance from the lens", PLANE_POWER),
        Field("matters", "Does it matter from where one measures?", MATTERS),
    ),
    draw=_draw_lens_plane,
    begin=_begin_lens_plane,
    steps=(
        Step(
            FIND_LENS_PLANE,
            run=lambda known: _from_lens(known, known["vertex_mm"] / 10),
            says=_plane_words,
            slips=(
                Slip(
                    LENS_FARTHER,
                    run=lambda known: _from_lens(known, -known["vertex_mm"] / 10),
                    says=_plane_words,
                    live=_shows(-1),
                ),
                Slip(
                    FROM_CORNEA,
                    run=lambda known: _from_lens(known, 0),
                    says=lambda known: f"Measured from the cornea: {write_distance(known['to_lens'])}.",
                    live=_shows(0),
                ),
                Slip(
                    skills.MILLIMETRES_AS_CENTIMETRES,
                    run=lambda known: _from_lens(known, known["vertex_mm"]),
                    says=lambda known: f"{known['vertex_mm']:g} cm taken off: {write_distance(known['to_lens'])}.",
                    live=lambda known: 0 < known["vertex_mm"] < known["distance_cm"] - 2,
                ),
            ),
        ),
        Step(
            skills.DISTANCE_IN_DIOPTRES,
            run=lambda known: {"vergence": 100 / known["to_lens"]},
            says=lambda known: f"100 ÷ {known['to_lens']:g} = {size(known['vergence'])} D.",
            slips=(
                Slip(
                    skills.METRES_NOT_INVERTED,
                    run=lambda known: {"vergence": known["to_lens"] / 100},
                    says=lambda known: f"{write_distance(known['to_lens'])} taken as {size(known['vergence'])} D.",
                    live=lambda known: abs(known["to_lens"] - 100) > 2,
                ),
            ),
        ),
        Step(
            WEIGH_DIFFERENCE,
            run=lambda known: {"matters": "yes" if _difference(known) >= WORTH_MINDING else "no"},
            says=lambda known: (
                f"From the cornea it is {size(vergence(known['distance_cm']))} D, a difference of "
                f"{size(_difference(known))} D: {'it matters' if known['matters'] == 'yes' else 'it does not matter'}."
            ),
            slips=(
                Slip(
                    MILLIMETRES_THOUGHT_NOTHING,
                    run=lambda _: {"matters": "no"},
                    says=lambda known: f"{known['vertex_mm']:g} mm taken for nothing.",
                    live=lambda known: _difference(known) >= WORTH_MINDING,
                ),
                Slip(
                    MILLIMETRES_THOUGHT_MUCH,
                    run=lambda _: {"matters": "yes"},
                    says=lambda known: f"{known['vertex_mm']:g} mm taken for much.",
                    live=lambda known: _difference(known) < WORTH_MINDING,
                ),
            ),
        ),
    ),
    answer=lambda known: {"power": known["vergence"], "matters": known["matters"]},
    found=lambda known: (
        f"Sight hole {write_distance(known['distance_cm'])} from the cornea.",
        f"The trial lens stands {known['vertex_mm']:g} mm before the cornea.",
    ),
    question=lambda _: (
        "How many dioptres is the distance from the lens to the sight hole, to 0.01? And does that differ enough from "
        "the distance measured from the cornea to matter?"
    ),
    figure=lambda known, uid: distance_ruler(actual_cm=known["distance_cm"], lens=SphCyl(0), uid=uid),
    needs=("distance-drift",),
    sources=("Definition of vergence in air, ISO 13666; 0.12 D as what matters is common practice",),
)

TYPES = (drift_allowed, lens_plane)
