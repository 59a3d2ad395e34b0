"""Family Bench: an eye brought to neutral by hand, its gross finding read by eye, and the net written."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from cases.curriculum import skills
from cases.curriculum.bench import FAMILY
from cases.curriculum.bench.eye_on_bench import MARGIN, PUPIL, RX, pupil_words
from cases.curriculum.bench_stage import Bench, as_still, one_view
from cases.curriculum.bench_types import HeldPair, Moving, both_in_place
from cases.curriculum.drawn_eyes import STRONG_CYLINDERS, Sought, patient_lens, patient_sphere
from cases.curriculum.shared_keys import AXIS, CYLINDER, FIRST_STREAK, SECOND_STREAK, SPHERE
from cases.curriculum.spheres_alone import spheres_to_prescription
from cases.curriculum.steps import (
    ADDED_OR_SIGN_BLIND,
    DISTANCE,
    FORM,
    FORM_WORDS,
    GROSS,
    NET,
    SWEEP_OR_AXIS,
    Powers,
    degrees,
    distance_in_dioptres,
    listed,
    pick_distance,
    sign_blind,
    take_off_distance,
)
from cases.notation.prescription import write_distance, write_prescription
from cases.optics.appearance import PUPIL_MM
from cases.optics.axes import across, axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.optics.vergence import vergence_in_quarters, working_vergence
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Pair, Probe
from cases.procedure.chain import Skill, SlipName, SlipRef
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, Step, asking, given
from cases.procedure.kinds import BadFinding, Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

ENDS = Key[Powers]("ends")
NEAR = Key[float]("near")
LOOKED = Key[tuple[float, ...]]("looked", unit="°")

FIND_MERIDIANS = Skill("find-meridians", "finding the principal meridians from the reflex")
READ_END_POINT = Skill("read-end-point", "judging by eye where neutral is")

SKEW_LEFT = SlipName(
    "skew-left",
    "left the streak where the reflex still stood turned to it",
    "Where streak and reflex part company you are off the meridian. Turn the streak until the two lie in one line.",
    ("skew-figure",),
)


def _end_slip(ident: str, title: str, late: bool, which: str) -> SlipName:
    tells = (
        "The movement had turned round. Come back until nothing moves, then lean in to check."
        if late
        else "The reflex still moved: fast and wide, it looks neutral. Go on until it turns round, then come back."
    )
    return SlipName(ident, f"{title} {which}", tells, ("jpn-2010", "common-practice"))


_SHORT, _PAST = "stopped 0.50 D or more short of neutral", "went 0.50 D or more past neutral"
EARLY = _end_slip("end-point-early", _SHORT, False, "throughout")
LATE = _end_slip("end-point-late", _PAST, True, "throughout")
EARLY_ONE = (
    _end_slip("end-point-early-more-plus", _SHORT, False, "in the more plus meridian"),
    _end_slip("end-point-early-less-plus", _SHORT, False, "in the less plus meridian"),
)
LATE_ONE = (
    _end_slip("end-point-late-more-plus", _PAST, True, "in the more plus meridian"),
    _end_slip("end-point-late-less-plus", _PAST, True, "in the less plus meridian"),
)

END_OR_DISTANCE: tuple[Pair, ...] = tuple(
    (SlipRef(READ_END_POINT.id, end.id), SlipRef(skills.DISTANCE_IN_DIOPTRES.id, skills.ALWAYS_ONE_FIFTY.id))
    for end in (EARLY, LATE)
)
"""At 50 and 100 cm half a dioptre out at the end-point and 1.50 taken off by habit lead to the same lens."""

ONE_STEP = 0.25
ZONE = 0.25
"""In D to either side: a reading so near is right, since neutral is a zone. The end-point is judged to 0.25 D at best
(Jpn J Vis Sci 2010;31:48)."""
OUT_BY = 0.5
"""In D: an end-point so far out is a slip, the first step outside the zone."""


def _step(gross: float) -> float:
    """Return the step in D, large enough to be a slip, that led towards this end-point from no lens at all."""
    return OUT_BY if gross >= 0 else -OUT_BY


Past = Callable[[Powers, int], int]
"""From all end-points and the place of one among them to how many steps it is run past."""


def _stepped(past: Past) -> Rule[Powers]:
    return given(ENDS)(lambda ends: tuple(end + past(ends, place) * _step(end) for place, end in enumerate(ends)))


def _only(more_plus: bool, by: int) -> Past:
    def past(ends: Powers, place: int) -> int:
        other = ends[1 - place]
        is_more = ends[place] > other or (ends[place] == other and place == 0)
        return by if is_more == more_plus else 0

    return past


def _neutral_words(gross: Powers, looked: tuple[float, ...] = ()) -> str:
    where = f", streak at {' and '.join(map(degrees, looked))}" if looked else ""
    return f"Nothing travels, and leaning in shows with, behind {listed(gross)} in all{where}."


@given(GROSS)
def _taken_words(gross: Powers) -> str:
    return f"Neutral taken with {listed(gross)}."


def _end_step(says: Rule[str], *more: Slip[Powers]) -> Step:
    return GROSS.step(
        READ_END_POINT,
        run=given(ENDS)(lambda ends: ends),
        says=says,
        slips=(
            Slip(EARLY, run=_stepped(lambda *_: -1), says=_taken_words),
            Slip(LATE, run=_stepped(lambda *_: 1), says=_taken_words),
            *more,
            Slip(
                skills.MARGIN_READ,
                run=given(MARGIN, ENDS)(lambda margin, ends: tuple(end + margin for end in ends)),
                says=_taken_words,
                live=given(MARGIN)(lambda margin: abs(margin) > ZONE),
            ),
        ),
    )


def _margin(chance: Chance, settings: Settings) -> dict[str, Any]:
    """Draw a pupil, at times a wide one whose edge disagrees: more minus at the edge, as in relaxed eyes."""
    if settings.level == "novice" or chance.happens(0.5):
        return given(PUPIL, MARGIN).to(PUPIL_MM, 0.0)
    return given(PUPIL, MARGIN).to(chance.among((7.0, 7.5, 8.0)), chance.among((-0.5, -0.75, -1.0, -1.25)))


TOO_DULL_TO_START = "Where you cannot tell which way the reflex moves, try a lens of 4 D or more, plus and then minus."
"""Some of these eyes are farther from neutral than a movement can be seen: what to do then."""


def _possible(bench: Bench) -> None:
    """Refuse findings that no bench can show: a distance out of reach, above all."""
    _ = bench.setting


# --- one sphere --------------------------------------------------------------------------------------------------

RX_SPHERE = Field("rx", "Net sphere of the eye on the bench", quantities.POWER)
POWER = Field("power", "Net sphere", quantities.POWER.having(tolerance=ZONE, apart=0.125))


@given(RX_SPHERE, DISTANCE, PUPIL, MARGIN)
def _sphere_bench(rx: float, distance_cm: float, pupil_mm: float, margin: float) -> Bench:
    return Bench(eye=SphCyl(rx), distance_cm=distance_cm, pupil_mm=pupil_mm, margin=margin)


def _draw_sphere(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_distance(chance, settings)
    # Far enough from neutral at first that there is something to do.
    off = vergence_in_quarters(distance)
    far_enough = (-10.0 - off, -0.75 - off) if chance.happens(0.3) else (0.75 - off, 10.0 - off)
    return given(RX_SPHERE, DISTANCE).to(patient_sphere(chance, settings, *far_enough), distance) | _margin(
        chance, settings
    )


bench_sphere = CaseType(
    id="bench-sphere",
    title="An eye without astigmatism brought to neutral",
    family=FAMILY,
    level="novice",
    seconds=60,
    findings=Group((RX_SPHERE, DISTANCE, PUPIL, MARGIN)),
    asks=(POWER,),
    draw=_draw_sphere,
    holds=given(_sphere_bench)(_possible),
    begin=ENDS.by(given(RX_SPHERE, DISTANCE)(lambda rx, distance_cm: (rx + working_vergence(distance_cm),))),
    steps=(
        _end_step(given(GROSS)(_neutral_words)),
        distance_in_dioptres(shows=ZONE),
        take_off_distance(sign_blind(live=given(GROSS)(lambda gross: gross[0] < 0))),
    ),
    answer=POWER.by(given(NET)(lambda net: net[0])),
    found=given(PUPIL, DISTANCE)(
        lambda pupil_mm, distance_cm: (
            "A spherical eye, no lens in place.",
            *pupil_words(pupil_mm),
            f"Sight hole {write_distance(distance_cm)} from the pupil; plane-mirror setting.",
            TOO_DULL_TO_START,
        )
    ),
    question=asking("Bring it to neutral. What is the net sphere?"),
    figure=as_still(_sphere_bench),
    needs=("net-sphere", "next-lens"),
    twins=(ADDED_OR_SIGN_BLIND, *END_OR_DISTANCE),
    probes=(Probe(ADDED_OR_SIGN_BLIND, "net-sphere"), *(Probe(pair, "net-sphere") for pair in END_OR_DISTANCE)),
    sources=("reflex-optics", "jpn-2010"),
)

# --- two meridians -----------------------------------------------------------------------------------------------

EYE = Field("prescription", "Net prescription", Lens(zone=ZONE))
START_STREAK = Field("start_streak", "Where the streak lies to begin with", quantities.MERIDIAN)


@given(RX, START_STREAK, DISTANCE, PUPIL, MARGIN)
def _eye_bench(rx: SphCyl, start_streak: float, distance_cm: float, pupil_mm: float, margin: float) -> Bench:
    return Bench(eye=rx, streak=start_streak, distance_cm=distance_cm, pupil_mm=pupil_mm, margin=margin)


TORIC = Sought(strata=STRONG_CYLINDERS)


def _draw_eye(chance: Chance, settings: Settings) -> dict[str, Any]:
    rx = patient_lens(chance, settings, sphere=(-7, 6), cylinder=(0.75, 3), at_the_bench=True, sought=TORIC)
    near = chance.among((rx.axis, across(rx.axis)))
    aside = chance.among((15, 20, 25, 30)) * chance.among((1, -1))
    return (
        given(RX, START_STREAK, DISTANCE).to(rx, axis_of(near + aside), pick_distance(chance, settings))
        | _margin(chance, settings)
        | FORM.to(settings.form)
    )


@given(_eye_bench)
def _has_meridians(bench: Bench) -> None:
    if not bench.eye.cylinder:
        raise BadFinding(write_prescription(bench.eye), "a cylinder is needed, such as +1.00 / −1.50 × 70")
    _possible(bench)


@given(RX, START_STREAK)
def _nearest(rx: SphCyl, start_streak: float) -> float:
    return min((rx.axis, across(rx.axis)), key=lambda streak: axis_gap(streak, start_streak))


def _look_along(
    distance_cm: float, rx: SphCyl, streak: float, *, rounded: bool = True
) -> tuple[float, float, tuple[float, ...], Powers]:
    """Return what is neutral for this streak and the one across it: off a meridian, to the nearest step."""
    vergence = working_vergence(distance_cm)
    streaks = (streak, across(streak))
    ends = tuple(rx.power_at(across(one)) + vergence for one in streaks)
    if rounded:
        ends = tuple(round(end / ONE_STEP) * ONE_STEP for end in ends)
    return (*streaks, streaks, ends)


@given(NEAR, START_STREAK)
def _off_meridian(near: float, start_streak: float) -> bool:
    return axis_gap(near, start_streak) > 2


FIND_STEP = given(FIRST_STREAK, SECOND_STREAK, LOOKED, ENDS).step(
    FIND_MERIDIANS,
    run=given(DISTANCE, RX, NEAR)(lambda distance_cm, rx, near: _look_along(distance_cm, rx, near, rounded=False)),
    says=given(FIRST_STREAK, SECOND_STREAK)(
        lambda first_streak, second_streak: (
            f"Turned until streak and reflex lie in one line: at {degrees(first_streak)}, and across it at "
            f"{degrees(second_streak)}."
        )
    ),
    slips=(
        Slip(
            SKEW_LEFT,
            run=given(DISTANCE, RX, START_STREAK)(_look_along),
            says=given(FIRST_STREAK)(lambda first_streak: f"The streak left at {degrees(first_streak)}."),
            live=_off_meridian,
        ),
        Slip(
            skills.AWAY_FROM_REFLEX,
            run=given(DISTANCE, RX, START_STREAK, NEAR)(
                lambda distance_cm, rx, start_streak, near: _look_along(
                    distance_cm, rx, axis_of(2 * start_streak - near)
                )
            ),
            says=given(FIRST_STREAK)(lambda first_streak: f"The streak turned away, to {degrees(first_streak)}."),
            live=_off_meridian,
        ),
    ),
)

bench_eye = CaseType(
    id="bench-eye",
    title="An eye brought to neutral in two meridians",
    family=FAMILY,
    level="competent",
    seconds=180,
    findings=Group(
        (
            RX,
            START_STREAK,
            DISTANCE,
            PUPIL,
            MARGIN,
            FORM,
        )
    ),
    asks=(EYE,),
    draw=_draw_eye,
    holds=_has_meridians,
    begin=NEAR.by(_nearest),
    steps=(
        FIND_STEP,
        _end_step(
            given(GROSS, LOOKED)(_neutral_words),
            *(
                Slip(name, run=_stepped(_only(more_plus, by)), says=_taken_words)
                for names, by in ((EARLY_ONE, -1), (LATE_ONE, 1))
                for name, more_plus in zip(names, (True, False), strict=True)
            ),
        ),
        # From here on it is what two spheres found on paper ask for, but for reading the dial.
        *spheres_to_prescription(shows=ZONE),
    ),
    answer=EYE.by(given(SPHERE, CYLINDER, AXIS)(SphCyl)),
    found=given(PUPIL, DISTANCE)(
        lambda pupil_mm, distance_cm: (
            "An eye, no lens in place.",
            *pupil_words(pupil_mm),
            f"Sight hole {write_distance(distance_cm)} from the pupil; plane-mirror setting.",
            TOO_DULL_TO_START,
        )
    ),
    question=given(FORM)(
        lambda form: (
            "Bring both meridians to neutral, with spheres alone or with a cylinder, as you like. What is the net "
            f"prescription, in {FORM_WORDS[form]}?"
        )
    ),
    figure=as_still(_eye_bench),
    needs=("bench-sphere", "two-spheres"),
    twins=(SWEEP_OR_AXIS, *END_OR_DISTANCE),
    probes=(Probe(SWEEP_OR_AXIS, "streak-axis"), *(Probe(pair, "net-sphere") for pair in END_OR_DISTANCE)),
    sources=("reflex-optics", "jpn-2010"),
)

HANDS = frozenset(("streak", "lenses", "lean", "sleeve"))
STAGES = {bench_sphere.id: one_view(_sphere_bench, HANDS), bench_eye.id: one_view(_eye_bench, HANDS)}


@given(_sphere_bench, DISTANCE)
def _sphere_pair(bench: Bench, distance_cm: float) -> HeldPair:
    off = working_vergence(distance_cm)
    return lambda yours, right: both_in_place(bench, SphCyl(yours["power"] + off), SphCyl(right["power"] + off))


@given(_eye_bench, DISTANCE)
def _eye_pair(bench: Bench, distance_cm: float) -> HeldPair:
    off = SphCyl(working_vergence(distance_cm))
    return lambda yours, right: both_in_place(bench, yours["prescription"] + off, right["prescription"] + off)


MOVING = {
    bench_sphere.id: Moving(given()(lambda: ()), tells=True, pair=_sphere_pair),
    bench_eye.id: Moving(given()(lambda: ()), tells=True, pair=_eye_pair),
}

TYPES = (bench_sphere, bench_eye)
