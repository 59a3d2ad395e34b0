"""Family G, change of plane: retinoscopy over a soft and over a rigid contact lens. Turned torics: toric_lenses.py."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from cases.curriculum import skills
from cases.curriculum.planes import FAMILY
from cases.curriculum.planes.vertex import WRONG_WAY_OR_LIKE_MINUS, in_metres, move_step
from cases.curriculum.shared_keys import POWERS
from cases.curriculum.steps import METRES, NET, add_sizes, signed
from cases.figures.lens_planes import over_contact_lens
from cases.notation.sums import added, adding_up
from cases.optics.lens import SphCyl, moved_power
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, Step, as_found, asking, given
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

LENS = Field("lens", "Power of the contact lens", quantities.POWER)

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
    "took 0.25 D for every 0.05 mm where that is no longer true",
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


TOTAL = Key[float]("total", unit="D")
ORDERED = Key[float]("ordered", unit="D")


def sum_with_worn(words: str, over: Rule[float]) -> Step:
    """Step: `lens` and what was found over it, `over`, to their `total` in D."""

    def slip(name: SlipName, add: Callable[[float, float], float], said: str, live: Rule[bool]) -> Slip[float]:
        return Slip(
            name,
            run=given(LENS, over)(lambda lens, over: add(lens, over)),
            says=given(TOTAL)(lambda total: f"{said}: {signed(total)}."),
            live=live,
        )

    return TOTAL.step(
        skills.COUNT_WORN_LENS,
        run=given(LENS, over)(lambda lens, over: lens + over),
        says=given(LENS, over, TOTAL)(lambda lens, over, total: f"{words}: {added(lens, over, total)}."),
        slips=(
            slip(
                skills.OVER_REFRACTION_REPLACES,
                lambda _, b: b,
                "Only what was found",
                given(LENS)(lambda lens: abs(lens) > SEEN),
            ),
            slip(
                skills.OVER_REFRACTION_TAKEN_OFF,
                lambda a, b: a - b,
                "What was found is taken off",
                given(over)(lambda over: abs(over) > 0),
            ),
            slip(
                skills.SIGN_LOST_IN_SUM,
                add_sizes,
                "The sizes added",
                given(LENS, over)(lambda lens, over: lens * over < 0),
            ),
        ),
    )


# --- soft --------------------------------------------------------------------------------------------------------

CLEAR_OF_HALF_WAY = 0.095
"""A power drawn lies within this many D of a quarter, so that careless rounding does not change the order."""


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
            return given(LENS, FOUND, VERTEX).to(lens, found, float(vertex))


def _shift(found: float, vertex_mm: float) -> float:
    """Return what the move is worth, in D, whatever a slip has made of the millimetres."""
    return abs(moved_power(found, toward_eye_mm=vertex_mm) - found)


def _both_moved(lens: float, found: float, metres: float) -> float:
    return moved_power(lens + found, toward_eye_mm=1000 * metres) - lens


FOUND = Field("found", "Net sphere found over it in the trial frame", quantities.POWER)
VERTEX = Field("vertex_mm", "Trial lens to cornea", quantities.MOVE.having(low=0.0, high=25.0), default=12.0)


@given(LENS, FOUND, VERTEX)
def _both_moved_differ(lens: float, found: float, vertex_mm: float) -> bool:
    whole = moved_power(lens + found, toward_eye_mm=vertex_mm) - lens
    return abs(whole - moved_power(found, toward_eye_mm=vertex_mm)) > SEEN


POWER = Field("power", "Power to order, to the nearest quarter", quantities.POWER)
soft_over_refraction = CaseType(
    id="soft-lens-over-refraction",
    title="Retinoscopy over a soft contact lens",
    family=FAMILY,
    level="competent",
    seconds=20,
    findings=Group(
        (
            LENS,
            FOUND,
            VERTEX,
        )
    ),
    asks=(POWER,),
    draw=_draw_soft,
    begin=POWERS.by(given(FOUND)(lambda found: (found,))),
    steps=(
        in_metres(VERTEX, seen=given(FOUND, VERTEX)(lambda found, vertex_mm: _shift(found, vertex_mm) > SEEN)),
        move_step(
            Slip(
                CONTACT_LENS_MOVED,
                run=given(LENS, FOUND, METRES)(lambda lens, found, metres: (_both_moved(lens, found, metres),)),
                says=given(LENS, NET)(lambda lens, net: f"Both moved to the cornea: {signed(lens + net[0])} in all."),
                live=_both_moved_differ,
            ),
            seen=given(FOUND, VERTEX)(lambda found, vertex_mm: _shift(found, vertex_mm) > SEEN),
        ),
        sum_with_worn("At the cornea the two add", given(NET)(lambda net: net[0])),
        ORDERED.step(
            NEAREST_QUARTER,
            run=given(TOTAL)(lambda total: nearest_quarter(total)),
            says=given(ORDERED)(lambda ordered: f"The nearest lens in quarters: {signed(ordered)}."),
        ),
    ),
    answer=POWER.by(given(ORDERED)(lambda ordered: ordered)),
    found=given(LENS, VERTEX, FOUND)(
        lambda lens, vertex_mm, found: (
            f"On the eye, a soft lens of {signed(lens)} D.",
            f"Over it, in the trial frame {quantities.MOVE.write(vertex_mm)} before the cornea, retinoscopy gives "
            f"{signed(found)} D with the working distance taken off already.",
        )
    ),
    question=asking("Which power is to be ordered, to the nearest quarter?"),
    figure=given(FOUND, LENS, VERTEX).drawing(
        lambda uid, found, lens, vertex_mm: over_contact_lens(
            SphCyl(found),
            (("contact lens", f"{signed(lens)} DS"), ("found over it, net", f"{signed(found)} DS")),
            vertex_mm=vertex_mm or None,
            uid=uid,
        )
    ),
    needs=("vertex-sphere", "over-refraction"),
    twins=(WRONG_WAY_OR_LIKE_MINUS, TAKEN_OFF_OR_SIGN_LOST),
    probes=(
        Probe(WRONG_WAY_OR_LIKE_MINUS, "vertex-sphere"),
        Probe(TAKEN_OFF_OR_SIGN_LOST, "soft-lens-over-refraction"),
    ),
    sources=("computed", "common-practice"),
)

# --- rigid -------------------------------------------------------------------------------------------------------

TEAR_POWER = 336.0
"""(n − 1) × 1000 for tears of n = 1.336: power in D of a surface is this over its radius in mm."""


def tear_lens(*, bozr_mm: float, k_mm: float) -> float:
    """Return the power in D of the tears between a back optic zone radius and a corneal radius, both in mm.

    Plus where the lens is steeper than the cornea. Source: `contact-lens-course`; tears of n = 1.336.
    """
    return TEAR_POWER / bozr_mm - TEAR_POWER / k_mm


def _by_rule(k_mm: float, bozr_mm: float) -> float:
    return float((k_mm - bozr_mm) * 5)


def _tear(bozr_mm: float, k_mm: float) -> float:
    return tear_lens(bozr_mm=bozr_mm, k_mm=k_mm)


BOZR = Field("bozr_mm", "Back optic zone radius of the lens", quantities.RADIUS)
K = Field("k_mm", "Flattest radius of the cornea", quantities.RADIUS)
TEAR = Field("tear", "Power of the tear lens", quantities.POWER.having(exact=0.06))


@given(BOZR, K, TEAR)
def _tear_words(bozr_mm: float, k_mm: float, tear_value: float) -> str:
    lens, cornea, tear = TEAR_POWER / bozr_mm, TEAR_POWER / k_mm, tear_value
    digits = adding_up(tear, lens, -cornea)
    return f"336 over each radius: {digits.size(lens)} − {digits.size(cornea)} = {digits.result(tear)}, the tear lens."


def _draw_rigid(chance: Chance, settings: Settings) -> dict[str, Any]:
    expert = settings.level == "expert"
    k = chance.stepped(7.2, 8.4, 0.05)
    gap = chance.among((-1, 1, 1)) * chance.stepped(0.05, 0.4 if expert else 0.2, 0.05)
    return given(BOZR, K, LENS, FOUND_FOUND).to(
        round(k - gap, 2),
        k,
        chance.stepped(0.5, 10 if expert else 6) * chance.among((-1, -1, 1)),
        chance.among((-1, 1)) * chance.stepped(0.5, 3),
    )


FOUND_FOUND = Field("found", "Net sphere found over it, as at the cornea", quantities.POWER)
EYE = Field("eye", "What the eye needs at the cornea", quantities.POWER.having(exact=0.06))
ORDER = Field("order", "Power to order in the same curve", quantities.POWER.having(exact=0.06))
rigid_over_refraction = CaseType(
    id="rigid-lens-over-refraction",
    title="Retinoscopy over a rigid contact lens",
    family=FAMILY,
    level="expert",
    seconds=50,
    findings=Group(
        (
            BOZR,
            K,
            LENS,
            FOUND_FOUND,
        )
    ),
    asks=(
        TEAR,
        EYE,
        ORDER,
    ),
    draw=_draw_rigid,
    steps=(
        TEAR.step(
            TEAR_LENS,
            run=given(BOZR, K)(lambda bozr_mm, k_mm: _tear(bozr_mm, k_mm)),
            says=_tear_words,
            slips=(
                Slip(
                    TEAR_REVERSED,
                    run=given(BOZR, K)(lambda bozr_mm, k_mm: -_tear(bozr_mm, k_mm)),
                    says=given(TEAR)(lambda tear: f"The cornea's first: tear lens {signed(tear)}."),
                    live=given(BOZR, K)(lambda bozr_mm, k_mm: abs(_tear(bozr_mm, k_mm)) > SEEN / 2),
                ),
                Slip(
                    TEAR_BY_RULE,
                    run=given(K, BOZR)(lambda k_mm, bozr_mm: _by_rule(k_mm, bozr_mm)),
                    says=given(TEAR)(lambda tear: f"0.25 D for every 0.05 mm: tear lens {signed(tear)}."),
                    live=given(K, BOZR)(
                        lambda k_mm, bozr_mm: abs(_by_rule(k_mm, bozr_mm) - _tear(bozr_mm, k_mm)) > SEEN
                    ),
                ),
            ),
        ),
        sum_with_worn("Contact lens and over-refraction", given(FOUND_FOUND)(lambda found: found)),
        EYE.step(
            EYE_BEHIND_TEARS,
            run=given(TOTAL, TEAR)(lambda total, tear: total + tear),
            says=given(TOTAL, TEAR, EYE)(
                lambda total, tear, eye: f"The tears count for the eye: {added(total, tear, eye)}."
            ),
            slips=(
                Slip(
                    TEAR_LEFT_OUT,
                    run=given(TOTAL)(lambda total: total),
                    says=given(EYE)(lambda eye: f"No tears counted: {signed(eye)}."),
                    live=given(BOZR, K)(lambda bozr_mm, k_mm: abs(_tear(bozr_mm, k_mm)) > SEEN),
                ),
                Slip(
                    TEAR_TAKEN_OFF,
                    run=given(TOTAL, TEAR)(lambda total, tear: total - tear),
                    says=given(EYE)(lambda eye: f"The tears taken off: {signed(eye)}."),
                    live=given(BOZR, K)(lambda bozr_mm, k_mm: abs(_tear(bozr_mm, k_mm)) > SEEN / 2),
                ),
            ),
        ),
        ORDER.step(
            ORDER_SAME_CURVE,
            run=given(TOTAL)(lambda total: total),
            says=given(ORDER)(
                lambda order: f"The same curve brings the same tears, so they stay out of it: order {signed(order)}."
            ),
            slips=(
                Slip(
                    TEAR_IN_ORDER,
                    run=given(EYE)(lambda eye: eye),
                    says=given(ORDER)(lambda order: f"The tears put in: order {signed(order)}."),
                    live=given(BOZR, K)(lambda bozr_mm, k_mm: abs(_tear(bozr_mm, k_mm)) > SEEN),
                ),
            ),
        ),
    ),
    answer=as_found(TEAR, EYE, ORDER),
    found=given(LENS, BOZR, K, FOUND_FOUND)(
        lambda lens, bozr_mm, k_mm, found: (
            f"On the eye, a rigid lens of {signed(lens)} D, back optic zone radius {quantities.RADIUS.write(bozr_mm)}.",
            f"Flattest radius of the cornea {quantities.RADIUS.write(k_mm)}; tears of refractive index 1.336.",
            f"Over the lens retinoscopy gives {signed(found)} D, reckoned at the cornea, the working distance "
            "taken off already.",
        )
    ),
    question=asking(
        "What are the tear lens, the refraction of the eye at the cornea, and the power to order, each to 0.01 D?"
    ),
    figure=given(FOUND_FOUND, BOZR, K, LENS).drawing(
        lambda uid, found, bozr_mm, k_mm, lens: over_contact_lens(
            SphCyl(found),
            (
                ("back optic zone radius", quantities.RADIUS.write(bozr_mm)),
                ("flattest cornea", quantities.RADIUS.write(k_mm)),
                ("contact lens", f"{signed(lens)} DS"),
                ("found over it, net", f"{signed(found)} DS"),
            ),
            uid=uid,
        )
    ),
    needs=("soft-lens-over-refraction",),
    twins=(TAKEN_OFF_OR_SIGN_LOST,),
    probes=(Probe(TAKEN_OFF_OR_SIGN_LOST, "soft-lens-over-refraction"),),
    sources=("contact-lens-course", "common-practice"),
)

TYPES = (soft_over_refraction, rigid_over_refraction)
