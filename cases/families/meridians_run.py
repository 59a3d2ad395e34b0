"""Family C, a whole run: two logs of lenses, distances that may have drifted, a glance away, and the lens they give."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from cases import skills
from cases.casetype import CaseType, Probe, Settings
from cases.chance import Chance
from cases.choices import Marks, Option
from cases.cross import PLACE_AXIS, choose_sphere, find_cylinder
from cases.families.algebra import spherical_equivalent
from cases.families.meridians import FAMILY, OFF_ONE_MERIDIAN, PRESCRIPTION, SWEEP_OR_AXIS, must_cross
from cases.families.movement_endpoint import draw_log
from cases.fields import Field, Group
from cases.figures_log import two_logs
from cases.kinds import Distance, Power
from cases.lens import SphCyl, across
from cases.logs import LensLog, Log, NoEndPoint, Tried, bracket, line_words
from cases.notation import write_distance
from cases.steps import (
    COMMON_DISTANCES,
    FORM,
    FORM_WORDS,
    LEFT_IN,
    NET,
    STREAK,
    degrees,
    listed,
    pick_distance,
    pick_lens,
    signed,
)
from cases.vergence import vergence_in_quarters, working_vergence
from cases.working import Known, Skill, Slip, SlipName, Step

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

MERIDIAN = Group(
    (
        STREAK,
        Field("log", "Spheres tried, with the movement behind each", LensLog()),
        Field("distance_cm", "Distance it was measured from", Distance()),
    )
)


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
    return {"first": first, "second": second, "planned_cm": planned, "form": settings.form}


def _begin_run(findings: Known) -> dict[str, Any]:
    views = (findings["first"], findings["second"])
    must_cross(views[0]["streak"], views[1]["streak"])
    planned = working_vergence(findings["planned_cm"])
    return {
        "logs": tuple(view["log"] for view in views),
        "drifted": any(abs(working_vergence(view["distance_cm"]) - planned) > 0.02 for view in views),
        "glanced": any(one.unsteady for view in views for one in view["log"]),
    }


def _kept(known: Known) -> dict[str, Any]:
    return {"steady": tuple(tuple(one for one in log if not one.unsteady) for log in known["logs"])}


def _believed(log: Log) -> Log:
    """Return the log up to the first line in which the pupil shrank, that line taken at its word."""
    places = [place for place, one in enumerate(log) if one.unsteady]
    if not places:
        return log
    spoilt = log[places[0]]
    return (*log[: places[0]], Tried(spoilt.lens, spoilt.movement))


def _counted(known: Known) -> dict[str, Any]:
    return {"steady": tuple(_believed(log) for log in known["logs"]), "glanced": False}


def _counting_misleads(known: Known) -> bool:
    try:
        ends = [bracket(_believed(log)).end_point for log in known["logs"]]
    except NoEndPoint:
        return False
    return ends != [bracket(log).end_point for log in known["logs"]]


def _ends(take: Callable[[Log], float | None]) -> Callable[[Known], dict[str, Any]]:
    def run(known: Known) -> dict[str, Any]:
        found = tuple(take(log) for log in known["steady"])
        if None in found:
            raise NoEndPoint("one of the logs has no such lens")
        return {"gross": found}

    return run


def _end_words(known: Known) -> str:
    return f"{listed(known['gross'])}, in the order of the streaks"


def _each_less(distances: Callable[[Known], tuple[float, float]]) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {"vergences": tuple(working_vergence(cm) for cm in distances(known))}


def _own_distances(known: Known) -> tuple[float, float]:
    return known["first"]["distance_cm"], known["second"]["distance_cm"]


def _distance_words(known: Known) -> str:
    words = [
        f"{write_distance(cm)} is {off:.2f} D"
        for cm, off in zip(_own_distances(known), known["vergences"], strict=True)
    ]
    return f"{words[0]}, for both." if words[0] == words[1] else f"{words[0]}, and {words[1]}."


def _net(first: float, second: float) -> Callable[[Known], dict[str, Any]]:
    """Take so many times its own dioptres off each meridian."""
    return lambda known: {
        "net": tuple(
            gross - times * off
            for gross, times, off in zip(known["gross"], (first, second), known["vergences"], strict=True)
        )
    }


def _net_words(known: Known) -> str:
    sums = [
        f"{signed(gross)} − {off:.2f} = {signed(net)}"
        for gross, off, net in zip(known["gross"], known["vergences"], known["net"], strict=True)
    ]
    return f"Take each distance off: {', and '.join(sums)}."


def _flags(known: Known) -> dict[str, Any]:
    return {"flags": (*(["drift"] if known["drifted"] else []), *(["glance"] if known["glanced"] else []))}


def _without(name: str) -> Callable[[Known], dict[str, Any]]:
    return lambda known: {"flags": tuple(flag for flag in _flags(known)["flags"] if flag != name)}


def _flag_words(known: Known) -> str:
    return f"To flag: {FLAGS.write(known['flags']) if known['flags'] else 'nothing'}."


def _view_words(name: str, view: Known) -> str:
    lines = "; ".join(line_words(one) for one in view["log"])
    return f"{name} streak, at {degrees(view['streak'])}, from {write_distance(view['distance_cm'])}: {lines}."


whole_run = CaseType(
    id="whole-run",
    title="A whole run, from the log to the prescription",
    family=FAMILY,
    level="expert",
    seconds=120,
    findings=Group(
        (
            Field("first", "First streak", MERIDIAN),
            Field("second", "Second streak", MERIDIAN),
            Field("planned_cm", "Planned working distance", Distance()),
            FORM,
        )
    ),
    asks=(
        PRESCRIPTION,
        Field("mean", "Spherical equivalent", Power(tolerance=0.06)),
        Field("flags", "What to flag", FLAGS),
    ),
    draw=_draw_run,
    begin=_begin_run,
    steps=(
        Step(
            LEAVE_OUT,
            run=_kept,
            says=lambda known: (
                "The pupil shrank in one line, so the patient looked near: leave that line out."
                if known["glanced"]
                else "The pupil held steady, so every line counts."
            ),
            slips=(
                Slip(
                    UNSTEADY_COUNTED,
                    run=_counted,
                    says=lambda _: "The line in which the pupil shrank taken for the turn of the movement.",
                    live=_counting_misleads,
                ),
            ),
        ),
        Step(
            skills.CENTRE_END_POINT,
            run=_ends(lambda log: bracket(log).end_point),
            says=lambda known: f"The end-points: {_end_words(known)}.",
            slips=(
                Slip(
                    skills.FIRST_AGAINST_TAKEN,
                    run=_ends(lambda log: bracket(log).high),
                    says=lambda known: f"The first against taken: {_end_words(known)}.",
                ),
                Slip(
                    skills.LAST_WITH_TAKEN,
                    run=_ends(lambda log: bracket(log).low),
                    says=lambda known: f"The last with taken: {_end_words(known)}.",
                ),
            ),
        ),
        Step(
            skills.READ_MERIDIAN,
            run=lambda known: {"meridians": (across(known["first"]["streak"]), across(known["second"]["streak"]))},
            says=lambda known: (
                f"Each belongs to the meridian across its streak: {signed(known['gross'][0])} at "
                f"{degrees(known['meridians'][0])}, {signed(known['gross'][1])} at {degrees(known['meridians'][1])}."
            ),
            slips=(
                Slip(
                    skills.SWEEP_FOR_STREAK,
                    run=lambda known: {"meridians": (known["first"]["streak"], known["second"]["streak"])},
                    says=lambda known: (
                        f"Each put along its streak: {signed(known['gross'][0])} at {degrees(known['meridians'][0])}, "
                        f"{signed(known['gross'][1])} at {degrees(known['meridians'][1])}."
                    ),
                ),
            ),
        ),
        Step(
            skills.DISTANCE_IN_DIOPTRES,
            run=_each_less(_own_distances),
            says=_distance_words,
            slips=(
                Slip(
                    DRIFT_UNHEEDED,
                    run=lambda known: {
                        **_each_less(lambda k: (k["planned_cm"], k["planned_cm"]))(known),
                        "drifted": False,
                    },
                    says=lambda known: f"The planned {write_distance(known['planned_cm'])} taken for both.",
                    live=lambda known: known["drifted"],
                ),
                Slip(
                    skills.ALWAYS_ONE_FIFTY,
                    run=lambda _: {"vergences": (1.5, 1.5)},
                    says=lambda _: "1.50 D taken for both.",
                    live=lambda known: any(abs(working_vergence(cm) - 1.5) > 0.02 for cm in _own_distances(known)),
                ),
            ),
        ),
        Step(
            skills.TAKE_OFF_DISTANCE,
            run=_net(1, 1),
            says=_net_words,
            slips=(
                NET.plain(LEFT_IN),
                Slip(
                    skills.DISTANCE_ADDED,
                    run=_net(-1, -1),
                    says=lambda known: f"The distances added: {listed(known['net'])}.",
                ),
                Slip(
                    OFF_ONE_MERIDIAN,
                    run=_net(1, 0),
                    says=lambda known: f"Taken off the first meridian only: {listed(known['net'])}.",
                ),
            ),
        ),
        choose_sphere(),
        find_cylinder(),
        PLACE_AXIS,
        *spherical_equivalent.steps,
        Step(
            FLAG_RUN,
            run=_flags,
            says=_flag_words,
            slips=(
                Slip(DRIFT_NOT_FLAGGED, run=_without("drift"), says=_flag_words, live=lambda known: known["drifted"]),
                Slip(GLANCE_NOT_FLAGGED, run=_without("glance"), says=_flag_words, live=lambda known: known["glanced"]),
            ),
        ),
    ),
    answer=lambda known: {
        "prescription": SphCyl(known["sphere"], known["cylinder"], known["axis"]),
        "mean": known["mean"],
        "flags": known["flags"],
    },
    found=lambda known: (
        f"Spheres alone, plane-mirror setting, {write_distance(known['planned_cm'])} planned.",
        _view_words("First", known["first"]),
        _view_words("Second", known["second"]),
    ),
    question=lambda known: (
        f"What is the net prescription, in {FORM_WORDS[known['form']]}? What is its spherical equivalent, to an "
        "eighth of a dioptre? And what was amiss in this run, if anything?"
    ),
    figure=lambda known, uid: two_logs(
        (known["first"]["streak"], known["first"]["log"]),
        (known["second"]["streak"], known["second"]["log"]),
        uid=uid,
    ),
    needs=("bracket-end-point", "two-spheres", "distance-drift", "spherical-equivalent"),
    twins=(SWEEP_OR_AXIS,),
    probes=(Probe(SWEEP_OR_AXIS, "streak-axis"),),
    sources=("a chain of the families distance, movement and meridians; a published mock examination station (8/5)",),
)

TYPES = (whole_run,)
