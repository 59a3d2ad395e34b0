"""Family G, change of plane: retinoscopy over a soft and over a rigid contact lens. Turned torics: toric_lenses.py."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from cases import skills
from cases.casetype import CaseType, Pair, Probe, Settings
from cases.chance import Chance
from cases.families.planes import FAMILY, WRONG_WAY_OR_LIKE_MINUS, in_metres, move_step
from cases.fields import Field, Group
from cases.figures_planes import over_contact_lens
from cases.kinds import Power
from cases.lens import SphCyl, moved_power
from cases.millimetres import Move, Radius
from cases.steps import add_sizes, signed
from cases.sums import added, adding_up
from cases.working import Known, Skill, Slip, SlipName, SlipRef, Step

LENS = Field("lens", "Power of the contact lens", Power())

SEEN = 0.125
"""A change below half a step of power, in D, is no slip: it does not alter what is ordered."""

TEAR_LENS = Skill("tear-lens", "finding the power of the tear lens")
EYE_BEHIND_TEARS = Skill("eye-behind-tears", "counting the tear lens into what the eye needs")
NEAREST_QUARTER = Skill("nearest-quarter", "rounding to the nearest lens in quarters")
ORDER_SAME_CURVE = Skill("order-same-curve", "ordering a rigid lens in the same curve")

CONTACT_LENS_MOVED = SlipName(
    "contact-lens-moved-too",
    "moved the contact lens along with what was found over it",
    "The contact lens is on the cornea already. Only what stood in the frame has to be brought there.",
)
TEAR_REVERSED = SlipName(
    "tear-lens-reversed",
    "gave the tear lens the wrong sign",
    "A lens steeper than the cornea traps a plus tear lens, a flatter one a minus tear lens.",
)
TEAR_BY_RULE = SlipName(
    "tear-rule-stretched",
    "took 0.25 D for every 0.05 mm where that no longer holds",
    "0.25 D for 0.05 mm is a rule for small differences near 8 mm. With steep or very different curves, divide 336 by "
    "each radius.",
)
TEAR_LEFT_OUT = SlipName(
    "tear-lens-left-out",
    "left the tear lens out of what the eye needs",
    "Between a rigid lens and the cornea the tears are a lens too. The eye needs contact lens, tears and "
    "over-refraction together.",
)
TEAR_TAKEN_OFF = SlipName(
    "tear-lens-taken-off",
    "took the tear lens off instead of adding it",
    "The light went through the tears as well to reach neutral, so they add with their sign.",
)
TEAR_IN_ORDER = SlipName(
    "tear-lens-in-order",
    "put the tear lens into the power to order",
    "With the same back curve the same tears will be there again. Order contact lens and over-refraction only.",
)


TAKEN_OFF_OR_SIGN_LOST: Pair = (
    SlipRef(skills.COUNT_WORN_LENS.id, skills.OVER_REFRACTION_TAKEN_OFF.id),
    SlipRef(skills.COUNT_WORN_LENS.id, skills.SIGN_LOST_IN_SUM.id),
)
"""With one plus and one minus sphere both are the same sum; with two of one sign only the first goes wrong."""


def sum_with_worn(words: str, over: Callable[[Known], float]) -> Step:
    """Step: `lens` and what was found over it, `over`, to their `total` in D."""

    def slip(name: SlipName, add: Callable[[float, float], float], said: str, live: Callable[[Known], bool]) -> Slip:
        return Slip(
            name,
            run=lambda known: {"total": add(known["lens"], over(known))},
            says=lambda known: f"{said}: {signed(known['total'])}.",
            live=live,
        )

    return Step(
        skills.COUNT_WORN_LENS,
        run=lambda known: {"total": known["lens"] + over(known)},
        says=lambda known: f"{words}: {added(known['lens'], over(known), known['total'])}.",
        slips=(
            slip(
                skills.OVER_REFRACTION_REPLACES,
                lambda _, b: b,
                "Only what was found",
                lambda known: abs(known["lens"]) > SEEN,
            ),
            slip(
                skills.OVER_REFRACTION_TAKEN_OFF,
                lambda a, b: a - b,
                "What was found is taken off",
                lambda known: abs(over(known)) > 0,
            ),
            slip(skills.SIGN_LOST_IN_SUM, add_sizes, "The sizes added", lambda known: known["lens"] * over(known) < 0),
        ),
    )


# --- soft --------------------------------------------------------------------------------------------------------

CLEAR_OF_HALF_WAY = 0.095
"""A power drawn lies within so many D of a quarter, so that careless rounding on the way does not change the order."""


def nearest_quarter(power: float) -> float:
    """Return the nearest quarter dioptre to a power in D, the more plus one from half-way."""
    return math.floor(4 * power + 0.5) / 4


def _draw_soft(chance: Chance, settings: Settings) -> dict[str, Any]:
    strong = settings.level == "expert" or (settings.level == "competent" and chance.happens(0.6))
    while True:
        lens = chance.stepped(1, 14 if settings.level == "expert" else 8, 0.5) * chance.among((-1, -1, 1))
        found = chance.among((-1, 1)) * (chance.stepped(4.5, 9) if strong else chance.stepped(0.5, 2.5))
        vertex = chance.among((12, 12, 13, 14))
        exact = lens + moved_power(found, toward_eye_mm=vertex)
        if abs(exact - nearest_quarter(exact)) < CLEAR_OF_HALF_WAY:
            return {"lens": lens, "found": found, "vertex_mm": float(vertex)}


def _shift(known: Known) -> float:
    """Return what the move is worth, in D, whatever a slip has made of the millimetres."""
    found: float = known["found"]
    return abs(moved_power(found, toward_eye_mm=known["vertex_mm"]) - found)


def _both_moved(known: Known) -> float:
    lens: float = known["lens"]
    return moved_power(lens + known["found"], toward_eye_mm=1000 * known["metres"]) - lens


def _both_moved_differ(known: Known) -> bool:
    lens: float = known["lens"]
    whole = moved_power(lens + known["found"], toward_eye_mm=known["vertex_mm"]) - lens
    return abs(whole - moved_power(known["found"], toward_eye_mm=known["vertex_mm"])) > SEEN


soft_over_refraction = CaseType(
    id="soft-lens-over-refraction",
    title="Retinoscopy over a soft contact lens",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group(
        (
            LENS,
            Field("found", "Net sphere found over it in the trial frame", Power()),
            Field("vertex_mm", "Trial lens to cornea", Move(low=0.0, high=25.0), default=12.0),
        )
    ),
    asks=(Field("power", "Power to order, to the nearest quarter", Power()),),
    draw=_draw_soft,
    begin=lambda findings: {"powers": (findings["found"],)},
    steps=(
        in_metres("vertex_mm", seen=lambda known: _shift(known) > SEEN),
        move_step(
            Slip(
                CONTACT_LENS_MOVED,
                run=lambda known: {"net": (_both_moved(known),)},
                says=lambda known: f"Both moved to the cornea: {signed(known['lens'] + known['net'][0])} in all.",
                live=_both_moved_differ,
            ),
            seen=lambda known: _shift(known) > SEEN,
        ),
        sum_with_worn("At the cornea the two add", lambda known: known["net"][0]),
        Step(
            NEAREST_QUARTER,
            run=lambda known: {"ordered": nearest_quarter(known["total"])},
            says=lambda known: f"The nearest lens in quarters: {signed(known['ordered'])}.",
        ),
    ),
    answer=lambda known: {"power": known["ordered"]},
    found=lambda known: (
        f"On the eye, a soft lens of {signed(known['lens'])} D.",
        f"Over it, in the trial frame {Move().write(known['vertex_mm'])} before the cornea, retinoscopy gives "
        f"{signed(known['found'])} D with the working distance taken off already.",
    ),
    question=lambda _: "Which power is to be ordered, to the nearest quarter?",
    figure=lambda known, uid: over_contact_lens(
        SphCyl(known["found"]),
        (("contact lens", f"{signed(known['lens'])} DS"), ("found over it, net", f"{signed(known['found'])} DS")),
        vertex_mm=known["vertex_mm"] or None,
        uid=uid,
    ),
    needs=("vertex-sphere", "over-refraction"),
    form=lambda _: None,
    twins=(WRONG_WAY_OR_LIKE_MINUS, TAKEN_OFF_OR_SIGN_LOST),
    probes=(
        Probe(WRONG_WAY_OR_LIKE_MINUS, "vertex-sphere"),
        Probe(TAKEN_OFF_OR_SIGN_LOST, "soft-lens-over-refraction"),
    ),
    sources=("common practice, no published source; effective power as in Bennett & Rabbetts (from memory)",),
)

# --- rigid -------------------------------------------------------------------------------------------------------

TEAR_POWER = 336.0
"""(n − 1) × 1000 for tears of n = 1.336: power in D of a surface is this over its radius in mm."""


def tear_lens(*, bozr_mm: float, k_mm: float) -> float:
    """Return the power in D of the tears between a back optic zone radius and a corneal radius, both in mm.

    Plus where the lens is steeper than the cornea. Source: IACLE Contact Lens Course, module 3; tears of n = 1.336.
    """
    return TEAR_POWER / bozr_mm - TEAR_POWER / k_mm


def _by_rule(known: Known) -> float:
    return float((known["k_mm"] - known["bozr_mm"]) * 5)


def _tear(known: Known) -> float:
    return tear_lens(bozr_mm=known["bozr_mm"], k_mm=known["k_mm"])


def _tear_words(known: Known) -> str:
    lens, cornea, tear = TEAR_POWER / known["bozr_mm"], TEAR_POWER / known["k_mm"], known["tear"]
    digits = adding_up(tear, lens, -cornea)
    return f"336 over each radius: {digits.size(lens)} − {digits.size(cornea)} = {digits.result(tear)}, the tear lens."


def _draw_rigid(chance: Chance, settings: Settings) -> dict[str, Any]:
    expert = settings.level == "expert"
    k = chance.stepped(7.2, 8.4, 0.05)
    gap = chance.among((-1, 1, 1)) * chance.stepped(0.05, 0.4 if expert else 0.2, 0.05)
    return {
        "bozr_mm": round(k - gap, 2),
        "k_mm": k,
        "lens": chance.stepped(0.5, 10 if expert else 6) * chance.among((-1, -1, 1)),
        "found": chance.among((-1, 1)) * chance.stepped(0.5, 3),
    }


rigid_over_refraction = CaseType(
    id="rigid-lens-over-refraction",
    title="Retinoscopy over a rigid contact lens",
    family=FAMILY,
    level="expert",
    seconds=50,
    findings=Group(
        (
            Field("bozr_mm", "Back optic zone radius of the lens", Radius()),
            Field("k_mm", "Flattest radius of the cornea", Radius()),
            LENS,
            Field("found", "Net sphere found over it, as at the cornea", Power()),
        )
    ),
    asks=(
        Field("tear", "Power of the tear lens", Power(exact=0.06)),
        Field("eye", "What the eye needs at the cornea", Power(exact=0.06)),
        Field("order", "Power to order in the same curve", Power(exact=0.06)),
    ),
    draw=_draw_rigid,
    begin=lambda _: {},
    steps=(
        Step(
            TEAR_LENS,
            run=lambda known: {"tear": _tear(known)},
            says=_tear_words,
            slips=(
                Slip(
                    TEAR_REVERSED,
                    run=lambda known: {"tear": -_tear(known)},
                    says=lambda known: f"The cornea's first: tear lens {signed(known['tear'])}.",
                    live=lambda known: abs(_tear(known)) > SEEN / 2,
                ),
                Slip(
                    TEAR_BY_RULE,
                    run=lambda known: {"tear": _by_rule(known)},
                    says=lambda known: f"0.25 D for every 0.05 mm: tear lens {signed(known['tear'])}.",
                    live=lambda known: abs(_by_rule(known) - _tear(known)) > SEEN,
                ),
            ),
        ),
        sum_with_worn("Contact lens and over-refraction", lambda known: known["found"]),
        Step(
            EYE_BEHIND_TEARS,
            run=lambda known: {"eye": known["total"] + known["tear"]},
            says=lambda known: f"The tears count for the eye: {added(known['total'], known['tear'], known['eye'])}.",
            slips=(
                Slip(
                    TEAR_LEFT_OUT,
                    run=lambda known: {"eye": known["total"]},
                    says=lambda known: f"No tears counted: {signed(known['eye'])}.",
                    live=lambda known: abs(_tear(known)) > SEEN,
                ),
                Slip(
                    TEAR_TAKEN_OFF,
                    run=lambda known: {"eye": known["total"] - known["tear"]},
                    says=lambda known: f"The tears taken off: {signed(known['eye'])}.",
                    live=lambda known: abs(_tear(known)) > SEEN / 2,
                ),
            ),
        ),
        Step(
            ORDER_SAME_CURVE,
            run=lambda known: {"order": known["total"]},
            says=lambda known: (
                f"The same curve brings the same tears, so they stay out of it: order {signed(known['order'])}."
            ),
            slips=(
                Slip(
                    TEAR_IN_ORDER,
                    run=lambda known: {"order": known["eye"]},
                    says=lambda known: f"The tears put in: order {signed(known['order'])}.",
                    live=lambda known: abs(_tear(known)) > SEEN,
                ),
            ),
        ),
    ),
    answer=lambda known: {name: known[name] for name in ("tear", "eye", "order")},
    found=lambda known: (
        f"On the eye, a rigid lens of {signed(known['lens'])} D, back optic zone radius "
        f"{Radius().write(known['bozr_mm'])}.",
        f"Flattest radius of the cornea {Radius().write(known['k_mm'])}; tears of refractive index 1.336.",
        f"Over the lens retinoscopy gives {signed(known['found'])} D, reckoned at the cornea, the working distance "
        "taken off already.",
    ),
    question=lambda _: (
        "What are the tear lens, the refraction of the eye at the cornea, and the power to order, each to 0.01 D?"
    ),
    figure=lambda known, uid: over_contact_lens(
        SphCyl(known["found"]),
        (
            ("back optic zone radius", Radius().write(known["bozr_mm"])),
            ("flattest cornea", Radius().write(known["k_mm"])),
            ("contact lens", f"{signed(known['lens'])} DS"),
            ("found over it, net", f"{signed(known['found'])} DS"),
        ),
        uid=uid,
    ),
    needs=("soft-lens-over-refraction",),
    form=lambda _: None,
    twins=(TAKEN_OFF_OR_SIGN_LOST,),
    probes=(Probe(TAKEN_OFF_OR_SIGN_LOST, "soft-lens-over-refraction"),),
    sources=(
        "IACLE Contact Lens Course, module 3 (tear lens); 0.25 D for 0.05 mm: common practice, no published source",
    ),
)

TYPES = (soft_over_refraction, rigid_over_refraction)
