"""Family H: the written result and the unaided vision disagree; which slip explains it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from cases.curriculum.checking import FAMILY
from cases.curriculum.checking.blur_and_vision import (
    ACCOMMODATION,
    ACCOMMODATION_FORGOTTEN,
    ALLOW_ACCOMMODATION,
    not_cleared,
    range_words,
)
from cases.curriculum.checking.checking_steps import NAME_CAUSE
from cases.curriculum.drawn_eyes import AT_A_CHART, as_recorded, first_fitting, of_subject
from cases.curriculum.steps import DISTANCE, VERGENCE, as_written, pick_axis, pick_distance, size
from cases.figures.lenses import power_cross
from cases.notation.prescription import write_distance
from cases.optics.lens import SphCyl
from cases.optics.schematic_eye import expected_mar
from cases.optics.vergence import vergence_in_quarters, working_vergence
from cases.patients.patient import SIDES, Patient
from cases.procedure.case_type import CannotDraw, CaseType, Defensible
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
LINE = 10**0.1
"""One line of a logarithmic chart, as a ratio: so much beyond the range still counts as a fit."""

CHART = ("6-6", "6-7-5", "6-9-5", "6-12", "6-15", "6-19", "6-24", "6-30", "6-38", "6-48", "6-60")
"""The rows of the chart in this room, a line apart. Poorer vision has no row: it is "worse than 6/60"."""
OTHER_CHART = ("6-6", "6-9", "6-12", "6-18", "6-24", "6-36", "6-60")
"""The rows of the chart that many rooms have, one to two lines apart: for findings of your own."""
TOP_ROW_MAR = 10.0

LINES = {
    "6-6": LINE**0,
    "6-7-5": LINE**1,
    "6-9": 9 / 6,
    "6-9-5": LINE**2,
    "6-12": LINE**3,
    "6-15": LINE**4,
    "6-18": 18 / 6,
    "6-19": LINE**5,
    "6-24": LINE**6,
    "6-30": LINE**7,
    "6-36": 36 / 6,
    "6-38": LINE**8,
    "6-48": LINE**9,
    "6-60": TOP_ROW_MAR,
    "6-120": 120 / 6,
}
"""The smallest angle in minutes that each recorded vision stands for."""

VISIONS = Choice(
    tuple(Option(name, "6/" + name.removeprefix("6-").replace("-", ".")) for name in LINES),
    scales=(CHART, OTHER_CHART),
)
FITS_OR_NOT = Choice(
    (
        Option("fits", "they fit", "the vision lies within the range to expect, give or take a line"),
        Option(
            "better",
            "the vision is better than the result allows",
            "the vision is better than the range to expect by more than a line",
        ),
        Option(
            "worse",
            "the vision is worse than the result explains",
            "the vision is worse than the range to expect by more than a line",
        ),
    )
)
REFLEXES = Choice((Option("steady", "steady"), Option("unsteady", "changing while the streak stood still")))
CAUSES = Choice(
    (
        Option("none", "nothing: there is nothing to explain", "vision and result fit"),
        Option("left-in", "the working distance left in", "the vision fits the result once the distance is taken off"),
        Option(
            "twice", "the working distance taken off twice", "the vision fits the result once the distance is put back"
        ),
        Option(
            "sign",
            "the sign of the sphere written wrongly",
            "the vision fits the result with the other sign of the sphere",
        ),
        Option(
            "accommodated",
            "accommodation while it was measured",
            "the result is too minus for the vision and the reflex was changing",
        ),
        Option("axis", "the axis", "never by itself: unaided vision hardly depends on the axis"),
        Option(
            "elsewhere",
            "none of these slips: look for another cause",
            "the vision is worse than the result explains: a pinhole, the media and the fundus come next",
        ),
        Option(
            "again",
            "none of these alone: measure again",
            "the vision is better than the result allows and no one slip explains it",
        ),
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
    # What the chart has no row for cannot be told apart on it.
    mar, best, worst = (min(one, TOP_ROW_MAR) for one in (mar, *expected))
    if mar < best / LINE - 1e-9:
        return "better"
    return "worse" if mar > worst * LINE + 1e-9 else "fits"


def _range_words(expected: tuple[float, float]) -> str:
    """Write a range of vision, or that it is beyond the chart."""
    best, worst = expected
    if best >= TOP_ROW_MAR:
        return "6/60 or worse"
    return f"{range_words((best, best))} to worse than 6/60" if worst > TOP_ROW_MAR else range_words(expected)


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
        f"{one.words}, {as_written(one.eye)}, {_range_words(mar_range(one.eye, accommodation))}"
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


def _found_cause(fits: str, reflex: str, explaining: tuple[str, ...]) -> str:
    if fits == "fits":
        return "none"
    if fits == "better" and reflex == "unsteady":
        return "accommodated"
    if len(explaining) == 1:
        return explaining[0]
    return "elsewhere" if fits == "worse" and not explaining else "again"


_cause = given(FITS, REFLEX, EXPLAINING)(_found_cause)

_CAUSE_WORDS = {
    "none": "They fit, so there is nothing to explain.",
    "left-in": "The distance was left in: take it off.",
    "twice": "The distance came off twice: put it back once.",
    "sign": "The sphere has the wrong sign: look at the lens again.",
    "accommodated": (
        "The reflex was not steady and the result is too minus: the patient accommodated. Fog, and measure again."
    ),
    "axis": "The axis blamed.",
    "elsewhere": "None of these slips explains the poor vision.",
    "again": "No one slip explains it: measure again.",
}


PINHOLE = (
    "Try a pinhole: if vision improves, check the refraction again; if not, examine media and fundus, and refer by "
    "your local protocol."
)


@given(CAUSE, FITS)
def _cause_words(cause: str, fits: str) -> str:
    """Say what a cause comes to; no poor vision is put down to arithmetic before a pinhole: common practice."""
    told = _CAUSE_WORDS[cause]
    return f"{told} {PINHOLE}" if fits == "worse" else told


STEADY_TOO = "An eye that looks at a near light accommodates, and may do so steadily: the result is too minus then."
LENSES_AND_FOG = "Add up the lenses in place at neutral, then measure again with a far target and fog."


@given(FITS, CAUSE, EXPLAINING)
def _defensible(fits: str, cause: str, explaining: tuple[str, ...]) -> tuple[Defensible, ...]:
    """Credit what vision and result alone cannot tell from the key; common practice, no published source."""
    if fits == "worse" and cause in ("left-in", "twice", "sign", "again"):
        # Another cause of poor vision is looked for first, though a slip of the working would explain it.
        because = "A slip would explain it, but arithmetic does not rule out an eye that sees poorly."
        return (Defensible(CAUSE.to("elsewhere"), 0.6, because, PINHOLE),)
    if fits == "better" and cause in ("twice", "sign"):
        return (Defensible(CAUSE.to("accommodated"), 0.5, STEADY_TOO, LENSES_AND_FOG),)
    if cause == "accommodated":
        because = "This slip of the working would explain the vision as well."
        return tuple(Defensible(CAUSE.to(one), 0.5, because, LENSES_AND_FOG) for one in explaining if one != "left-in")
    return ()


# --- drawing -----------------------------------------------------------------------------------------------------

SORTS = ("none", "none", "left-in", "twice", "twice", "sign", "sign", "accommodated", *["elsewhere"] * 5)
COMPLETIONS = 8
"""Distances and visions tried with the eye of one patient before another is looked at."""
CANDIDATES = 400
"""Evenly drawn results tried for one sort before it is given up."""


def _draw(chance: Chance, settings: Settings) -> dict[str, Any]:
    sort = of_subject(chance).among(SORTS)

    def fits(patient: Patient) -> dict[str, Any] | None:
        sides, accommodation = chance.shuffled(SIDES), float(round(patient.amplitude_d))
        # No drops were given, so that the latent plus is not found.
        lenses = [patient.eye(side).dry_lens for side in sides]
        if settings.level == "novice":
            lenses = [SphCyl(lens.spherical_equivalent) for lens in lenses]
        # Far from emmetropia every vision is below the chart, whatever was done.
        recorded = [as_recorded(lens, settings) for lens in lenses]
        eyes = [one for one in recorded if -one.cylinder <= 1.25 and abs(one.spherical_equivalent) <= 3.25]
        tried = (_spoilt(sort, eye, accommodation, chance, settings) for eye in eyes for _ in range(COMPLETIONS))
        return next((one for one in tried if one is not None), None)

    found = first_fitting(chance, settings, fits, AT_A_CHART)
    for _ in range(CANDIDATES):
        if found is not None:
            return found
        found = _evenly_drawn(sort, chance, settings)
    # Very close in, the distance is worth more than any result that is drawn here could hold.
    raise CannotDraw("vision-disagrees", f"of the sort “{sort}”")


def _evenly_drawn(sort: str, chance: Chance, settings: Settings) -> dict[str, Any] | None:
    cylinder = 0.0 if settings.level == "novice" or chance.happens(0.3) else -chance.stepped(0.25, 1.25)
    eye = SphCyl(chance.stepped(-3, 3), cylinder, pick_axis(chance, settings))
    return _spoilt(sort, eye, chance.stepped(1, 8, 1), chance, settings)


def _spoilt(sort: str, eye: SphCyl, accommodation: float, chance: Chance, settings: Settings) -> dict[str, Any] | None:
    """Write a result of this eye with this slip in it; None where result and vision would tell of another."""
    if sort == "accommodated" and accommodation < 1:
        return None
    findings = _candidate(sort, eye, accommodation, chance, settings)
    rx, mar = RX.get(findings), LINES[VISION.get(findings)]
    if rx.strongest > 4:
        return None
    # Most are thrown back, so that the key is found without a whole case.
    fits = held_against(mar, mar_range(rx, accommodation))
    off = working_vergence(DISTANCE.get(findings))
    explaining = () if fits == "fits" else _explaining(rx, mar, accommodation, off)
    if _found_cause(fits, REFLEX.get(findings), explaining) != sort:
        return None
    case = vision_disagrees.case(findings)
    return findings if case.hides_nothing() and case.is_firm() else None


def _candidate(sort: str, eye: SphCyl, accommodation: float, chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_distance(chance, settings)
    off = vergence_in_quarters(distance)
    # No eye comes out too minus by more than it can accommodate.
    too_minus = -chance.stepped(1, max(1.0, min(3.0, accommodation)))
    shift = {"left-in": off, "twice": -off, "sign": -2 * eye.sphere, "accommodated": too_minus}.get(sort, 0)
    best, worst = mar_range(eye, accommodation)
    seen = [name for name in CHART if best / 1.1 <= LINES[name] <= worst * 1.1]
    if sort == "elsewhere":
        seen = [name for name in CHART if LINES[name] > 2 * worst]
    return given(RX, VISION, ACCOMMODATION, DISTANCE, REFLEX).to(
        SphCyl(eye.sphere + shift, eye.cylinder, eye.axis),
        chance.among(seen or ["6-60" if worst > 1 else "6-6"]),
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
        given(VISION, DISTANCE)(lambda vision, cm: (LINES[vision], working_vergence(cm), ()))
    ),
    steps=(
        EXPECTED.step(
            ALLOW_ACCOMMODATION,
            run=given(RX, ACCOMMODATION)(mar_range),
            says=given(RX, EXPECTED)(
                lambda rx, expected: (
                    f"{as_written(rx)}, as far as it cannot be cleared, goes with {_range_words(expected)}."
                )
            ),
            slips=(
                Slip(
                    ACCOMMODATION_FORGOTTEN,
                    run=given(RX)(lambda rx: mar_range(rx, 0.0)),
                    says=given(EXPECTED)(
                        lambda expected: f"All of the plus counted as blur: {_range_words(expected)}."
                    ),
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
    question=asking(
        "Do vision and result fit, and what explains it best? One line beyond the range to expect is still a fit; a "
        "line is 0.1 logMAR, a ratio of 1.26, and the chart ends at 6/60."
    ),
    figure=given(RX).drawing(lambda uid, rx: power_cross(rx, uid=uid)),
    needs=("expected-vision",),
    defensible=_defensible,
    errors={RX.name: 0.25, VISION.name: 1, ACCOMMODATION.name: 0.5},
    sources=("blendowske-2015", "common-practice"),
)

TYPES = (vision_disagrees,)
