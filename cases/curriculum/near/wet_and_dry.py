"""Family F, cycloplegic: a wet result against a dry one, and the centre of a wide pupil."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from cases.curriculum import skills
from cases.curriculum.bench_stage import Bench, View
from cases.curriculum.bench_types import HeldPair, Moving, wanting
from cases.curriculum.drawn_eyes import UNDER_DROPS, Sought, as_recorded, first_fitting
from cases.curriculum.near import FAMILY
from cases.curriculum.shared_keys import HALVES, MEANS
from cases.curriculum.steps import (
    ADDED_OR_SIGN_BLIND,
    DISTANCE,
    DROPS_CAUTION,
    GROSS,
    NET,
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
from cases.evidence.thresholds import Threshold
from cases.figures.lenses import power_cross
from cases.figures.pupil_reflex import Movement, zones
from cases.notation.prescription import write_distance, write_power
from cases.notation.sums import less_signed
from cases.optics.axes import axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.optics.vergence import vergence_in_quarters
from cases.patients.patient import SIDES, Patient
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Defensible, Probe
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Option
from cases.procedure.fields import Field, Group
from cases.procedure.figure import Figure
from cases.procedure.keys import ALWAYS, Rule, Slip, as_found, asking, given
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

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
    ("doherty-2019",),
)
LATENT_DOUBTED = SlipName(
    "latent-plus-doubted",
    "took a gain in plus for an error",
    "More plus with the cylinder unchanged is what drops are given for; hyperopes gain most.",
    ("doherty-2019",),
)
ZONES_AVERAGED = SlipName(
    "zones-averaged",
    "took the mean of centre and margin",
    "The margin does not count by half: the eye will look through its centre. Believe the central 3 to 4 mm.",
)

# --- wet and dry -------------------------------------------------------------------------------------------------

VERDICTS = Choice(
    (
        Option(
            "expected",
            "what drops are expected to do: write it down",
            "the cylinder changed by no more than repeating does, and plus was gained or hardly lost",
        ),
        Option(
            "cylinder",
            "the cylinder has changed too much: measure again",
            "the cylinder of the difference is larger than the clinic's limit",
        ),
        Option(
            "less-plus",
            "less plus with drops than without: measure again",
            "the eye has less plus with drops than without, beyond the clinic's limit",
        ),
        Option(
            "sphere",
            "too much plus gained: measure again",
            "the clinic sets a limit to the plus that may be gained, and it is passed",
        ),
    )
)
LESS_PLUS = -0.25
"""A loss of plus up to this, in D, is within the end-point of either sweep."""

LIMIT_DEFAULT = 0.75


def _of_a_patient(chance: Chance, settings: Settings) -> tuple[SphCyl, float] | None:
    """Draw what a patient shows without drops, and how many dioptres more plus shows with them."""
    side = chance.among(SIDES)

    def fits(patient: Patient) -> tuple[SphCyl, float] | None:
        eye = patient.eye(side)
        dry, gain = as_recorded(eye.dry_lens, settings), round(4 * eye.latent_d) / 4
        usable = gain >= 0.5 and 0.5 <= -dry.cylinder <= 2 and abs(dry.sphere) <= 6 and dry.axis % 45
        return (dry, gain) if usable else None

    return first_fitting(chance, settings, fits, UNDER_DROPS)


def _draw_wet_dry(chance: Chance, settings: Settings) -> dict[str, Any]:
    limit = settings.norm("cylinder-change-limit")
    plan = chance.among(("expected", "expected", "cylinder", "less-plus"))
    dry, gain = _of_a_patient(chance, settings) or (
        SphCyl(chance.stepped(-2, 3), -chance.stepped(0.5, 2), pick_axis(chance, settings)),
        chance.stepped(0.5, 3),
    )
    if plan == "less-plus":
        gain = -chance.stepped(0.75, 1.25)
    while True:
        turn = 0 if settings.level != "expert" else chance.whole(-25, 25)
        # Half a dioptre past the limit or more, so that a quarter of measurement error in either does not decide.
        strayed = -limit - chance.stepped(0.5, 1)
        changed = strayed if plan == "cylinder" else chance.among((-0.25, 0.0, 0.0, 0.25))
        # A strayed cylinder leaves the spherical equivalent as gained, so that it is not less plus as well.
        kept = round(-2 * changed) / 4 if plan == "cylinder" else 0.0
        wet = SphCyl(dry.sphere + gain + kept, dry.cylinder + changed, axis_of(dry.axis + turn))
        change = abs((wet - dry).cylinder)
        if wet.cylinder < 0 and abs(change - limit) > 0.12 and (change > limit) == (plan == "cylinder"):
            break
    return given(DRY, WET, LIMIT).to(dry.in_form(settings.form), wet.in_form(settings.form), limit)


def _means(dry: SphCyl, wet: SphCyl, halves: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(rx.sphere + half for rx, half in zip((dry, wet), halves, strict=True))


def _halves(times: float) -> Rule[tuple[float, ...]]:
    return given(DRY, WET)(lambda dry, wet: (times * dry.cylinder, times * wet.cylinder))


def _cylinders_differ(dry: SphCyl, wet: SphCyl) -> bool:
    return bool(abs(dry.cylinder - wet.cylinder) > 0.12)


DRY = Field("dry", "Net without drops", Lens())
WET = Field("wet", "Net under cycloplegia", Lens())


@given(DRY, WET, HALVES)
def _unsigned(dry: SphCyl, wet: SphCyl, halves: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(rx.sphere + abs(half) for rx, half in zip((dry, wet), halves, strict=True))


def _verdict(change: float, limit: float, latent: float) -> str:
    if change > limit + 1e-9:
        return "cylinder"
    return "less-plus" if latent < LESS_PLUS else "expected"


CHANGE = Field(
    "change", "Change of the cylinder: size of the cylinder of the difference", quantities.SIZE.having(tolerance=0.12)
)


@given(DRY, WET, CHANGE)
def _change_words(dry: SphCyl, wet: SphCyl, change: float) -> str:
    if not (dry.cylinder and wet.cylinder) or axis_gap(dry.axis, wet.axis) < 0.5:
        return f"The axes agree, so one cylinder is taken from the other: {size(change)} D."
    _, j0, j45 = (wet - dry).power_vector()
    return (
        f"The axes differ, so take wet less dry in components: J0 {write_power(j0, 3)}, J45 {write_power(j45, 3)}. "
        f"Twice their length is the cylinder of the difference, {size(change)} D."
    )


def _difference(words: str, latent: Callable[[float, float], float], name: SlipName, live: Rule[bool]) -> Slip[float]:
    return Slip(
        name,
        run=given(MEANS)(lambda means: latent(*means)),
        says=given(LATENT)(lambda latent: f"{words}: {signed(latent)}."),
        live=live,
    )


LIMIT = Field(
    "limit", "Change of cylinder that may be chance", quantities.SIZE.having(low=0.25, high=3.0), default=LIMIT_DEFAULT
)
LATENT = Field("latent", "Gain in plus, spherical equivalent", quantities.POWER.having(tolerance=0.06))
VERDICT = Field("verdict", "What do you make of it?", VERDICTS)


@given(CHANGE, LIMIT, LATENT)
def _defensible(change: float, limit: float, latent: float) -> tuple[Defensible, ...]:
    """Credit the loss of plus where the cylinder changed too much as well: both are true."""
    if change <= limit + 1e-9 or latent >= LESS_PLUS:
        return ()
    because = "The plus lost is beyond the clinic's limit too, and either is reason enough to measure again."
    return (Defensible(VERDICT.to("less-plus"), 0.7, because, "Measure again, wet, and compare both."),)


wet_dry = CaseType(
    id="wet-dry",
    title="Wet against dry",
    family=FAMILY,
    level="competent",
    seconds=30,
    findings=Group(
        (
            DRY,
            WET,
            LIMIT,
        )
    ),
    asks=(
        LATENT,
        CHANGE,
        VERDICT,
    ),
    draw=_draw_wet_dry,
    steps=(
        HALVES.step(
            skills.HALVE_CYLINDER,
            run=_halves(0.5),
            says=given(HALVES)(lambda halves: f"Half of each cylinder, dry and wet: {listed(halves)}."),
            slips=(
                Slip(
                    skills.WHOLE_CYLINDER,
                    run=_halves(1),
                    says=given(HALVES)(lambda halves: f"The whole cylinders taken: {listed(halves)}."),
                    live=given(DRY, WET)(_cylinders_differ),
                ),
                Slip(
                    skills.SPHERE_ONLY,
                    run=_halves(0),
                    says=given()(lambda: "The cylinders left out."),
                    live=given(DRY, WET)(_cylinders_differ),
                ),
            ),
        ),
        MEANS.step(
            skills.ADD_HALF,
            run=given(DRY, WET, HALVES)(lambda dry, wet, halves: _means(dry, wet, halves)),
            says=given(MEANS)(lambda means: f"Spherical equivalents, dry and wet: {listed(means)}."),
            slips=(
                Slip(
                    skills.HALF_UNSIGNED,
                    run=_unsigned,
                    says=given(MEANS)(lambda means: f"The halves added without their sign: {listed(means)}."),
                    live=given(DRY, WET, HALVES)(
                        lambda dry, wet, halves: _cylinders_differ(dry, wet) and min(halves) < 0
                    ),
                ),
            ),
        ),
        LATENT.step(
            LATENT_PLUS,
            run=given(MEANS)(lambda means: means[1] - means[0]),
            says=given(MEANS, LATENT)(
                lambda means, latent: f"Wet less dry: {less_signed(means[1], means[0], latent)}."
            ),
            slips=(
                _difference("Dry less wet", lambda dry, wet: dry - wet, WET_LESS_DRY_REVERSED, ALWAYS),
                _difference(
                    "The sizes compared",
                    lambda dry, wet: abs(wet) - abs(dry),
                    skills.SIZES_SUBTRACTED,
                    given(MEANS)(lambda means: means[0] * means[1] < 0),
                ),
            ),
        ),
        CHANGE.step(
            skills.CYLINDER_CHANGE,
            run=given(WET, DRY)(lambda wet, dry: abs((wet - dry).cylinder)),
            says=_change_words,
            slips=(
                Slip(
                    skills.AXES_LEFT_OUT,
                    run=given(WET, DRY)(lambda wet, dry: abs(abs(wet.cylinder) - abs(dry.cylinder))),
                    says=given(CHANGE)(lambda change: f"The cylinders compared alone: {size(change)} D."),
                    live=given(WET, DRY)(
                        lambda wet, dry: (
                            abs(abs(abs(wet.cylinder) - abs(dry.cylinder)) - abs((wet - dry).cylinder)) > 0.02
                        )
                    ),
                ),
            ),
        ),
        VERDICT.step(
            JUDGE_WET_DRY,
            run=given(CHANGE, LIMIT, LATENT)(lambda change, limit, latent: _verdict(change, limit, latent)),
            says=given(CHANGE, LIMIT, LATENT, VERDICT)(
                lambda change, limit, latent, verdict: (
                    f"The cylinder changed by {size(change)}, of which {size(limit)} may be chance, the "
                    f"plus by {signed(latent)}: {VERDICTS.write(verdict)}."
                )
            ),
            slips=(
                Slip(
                    SPHERE_JUDGED_ALONE,
                    run=given(LATENT)(lambda latent: "less-plus" if latent < LESS_PLUS else "expected"),
                    says=given(VERDICT)(lambda verdict: f"By the plus alone: {VERDICTS.write(verdict)}."),
                    live=given(CHANGE, LIMIT, LATENT)(
                        lambda change, limit, latent: _verdict(change, limit, latent) == "cylinder"
                    ),
                ),
                Slip(
                    LATENT_DOUBTED,
                    run=given()(lambda: "sphere"),
                    says=given(LATENT)(lambda latent: f"{signed(latent)} taken as too much."),
                    live=given(CHANGE, LIMIT, LATENT)(
                        lambda change, limit, latent: _verdict(change, limit, latent) == "expected" and latent >= 1
                    ),
                ),
            ),
        ),
    ),
    answer=as_found(LATENT, CHANGE, VERDICT),
    found=given(DRY, WET, LIMIT)(
        lambda dry, wet, limit: (
            f"Without drops, net: {as_written(dry)}.",
            f"Under cycloplegia, net: {as_written(wet)}.",
            f"The clinic takes a change of cylinder of up to {size(limit)} D as within repeating, and in the spherical "
            f"equivalent a loss of plus of up to {size(-LESS_PLUS)} D. To a gain in plus it sets no limit.",
            DROPS_CAUTION,
        )
    ),
    question=asking(
        "How much plus was gained (spherical equivalent, to an eighth of a dioptre)? Wet less dry as lenses, how large "
        "is the cylinder of the difference, to 0.01 D and without a sign? And what do you make of it?"
    ),
    figure=given(DRY, WET).drawing(lambda uid, dry, wet: power_cross(dry, wet, names=("dry", "wet"), uid=uid)),
    needs=("spherical-equivalent",),
    defensible=_defensible,
    errors={DRY.name: 0.25, WET.name: 0.25},
    sources=("doherty-2019", "mccullough-2017"),
)

# --- centre and margin -------------------------------------------------------------------------------------------


def _draw_zones(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_distance(chance, settings)
    side = chance.among(SIDES)

    def fits(patient: Patient) -> tuple[float, float] | None:
        eye = patient.eye(side)
        centre = round(4 * eye.M) / 4 + vergence_in_quarters(distance)
        # The margin of a wide pupil is more myopic by the square of its radius.
        more_minus = -round(4 * eye.margin_per_mm2 * (eye.pupil_drops_mm / 2) ** 2) / 4
        return (centre, more_minus) if more_minus >= 0.5 and -9 <= centre <= 12 else None

    found = first_fitting(chance, settings, fits, WIDE_PUPILS)
    centre, more_minus = found or (chance.stepped(-6, 9), chance.stepped(0.5, 1.25))
    return given(CENTRE, MARGIN, DISTANCE).to(centre, centre - more_minus, distance)


WIDE_PUPILS = Sought((8.0, 65.0))
"""Ages in years of centre and margin: before, hardly any margin disagrees by half a dioptre."""


CENTRE = Field("centre", "Sphere at which the central 3 to 4 mm are neutral", quantities.POWER)
MARGIN = Field("margin", "Sphere at which the margin is neutral", quantities.POWER)


@given(MARGIN, CENTRE).drawing
def _zones(uid: str, margin_value: float, centre: float) -> Figure:
    further = margin_value - centre
    margin: Movement = "with" if further > 0 else "against" if further < 0 else "neutral"
    return zones("neutral", margin, uid=uid, say=False)


def _zone(words: str, power: Rule[float], name: SlipName) -> Slip[tuple[float, ...]]:
    return Slip(
        name,
        run=given(power)(lambda power: (power,)),
        says=given(GROSS)(lambda gross: f"{words}: {listed(gross)}."),
        live=given(MARGIN, CENTRE)(lambda margin, centre: abs(margin - centre) > 0.3),
    )


POWER = Field("power", "Net sphere", quantities.POWER)
centre_margin = CaseType(
    id="centre-margin",
    title="Centre and margin of a wide pupil",
    family=FAMILY,
    level="novice",
    seconds=8,
    findings=Group(
        (
            CENTRE,
            MARGIN,
            DISTANCE,
        )
    ),
    asks=(POWER,),
    draw=_draw_zones,
    steps=(
        GROSS.step(
            CHOOSE_ZONE,
            run=given(CENTRE)(lambda centre: (centre,)),
            says=given(GROSS)(lambda gross: f"The centre counts and the margin does not: {listed(gross)}."),
            slips=(
                _zone("The margin taken", given(MARGIN)(lambda margin: margin), skills.MARGIN_READ),
                _zone(
                    "The mean of the two",
                    given(CENTRE, MARGIN)(lambda centre, margin: (centre + margin) / 2),
                    ZONES_AVERAGED,
                ),
            ),
        ),
        distance_in_dioptres(),
        take_off_distance(sign_blind(live=given(GROSS)(lambda gross: gross[0] < 0))),
    ),
    answer=POWER.by(given(NET)(lambda net: net[0])),
    found=given(CENTRE, MARGIN, DISTANCE)(
        lambda centre, margin, distance_cm: (
            f"The pupil is wide under drops. With {lens_in_place(centre, 'DS alone in place')} its "
            "central 3 to 4 mm are neutral in every meridian.",
            f"With {lens_in_place(margin, 'DS alone in place')} its margin is neutral.",
            f"Sight hole {write_distance(distance_cm)} from the pupil.",
            DROPS_CAUTION,
        )
    ),
    question=asking("What is the net sphere?"),
    figure=_zones,
    needs=("net-sphere",),
    twins=(ADDED_OR_SIGN_BLIND,),
    probes=(Probe(ADDED_OR_SIGN_BLIND, "net-sphere"),),
    sources=("common-practice",),
)


@given(CENTRE, MARGIN, DISTANCE)
def _zones_bench(centre: float, margin: float, distance_cm: float) -> Bench:
    """Return the bench with the centre's sphere in place, and an eye whose edge needs what the findings say."""
    return replace(wanting(centre, distance_cm, pupil_mm=8.0, margin=margin - centre), sphere=centre)


@given(_zones_bench, CENTRE)
def _zones_pair(bench: Bench, centre: float) -> HeldPair:
    def lens(answer: Mapping[str, Any], truth: Mapping[str, Any]) -> SphCyl:
        return SphCyl(centre + answer["power"] - truth["power"])

    return lambda yours, right: (bench.holding(lens(yours, right)), bench.holding(lens(right, right)))


MOVING = {centre_margin.id: Moving(given(_zones_bench)(lambda bench: (View("", bench),)), pair=_zones_pair)}
THRESHOLDS = (Threshold(f"A loss of {-LESS_PLUS:.2f} D of plus under drops is within the end-point"),)
TYPES = (wet_dry, centre_margin)
