"""Family H: the written result and the unaided vision disagree; which slip explains it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from cases.curriculum.checking import FAMILY
from cases.curriculum.checking.blur_and_vision import (
    ACCOMMODATION,
    ACCOMMODATION_FORGOTTEN,
    ALLOW_ACCOMMODATION,
    MAR_SOURCE,
    not_cleared,
    range_words,
)
from cases.curriculum.checking.checking_steps import NAME_CAUSE
from cases.curriculum.steps import DISTANCE, VERGENCE, as_written, pick_axis, pick_distance, size
from cases.figures.lenses import power_cross
from cases.notation.prescription import write_distance
from cases.optics.lens import SphCyl
from cases.optics.schematic_eye import expected_mar
from cases.optics.vergence import vergence_in_quarters, working_vergence
from cases.procedure.case_type import CannotDraw, CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, as_found, asking, given
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

COMPARE_VISION = Skill("compare-vision", "holding a recorded vision against the one to expect")
TRY_SLIPS = Skill("try-slips", "trying which slip would explain a vision")

LARGER_IS_BETTER = SlipName(
    "larger-number-read-as-better",
    "read the larger number under the line as the better vision",
    "6/24 is worse than 6/12: the letter that could just be read was twice as large.",
)
CLOSE_ENOUGH = SlipName(
    "vision-called-close-enough",
    "called vision and finding a fit",
    "More than a line beyond the whole range is no fit. Ask what would bring the two together.",
)
DISTANCE_TRIED_BACKWARDS = SlipName(
    "distance-tried-backwards",
    "put a distance that was left in back the wrong way",
    "If the distance was left in, the true eye is less plus than written; if it came off twice, more plus.",
)
AXIS_BLAMED = SlipName(
    "axis-blamed-for-vision",
    "blamed the axis for an unaided vision",
    "Turn the axis as you like: mean and cylinder stay, and so does the blur without spectacles.",
)
EXPLAINED_AWAY = SlipName(
    "vision-explained-away",
    "put a poor vision down to the working distance though that would not explain it",
    "Work the suspect through: even so the vision should be better. What no refraction explains needs examining.",
)
SENT_ON_UNCHECKED = SlipName(
    "own-slip-not-tried",
    "looked for disease before trying the slips of your own working",
    "One slip of the working explains the vision. Put that right first, then see whether anything is left to explain.",
)

LINE = 1.25
"""One line of a logarithmic chart, as a ratio: so much beyond the range still counts as a fit."""

LINES = {"6-6": 6.0, "6-9": 9.0, "6-12": 12.0, "6-18": 18.0, "6-24": 24.0, "6-36": 36.0, "6-60": 60.0, "6-120": 120.0}
VISIONS = Choice(tuple(Option(name, f"6/{below:g}") for name, below in LINES.items()))
FITS_OR_NOT = Choice(
    (
        Option("fits", "they fit"),
        Option("better", "the vision is better than the result allows"),
        Option("worse", "the vision is worse than the result explains"),
    )
)
REFLEXES = Choice((Option("steady", "steady"), Option("unsteady", "changing while the streak stood still")))
CAUSES = Choice(
    (
        Option("none", "nothing: there is nothing to explain"),
        Option("left-in", "the working distance left in"),
        Option("twice", "the working distance taken off twice"),
        Option("sign", "the sign of the sphere written wrongly"),
        Option("accommodated", "accommodation while it was measured"),
        Option("axis", "the axis"),
        Option("elsewhere", "no slip: something other than the refraction"),
        Option("again", "none of these alone: measure again"),
    )
)

RX = Field("rx", "Net result as written down", Lens())
VISION = Field("vision", "Unaided vision", VISIONS)
REFLEX = Field("reflex", "The reflex during the measurement", REFLEXES, default="steady")
FITS = Field("fits", "Vision and result", FITS_OR_NOT)
CAUSE = Field("cause", "What explains it best?", CAUSES)
MAR = Key[float]("mar")
"""The smallest angle that the recorded vision stands for, in minutes."""
EXPECTED = Key[tuple[float, float]]("expected")
"""The (best, worst) smallest angle to expect, in minutes."""
EXPLAINING = Key[tuple[str, ...]]("explaining")
"""The slips that would explain the vision."""


@dataclass(frozen=True)
class Suspect:
    """One slip that may be in a written result, and the eye that it would mean."""

    id: str
    words: str
    eye: SphCyl


def suspects(rx: SphCyl, off: float) -> tuple[Suspect, ...]:
    """Work out the eye that each slip would mean, from what is written and what the distance is worth in D."""
    return (
        Suspect("left-in", "distance left in", SphCyl(rx.sphere - off, rx.cylinder, rx.axis)),
        Suspect("twice", "distance off twice", SphCyl(rx.sphere + off, rx.cylinder, rx.axis)),
        Suspect("sign", "sign of the sphere wrong", SphCyl(-rx.sphere or 0.0, rx.cylinder, rx.axis)),
    )


def mar_range(eye: SphCyl, accommodation: float) -> tuple[float, float]:
    """Return the (best, worst) smallest angle in minutes to expect of an eye that clears what plus it can."""
    mean = eye.spherical_equivalent
    cleared = SphCyl(eye.sphere + not_cleared(mean, accommodation) - mean, eye.cylinder, eye.axis)
    return expected_mar(cleared)


def held_against(mar: float, expected: tuple[float, float]) -> str:
    """Say whether a vision (MAR in minutes) fits a range, is better or is worse by more than a line."""
    best, worst = expected
    if mar < best / LINE - 1e-9:
        return "better"
    return "worse" if mar > worst * LINE + 1e-9 else "fits"


def _explaining(rx: SphCyl, mar: float, accommodation: float, off: float) -> tuple[str, ...]:
    return tuple(
        one.id
        for one in suspects(rx, off)
        if one.eye != rx and held_against(mar, mar_range(one.eye, accommodation)) == "fits"
    )


def _tried(sign: int) -> Rule[tuple[str, ...]]:
    return given(RX, MAR, ACCOMMODATION, VERGENCE)(
        lambda rx, mar, accommodation, off: _explaining(rx, mar, accommodation, sign * off)
    )


@given(ACCOMMODATION, RX, VERGENCE, EXPLAINING)
def _tried_words(accommodation: float, rx: SphCyl, off: float, explaining: tuple[str, ...]) -> str:
    told = "; ".join(
        f"{one.words}, {as_written(one.eye)}, {range_words(mar_range(one.eye, accommodation))}"
        for one in suspects(rx, off)
    )
    named = [one.words for one in suspects(rx, off) if one.id in explaining]
    return f"Try each slip: {told}. {' and '.join(named).capitalize() or 'None of them'} would explain it."


@given(RX, VERGENCE, EXPLAINING)
def _backwards_words(rx: SphCyl, off: float, explaining: tuple[str, ...]) -> str:
    named = [one.words for one in suspects(rx, off) if one.id in explaining]
    return f"The distance put back the wrong way round: {' and '.join(named) or 'no slip'} would explain it."


_fits = given(MAR, EXPECTED)(held_against)
_unfit = given(_fits)(lambda fits: fits != "fits")
_disagrees = given(FITS)(lambda fits: fits != "fits")


@given(FITS, REFLEX, EXPLAINING)
def _cause(fits: str, reflex: str, explaining: tuple[str, ...]) -> str:
    if fits == "fits":
        return "none"
    if fits == "better" and reflex == "unsteady":
        return "accommodated"
    if len(explaining) == 1:
        return explaining[0]
    return "elsewhere" if fits == "worse" and not explaining else "again"


_CAUSE_WORDS = {
    "none": "They fit, so there is nothing to explain.",
    "left-in": "The distance was left in: take it off.",
    "twice": "The distance came off twice: put it back once.",
    "sign": "The sphere has the wrong sign: look at the lens again.",
    "accommodated": (
        "The reflex was not steady and the result is too minus: the patient accommodated. Fog, and measure again."
    ),
    "axis": "The axis blamed.",
    "elsewhere": (
        "No slip of the working explains so poor a vision. Try a pinhole, look at media and fundus, and refer by the "
        "local path."
    ),
    "again": "No one slip explains it: measure again.",
}


_cause_words = given(CAUSE)(lambda cause: _CAUSE_WORDS[cause])


# --- drawing -----------------------------------------------------------------------------------------------------

SORTS = ("none", "left-in", "left-in", "twice", "sign", "accommodated", "elsewhere")
CANDIDATES = 400
"""Results tried for one sort before it is given up; at an ordinary distance some seventy have been enough."""


def _draw(chance: Chance, settings: Settings) -> dict[str, Any]:
    sort = chance.among(SORTS)
    for _ in range(CANDIDATES):
        findings = _candidate(sort, chance, settings)
        if vision_disagrees.case(findings).truth["cause"] == sort and RX.get(findings).strongest <= 4:
            return findings
    # Very close in, the distance is worth more than any result that is drawn here could hold.
    raise CannotDraw("vision-disagrees", f"of the sort “{sort}”")


def _candidate(sort: str, chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_distance(chance, settings)
    off = vergence_in_quarters(distance)
    cylinder = 0.0 if settings.level == "novice" or chance.happens(0.3) else -chance.stepped(0.25, 1.25)
    eye = SphCyl(chance.stepped(-3, 3), cylinder, pick_axis(chance, settings))
    shift = {"left-in": off, "twice": -off, "sign": -2 * eye.sphere, "accommodated": -chance.stepped(1, 3)}.get(sort, 0)
    accommodation = chance.stepped(1, 8, 1)
    if sort == "accommodated":
        # No eye comes out too minus by more than it can accommodate.
        accommodation = max(accommodation, math.ceil(-shift))
    best, worst = mar_range(eye, accommodation)
    seen = [name for name, below in LINES.items() if best / 1.1 <= below / 6 <= worst * 1.1]
    if sort == "elsewhere":
        seen = [name for name, below in LINES.items() if below / 6 > 2 * worst]
    return given(RX, VISION, ACCOMMODATION, DISTANCE, REFLEX).to(
        SphCyl(eye.sphere + shift, cylinder, eye.axis),
        chance.among(seen or ["6-6"]),
        accommodation,
        distance,
        "unsteady" if sort == "accommodated" else "steady",
    )


vision_disagrees = CaseType(
    id="vision-disagrees",
    title="Vision and result held against each other",
    family=FAMILY,
    level="expert",
    seconds=40,
    findings=Group((RX, VISION, ACCOMMODATION, DISTANCE, REFLEX)),
    asks=(FITS, CAUSE),
    draw=_draw,
    # Nothing explains a vision until the slips have been tried, which where it fits they never are.
    begin=given(MAR, VERGENCE, EXPLAINING).by(
        given(VISION, DISTANCE)(lambda vision, cm: (LINES[vision] / 6, working_vergence(cm), ()))
    ),
    steps=(
        EXPECTED.step(
            ALLOW_ACCOMMODATION,
            run=given(RX, ACCOMMODATION)(mar_range),
            says=given(RX, EXPECTED)(
                lambda rx, expected: (
                    f"{as_written(rx)}, as far as it cannot be cleared, goes with {range_words(expected)}."
                )
            ),
            slips=(
                Slip(
                    ACCOMMODATION_FORGOTTEN,
                    run=given(RX)(lambda rx: mar_range(rx, 0.0)),
                    says=given(EXPECTED)(lambda expected: f"All of the plus counted as blur: {range_words(expected)}."),
                    live=given(RX, ACCOMMODATION)(
                        lambda rx, accommodation: rx.spherical_equivalent > 0 and accommodation > 0
                    ),
                ),
            ),
        ),
        FITS.step(
            COMPARE_VISION,
            run=_fits,
            says=given(VISION, FITS)(
                lambda vision, fits: {
                    "fits": f"{VISIONS.write(vision)} lies within that, give or take a line.",
                    "better": f"{VISIONS.write(vision)} is better than that by more than a line.",
                    "worse": f"{VISIONS.write(vision)} is worse than that by more than a line.",
                }[fits]
            ),
            slips=(
                Slip(
                    LARGER_IS_BETTER,
                    run=given(_fits)(lambda fits: {"better": "worse", "worse": "better"}[fits]),
                    says=given(VISION, FITS)(lambda vision, fits: f"{VISIONS.write(vision)} taken as {fits}."),
                    live=_unfit,
                ),
                Slip(
                    CLOSE_ENOUGH,
                    run=given()(lambda: "fits"),
                    says=given(VISION)(lambda vision: f"{VISIONS.write(vision)} called near enough."),
                    live=_unfit,
                ),
            ),
        ),
        EXPLAINING.step(
            TRY_SLIPS,
            run=_tried(1),
            says=_tried_words,
            slips=(
                Slip(
                    DISTANCE_TRIED_BACKWARDS,
                    run=_tried(-1),
                    says=_backwards_words,
                    live=given(_tried(-1), _tried(1))(lambda backwards, rightly: backwards != rightly),
                ),
            ),
            needed=_disagrees,
        ),
        CAUSE.step(
            NAME_CAUSE,
            run=_cause,
            says=_cause_words,
            slips=(
                Slip(AXIS_BLAMED, run=given()(lambda: "axis"), says=_cause_words, live=_disagrees),
                Slip(
                    EXPLAINED_AWAY,
                    run=given()(lambda: "left-in"),
                    says=_cause_words,
                    live=given(_cause)(lambda cause: cause == "elsewhere"),
                ),
                Slip(
                    SENT_ON_UNCHECKED,
                    run=given()(lambda: "elsewhere"),
                    says=_cause_words,
                    live=given(FITS, _cause)(
                        lambda fits, cause: fits == "worse" and cause in ("left-in", "twice", "sign")
                    ),
                ),
            ),
        ),
    ),
    answer=as_found(FITS, CAUSE),
    found=given(RX, VISION, ACCOMMODATION, DISTANCE, REFLEX)(
        lambda rx, vision, accommodation, cm, reflex: (
            f"Written down as the net result: {as_written(rx)}.",
            f"Unaided vision {VISIONS.write(vision)}; the patient can accommodate {size(accommodation)} D.",
            f"Measured from {write_distance(cm)}, without drops; the reflex was {REFLEXES.write(reflex)}.",
        )
    ),
    question=asking("Do vision and result fit (within a line of the range to expect), and what explains it best?"),
    figure=given(RX).drawing(lambda uid, rx: power_cross(rx, uid=uid)),
    needs=("expected-vision",),
    sources=(MAR_SOURCE, "which slip to try: common practice, no published source"),
)

TYPES = (vision_disagrees,)
