"""Family F, cycloplegic: a wet result against a dry one, and the centre of a wide pupil."""

from __future__ import annotations

from typing import Any

from cases import skills
from cases.casetype import CaseType, Probe, Settings
from cases.chance import Chance
from cases.choices import Choice, Option
from cases.families.near import FAMILY
from cases.fields import Field, Group
from cases.figures import Figure
from cases.figures_lenses import power_cross
from cases.figures_reflex import Movement, zones
from cases.kinds import Lens, Power, Size
from cases.lens import SphCyl, axis_gap, axis_of
from cases.notation import write_distance, write_power
from cases.steps import (
    ADDED_OR_SIGN_BLIND,
    DISTANCE,
    DROPS_CAUTION,
    as_written,
    distance_in_dioptres,
    lens_in_place,
    listed,
    pick_axis,
    pick_distance,
    sign_blind,
    signed,
    size,
    take_off_distance,
)
from cases.sums import less_signed
from cases.working import Known, Skill, Slip, SlipName, Step

LATENT_PLUS = Skill("latent-plus", "finding the plus that drops bring out")
JUDGE_WET_DRY = Skill("judge-wet-dry", "judging a wet result against a dry one")
CHOOSE_ZONE = Skill("choose-zone", "choosing the part of the pupil to believe")

WET_LESS_DRY_REVERSED = SlipName(
    "wet-dry-reversed",
    "took wet off dry",
    "Latent plus is what the drops brought out: wet less dry.",
)
SPHERE_JUDGED_ALONE = SlipName(
    "cylinder-change-not-judged",
    "looked at the plus alone",
    "Drops take accommodation away, and that is spherical. A cylinder that has changed by more than you would repeat "
    "asks for a second look.",
    "Doherty 2019, Ophthalmic Physiol Opt: under cyclopentolate the cylinder stayed and the plus grew",
)
LATENT_DOUBTED = SlipName(
    "latent-plus-doubted",
    "took a gain in plus for an error",
    "More plus with the cylinder unchanged is what drops are given for; hyperopes gain most.",
    "Doherty 2019, Ophthalmic Physiol Opt",
)
ZONES_AVERAGED = SlipName(
    "zones-averaged",
    "took the mean of centre and margin",
    "The margin does not count by half: the eye will look through its centre. Believe the central 3 to 4 mm.",
)

# --- wet and dry -------------------------------------------------------------------------------------------------

VERDICTS = Choice(
    (
        Option("expected", "what drops are expected to do: write it down"),
        Option("cylinder", "the cylinder has changed too much: measure again"),
        Option("less-plus", "less plus with drops than without: measure again"),
        Option("sphere", "too much plus gained: measure again"),
    )
)
LESS_PLUS = -0.25
"""A loss of plus up to this, in D, is within the end-point of either sweep: common practice, no published source."""

LIMIT_DEFAULT = 0.75


def _draw_wet_dry(chance: Chance, settings: Settings) -> dict[str, Any]:
    limit = settings.norm("cylinder-change-limit")
    dry = SphCyl(chance.stepped(-2, 3), -chance.stepped(0.5, 2), pick_axis(chance, settings))
    plan = chance.among(("expected", "expected", "cylinder", "less-plus"))
    gain = -chance.stepped(0.5, 1) if plan == "less-plus" else chance.stepped(0.5, 3)
    while True:
        turn = 0 if settings.level != "expert" else chance.whole(-25, 25)
        strayed = -limit - chance.stepped(0.25, 0.75)
        changed = strayed if plan == "cylinder" else chance.among((-0.25, 0.0, 0.0, 0.25))
        wet = SphCyl(dry.sphere + gain, dry.cylinder + changed, axis_of(dry.axis + turn))
        change = abs((wet - dry).cylinder)
        if wet.cylinder < 0 and abs(change - limit) > 0.12 and (change > limit) == (plan == "cylinder"):
            break
    return {"dry": dry.in_form(settings.form), "wet": wet.in_form(settings.form), "limit": limit}


def _means(known: Known) -> tuple[float, ...]:
    return tuple(rx.sphere + half for rx, half in zip((known["dry"], known["wet"]), known["halves"], strict=True))


def _halves(times: float) -> Any:
    return lambda known: {"halves": tuple(times * known[name].cylinder for name in ("dry", "wet"))}


def _cylinders_differ(known: Known) -> bool:
    return bool(abs(known["dry"].cylinder - known["wet"].cylinder) > 0.12)


def _unsigned(known: Known) -> dict[str, Any]:
    return {
        "means": tuple(
            rx.sphere + abs(half) for rx, half in zip((known["dry"], known["wet"]), known["halves"], strict=True)
        )
    }


def _verdict(known: Known) -> str:
    if known["change"] > known["limit"] + 1e-9:
        return "cylinder"
    return "less-plus" if known["latent"] < LESS_PLUS else "expected"


def _change_words(known: Known) -> str:
    dry, wet = known["dry"], known["wet"]
    if not (dry.cylinder and wet.cylinder) or axis_gap(dry.axis, wet.axis) < 0.5:
        return f"The axes agree, so one cylinder is taken from the other: {size(known['change'])} D."
    _, j0, j45 = (wet - dry).power_vector()
    return (
        f"The axes differ, so take wet less dry in components: J0 {write_power(j0, 3)}, J45 {write_power(j45, 3)}. "
        f"Twice their length is the cylinder of the difference, {size(known['change'])} D."
    )


def _difference(words: str, latent: Any, name: SlipName, live: Any) -> Slip:
    return Slip(
        name,
        run=lambda known: {"latent": latent(*known["means"])},
        says=lambda known: f"{words}: {signed(known['latent'])}.",
        live=live,
    )


wet_dry = CaseType(
    id="wet-dry",
    title="Wet against dry",
    family=FAMILY,
    level="competent",
    seconds=30,
    findings=Group(
        (
            Field("dry", "Net without drops", Lens()),
            Field("wet", "Net under cycloplegia", Lens()),
            Field("limit", "Change of cylinder that may be chance", Size(low=0.25, high=3.0), default=LIMIT_DEFAULT),
        )
    ),
    asks=(
        Field("latent", "Gain in plus, spherical equivalent", Power(tolerance=0.06)),
        Field("change", "Change of the cylinder: size of the cylinder of the difference", Size(tolerance=0.12)),
        Field("verdict", "What do you make of it?", VERDICTS),
    ),
    draw=_draw_wet_dry,
    begin=lambda _: {},
    steps=(
        Step(
            skills.HALVE_CYLINDER,
            run=_halves(0.5),
            says=lambda known: f"Half of each cylinder, dry and wet: {listed(known['halves'])}.",
            slips=(
                Slip(
                    skills.WHOLE_CYLINDER,
                    run=_halves(1),
                    says=lambda known: f"The whole cylinders taken: {listed(known['halves'])}.",
                    live=_cylinders_differ,
                ),
                Slip(
                    skills.SPHERE_ONLY, run=_halves(0), says=lambda _: "The cylinders left out.", live=_cylinders_differ
                ),
            ),
        ),
        Step(
            skills.ADD_HALF,
            run=lambda known: {"means": _means(known)},
            says=lambda known: f"Spherical equivalents, dry and wet: {listed(known['means'])}.",
            slips=(
                Slip(
                    skills.HALF_UNSIGNED,
                    run=_unsigned,
                    says=lambda known: f"The halves added without their sign: {listed(known['means'])}.",
                    live=lambda known: _cylinders_differ(known) and min(known["halves"]) < 0,
                ),
            ),
        ),
        Step(
            LATENT_PLUS,
            run=lambda known: {"latent": known["means"][1] - known["means"][0]},
            says=lambda known: f"Wet less dry: {less_signed(known['means'][1], known['means'][0], known['latent'])}.",
            slips=(
                _difference("Dry less wet", lambda dry, wet: dry - wet, WET_LESS_DRY_REVERSED, lambda _: True),
                _difference(
                    "The sizes compared",
                    lambda dry, wet: abs(wet) - abs(dry),
                    skills.SIZES_SUBTRACTED,
                    lambda known: known["means"][0] * known["means"][1] < 0,
                ),
            ),
        ),
        Step(
            skills.CYLINDER_CHANGE,
            run=lambda known: {"change": abs((known["wet"] - known["dry"]).cylinder)},
            says=_change_words,
            slips=(
                Slip(
                    skills.AXES_LEFT_OUT,
                    run=lambda known: {"change": abs(abs(known["wet"].cylinder) - abs(known["dry"].cylinder))},
                    says=lambda known: f"The cylinders compared alone: {size(known['change'])} D.",
                    live=lambda known: (
                        abs(
                            abs(abs(known["wet"].cylinder) - abs(known["dry"].cylinder))
                            - abs((known["wet"] - known["dry"]).cylinder)
                        )
                        > 0.02
                    ),
                ),
            ),
        ),
        Step(
            JUDGE_WET_DRY,
            run=lambda known: {"verdict": _verdict(known)},
            says=lambda known: (
                f"The cylinder changed by {size(known['change'])}, of which {size(known['limit'])} may be chance, the "
                f"plus by {signed(known['latent'])}: {VERDICTS.write(known['verdict'])}."
            ),
            slips=(
                Slip(
                    SPHERE_JUDGED_ALONE,
                    run=lambda known: {"verdict": "less-plus" if known["latent"] < LESS_PLUS else "expected"},
                    says=lambda known: f"By the plus alone: {VERDICTS.write(known['verdict'])}.",
                    live=lambda known: _verdict(known) == "cylinder",
                ),
                Slip(
                    LATENT_DOUBTED,
                    run=lambda _: {"verdict": "sphere"},
                    says=lambda known: f"{signed(known['latent'])} taken as too much.",
                    live=lambda known: _verdict(known) == "expected" and known["latent"] >= 1,
                ),
            ),
        ),
    ),
    answer=lambda known: {name: known[name] for name in ("latent", "change", "verdict")},
    found=lambda known: (
        f"Without drops, net: {as_written(known['dry'])}.",
        f"Under cycloplegia, net: {as_written(known['wet'])}.",
        f"The clinic takes a change of cylinder of up to {size(known['limit'])} D as within repeating.",
        DROPS_CAUTION,
    ),
    question=lambda _: (
        "How much plus was gained (spherical equivalent, to an eighth of a dioptre)? Wet less dry as lenses, how large "
        "is the cylinder of the difference, to 0.01 D and without a sign? And what do you make of it?"
    ),
    figure=lambda known, uid: power_cross(known["dry"], known["wet"], names=("dry", "wet"), uid=uid),
    form=lambda _: None,
    needs=("spherical-equivalent",),
    sources=(
        "Doherty 2019, Ophthalmic Physiol Opt (cylinder unchanged, more plus under cyclopentolate)",
        "McCullough, Doyle & Saunders 2017, Ophthalmic Physiol Opt 37:16 (0.75 D of cylinder on repeat)",
    ),
)

# --- centre and margin -------------------------------------------------------------------------------------------


def _draw_zones(chance: Chance, settings: Settings) -> dict[str, Any]:
    centre = chance.stepped(-6, 9)
    return {
        "centre": centre,
        # The margin of a relaxed eye bends light more (positive spherical aberration), so it wants less plus.
        "margin": centre - chance.stepped(0.75, 2),
        "distance_cm": pick_distance(chance, settings),
    }


def _zones(known: Known, uid: str) -> Figure:
    further = known["margin"] - known["centre"]
    margin: Movement = "with" if further > 0 else "against" if further < 0 else "neutral"
    return zones("neutral", margin, uid=uid, say=False)


def _zone(words: str, power: Any, name: SlipName) -> Slip:
    return Slip(
        name,
        run=lambda known: {"gross": (power(known),)},
        says=lambda known: f"{words}: {listed(known['gross'])}.",
        live=lambda known: abs(known["margin"] - known["centre"]) > 0.3,
    )


centre_margin = CaseType(
    id="centre-margin",
    title="Centre and margin of a wide pupil",
    family=FAMILY,
    level="novice",
    seconds=8,
    findings=Group(
        (
            Field("centre", "Sphere at which the central 3 to 4 mm are neutral", Power()),
            Field("margin", "Sphere at which the margin is neutral", Power()),
            DISTANCE,
        )
    ),
    asks=(Field("power", "Net sphere", Power()),),
    draw=_draw_zones,
    begin=lambda _: {},
    steps=(
        Step(
            CHOOSE_ZONE,
            run=lambda known: {"gross": (known["centre"],)},
            says=lambda known: f"The centre counts and the margin does not: {listed(known['gross'])}.",
            slips=(
                _zone("The margin taken", lambda known: known["margin"], skills.MARGIN_READ),
                _zone("The mean of the two", lambda known: (known["centre"] + known["margin"]) / 2, ZONES_AVERAGED),
            ),
        ),
        distance_in_dioptres(),
        take_off_distance(sign_blind(live=lambda known: known["gross"][0] < 0)),
    ),
    answer=lambda known: {"power": known["net"][0]},
    found=lambda known: (
        f"The pupil is wide under drops. With {lens_in_place(known['centre'], 'DS alone in place')} its "
        "central 3 to 4 mm are neutral in every meridian.",
        f"With {lens_in_place(known['margin'], 'DS alone in place')} its margin is neutral.",
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil.",
        DROPS_CAUTION,
    ),
    question=lambda _: "What is the net sphere?",
    figure=_zones,
    form=lambda _: None,
    needs=("net-sphere",),
    twins=(ADDED_OR_SIGN_BLIND,),
    probes=(Probe(ADDED_OR_SIGN_BLIND, "net-sphere"),),
    sources=(
        "Central 3 to 4 mm: common practice, no published source",
        "Margin of a relaxed eye the more myopic: Porter, Guirao, Cox & Williams 2001, J Opt Soc Am A 18:1793 (mean "
        "spherical aberration above nought; from memory)",
    ),
)

TYPES = (wet_dry, centre_margin)
