"""Family Bench: an eye brought to neutral by hand, its gross finding read by eye, and the net written."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from cases import skills
from cases.bench import Bench, Stage, View, still
from cases.casetype import CaseType, Family, Pair, Probe, Settings
from cases.chance import Chance
from cases.families.meridians import PRESCRIPTION, SWEEP_OR_AXIS, two_spheres
from cases.fields import Field, Group
from cases.figures import Figure
from cases.kinds import BadFinding, Lens, Meridian, Power
from cases.lens import SphCyl, across, axis_gap, axis_of
from cases.looks import PUPIL_MM
from cases.millimetres import Diameter
from cases.notation import write_distance, write_prescription
from cases.steps import (
    ADDED,
    ADDED_OR_SIGN_BLIND,
    DISTANCE,
    FORM,
    FORM_WORDS,
    LEFT_IN,
    degrees,
    distance_in_dioptres,
    listed,
    off_gross,
    pick_distance,
    pick_lens,
    sign_blind,
    taken_off,
)
from cases.vergence import vergence_in_quarters, working_vergence
from cases.working import Known, Skill, Slip, SlipName, SlipRef, Step

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


def _stepped(steps: Callable[[Known, int], int]) -> Callable[[Known], dict[str, Any]]:
    """Run the end-points so many steps past, for each place in `ends`."""

    def run(known: Known) -> dict[str, Any]:
        right = known["ends"]
        return {"gross": tuple(end + steps(known, place) * _step(end) for place, end in enumerate(right))}

    return run


def _only(more_plus: bool, by: int) -> Callable[[Known, int], int]:
    def steps(known: Known, place: int) -> int:
        other = known["ends"][1 - place]
        is_more = known["ends"][place] > other or (known["ends"][place] == other and place == 0)
        return by if is_more == more_plus else 0

    return steps


def _end_words(known: Known) -> str:
    return f"Neutral taken with {listed(known['gross'])}."


def _end_step(*more: Slip) -> Step:
    return Step(
        READ_END_POINT,
        run=lambda known: {"gross": known["ends"]},
        says=lambda known: (
            f"Nothing travels, and leaning in shows with, behind {listed(known['gross'])} in all"
            + (f", streak at {' and '.join(degrees(s) for s in known['looked'])}." if known.get("looked") else ".")
        ),
        slips=(
            Slip(EARLY, run=_stepped(lambda *_: -1), says=_end_words),
            Slip(LATE, run=_stepped(lambda *_: 1), says=_end_words),
            *more,
            Slip(
                skills.MARGIN_READ,
                run=lambda known: {"gross": tuple(end + known["margin"] for end in known["ends"])},
                says=_end_words,
                live=lambda known: abs(known["margin"]) > ONE_STEP,
            ),
        ),
    )


def _margin(chance: Chance, settings: Settings) -> dict[str, Any]:
    """Draw a pupil, at times a wide one whose edge disagrees: more minus at the edge, as in relaxed eyes."""
    if settings.level == "novice" or chance.happens(0.5):
        return {"pupil_mm": PUPIL_MM, "margin": 0.0}
    return {"pupil_mm": chance.among((7.0, 7.5, 8.0)), "margin": chance.among((-0.5, -0.75, -1.0, -1.25))}


def pupil_words(known: Known) -> tuple[str, ...]:
    """Say how wide the pupil is, where it is wide."""
    return (f"The pupil is wide: {Diameter().write(known['pupil_mm'])}.",) if known["pupil_mm"] > PUPIL_MM else ()


# --- one sphere --------------------------------------------------------------------------------------------------


def _sphere_bench(known: Known) -> Bench:
    return Bench(
        eye=SphCyl(known["rx"]),
        distance_cm=known["distance_cm"],
        pupil_mm=known["pupil_mm"],
        margin=known["margin"],
    )


def _draw_sphere(chance: Chance, settings: Settings) -> dict[str, Any]:
    distance = pick_distance(chance, settings)
    # Far enough from neutral at first that there is something to do.
    gross = chance.stepped(0.75, 7) * chance.among((1, 1, -1))
    return {
        "rx": gross - vergence_in_quarters(distance),
        "distance_cm": distance,
        **_margin(chance, settings),
    }


def _begin_sphere(findings: Known) -> dict[str, Any]:
    _possible(_sphere_bench(findings))
    return {"ends": (findings["rx"] + working_vergence(findings["distance_cm"]),)}


def _possible(bench: Bench) -> None:
    """Refuse findings that no bench can show: a distance out of reach, above all."""
    _ = bench.setting


bench_sphere = CaseType(
    id="bench-sphere",
    title="An eye without astigmatism brought to neutral",
    family=FAMILY,
    level="novice",
    seconds=60,
    findings=Group((Field("rx", "Net sphere of the eye on the bench", Power()), DISTANCE, PUPIL, MARGIN)),
    asks=(Field("power", "Net sphere", Power()),),
    draw=_draw_sphere,
    begin=_begin_sphere,
    steps=(
        _end_step(),
        distance_in_dioptres(),
        Step(
            skills.TAKE_OFF_DISTANCE,
            run=off_gross,
            says=taken_off,
            slips=(LEFT_IN, ADDED, sign_blind(live=lambda known: known["gross"][0] < 0)),
        ),
    ),
    answer=lambda known: {"power": known["net"][0]},
    found=lambda known: (
        "An eye stands on the bench, alike in every meridian, with no lens before it.",
        *pupil_words(known),
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil; plane-mirror setting.",
    ),
    question=lambda _: "Bring it to neutral. What is the net sphere?",
    figure=lambda known, uid: still(_sphere_bench(known), uid=uid),
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
    return {
        "rx": rx,
        "start_streak": axis_of(near + aside),
        "distance_cm": pick_distance(chance, settings),
        **_margin(chance, settings),
        "form": settings.form,
    }


def _begin_eye(findings: Known) -> dict[str, Any]:
    rx = findings["rx"]
    if not rx.cylinder:
        raise BadFinding(write_prescription(rx), "a cylinder is needed, such as +1.00 / −1.50 × 70")
    _possible(_eye_bench(findings))
    near = min((rx.axis, across(rx.axis)), key=lambda streak: axis_gap(streak, findings["start_streak"]))
    return {"near": near}


def _look_along(known: Known, streak: float, *, rounded: bool = True) -> dict[str, Any]:
    """Return what is neutral for this streak and the one across it: off a meridian, to the nearest step."""
    vergence = working_vergence(known["distance_cm"])
    streaks = (streak, across(streak))
    ends = tuple(known["rx"].power_at(across(one)) + vergence for one in streaks)
    if rounded:
        ends = tuple(round(end / ONE_STEP) * ONE_STEP for end in ends)
    return {"first_streak": streaks[0], "second_streak": streaks[1], "looked": streaks, "ends": ends}


def _eye_bench(known: Known) -> Bench:
    return Bench(
        eye=known["rx"],
        streak=known["start_streak"],
        distance_cm=known["distance_cm"],
        pupil_mm=known["pupil_mm"],
        margin=known["margin"],
    )


FIND_STEP = Step(
    FIND_MERIDIANS,
    run=lambda known: _look_along(known, known["near"], rounded=False),
    says=lambda known: (
        f"Turned until streak and reflex lie in one line: at {degrees(known['first_streak'])}, and across it at "
        f"{degrees(known['second_streak'])}."
    ),
    slips=(
        Slip(
            SKEW_LEFT,
            run=lambda known: _look_along(known, known["start_streak"]),
            says=lambda known: f"The streak left at {degrees(known['first_streak'])}.",
            live=lambda known: axis_gap(known["near"], known["start_streak"]) > 2,
        ),
        Slip(
            skills.AWAY_FROM_REFLEX,
            run=lambda known: _look_along(known, axis_of(2 * known["start_streak"] - known["near"])),
            says=lambda known: f"The streak turned away, to {degrees(known['first_streak'])}.",
            live=lambda known: axis_gap(known["near"], known["start_streak"]) > 2,
        ),
    ),
)


def _eye_still(known: Known, uid: str) -> Figure:
    return still(_eye_bench(known), uid=uid)


bench_eye = CaseType(
    id="bench-eye",
    title="An eye brought to neutral in two meridians",
    family=FAMILY,
    level="competent",
    seconds=180,
    findings=Group(
        (
            Field("rx", "Net prescription of the eye on the bench", Lens()),
            Field("start_streak", "Where the streak lies to begin with", Meridian()),
            DISTANCE,
            PUPIL,
            MARGIN,
            FORM,
        )
    ),
    asks=(PRESCRIPTION,),
    draw=_draw_eye,
    begin=_begin_eye,
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
    answer=lambda known: {"prescription": SphCyl(known["sphere"], known["cylinder"], known["axis"])},
    found=lambda known: (
        "An eye stands on the bench with no lens before it.",
        *pupil_words(known),
        f"Sight hole {write_distance(known['distance_cm'])} from the pupil; plane-mirror setting.",
    ),
    question=lambda known: (
        "Bring both meridians to neutral, with spheres alone or with a cylinder, as you like. What is the net "
        f"prescription, in {FORM_WORDS[known['form']]}?"
    ),
    figure=_eye_still,
    needs=("bench-sphere", "two-spheres"),
    twins=(SWEEP_OR_AXIS, *END_OR_DISTANCE),
    probes=(Probe(SWEEP_OR_AXIS, "streak-axis"), *(Probe(pair, "net-sphere") for pair in END_OR_DISTANCE)),
    sources=("Optics of the reflex, derived in DEVELOPERS.md, The reflex",),
)

HANDS = frozenset(("streak", "lenses", "lean"))
STAGES = {
    bench_sphere.id: Stage(lambda known: (View("", _sphere_bench(known)),), HANDS),
    bench_eye.id: Stage(lambda known: (View("", _eye_bench(known)),), HANDS),
}

TYPES = (bench_sphere, bench_eye)
