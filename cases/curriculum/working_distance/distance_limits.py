"""Family A, how far the distance may be out: how far one may drift, and from which plane one measures."""

from __future__ import annotations

from typing import Any

from cases.curriculum import skills
from cases.curriculum.steps import DISTANCE, VERGENCE, distance_in_dioptres, pick_distance, size
from cases.curriculum.working_distance import FAMILY
from cases.curriculum.working_distance.distance_backwards import ANY_DISTANCE, INVERT_DIOPTRES
from cases.evidence.thresholds import Threshold
from cases.figures.distances import distance_ruler
from cases.notation.prescription import rounded_power, write_distance, write_size
from cases.notation.sums import about
from cases.optics.lens import SphCyl
from cases.optics.vergence import vergence
from cases.procedure import quantities
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, asking, given
from cases.procedure.kinds import BadFinding
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

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
    "The trial lens is between the cornea and you, so you are nearer to the lens: subtract the vertex distance.",
)
FROM_CORNEA = SlipName(
    "measured-from-cornea",
    "measured from the cornea instead of the lens",
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

TOLERANCES = (0.125, 0.25, 0.375, 0.5)
CLOSE_TOLERANCES = (0.25, 0.375, 0.5, 0.75, 1.0)


ALLOWED = Field("allowed", "Error that is allowed, either way", quantities.SIZE.having(low=0.05, high=4))
NEAREST = Field("nearest", "Nearest distance", ANY_DISTANCE)
FARTHEST = Field("farthest", "Farthest distance", ANY_DISTANCE)
NEAR_VERGENCE = Key[float]("near_vergence", unit="D")
FAR_VERGENCE = Key[float]("far_vergence", unit="D")


def _draw_limits(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_distance(chance, settings)
    if not settings.fixed_distance and chance.happens(0.85):
        distance = chance.stepped(35, 100, {"novice": 1, "competent": 0.5, "expert": 0.5}[settings.level])
    near = vergence(distance) > 2.2
    return given(DISTANCE, ALLOWED).to(distance, chance.among(CLOSE_TOLERANCES if near else TOLERANCES))


@given(ALLOWED, DISTANCE)
def _begin_limits(allowed: float, distance_cm: float) -> None:
    if allowed >= vergence(distance_cm) - 0.05:
        raise BadFinding(
            allowed,
            f"the error allowed must be clearly less than the {size(vergence(distance_cm))} D of "
            f"{write_distance(distance_cm)}; at this distance one could walk away for ever",
        )


def _fine(power: float) -> str:
    """Write a vergence so that an eighth of a dioptre is seen: 0.125, 1.49, 2.25."""
    return write_size(power, 3).removesuffix("0")


def _limits(near: float, far: float) -> Rule[tuple[float, float]]:
    """Move the dioptres by this many times what is allowed for the near and for the far limit."""
    return given(VERGENCE, ALLOWED)(lambda vergence, allowed: (vergence + near * allowed, vergence + far * allowed))


@given(VERGENCE, ALLOWED, NEAR_VERGENCE, FAR_VERGENCE)
def _limits_words(vergence: float, allowed: float, near: float, far: float) -> str:
    def limit(moved: float) -> str:
        middle, change = (float(rounded_power(one, 3)) for one in (vergence, allowed))
        shown = middle + change if moved > vergence else middle - change
        return about(moved, shown, 3) + _fine(moved)

    return (
        f"{_fine(vergence)} with {_fine(allowed)} allowed: {limit(near)} D at the near limit, {limit(far)} D at the "
        "far one."
    )


@given(NEAR_VERGENCE, FAR_VERGENCE)
def _back_to_distance(near_vergence: float, far_vergence: float) -> tuple[float, float]:
    return (100 / near_vergence, 100 / far_vergence)


@given(NEAR_VERGENCE, DISTANCE)
def _same_both_ways(near_vergence: float, distance_cm: float) -> tuple[float, float]:
    nearest = 100 / near_vergence
    return (nearest, 2 * distance_cm - nearest)


def _distances_words(nearest: float, farthest: float) -> str:
    return f"{write_distance(nearest)} and {write_distance(farthest)}."


drift_allowed = CaseType(
    id="drift-allowed",
    title="How far one may drift",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group((DISTANCE, ALLOWED)),
    asks=(NEAREST, FARTHEST),
    draw=_draw_limits,
    holds=_begin_limits,
    steps=(
        distance_in_dioptres(exact=True),
        given(NEAR_VERGENCE, FAR_VERGENCE).step(
            SET_LIMITS,
            run=_limits(1, -1),
            says=_limits_words,
            slips=(Slip(LIMITS_SWAPPED, run=_limits(-1, 1), says=_limits_words),),
        ),
        given(NEAREST, FARTHEST).step(
            INVERT_DIOPTRES,
            run=_back_to_distance,
            says=given(NEAREST, FARTHEST)(
                lambda nearest, farthest: f"One over each, in centimetres: {_distances_words(nearest, farthest)}"
            ),
            slips=(
                Slip(
                    SAME_BOTH_WAYS,
                    run=_same_both_ways,
                    says=given(NEAREST, FARTHEST)(
                        lambda nearest, farthest: f"As far backward as forward: {_distances_words(nearest, farthest)}"
                    ),
                ),
                Slip(
                    skills.DRIFT_BY_CENTIMETRES,
                    run=given(DISTANCE, ALLOWED)(
                        lambda distance_cm, allowed: (distance_cm - 100 * allowed, distance_cm + 100 * allowed)
                    ),
                    says=given(ALLOWED, NEAREST, FARTHEST)(
                        lambda allowed, nearest, farthest: (
                            f"{_fine(allowed)} D taken as {100 * allowed:g} cm: {_distances_words(nearest, farthest)}"
                        )
                    ),
                    live=given(DISTANCE, ALLOWED)(
                        lambda distance_cm, allowed: distance_cm - 100 * allowed >= ANY_DISTANCE.low
                    ),
                ),
            ),
        ),
    ),
    answer=given(NEAREST, FARTHEST).by(
        given(NEAREST, FARTHEST)(lambda nearest, farthest: (_sane(nearest), _sane(farthest)))
    ),
    found=given(DISTANCE, ALLOWED)(
        lambda distance_cm, allowed: (
            f"The working distance is always taken as {write_distance(distance_cm)}.",
            f"The net may be wrong by {_fine(allowed)} D either way, no more.",
        )
    ),
    question=asking("With exact dioptres, to a centimetre: between which two distances must the sight hole stay?"),
    figure=given(DISTANCE).drawing(lambda uid, distance_cm: distance_ruler(actual_cm=distance_cm, uid=uid)),
    needs=("distance-drift", "vergence-distance"),
    sources=("computed",),
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
"""A difference in D that a trial lens can show: half a quarter-dioptre step."""

PLANE_POWER = quantities.POWER.having(exact=0.015, tolerance=0.03)

YES_OR_NO = Choice(
    (
        Option(
            "yes", "yes, by 0.12 D or more", "the two vergences differ by 0.12 D or more, as they do at short distances"
        ),
        Option(
            "no",
            "no, by less than 0.12 D",
            "the two vergences differ by less than 0.12 D, as they do at long distances",
        ),
    )
)

DISTANCE_CM = Field("distance_cm", "Working distance, cornea to sight hole", quantities.DISTANCE)
VERTEX = Field("vertex_mm", "Cornea to lens", quantities.MOVE.having(low=0, high=30), default=12.0)
POWER = Field("power", "Dioptres of the distance from the lens", PLANE_POWER)
MATTERS = Field("matters", "Does it matter from where one measures?", YES_OR_NO)
TO_LENS = Key[float]("to_lens", unit="cm")


def _draw_lens_plane(chance: Chance, settings: Settings) -> dict[str, Any]:
    near, far = (14, 30), (38, 80)
    vertex = chance.whole(10, 15) if settings.level == "novice" else chance.whole(10, 16)
    if settings.fixed_distance:
        return given(DISTANCE_CM, VERTEX).to(settings.distance_cm, float(vertex))
    return given(DISTANCE_CM, VERTEX).to(float(chance.whole(*chance.among((near, far)))), float(vertex))


@given(DISTANCE_CM, VERTEX)
def _begin_lens_plane(distance_cm: float, vertex_mm: float) -> None:
    if distance_cm - vertex_mm / 10 <= 2:
        raise BadFinding(vertex_mm, "the lens must be well between the cornea and the sight hole")


def _from_lens(distance_cm: float, centimetres: float) -> float:
    return distance_cm - centimetres


def _shows(times: float) -> Rule[bool]:
    """Say whether measuring from this many times the vertex distance before the cornea shows in the answer at all."""

    @given(VERTEX, DISTANCE_CM)
    def live(vertex_mm: float, distance_cm: float) -> bool:
        vertex = vertex_mm / 10
        right, wrong = (100 / (distance_cm - share * vertex) for share in (1, times))
        return bool(abs(right - wrong) > PLANE_POWER.tolerance)

    return live


@given(TO_LENS)
def _plane_words(to_lens: float) -> str:
    return f"From the lens to the sight hole: {write_distance(to_lens)}."


def _difference(off: float, distance_cm: float) -> float:
    return abs(float(off) - vergence(distance_cm))


lens_plane = CaseType(
    id="lens-plane",
    title="Measured from the lens or from the cornea",
    family=FAMILY,
    level="expert",
    seconds=25,
    findings=Group((DISTANCE_CM, VERTEX)),
    asks=(POWER, MATTERS),
    draw=_draw_lens_plane,
    holds=_begin_lens_plane,
    steps=(
        TO_LENS.step(
            FIND_LENS_PLANE,
            run=given(DISTANCE_CM, VERTEX)(lambda distance_cm, vertex_mm: _from_lens(distance_cm, vertex_mm / 10)),
            says=_plane_words,
            slips=(
                Slip(
                    LENS_FARTHER,
                    run=given(DISTANCE_CM, VERTEX)(
                        lambda distance_cm, vertex_mm: _from_lens(distance_cm, -vertex_mm / 10)
                    ),
                    says=_plane_words,
                    live=_shows(-1),
                ),
                Slip(
                    FROM_CORNEA,
                    run=given(DISTANCE_CM)(lambda distance_cm: _from_lens(distance_cm, 0)),
                    says=given(TO_LENS)(lambda to_lens: f"Measured from the cornea: {write_distance(to_lens)}."),
                    live=_shows(0),
                ),
                Slip(
                    skills.MILLIMETRES_AS_CENTIMETRES,
                    run=given(DISTANCE_CM, VERTEX)(lambda distance_cm, vertex_mm: _from_lens(distance_cm, vertex_mm)),
                    says=given(VERTEX, TO_LENS)(
                        lambda vertex_mm, to_lens: f"{vertex_mm:g} cm taken off: {write_distance(to_lens)}."
                    ),
                    live=given(VERTEX, DISTANCE_CM)(lambda vertex_mm, distance_cm: 0 < vertex_mm < distance_cm - 2),
                ),
            ),
        ),
        VERGENCE.step(
            skills.DISTANCE_IN_DIOPTRES,
            run=given(TO_LENS)(lambda to_lens: 100 / to_lens),
            says=given(TO_LENS, VERGENCE)(lambda to_lens, vergence: f"100 ÷ {to_lens:g} = {size(vergence)} D."),
            slips=(
                Slip(
                    skills.METRES_NOT_INVERTED,
                    run=given(TO_LENS)(lambda to_lens: to_lens / 100),
                    says=given(TO_LENS, VERGENCE)(
                        lambda to_lens, vergence: f"{write_distance(to_lens)} taken as {size(vergence)} D."
                    ),
                    live=given(TO_LENS)(lambda to_lens: abs(to_lens - 100) > 2),
                ),
            ),
        ),
        MATTERS.step(
            WEIGH_DIFFERENCE,
            run=given(VERGENCE, DISTANCE_CM)(
                lambda vergence, distance_cm: "yes" if _difference(vergence, distance_cm) >= WORTH_MINDING else "no"
            ),
            says=given(DISTANCE_CM, VERGENCE, MATTERS)(
                lambda distance_cm, off, matters: (
                    f"From the cornea it is {size(vergence(distance_cm))} D, a difference of "
                    f"{size(_difference(off, distance_cm))} D. "
                    + ("That matters." if matters == "yes" else "That does not matter.")
                )
            ),
            slips=(
                Slip(
                    MILLIMETRES_THOUGHT_NOTHING,
                    run=given()(lambda: "no"),
                    says=given(VERTEX)(lambda vertex_mm: f"{vertex_mm:g} mm taken for nothing."),
                    live=given(VERGENCE, DISTANCE_CM)(
                        lambda vergence, distance_cm: _difference(vergence, distance_cm) >= WORTH_MINDING
                    ),
                ),
                Slip(
                    MILLIMETRES_THOUGHT_MUCH,
                    run=given()(lambda: "yes"),
                    says=given(VERTEX)(lambda vertex_mm: f"{vertex_mm:g} mm taken for much."),
                    live=given(VERGENCE, DISTANCE_CM)(
                        lambda vergence, distance_cm: _difference(vergence, distance_cm) < WORTH_MINDING
                    ),
                ),
            ),
        ),
    ),
    answer=given(POWER, MATTERS).by(given(VERGENCE, MATTERS)(lambda vergence, matters: (vergence, matters))),
    found=given(DISTANCE_CM, VERTEX)(
        lambda distance_cm, vertex_mm: (
            f"Sight hole {write_distance(distance_cm)} from the cornea.",
            f"The trial lens is {vertex_mm:g} mm in front of the cornea.",
        )
    ),
    question=asking(
        "How many dioptres is the distance from the lens to the sight hole, to 0.01? And does that differ enough from "
        "the distance measured from the cornea to matter?"
    ),
    figure=given(DISTANCE_CM).drawing(
        lambda uid, distance_cm: distance_ruler(actual_cm=distance_cm, lens=SphCyl(0), uid=uid)
    ),
    needs=("distance-drift",),
    errors={DISTANCE_CM.name: 0.5},
    sources=("computed", "common-practice"),
)

THRESHOLDS = (Threshold(f"{WORTH_MINDING:.2f} D is what a trial lens can show"),)
TYPES = (drift_allowed, lens_plane)
