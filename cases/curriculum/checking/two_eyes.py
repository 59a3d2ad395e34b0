"""Family H, judgement and checking: the two eyes held against each other."""

from __future__ import annotations

from typing import Any

from cases.curriculum.checking import FAMILY
from cases.curriculum.checking.checking_steps import (
    ADD_BOTH,
    AGAIN_WITHOUT_CAUSE,
    DISTANCE_UNSEEN,
    HALVE_BOTH,
    JUDGE_LIMIT,
    RIVALS_APART,
    SIGN_AGAINST_LIMIT,
    subtract_means,
)
from cases.curriculum.checking.pair_of_eyes import LEFT, PAIR_AND_VERGENCE, RIGHT, eyes_figure, eyes_words
from cases.curriculum.drawn_eyes import as_recorded, first_fitting
from cases.curriculum.shared_keys import MEAN_DIFFERENCE
from cases.curriculum.steps import (
    DISTANCE,
    VERGENCE,
    mirrored,
    pick_distance,
    pick_lens,
    signed,
    size,
)
from cases.notation.prescription import write_distance
from cases.optics.axes import axis_of
from cases.optics.lens import SphCyl
from cases.optics.vergence import vergence_in_quarters, working_vergence
from cases.patients.patient import SIDES, Patient, Side
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Defensible
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Slip, asking, given
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

SPOT_DISTANCE = Skill("spot-distance", "spotting the working distance in a difference")

OTHER_EYE_SUSPECTED = SlipName(
    "other-eye-suspected",
    "suspected the wrong eye",
    "What was not taken off is plus. The eye that still includes it is the more plus one.",
)


ACTS = Choice(
    (
        Option(
            "keep",
            "keep both as they are",
            "the difference is below the clinic's limit and is not what the distance is worth",
        ),
        Option(
            "right-distance",
            "measure again: the right eye may still include the working distance",
            "the right eye is the more plus by about what the distance is worth",
        ),
        Option(
            "left-distance",
            "measure again: the left eye may still include the working distance",
            "the left eye is the more plus by about what the distance is worth",
        ),
        Option(
            "over-limit",
            "measure again: the difference reaches the clinic's limit, and is not what the distance is worth",
            "the difference reaches the clinic's limit and is not what the distance is worth",
        ),
    )
)

LIMIT = Field("limit", "Difference in mean power from which this clinic measures again", quantities.POWER, default=1.0)
MEAN = Field("mean", "Right mean power less left", quantities.POWER.having(exact=0.03, tolerance=0.06))
ACT = Field("act", "What now?", ACTS)
SUSPECT = Key[str | None]("suspect")


def fellow_eye(
    chance: Chance, settings: Settings, right: SphCyl, *, difference: float, cylinder_steps: tuple[float, ...]
) -> SphCyl:
    """Draw a left eye: its axis about the mirror image, its mean power this many D less than the right eye's."""
    step = 1 if settings.level == "expert" else 5
    axis = axis_of(mirrored(right.axis) + step * chance.whole(-2, 2))
    cylinder = right.cylinder + chance.among([by for by in cylinder_steps if right.cylinder + by <= -0.5])
    return SphCyl(right.spherical_equivalent - difference - cylinder / 2, cylinder, axis)


def _draw_two_eyes(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_distance(chance, settings)
    limit = settings.norm("anisometropia-check")
    return _of_a_patient(chance, settings, distance, limit) or _evenly_drawn(
        chance.among(SORTS), chance, settings, distance, limit
    )


def more_plus(lens: SphCyl, power: float) -> SphCyl:
    """Return a lens with this many dioptres more in every meridian."""
    return SphCyl(lens.sphere + power, lens.cylinder, lens.axis)


SORTS = ("distance", "distance", "keep", "over-limit")


def _of_a_patient(chance: Chance, settings: Settings, distance: float, limit: float) -> dict[str, Any] | None:
    """Draw both eyes of one patient; the distance is left in with one who has hardly a difference."""
    off = vergence_in_quarters(distance)
    most = 2.0 if settings.level == "novice" else 3.0
    holds: Side = chance.among(SIDES)
    left_in = chance.happens(0.75)
    form = settings.form if chance.happens(0.7) else chance.among(("minus", "plus"))

    def fits(patient: Patient) -> tuple[SphCyl, SphCyl] | None:
        right, left = (as_recorded(patient.eye(side).lens, settings) for side in SIDES)
        if not all(0.5 <= -one.cylinder <= most and one.strongest <= 8 for one in (right, left)):
            return None
        gap = right.spherical_equivalent - left.spherical_equivalent
        if abs(gap) <= 0.25 and left_in:
            return (more_plus(right, off), left) if holds == "right" else (right, more_plus(left, off))
        return (right, left) if gap and abs(abs(gap) - off) >= RIVALS_APART else None

    eyes = first_fitting(chance, settings, fits)
    if eyes is None:
        return None
    right, left = eyes
    return given(RIGHT, LEFT, DISTANCE, LIMIT).to(right.in_form(form), left.in_form(form), distance, limit)


def _evenly_drawn(sort: str, chance: Chance, settings: Settings, distance: float, limit: float) -> dict[str, Any]:
    off = vergence_in_quarters(distance)
    size = {
        "distance": off,
        "keep": chance.stepped(0.25, max(0.25, 0.25 * round(4 * limit) - 0.25)),
        "over-limit": 0.25 * round(4 * limit) + chance.stepped(0, 2.5),
    }[sort]
    if sort != "distance" and abs(size - off) < RIVALS_APART:
        size = off + RIVALS_APART if sort == "over-limit" else 0.25
    right = pick_lens(chance, settings, sphere=(-4, 4), cylinder=(0.5, 2.5))
    difference = chance.among((-1, 1)) * size
    left = fellow_eye(chance, settings, right, difference=difference, cylinder_steps=(-1, -0.5, 0.5, 1))
    form = settings.form if chance.happens(0.7) else chance.among(("minus", "plus"))
    return given(RIGHT, LEFT, DISTANCE, LIMIT).to(right.in_form(form), left.in_form(form), distance, limit)


@given(MEAN_DIFFERENCE, VERGENCE)
def _suspect(gap: float, off: float) -> str | None:
    if abs(abs(gap) - off) > RIVALS_APART / 2 + 1e-9:
        return None
    return "right" if gap > 0 else "left"


@given(MEAN_DIFFERENCE, VERGENCE, SUSPECT)
def _spotted(gap: float, off: float, suspect: str | None) -> str:
    if suspect is None:
        return f"That is not the {size(off)} D of the working distance."
    return f"{size(gap)} D is about what the distance is worth: was it left in the {suspect} eye, the more plus one?"


@given(SUSPECT, MEAN_DIFFERENCE, LIMIT)
def _reaches_the_limit(suspect: str | None, gap: float, limit: float) -> bool:
    """Leave out a difference of about the distance that is below the limit: by the clinic's rule both are kept."""
    return suspect is None or abs(gap) >= limit - 1e-9


@given(_reaches_the_limit)
def _defensible(reaches: bool) -> tuple[Defensible, ...]:
    """Credit the clinic's own rule where the difference is about the distance; common practice, no published source."""
    if reaches:
        return ()
    return (
        Defensible(
            ACT.to("keep"),
            0.6,
            "The difference is below this clinic's limit, and the two eyes of many people differ by as much.",
            "Add up the lenses in place at neutral: they tell whether the distance was taken off.",
        ),
    )


_suspected = given(_suspect)(lambda suspect: suspect is not None)


@given(SUSPECT, MEAN_DIFFERENCE, LIMIT)
def _act(suspect: str | None, gap: float, limit: float) -> str:
    if suspect:
        return f"{suspect}-distance"
    return "over-limit" if abs(gap) >= limit - 1e-9 else "keep"


@given(SUSPECT, ACT, MEAN_DIFFERENCE, LIMIT)
def _act_words(suspect: str | None, act: str, gap: float, limit: float) -> str:
    if suspect:
        return f"So measure again: the {suspect} eye may still include the working distance."
    if act == "keep":
        return f"{size(gap)} D is below this clinic's {size(limit)} D: keep both."
    return f"{size(gap)} D reaches this clinic's {size(limit)} D: measure again."


two_eyes = CaseType(
    id="two-eyes",
    title="The two eyes held against each other",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group((RIGHT, LEFT, DISTANCE, LIMIT)),
    asks=(MEAN, ACT),
    draw=_draw_two_eyes,
    begin=PAIR_AND_VERGENCE,
    steps=(
        HALVE_BOTH,
        ADD_BOTH,
        subtract_means("Right less left"),
        SUSPECT.step(
            SPOT_DISTANCE,
            run=_suspect,
            says=_spotted,
            slips=(
                Slip(
                    DISTANCE_UNSEEN,
                    run=given()(lambda: None),
                    says=given()(lambda: "Taken as a difference like any other."),
                    live=_suspected,
                ),
                Slip(
                    OTHER_EYE_SUSPECTED,
                    run=given(_suspect)(lambda suspect: "left" if suspect == "right" else "right"),
                    says=given(SUSPECT)(lambda suspect: f"The {suspect} eye suspected."),
                    live=_suspected,
                ),
            ),
        ),
        ACT.step(
            JUDGE_LIMIT,
            run=_act,
            says=_act_words,
            slips=(
                Slip(
                    SIGN_AGAINST_LIMIT,
                    run=given()(lambda: "keep"),
                    says=given(MEAN_DIFFERENCE, LIMIT)(
                        lambda gap, limit: f"{signed(gap)} taken as less than {size(limit)}."
                    ),
                    live=given(MEAN_DIFFERENCE, _act)(lambda gap, act: gap < 0 and act == "over-limit"),
                ),
                Slip(
                    AGAIN_WITHOUT_CAUSE,
                    run=given()(lambda: "over-limit"),
                    says=given()(lambda: "Measured again because the two differ at all."),
                    live=given(_act)(lambda act: act == "keep"),
                ),
            ),
        ),
    ),
    answer=given(MEAN, ACT).by(given(MEAN_DIFFERENCE, ACT)(lambda gap, act: (gap, act))),
    found=given(RIGHT, LEFT, DISTANCE, LIMIT)(
        lambda right, left, cm, limit: (
            *eyes_words(right, left),
            f"Both were measured from {write_distance(cm)}, which is worth {size(working_vergence(cm))} D.",
            f"This clinic measures again from a difference of {size(limit)} D in mean power.",
        )
    ),
    question=asking("By how much does the right eye's mean power exceed the left eye's (signed), and what now?"),
    figure=eyes_figure,
    needs=("spherical-equivalent",),
    defensible=_defensible,
    errors={"right": 0.25, "left": 0.25},
    undisputed=_reaches_the_limit,
    sources=("amblyopia-criteria", "leat-2011", "common-practice"),
)

TYPES = (two_eyes,)
