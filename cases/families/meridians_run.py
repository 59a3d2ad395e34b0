"""Family C, a whole run: two logs of lenses, distances that may have drifted, a glance away, and the lens they give."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from cases import skills
from cases.casetype import CaseType, Probe, Settings
from cases.chance import Chance
from cases.choices import Marks, Option
from cases.cross import AXIS, CYLINDER, MERIDIANS, PLACE_AXIS, SPHERE, choose_sphere, find_cylinder
from cases.families.algebra import spherical_equivalent
from cases.families.meridians import FAMILY, OFF_ONE_MERIDIAN, PRESCRIPTION, SWEEP_OR_AXIS, must_cross
from cases.families.movement_endpoint import draw_log
from cases.fields import Field, Group
from cases.figures_log import two_logs
from cases.keys import Key, Rule, Slip, given
from cases.kinds import Distance, Power
from cases.lens import SphCyl, across
from cases.logs import LensLog, Log, NoEndPoint, Tried, bracket, line_words
from cases.notation import write_distance
from cases.shared_keys import MEAN as MEAN_IN_D
from cases.steps import (
    COMMON_DISTANCES,
    FORM,
    FORM_WORDS,
    GROSS,
    LEFT_IN,
    NET,
    STREAK,
    degrees,
    listed,
    pick_distance,
    pick_lens,
    signed,
    size,
)
from cases.sums import less
from cases.vergence import vergence_in_quarters, working_vergence
from cases.working import Known, Skill, SlipName, Step
from cases.working import Slip as OldSlip

LEAVE_OUT = Skill("leave-out-unsteady", "leaving out what was seen while the pupil shrank")
FLAG_RUN = Skill("flag-run", "flagging what was amiss in a run")

UNSTEADY_COUNTED = SlipName(
    "unsteady-line-counted",
    "counted a line in which the pupil shrank",
    "A pupil that shrinks has begun to look near, and then against comes too early. Leave that line out.",
    "a pearl for optometry students on fluctuating reflexes; the published mock station asks about fixation",
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
        Option("drift", "the distance was not the same in both meridians"),
        Option("glance", "the patient looked near for a moment"),
    )
)

DISTANCE_CM = Field("distance_cm", "Distance it was measured from", Distance())
LOG = Field("log", "Spheres tried, with the movement behind each", LensLog())
MERIDIAN = Group(
    (
        STREAK,
        LOG,
        DISTANCE_CM,
    )
)


LOGS = Key[tuple[tuple[Tried, ...], ...]]("logs")
VERGENCES = Key[tuple[float, ...]]("vergences")
DRIFTED = Key[bool]("drifted")
GLANCED = Key[bool]("glanced")
STEADY = Key[tuple[tuple[Tried, ...], ...]]("steady")


def _glance(log: Log, centre: float) -> Log:
    """Put in a line, after the first, in which the patient looked near: against though too little plus is in place."""
    return (log[0], Tried(centre - 1, "against", unsteady=True), *log[1:])


def _draw_run(chance: Chance, settings: Settings) -> dict[str, Any]:
    eye = pick_lens(chance, settings, sphere=(-6, 5))
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
        views.append({"streak": streak, "log": log, "distance_cm": distance})
    first, second = chance.shuffled(views)
    return given(FIRST, SECOND, PLANNED, FORM).to(first, second, planned, settings.form)


FIRST = Field("first", "First streak", MERIDIAN)
SECOND = Field("second", "Second streak", MERIDIAN)
PLANNED = Field("planned_cm", "Planned working distance", Distance())


@given(FIRST, SECOND, PLANNED)
def _begin_run(
    first: Mapping[str, Any], second: Mapping[str, Any], planned_cm: float
) -> tuple[tuple[tuple[Tried, ...], ...], bool, bool]:
    views = (first, second)
    must_cross(views[0]["streak"], views[1]["streak"])
    planned = working_vergence(planned_cm)
    return (
        tuple(view["log"] for view in views),
        any(abs(working_vergence(view["distance_cm"]) - planned) > 0.02 for view in views),
        any(one.unsteady for view in views for one in view["log"]),
    )


@given(LOGS)
def _kept(logs: tuple[tuple[Tried, ...], ...]) -> tuple[tuple[Tried, ...], ...]:
    return tuple(tuple(one for one in log if not one.unsteady) for log in logs)


def _believed(log: Log) -> Log:
    """Return the log up to the first line in which the pupil shrank, that line taken at its word."""
    places = [place for place, one in enumerate(log) if one.unsteady]
    if not places:
        return log
    spoilt = log[places[0]]
    return (*log[: places[0]], Tried(spoilt.lens, spoilt.movement))


@given(LOGS)
def _counted(logs: tuple[tuple[Tried, ...], ...]) -> tuple[tuple[tuple[Tried, ...], ...], bool]:
    return (tuple(_believed(log) for log in logs), False)


@given(LOGS)
def _counting_misleads(logs: tuple[tuple[Tried, ...], ...]) -> bool:
    try:
        ends = [bracket(_believed(log)).end_point for log in logs]
    except NoEndPoint:
        return False
    return ends != [bracket(log).end_point for log in logs]


def _ends(take: Callable[[Log], float | None]) -> Rule[tuple[float, ...]]:
    @given(STEADY)
    def run(steady: tuple[tuple[Tried, ...], ...]) -> tuple[float, ...]:
        found = tuple(take(log) for log in steady)
        ends = tuple(end for end in found if end is not None)
        if len(ends) < len(found):
            raise NoEndPoint("one of the logs has no such lens")
        return ends

    return run


def _end_words(gross: tuple[float, ...]) -> str:
    return f"{listed(gross)}, in the order of the streaks"


def _each_less(distances: Rule[tuple[float, float]]) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {"vergences": tuple(working_vergence(cm) for cm in distances(known))}


def _own_distances(first_distance_cm: float, second_distance_cm: float) -> tuple[float, float]:
    return first_distance_cm, second_distance_cm


@given(FIRST[DISTANCE_CM], SECOND[DISTANCE_CM], VERGENCES)
def _distance_words(first_distance_cm: float, second_distance_cm: float, vergences: tuple[float, ...]) -> str:
    words = [
        f"{write_distance(cm)} is {size(off)} D"
        for cm, off in zip(_own_distances(first_distance_cm, second_distance_cm), vergences, strict=True)
    ]
    return f"{words[0]}, for both." if words[0] == words[1] else f"{words[0]}, and {words[1]}."


def _net(first: float, second: float) -> Rule[tuple[float, ...]]:
    """Take so many times its own dioptres off each meridian."""
    return given(GROSS, VERGENCES)(
        lambda gross_value, vergences: tuple(
            gross - times * off for gross, times, off in zip(gross_value, (first, second), vergences, strict=True)
        )
    )


@given(GROSS, VERGENCES, NET)
def _net_words(gross_value: tuple[float, ...], vergences: tuple[float, ...], net_value: tuple[float, ...]) -> str:
    sums = [less(gross, off, net) for gross, off, net in zip(gross_value, vergences, net_value, strict=True)]
    return f"Take each distance off: {', and '.join(sums)}."


def _flags(drifted: bool, glanced: bool) -> tuple[str, ...]:
    return (*(["drift"] if drifted else []), *(["glance"] if glanced else []))


def _without(name: str) -> Rule[tuple[str, ...]]:
    return given(DRIFTED, GLANCED)(
        lambda drifted, glanced: tuple(flag for flag in _flags(drifted, glanced) if flag != name)
    )


FLAGS_ASKED = Field("flags", "What to flag", FLAGS)


@given(FLAGS_ASKED)
def _flag_words(flags: tuple[str, ...]) -> str:
    return f"To flag: {FLAGS.write(flags) if flags else 'nothing'}."


def _view_words(name: str, view: Mapping[str, Any]) -> str:
    lines = "; ".join(line_words(one) for one in view["log"])
    return f"{name} streak, at {degrees(view['streak'])}, from {write_distance(view['distance_cm'])}: {lines}."


MEAN = Field("mean", "Spherical equivalent", Power(tolerance=0.06))
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
    asks=(
        PRESCRIPTION,
        MEAN,
        FLAGS_ASKED,
    ),
    draw=_draw_run,
    begin=given(LOGS, DRIFTED, GLANCED).by(_begin_run),
    steps=(
        STEADY.step(
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
                OldSlip(
                    UNSTEADY_COUNTED,
                    run=given(STEADY, GLANCED).by(_counted),
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
        Step(
            skills.DISTANCE_IN_DIOPTRES,
            run=_each_less(given(FIRST[DISTANCE_CM], SECOND[DISTANCE_CM])(_own_distances)),
            says=_distance_words,
            slips=(
                OldSlip(
                    DRIFT_UNHEEDED,
                    run=lambda known: {
                        **_each_less(given(PLANNED)(lambda planned_cm: (planned_cm, planned_cm)))(known),
                        "drifted": False,
                    },
                    says=given(PLANNED)(lambda planned_cm: f"The planned {write_distance(planned_cm)} taken for both."),
                    live=given(DRIFTED)(lambda drifted: drifted),
                ),
                OldSlip(
                    skills.ALWAYS_ONE_FIFTY,
                    run=lambda _: {"vergences": (1.5, 1.5)},
                    says=given()(lambda: "1.50 D taken for both."),
                    live=given(FIRST[DISTANCE_CM], SECOND[DISTANCE_CM])(
                        lambda first_distance_cm, second_distance_cm: any(
                            abs(working_vergence(cm) - 1.5) > 0.02
                            for cm in _own_distances(first_distance_cm, second_distance_cm)
                        )
                    ),
                ),
            ),
        ),
        NET.step(
            skills.TAKE_OFF_DISTANCE,
            run=_net(1, 1),
            says=_net_words,
            slips=(
                NET.plain(LEFT_IN),
                Slip(
                    skills.DISTANCE_ADDED,
                    run=_net(-1, -1),
                    says=given(NET)(lambda net: f"The distances added: {listed(net)}."),
                ),
                Slip(
                    OFF_ONE_MERIDIAN,
                    run=_net(1, 0),
                    says=given(NET)(lambda net: f"Taken off the first meridian only: {listed(net)}."),
                ),
            ),
        ),
        choose_sphere(),
        find_cylinder(),
        PLACE_AXIS,
        *spherical_equivalent.steps,
        FLAGS_ASKED.step(
            FLAG_RUN,
            run=given(DRIFTED, GLANCED)(_flags),
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
    answer=given(PRESCRIPTION, MEAN, FLAGS_ASKED).by(
        given(SPHERE, CYLINDER, AXIS, MEAN_IN_D, FLAGS_ASKED)(
            lambda sphere, cylinder, axis, mean, flags: (SphCyl(sphere, cylinder, axis), mean, flags)
        )
    ),
    found=given(PLANNED, FIRST, SECOND)(
        lambda planned_cm, first, second: (
            f"Spheres alone, plane-mirror setting, {write_distance(planned_cm)} planned.",
            _view_words("First", first),
            _view_words("Second", second),
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
    sources=("a chain of the families distance, movement and meridians; a published mock examination station (8/5)",),
)

TYPES = (whole_run,)
