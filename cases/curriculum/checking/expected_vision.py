"""Family H: the unaided vision to expect of a prescription, as a range, since sources differ twofold."""

from __future__ import annotations

import math
from typing import Any

from cases.curriculum import skills
from cases.curriculum.checking import FAMILY
from cases.curriculum.checking.blur_and_vision import (
    ACCOMMODATION,
    ACCOMMODATION_FORGOTTEN,
    ALLOW_ACCOMMODATION,
    BLUR_STRENGTH,
    CYLINDER_UNCOUNTED,
    PARTS_ADDED,
    not_cleared,
    range_words,
)
from cases.curriculum.drawn_eyes import AT_A_CHART, as_recorded, first_fitting
from cases.curriculum.shared_keys import LEFT, MEAN, SHARE
from cases.curriculum.steps import RX, as_written, pick_axis, signed, size
from cases.figures.lenses import power_cross
from cases.notation.sums import added, root_of_squares
from cases.optics.lens import SphCyl
from cases.optics.schematic_eye import expected_mar
from cases.patients.patient import SIDES, Patient
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Defensible
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Slip, as_found, asking, given
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

EXPECT_VISION = Skill("expect-vision", "turning a blur into the vision to expect")


MYOPIA_CLEARED = SlipName(
    "myopia-accommodated-away",
    "let accommodation clear myopia",
    "Accommodation makes an eye more short-sighted. Only plus can be cleared by it.",
)
NOT_SQUARED = SlipName(
    "blur-not-squared",
    "let vision fall in step with the blur",
    "The smallest angle grows with the square: twice the blur costs far more than twice as much.",
    ("blendowske-2015",),
)

CENTRES = (0.25, 0.5, 1.0, 1.5, 2.0, 3.0)
"""Blur in D at the middle of each range of vision on offer."""

VISIONS = Choice(
    (
        Option("full", "6/6, or hardly less", "the blur is about 0.25 D or less, or accommodation clears it"),
        Option("6-7-5-to-6-9", "6/7.5 to 6/9", "the blur is about 0.50 D"),
        Option("6-12-to-6-18", "6/12 to 6/18", "the blur is about 1.00 D"),
        Option("6-18-to-6-36", "6/18 to 6/36", "the blur is about 1.50 D"),
        Option("6-30-to-6-60", "6/30 to 6/60", "the blur is about 2.00 D"),
        Option("below-6-60", "6/60 or worse", "the blur is about 3.00 D or more"),
    )
)

BLUR = Field("blur", "Strength of the blur without spectacles", quantities.SIZE.having(exact=0.03, tolerance=0.06))
VISION = Field("vision", "Unaided vision to expect", VISIONS)


def vision_for(blur: float) -> str:
    """Say which range of vision goes with a blur of this many D: the range whose middle is nearest by ratio."""
    nearest = min(CENTRES, key=lambda centre: abs(math.log(max(blur, 0.01) / centre)))
    return VISIONS.options[CENTRES.index(nearest)].id


BANDS = ((1.0, 1.12), (1.25, 1.5), (2.0, 3.0), (3.0, 6.0), (5.0, 10.0), (10.0, 20.0))
"""Smallest angles in minutes, best and worst, that each range of vision on offer stands for."""
SHARED = 0.2
"""From this share of the expected range on (by ratio) another range of vision that holds it is credited."""


def _shared(expected: tuple[float, float], band: tuple[float, float]) -> float:
    """Return how much of the expected range lies in a band, both as (best, worst) angles in minutes (0..1)."""
    low, high = (math.log(one) for one in expected)
    inside = min(high, math.log(band[1])) - max(low, math.log(band[0]))
    return max(inside, 0.0) / (high - low) if high > low else 0.0


@given(BLUR, VISION)
def _defensible(blur: float, vision: str) -> tuple[Defensible, ...]:
    """Credit a range of vision that holds part of what is expected: sources differ twofold."""
    expected = expected_mar(SphCyl(-blur))
    return tuple(
        Defensible(
            VISION.to(option.id),
            0.6,
            f"Part of the range to expect, {range_words(expected)}, lies in it: pupils and charts differ.",
            "Measure the unaided vision, and note the size of the pupil.",
        )
        for option, band in zip(VISIONS.options, BANDS, strict=True)
        if option.id != vision and _shared(expected, band) >= SHARED
    )


@given(MEAN, LEFT, ACCOMMODATION)
def _left_words(mean: float, left: float, accommodation: float) -> str:
    if mean > 0 and accommodation > 0:
        cleared = f"{size(mean - left)} D of the plus can be cleared by accommodation"
        return f"{cleared}; {signed(left)} is left." if left else f"{cleared}: none is left."
    if mean > 0:
        return f"No accommodation is left to clear the plus: {signed(left)} stays."
    return f"Accommodation cannot clear minus: {signed(left)} stays." if mean else "The mean is 0.00."


@given(LEFT, SHARE, BLUR)
def _blur_words(left: float, share: float, blur: float) -> str:
    if not share:
        return f"There is no cylinder, so that is all of the blur: {size(blur)} D."
    return f"Blur: √({size(left)}² + {size(share)}²) = {root_of_squares(left, share, blur)} D."


@given(RX)
def _has_cylinder(rx: SphCyl) -> bool:
    return bool(rx.cylinder)


BLUR_STEPS = (
    SHARE.step(
        skills.HALVE_CYLINDER,
        run=given(RX)(lambda rx: rx.cylinder / 2),
        says=given(RX, SHARE)(lambda rx, share: f"Half of {signed(rx.cylinder)} is {signed(share)}."),
        slips=(
            Slip(
                skills.WHOLE_CYLINDER,
                run=given(RX)(lambda rx: rx.cylinder),
                says=given(SHARE)(lambda share: f"The whole cylinder taken: {signed(share)}."),
                live=_has_cylinder,
            ),
            Slip(
                skills.SPHERE_ONLY,
                run=given()(lambda: 0.0),
                says=given()(lambda: "The cylinder left out."),
                live=_has_cylinder,
            ),
        ),
        needed=_has_cylinder,
    ),
    MEAN.step(
        skills.ADD_HALF,
        run=given(RX, SHARE)(lambda rx, share: rx.sphere + share),
        says=given(RX, SHARE, MEAN)(lambda rx, share, mean: f"Mean power: {added(rx.sphere, share, mean)}."),
        slips=(
            Slip(
                skills.HALF_UNSIGNED,
                run=given(RX, SHARE)(lambda rx, share: rx.sphere + abs(share)),
                says=given(SHARE, MEAN)(lambda share, mean: f"{size(share)} added without its sign: {signed(mean)}."),
                live=given(SHARE)(lambda share: share < 0),
            ),
            Slip(
                skills.CYLINDER_SUBTRACTED,
                run=given(RX, SHARE)(lambda rx, share: rx.sphere - share),
                says=given(MEAN)(lambda mean: f"The half taken away: {signed(mean)}."),
                live=given(SHARE)(lambda share: share > 0),
            ),
        ),
        needed=_has_cylinder,
    ),
    LEFT.step(
        ALLOW_ACCOMMODATION,
        run=given(MEAN, ACCOMMODATION)(not_cleared),
        says=_left_words,
        slips=(
            Slip(
                ACCOMMODATION_FORGOTTEN,
                run=given(MEAN)(lambda mean: mean),
                says=given(LEFT)(lambda left: f"All of the plus taken as blur: {signed(left)}."),
                live=given(MEAN, ACCOMMODATION)(lambda mean, accommodation: mean > 0 and accommodation > 0),
            ),
            Slip(
                MYOPIA_CLEARED,
                run=given(MEAN, ACCOMMODATION)(lambda mean, accommodation: min(mean + accommodation, 0.0)),
                says=given(LEFT)(lambda left: f"Accommodation set against the minus: {signed(left)} left."),
                live=given(MEAN, ACCOMMODATION)(lambda mean, accommodation: mean < 0 and accommodation > 0),
            ),
        ),
    ),
    BLUR.step(
        BLUR_STRENGTH,
        run=given(LEFT, SHARE)(math.hypot),
        says=_blur_words,
        slips=(
            Slip(
                CYLINDER_UNCOUNTED,
                run=given(LEFT)(abs),
                says=given(BLUR)(lambda blur: f"The mean alone: {size(blur)} D of blur."),
                live=given(SHARE)(lambda share: share != 0),
            ),
            Slip(
                PARTS_ADDED,
                run=given(LEFT, SHARE)(lambda left, share: abs(left) + abs(share)),
                says=given(LEFT, SHARE, BLUR)(
                    lambda left, share, blur: f"{size(left)} and {size(share)} added: {size(blur)} D of blur."
                ),
                live=given(LEFT, SHARE)(lambda left, share: left != 0 and share != 0),
            ),
        ),
    ),
)
"""From `rx` and `accommodation` to `share`, `mean`, `left` and `blur`, all in D."""


def _near_a_centre(blur: float) -> bool:
    return any(abs(math.log(max(blur, 0.01) / centre)) < 0.11 for centre in CENTRES)


def _draw(chance: Chance, settings: Settings) -> dict[str, Any]:
    most = {"novice": 1.0, "competent": 2.0, "expert": 3.0}[settings.level]
    side = chance.among(SIDES)

    def fits(patient: Patient) -> tuple[SphCyl, float] | None:
        rx = as_recorded(patient.eye(side).lens, settings)
        # What a patient can accommodate is known to half a dioptre.
        accommodation = round(2 * patient.amplitude_d) / 2
        blur = math.hypot(not_cleared(rx.spherical_equivalent, accommodation), rx.cylinder / 2)
        plain = rx.strongest <= 7 and -rx.cylinder <= most and accommodation >= 0.5
        return (rx, accommodation) if plain and (_near_a_centre(blur) or blur == 0) else None

    # One case in four is a hyperope who cannot clear all of it: few patients are, and it is the hardest.
    if not chance.happens(0.25) and (found := first_fitting(chance, settings, fits, AT_A_CHART)):
        return given(RX, ACCOMMODATION).to(found[0].in_form(chance.among(("minus", "minus", "plus"))), found[1])
    return _evenly_drawn(chance, settings, most)


def _evenly_drawn(chance: Chance, settings: Settings, most: float) -> dict[str, Any]:
    cylinder = 0.0 if chance.happens(0.15) else -chance.stepped(0.5, most)
    while True:
        mean = chance.among((-1, -1, 1)) * chance.stepped(0, 3.25, 0.125)
        accommodation = chance.stepped(0.5, 6, 0.5)
        if mean > 0 and cylinder:
            accommodation = chance.stepped(0.5, 2.5, 0.5)
            mean += accommodation
        sphere = mean - cylinder / 2
        rx = SphCyl(sphere, cylinder, pick_axis(chance, settings))
        blur = math.hypot(not_cleared(mean, accommodation), cylinder / 2)
        if sphere * 4 % 1 == 0 and rx.strongest <= 7 and (_near_a_centre(blur) or blur == 0):
            form = chance.among(("minus", "minus", "plus"))
            return given(RX, ACCOMMODATION).to(rx.in_form(form), accommodation)


expected_vision = CaseType(
    id="expected-vision",
    title="The unaided vision to expect",
    family=FAMILY,
    level="competent",
    seconds=25,
    findings=Group((RX, ACCOMMODATION)),
    asks=(BLUR, VISION),
    draw=_draw,
    # Without a cylinder the sphere is the mean, and the two steps that find it are passed over.
    begin=given(SHARE, MEAN).by(given(RX)(lambda rx: (0.0, rx.sphere))),
    steps=(
        *BLUR_STEPS,
        VISION.step(
            EXPECT_VISION,
            run=given(BLUR)(vision_for),
            says=given(BLUR, VISION)(
                lambda blur, vision: (
                    f"The smallest angle is 1 + b² minutes, or up to 1 + 2b² with a wide pupil or a strict chart: "
                    f"{range_words(expected_mar(SphCyl(-blur)))}. "
                    f"Nearest of the ranges offered: {VISIONS.write(vision)}."
                )
            ),
            slips=(
                Slip(
                    NOT_SQUARED,
                    run=given(BLUR)(lambda blur: vision_for(math.sqrt(blur))),
                    says=given(VISION)(lambda vision: f"1 + b taken: {VISIONS.write(vision)}."),
                    live=given(BLUR)(lambda blur: vision_for(math.sqrt(blur)) != vision_for(blur)),
                ),
            ),
        ),
    ),
    answer=as_found(BLUR, VISION),
    found=given(RX, ACCOMMODATION)(
        lambda rx, accommodation: (
            f"Net prescription: {as_written(rx)}. The eye is healthy.",
            f"The patient can accommodate {size(accommodation)} D and uses all of it that helps.",
        )
    ),
    question=asking(
        "How strong is the blur at distance without spectacles (the length of its power vector, to 0.01 D), and which "
        "vision goes with it?"
    ),
    figure=given(RX).drawing(lambda uid, rx: power_cross(rx, uid=uid)),
    needs=("spherical-equivalent",),
    defensible=_defensible,
    errors={"rx": 0.12, ACCOMMODATION.name: 0.25},
    sources=("blendowske-2015", "thibos-1997", "common-practice"),
)

TYPES = (expected_vision,)
