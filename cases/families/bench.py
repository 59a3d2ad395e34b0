"""Family Bench: an eye brought to neutral by hand, its gross finding read by eye, and the net written."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from cases import skills
from cases.bench import Bench, Stage, View, still
from cases.casetype import CaseType, Family, Pair, Probe, Settings
from cases.chance import Chance
from cases.cross import AXIS, CYLINDER, SPHERE
from cases.families.meridians import FIRST_STREAK, PRESCRIPTION, SECOND_STREAK, SWEEP_OR_AXIS, two_spheres
from cases.fields import Field, Group
from cases.figures import Figure
from cases.keys import Key, Rule, Slip, asking, given, untyped
from cases.kinds import BadFinding, Lens, Meridian, Power
from cases.lens import SphCyl, across, axis_gap, axis_of
from cases.looks import PUPIL_MM
from cases.millimetres import Diameter
from cases.notation import write_distance, write_prescription
from cases.steps import (
    ADDED_OR_SIGN_BLIND,
    DISTANCE,
    FORM,
    FORM_WORDS,
    GROSS,
    NET,
    degrees,
    distance_in_dioptres,
    listed,
    pick_distance,
    pick_lens,
    sign_blind,
    take_off_distance,
)
from cases.vergence import vergence_in_quarters, working_vergence
from cases.working import Known, Skill, SlipName, SlipRef, Step

FAMILY = Family("bench", "At the bench", 9)


PUPIL = Field("pupil_mm", "Diameter of the pupil", Diameter(), default=PUPIL_MM)
MARGIN = Field("margin", "What the edge of the pupil wants more than its centre", Power(low=-2, high=2), default=0.0)

FIND_MERIDIANS = Skill("find-meridians", "finding the principal meridians by the look of the reflex")
READ_END_POINT = Skill("read-end-point", "judging by eye where neutral is")

SKEW_LEFT = SlipName(
    "skew-left",
    "left the streak where the reflex still stood turned to it",
    "Where streak and reflex part company you are off the meridian. Turn the streak until the two lie in one line.",
    "that streak and reflex part company off axis: AAO image caption “Skew”",
)


ENDS = Key[tuple[float, ...]]("ends")
NEAR = Key[float]("near")
LOOKED = Key[tuple[float, ...]]("looked")


def _end_slip(ident: str, title: str, late: bool, which: str) -> SlipName:
    tells = (
        "That is one step past: the movement had turned round. Come back until nothing travels, then lean in to check."
        if late
        else "Something still travelled, fast and wide, and looked neutral. Go on until it turns round, then come back."
    )
    return SlipName(ident, f"{title} {which}", tells)


_SHORT, _PAST = "stopped a step before neutral", "went a step past neutral"
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
"""At 57 and 80 cm a quarter too much at the end-point and 1.50 taken off by habit come to the same lens."""

ONE_STEP = 0.25


def _step(gross: float) -> float:
    """Return the step in D that led towards this end-point from no lens at all."""
    return ONE_STEP if gross >= 0 else -ONE_STEP


def _stepped(steps: Callable[[Known, int], int]) -> Rule[tuple[float, ...]]:
    """Run the end-points so many steps past, for each place in `ends`."""

    def run(known: Known) -> dict[str, Any]:
        right = known["ends"]
        return {"gross": tuple(end + steps(known, place) * _step(end) for place, end in enumerate(right))}

    return untyped(lambda known: run(known)["gross"])


def _only(more_plus: bool, by: int) -> Callable[[Known, int], int]:
    def steps(known: Known, place: int) -> int:
        other = known["ends"][1 - place]
        is_more = known["ends"][place] > other or (known["ends"][place] == other and place == 0)
        return by if is_more == more_plus else 0

    return steps


@given(GROSS)
def _end_words(gross: tuple[float, ...]) -> str:
    return f"Neutral taken with {listed(gross)}."


def _end_step(*more: Slip[tuple[float, ...]]) -> Step:
    return GROSS.step(
        READ_END_POINT,
        run=given(ENDS)(lambda ends: ends),
        says=untyped(
            lambda known: (
                f"Nothing travels, and leaning in shows with, behind {listed(known['gross'])} in all"
                + (f", streak at {' and '.join(degrees(s) for s in known['looked'])}." if known.get("looked") else ".")
            )
        ),
        slips=(
            Slip(EARLY, run=_stepped(lambda *_: -1), says=_end_words),
            Slip(LATE, run=_stepped(lambda *_: 1), says=_end_words),
            *more,
            Slip(
                skills.MARGIN_READ,
                run=given(MARGIN, ENDS)(lambda margin, ends: tuple(end + margin for end in ends)),
                says=_end_words,
                live=given(MARGIN)(lambda margin: abs(margin) > ONE_STEP),
            ),
        ),
    )


def _margin(chance: Chance, settings: Settings) -> dict[str, Any]:
    """Draw a pupil, at times a wide one whose edge disagrees: more minus at the edge, as in relaxed eyes."""
    if settings.level == "novice" or chance.happens(0.5):
        return given(PUPIL, MARGIN).to(PUPIL_MM, 0.0)
    return given(PUPIL, MARGIN).to(chance.among((7.0, 7.5, 8.0)), chance.among((-0.5, -0.75, -1.0, -1.25)))


def pupil_words(pupil_mm: float) -> tuple[str, ...]:
    """Say how wide the pupil is, where it is wide."""
    return (f"The pupil is wide: {Diameter().write(pupil_mm)}.",) if pupil_mm > PUPIL_MM else ()


# --- one sphere --------------------------------------------------------------------------------------------------


def _sphere_bench(rx: float, distance_cm: float, pupil_mm: float, margin: float) -> Bench:
    return Bench(
        eye=SphCyl(rx),
        distance_cm=distance_cm,
        pupil_mm=pupil_mm,
        margin=margin,
    )


def _draw_sphere(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_distance(chance, settings)
    # Far enough from neutral at first that there is something to do.
    gross = chance.stepped(0.75, 7) * chance.among((1, 1, -1))
    return given(RX, DISTANCE).to(gross - vergence_in_quarters(distance), distance) | _margin(chance, settings)


RX = Field("rx", "Net sphere of the eye on the bench", Power())


@given(RX, DISTANCE, PUPIL, MARGIN)
def _begin_sphere(rx: float, distance_cm: float, pupil_mm: float, margin: float) -> tuple[float, ...]:
    _possible(_sphere_bench(rx, distance_cm, pupil_mm, margin))
    return (rx + working_vergence(distance_cm),)


def _possible(bench: Bench) -> None:
    """Refuse findings that no bench can show: a distance out of reach, above all."""
    _ = bench.setting


POWER = Field("power", "Net sphere", Power())
bench_sphere = CaseType(
    id="bench-sphere",
    title="An eye without astigmatism brought to neutral",
    family=FAMILY,
    level="novice",
    seconds=60,
    findings=Group((RX, DISTANCE, PUPIL, MARGIN)),
    asks=(POWER,),
    draw=_draw_sphere,
    begin=ENDS.by(_begin_sphere),
    steps=(
        _end_step(),
        distance_in_dioptres(),
        take_off_distance(sign_blind(live=given(GROSS)(lambda gross: gross[0] < 0))),
    ),
    answer=POWER.by(given(NET)(lambda net: net[0])),
    found=given(PUPIL, DISTANCE)(
        lambda pupil_mm, distance_cm: (
            "An eye stands on the bench, alike in every meridian, with no lens before it.",
            *pupil_words(pupil_mm),
            f"Sight hole {write_distance(distance_cm)} from the pupil; plane-mirror setting.",
        )
    ),
    question=asking("Bring it to neutral. What is the net sphere?"),
    figure=given(RX, DISTANCE, PUPIL, MARGIN).drawing(
        lambda uid, rx, distance_cm, pupil_mm, margin: still(_sphere_bench(rx, distance_cm, pupil_mm, margin), uid=uid)
    ),
    needs=("net-sphere", "next-lens"),
    twins=(ADDED_OR_SIGN_BLIND, *END_OR_DISTANCE),
    probes=(Probe(ADDED_OR_SIGN_BLIND, "net-sphere"), *(Probe(pair, "net-sphere") for pair in END_OR_DISTANCE)),
    sources=("Optics of the reflex, derived in DEVELOPERS.md, The reflex",),
)

# --- two meridians -----------------------------------------------------------------------------------------------


def _draw_eye(chance: Chance, settings: Settings) -> dict[str, Any]:
    rx = pick_lens(chance, settings, sphere=(-5, 5), cylinder=(0.75, 3))
    near = chance.among((rx.axis, across(rx.axis)))
    aside = chance.among((15, 20, 25, 30)) * chance.among((1, -1))
    return (
        given(RX_FOUND, START_STREAK, DISTANCE).to(rx, axis_of(near + aside), pick_distance(chance, settings))
        | _margin(chance, settings)
        | FORM.to(settings.form)
    )


RX_FOUND = Field("rx", "Net prescription of the eye on the bench", Lens())
START_STREAK = Field("start_streak", "Where the streak lies to begin with", Meridian())


@given(RX_FOUND, START_STREAK, DISTANCE, PUPIL, MARGIN)
def _begin_eye(rx: SphCyl, start_streak: float, distance_cm: float, pupil_mm: float, margin: float) -> float:
    if not rx.cylinder:
        raise BadFinding(write_prescription(rx), "a cylinder is needed, such as +1.00 / −1.50 × 70")
    _possible(_eye_bench(rx, start_streak, distance_cm, pupil_mm, margin))
    return min((rx.axis, across(rx.axis)), key=lambda streak: axis_gap(streak, start_streak))


def _look_along(
    distance_cm: float, rx: SphCyl, streak: float, *, rounded: bool = True
) -> tuple[float, float, tuple[float, ...], tuple[float, ...]]:
    """Return what is neutral for this streak and the one across it: off a meridian, to the nearest step."""
    vergence = working_vergence(distance_cm)
    streaks = (streak, across(streak))
    ends = tuple(rx.power_at(across(one)) + vergence for one in streaks)
    if rounded:
        ends = tuple(round(end / ONE_STEP) * ONE_STEP for end in ends)
    return (streaks[0], streaks[1], streaks, ends)


def _eye_bench(rx: SphCyl, start_streak: float, distance_cm: float, pupil_mm: float, margin: float) -> Bench:
    return Bench(
        eye=rx,
        streak=start_streak,
        distance_cm=distance_cm,
        pupil_mm=pupil_mm,
        margin=margin,
    )


FIND_STEP = given(FIRST_STREAK, SECOND_STREAK, LOOKED, ENDS).step(
    FIND_MERIDIANS,
    run=given(DISTANCE, RX_FOUND, NEAR)(
        lambda distance_cm, rx, near: _look_along(distance_cm, rx, near, rounded=False)
    ),
    says=given(FIRST_STREAK, SECOND_STREAK)(
        lambda first_streak, second_streak: (
            f"Turned until streak and reflex lie in one line: at {degrees(first_streak)}, and across it at "
            f"{degrees(second_streak)}."
        )
    ),
    slips=(
        Slip(
            SKEW_LEFT,
            run=given(DISTANCE, RX_FOUND, START_STREAK)(
                lambda distance_cm, rx, start_streak: _look_along(distance_cm, rx, start_streak)
            ),
            says=given(FIRST_STREAK)(lambda first_streak: f"The streak left at {degrees(first_streak)}."),
            live=given(NEAR, START_STREAK)(lambda near, start_streak: axis_gap(near, start_streak) > 2),
        ),
        Slip(
            skills.AWAY_FROM_REFLEX,
            run=given(DISTANCE, RX_FOUND, START_STREAK, NEAR)(
                lambda distance_cm, rx, start_streak, near: _look_along(
                    distance_cm, rx, axis_of(2 * start_streak - near)
                )
            ),
            says=given(FIRST_STREAK)(lambda first_streak: f"The streak turned away, to {degrees(first_streak)}."),
            live=given(NEAR, START_STREAK)(lambda near, start_streak: axis_gap(near, start_streak) > 2),
        ),
    ),
)


@given(RX_FOUND, START_STREAK, DISTANCE, PUPIL, MARGIN).drawing
def _eye_still(uid: str, rx: SphCyl, start_streak: float, distance_cm: float, pupil_mm: float, margin: float) -> Figure:
    return still(_eye_bench(rx, start_streak, distance_cm, pupil_mm, margin), uid=uid)


bench_eye = CaseType(
    id="bench-eye",
    title="An eye brought to neutral in two meridians",
    family=FAMILY,
    level="competent",
    seconds=180,
    findings=Group(
        (
            RX_FOUND,
            START_STREAK,
            DISTANCE,
            PUPIL,
            MARGIN,
            FORM,
        )
    ),
    asks=(PRESCRIPTION,),
    draw=_draw_eye,
    begin=NEAR.by(_begin_eye),
    steps=(
        FIND_STEP,
        _end_step(
            *(
                Slip(name, run=_stepped(_only(more_plus, by)), says=_end_words)
                for names, by in ((EARLY_ONE, -1), (LATE_ONE, 1))
                for name, more_plus in zip(names, (True, False), strict=True)
            )
        ),
        # From here on it is what two spheres found on paper ask for, but for reading the dial.
        *two_spheres.steps[1:],
    ),
    answer=PRESCRIPTION.by(
        given(SPHERE, CYLINDER, AXIS)(lambda sphere, cylinder, axis: SphCyl(sphere, cylinder, axis))
    ),
    found=given(PUPIL, DISTANCE)(
        lambda pupil_mm, distance_cm: (
            "An eye stands on the bench with no lens before it.",
            *pupil_words(pupil_mm),
            f"Sight hole {write_distance(distance_cm)} from the pupil; plane-mirror setting.",
        )
    ),
    question=given(FORM)(
        lambda form: (
            "Bring both meridians to neutral, with spheres alone or with a cylinder, as you like. What is the net "
            f"prescription, in {FORM_WORDS[form]}?"
        )
    ),
    figure=_eye_still,
    needs=("bench-sphere", "two-spheres"),
    twins=(SWEEP_OR_AXIS, *END_OR_DISTANCE),
    probes=(Probe(SWEEP_OR_AXIS, "streak-axis"), *(Probe(pair, "net-sphere") for pair in END_OR_DISTANCE)),
    sources=("Optics of the reflex, derived in DEVELOPERS.md, The reflex",),
)

HANDS = frozenset(("streak", "lenses", "lean"))
STAGES = {
    bench_sphere.id: Stage(
        untyped(
            lambda known: (
                View("", _sphere_bench(known["rx"], known["distance_cm"], known["pupil_mm"], known["margin"])),
            )
        ),
        HANDS,
    ),
    bench_eye.id: Stage(
        untyped(
            lambda known: (
                View(
                    "",
                    _eye_bench(
                        known["rx"], known["start_streak"], known["distance_cm"], known["pupil_mm"], known["margin"]
                    ),
                ),
            )
        ),
        HANDS,
    ),
}

TYPES = (bench_sphere, bench_eye)
