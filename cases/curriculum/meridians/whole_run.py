"""Family C, a whole run: two logs of lenses, distances that may have drifted, a glance away, and the lens they give."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from cases.curriculum import skills
from cases.curriculum.bench_stage import Bench
from cases.curriculum.bench_types import HeldPair, Moving, both_in_place
from cases.curriculum.cross import PLACE_AXIS, choose_sphere, find_cylinder, must_cross
from cases.curriculum.drawn_eyes import patient_lens
from cases.curriculum.meridians import FAMILY
from cases.curriculum.movements import draw_log
from cases.curriculum.shared_keys import AXIS, CYLINDER, MEAN, MERIDIANS, SPHERE
from cases.curriculum.spherical_equivalent import SPHERICAL_EQUIVALENT_STEPS
from cases.curriculum.steps import (
    COMMON_DISTANCES,
    FORM,
    FORM_WORDS,
    GROSS,
    LEFT_IN,
    NET,
    NET_PRESCRIPTION,
    STREAK,
    SWEEP_OR_AXIS,
    Powers,
    degrees,
    listed,
    pick_distance,
    signed,
    size,
)
from cases.figures.tried_lenses import two_logs
from cases.notation.prescription import write_distance
from cases.notation.sums import less
from cases.optics.axes import across
from cases.optics.lens import SphCyl
from cases.optics.vergence import vergence_in_quarters, working_vergence
from cases.procedure import quantities
from cases.procedure.case_type import CaseType, Probe
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Marks, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, given
from cases.procedure.lens_log import LensLog, Log, NoEndPoint, Tried, bracket, line_words
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

LEAVE_OUT = Skill("leave-out-unsteady", "leaving out what was seen while the pupil shrank")
FLAG_RUN = Skill("flag-run", "flagging what was amiss in a run")

UNSTEADY_COUNTED = SlipName(
    "unsteady-line-counted",
    "counted a line in which the pupil shrank",
    "A pupil that shrinks has begun to look near, and then against comes too early. Leave that line out.",
    ("student-pearl", "mock-station"),
)
DRIFT_UNHEEDED = SlipName(
    "drift-unheeded",
    "took the planned distance off both meridians",
    "One of them was measured from another distance. Each meridian loses what its own distance is worth.",
)
DRIFT_NOT_FLAGGED = SlipName(
    "drift-not-flagged",
    "did not flag that the distance changed",
    "The two meridians were measured from different distances. Allow for it, and say so: measure again if you can.",
)
GLANCE_NOT_FLAGGED = SlipName(
    "glance-not-flagged",
    "did not flag that the patient looked near for a moment",
    "The pupil shrank in one line. Say so, and make sure of the gaze before you trust the rest.",
)

FLAGS = Marks(
    (
        Option("drift", "the distance was not the same in both meridians", "the two distances in the log differ"),
        Option("glance", "the patient looked near for a moment", "the pupil shrank in one line of the log"),
    )
)

DISTANCE_CM = Field("distance_cm", "Distance it was measured from", quantities.DISTANCE)
LOG = Field("log", "Spheres tried, with the movement behind each", LensLog())
MERIDIAN = Group((STREAK, LOG, DISTANCE_CM))
FIRST = Field("first", "First streak", MERIDIAN)
SECOND = Field("second", "Second streak", MERIDIAN)
PLANNED = Field("planned_cm", "Planned working distance", quantities.DISTANCE)

Logs = tuple[Log, ...]
STEADY = Key[Logs]("steady")
GLANCED = Key[bool]("glanced")
VERGENCES = Key[Powers]("vergences", unit="D")
DRIFTED = Key[bool]("drifted")
EQUIVALENT = Field("mean", "Spherical equivalent", quantities.POWER.having(tolerance=0.06))
FLAGGED = Field("flags", "What to flag", FLAGS)


def _glance(log: Log, centre: float) -> Log:
    """Put in a line, after the first, in which the patient looked near: against though too little plus is in place."""
    return (log[0], Tried(centre - 1, "against", unsteady=True), *log[1:])


def _draw_run(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = patient_lens(chance, settings, sphere=(-6, 5))
    planned = pick_distance(chance, settings)
    amiss = chance.among(("drift", "glance", "glance and drift", "nothing"))
    others = [cm for cm in COMMON_DISTANCES if 0 < abs(working_vergence(cm) - working_vergence(planned)) <= 1]
    # From very near or far no usual distance lies within a dioptre, so that nothing can have drifted there.
    distances = [planned, chance.among(others) if others and "drift" in amiss else planned]
    views: list[dict[str, Any]] = []
    for streak, power, distance in zip(
        (across(eye.axis), eye.axis), (eye.sphere, eye.sphere + eye.cylinder), chance.shuffled(distances), strict=True
    ):
        centre = power + vergence_in_quarters(distance)
        log = draw_log(chance, centre)
        if "glance" in amiss and not views:
            log = _glance(log, centre)
        views.append(given(STREAK, LOG, DISTANCE_CM).to(streak, log, distance))
    first, second = chance.shuffled(views)
    return given(FIRST, SECOND, PLANNED, FORM).to(first, second, planned, settings.form)


_logs: Rule[Logs] = given(FIRST[LOG], SECOND[LOG])(lambda first, second: (first, second))


@given(_logs)
def _kept(logs: Logs) -> tuple[Logs, bool]:
    """Leave the unsteady lines out, and say whether there was one."""
    kept = tuple(tuple(one for one in log if not one.unsteady) for log in logs)
    return kept, kept != logs


def _believed(log: Log) -> Log:
    """Return the log up to the first line in which the pupil shrank, that line taken at its word."""
    places = [place for place, one in enumerate(log) if one.unsteady]
    if not places:
        return log
    spoilt = log[places[0]]
    return (*log[: places[0]], Tried(spoilt.lens, spoilt.movement))


@given(_logs)
def _counted(logs: Logs) -> tuple[Logs, bool]:
    return tuple(_believed(log) for log in logs), False


@given(_logs)
def _counting_misleads(logs: Logs) -> bool:
    try:
        ends = [bracket(_believed(log)).end_point for log in logs]
    except NoEndPoint:
        return False
    return ends != [bracket(log).end_point for log in logs]


def _ends(take: Callable[[Log], float | None]) -> Rule[Powers]:
    @given(STEADY)
    def run(steady: Logs) -> Powers:
        found = tuple(take(log) for log in steady)
        ends = tuple(end for end in found if end is not None)
        if len(ends) < len(found):
            raise NoEndPoint("one of the logs has no such lens")
        return ends

    return run


def _end_words(gross: Powers) -> str:
    return f"{listed(gross)}, in the order of the streaks"


_planned = given(PLANNED)(working_vergence)
_own = given(FIRST[DISTANCE_CM], SECOND[DISTANCE_CM])(lambda *both: tuple(working_vergence(cm) for cm in both))


@given(_planned, _own)
def _drifted(planned: float, own: Powers) -> bool:
    return any(abs(off - planned) > 0.02 for off in own)


@given(FIRST[DISTANCE_CM], SECOND[DISTANCE_CM], VERGENCES)
def _distance_words(first_cm: float, second_cm: float, vergences: Powers) -> str:
    words = [f"{write_distance(cm)} is {size(off)} D" for cm, off in zip((first_cm, second_cm), vergences, strict=True)]
    return f"{words[0]}, for both." if words[0] == words[1] else f"{words[0]}, and {words[1]}."


def _net(first: float, second: float) -> Rule[Powers]:
    """Take this many times its own dioptres off each meridian."""
    return given(GROSS, VERGENCES)(
        lambda gross, vergences: tuple(
            one - times * off for one, times, off in zip(gross, (first, second), vergences, strict=True)
        )
    )


@given(GROSS, VERGENCES, NET)
def _net_words(gross: Powers, vergences: Powers, net: Powers) -> str:
    sums = [less(*powers) for powers in zip(gross, vergences, net, strict=True)]
    return f"Take each distance off: {', and '.join(sums)}."


@given(DRIFTED, GLANCED)
def _flags(drifted: bool, glanced: bool) -> tuple[str, ...]:
    return (*(["drift"] if drifted else []), *(["glance"] if glanced else []))


def _without(name: str) -> Rule[tuple[str, ...]]:
    return given(_flags)(lambda flags: tuple(flag for flag in flags if flag != name))


@given(FLAGGED)
def _flag_words(flags: tuple[str, ...]) -> str:
    return f"To flag: {FLAGS.write(flags) if flags else 'nothing'}."


def _view_words(name: str, view: Field[Mapping[str, Any]]) -> Rule[str]:
    return given(view[STREAK], view[DISTANCE_CM], view[LOG])(
        lambda streak, cm, log: (
            f"{name} streak, at {degrees(streak)}, from {write_distance(cm)}: {'; '.join(map(line_words, log))}."
        )
    )


whole_run = CaseType(
    id="whole-run",
    title="A whole run, from the log to the prescription",
    family=FAMILY,
    level="expert",
    seconds=120,
    findings=Group(
        (
            FIRST,
            SECOND,
            PLANNED,
            FORM,
        )
    ),
    asks=(NET_PRESCRIPTION, EQUIVALENT, FLAGGED),
    draw=_draw_run,
    holds=given(FIRST[STREAK], SECOND[STREAK])(must_cross),
    steps=(
        given(STEADY, GLANCED).step(
            LEAVE_OUT,
            run=_kept,
            says=given(GLANCED)(
                lambda glanced: (
                    "The pupil shrank in one line, so the patient looked near: leave that line out."
                    if glanced
                    else "The pupil held steady, so every line counts."
                )
            ),
            slips=(
                Slip(
                    UNSTEADY_COUNTED,
                    run=_counted,
                    says=given()(lambda: "The line in which the pupil shrank taken for the turn of the movement."),
                    live=_counting_misleads,
                ),
            ),
        ),
        GROSS.step(
            skills.CENTRE_END_POINT,
            run=_ends(lambda log: bracket(log).end_point),
            says=given(GROSS)(lambda gross: f"The end-points: {_end_words(gross)}."),
            slips=(
                Slip(
                    skills.FIRST_AGAINST_TAKEN,
                    run=_ends(lambda log: bracket(log).high),
                    says=given(GROSS)(lambda gross: f"The first against taken: {_end_words(gross)}."),
                ),
                Slip(
                    skills.LAST_WITH_TAKEN,
                    run=_ends(lambda log: bracket(log).low),
                    says=given(GROSS)(lambda gross: f"The last with taken: {_end_words(gross)}."),
                ),
            ),
        ),
        MERIDIANS.step(
            skills.READ_MERIDIAN,
            run=given(FIRST[STREAK], SECOND[STREAK])(
                lambda first_streak, second_streak: (across(first_streak), across(second_streak))
            ),
            says=given(GROSS, MERIDIANS)(
                lambda gross, meridians: (
                    f"Each belongs to the meridian across its streak: {signed(gross[0])} at "
                    f"{degrees(meridians[0])}, {signed(gross[1])} at {degrees(meridians[1])}."
                )
            ),
            slips=(
                Slip(
                    skills.SWEEP_FOR_STREAK,
                    run=given(FIRST[STREAK], SECOND[STREAK])(
                        lambda first_streak, second_streak: (first_streak, second_streak)
                    ),
                    says=given(GROSS, MERIDIANS)(
                        lambda gross, meridians: (
                            f"Each put along its streak: {signed(gross[0])} at {degrees(meridians[0])}, "
                            f"{signed(gross[1])} at {degrees(meridians[1])}."
                        )
                    ),
                ),
            ),
        ),
        given(VERGENCES, DRIFTED).step(
            skills.DISTANCE_IN_DIOPTRES,
            run=given(_own, _drifted)(lambda own, drifted: (own, drifted)),
            says=_distance_words,
            slips=(
                Slip(
                    DRIFT_UNHEEDED,
                    run=given(_planned)(lambda planned: ((planned, planned), False)),
                    says=given(PLANNED)(lambda planned_cm: f"The planned {write_distance(planned_cm)} taken for both."),
                    live=_drifted,
                ),
                Slip(
                    skills.ALWAYS_ONE_FIFTY,
                    run=given(_drifted)(lambda drifted: ((1.5, 1.5), drifted)),
                    says=given()(lambda: "1.50 D taken for both."),
                    live=given(_own)(lambda own: any(abs(off - 1.5) > 0.02 for off in own)),
                ),
            ),
        ),
        NET.step(
            skills.TAKE_OFF_DISTANCE,
            run=_net(1, 1),
            says=_net_words,
            slips=(
                LEFT_IN,
                Slip(
                    skills.DISTANCE_ADDED,
                    run=_net(-1, -1),
                    says=given(NET)(lambda net: f"The distances added: {listed(net)}."),
                ),
                Slip(
                    skills.OFF_ONE_MERIDIAN,
                    run=_net(1, 0),
                    says=given(NET)(lambda net: f"Taken off the first meridian only: {listed(net)}."),
                ),
            ),
        ),
        choose_sphere(),
        find_cylinder(),
        PLACE_AXIS,
        *SPHERICAL_EQUIVALENT_STEPS,
        FLAGGED.step(
            FLAG_RUN,
            run=_flags,
            says=_flag_words,
            slips=(
                Slip(
                    DRIFT_NOT_FLAGGED,
                    run=_without("drift"),
                    says=_flag_words,
                    live=given(DRIFTED)(lambda drifted: drifted),
                ),
                Slip(
                    GLANCE_NOT_FLAGGED,
                    run=_without("glance"),
                    says=_flag_words,
                    live=given(GLANCED)(lambda glanced: glanced),
                ),
            ),
        ),
    ),
    answer=given(NET_PRESCRIPTION, EQUIVALENT, FLAGGED).by(
        given(SPHERE, CYLINDER, AXIS, MEAN, FLAGGED)(
            lambda sphere, cylinder, axis, mean, flags: (SphCyl(sphere, cylinder, axis), mean, flags)
        )
    ),
    found=given(PLANNED, _view_words("First", FIRST), _view_words("Second", SECOND))(
        lambda planned_cm, *views: (
            f"Spheres alone, plane-mirror setting, {write_distance(planned_cm)} planned.",
            *views,
        )
    ),
    question=given(FORM)(
        lambda form: (
            f"What is the net prescription, in {FORM_WORDS[form]}? What is its spherical equivalent, to an "
            "eighth of a dioptre? And what was amiss in this run, if anything?"
        )
    ),
    figure=given(FIRST[STREAK], FIRST[LOG], SECOND[STREAK], SECOND[LOG]).drawing(
        lambda uid, first_streak, first_log, second_streak, second_log: two_logs(
            (first_streak, first_log),
            (second_streak, second_log),
            uid=uid,
        )
    ),
    needs=("bracket-end-point", "two-spheres", "distance-drift", "spherical-equivalent"),
    twins=(SWEEP_OR_AXIS,),
    probes=(Probe(SWEEP_OR_AXIS, "streak-axis"),),
    sources=("mock-station",),
)


@given(PLANNED)
def _run_pair(planned_cm: float) -> HeldPair:
    off = SphCyl(working_vergence(planned_cm))

    def pair(yours: Mapping[str, Any], right: Mapping[str, Any]) -> tuple[Bench, Bench]:
        bench = Bench(eye=right["prescription"], distance_cm=planned_cm)
        return both_in_place(bench, yours["prescription"] + off, right["prescription"] + off)

    return pair


MOVING = {whole_run.id: Moving(given()(lambda: ()), tells=True, pair=_run_pair)}

TYPES = (whole_run,)
