"""The choice of the next case against plain ways, on simulated learners: `python -m tests.simulation`.

The app's own types, drawing, marking, diagnosis, memory and choice are in the loop; the learners are invented. Every
way gets the same learners and the same minutes. Prints Markdown. Five kinds of learner carry a step from type to type;
a sixth does not, and shows what tracking by step costs where that is so.
"""

from __future__ import annotations

import argparse
import os
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import cache, partial
from typing import NamedTuple

from cases.procedure.vocabulary import LEVELS
from tests.simulation.people import person
from tests.simulation.play import Story, Watched, play
from tests.simulation.policies import PLAIN, AsComes, Ours, Policy
from tests.simulation.pool import Pool
from tests.simulation.summary import (
    SHOWINGS,
    Mean,
    brier,
    calibration_error,
    called_by_chance,
    gone_minutes,
    learners_named_soon,
    minutes_saved,
    named_minutes,
    named_soon,
    paired,
    predictions,
    right_share,
    runs_of_misses,
    slips,
)
from tests.simulation.truth import MODELS

HELD_OUT = 1_000_000
"""The first seed that was never used to tune: those below are for that."""
OURS = "ours"
UNTAUGHT = "ours without worked examples"
POLICIES: Mapping[str, Callable[..., Policy]] = {
    OURS: Ours,
    UNTAUGHT: Ours,
    "ours without an exam day": AsComes,
    **PLAIN,
}
RIVALS = ("round robin", "fixed boxes", "boxes by time", "Elo by time")
APART = "exponential, nothing shared"
HUMAN = "as people are"
KINDS: Mapping[str, tuple[str, float]] = {
    **{name: (name, 0.0) for name in MODELS},
    APART: ("exponential", 1.0),
    HUMAN: ("exponential", 0.0),
}
"""Kind of learner to its memory, and the share of steps that do not carry over.

The last has weak beliefs, errs at sums, leaves out days, gives up after a run of misses and grows quicker."""

Stories = Mapping[tuple[str, str], Sequence[Story]]
"""By policy and kind, in the order of the seeds."""


class Job(NamedTuple):
    """One learner under one policy."""

    policy: str
    kind: str
    seed: int
    minutes_a_day: float
    weeks: int
    level: str = "expert"


@cache
def the_pool(level: str) -> Pool:
    """Return the cases of this process, drawn as they are wanted."""
    return Pool(level)


def run(job: Job) -> Story:
    """Play one learner."""
    pool = the_pool(job.level)
    model, own = KINDS[job.kind]
    one = person(job.seed, model, pool.catalogue, own, human=job.kind == HUMAN)
    policy = POLICIES[job.policy]
    return play(
        one,
        pool,
        policy,
        seed=job.seed,
        minutes_a_day=job.minutes_a_day,
        weeks=job.weeks,
        worked=job.policy != UNTAUGHT,
    )


def run_all(policies: Sequence[str], kinds: Sequence[str], asked: argparse.Namespace) -> Stories:
    """Play every learner under every policy, on as many processes as asked for."""
    seeds = range(asked.seed, asked.seed + asked.learners)
    keys = [(policy, kind) for kind in kinds for policy in policies]
    jobs = [Job(*key, seed, asked.minutes_a_day, asked.weeks, asked.level) for key in keys for seed in seeds]
    with ProcessPoolExecutor(asked.processes) as workers:
        stories = list(workers.map(run, jobs, chunksize=10))
    return {key: stories[i * len(seeds) : (i + 1) * len(seeds)] for i, key in enumerate(keys)}


def table(head: Sequence[str], rows: Sequence[Sequence[object]]) -> str:
    """Write a Markdown table."""
    lines = [head, ["---", *["---:"] * (len(head) - 1)], *rows]
    return "\n".join("| " + " | ".join(map(str, line)) + " |" for line in lines) + "\n"


def less(ours: Sequence[Story], theirs: Sequence[Story], what: Callable[[Story], float]) -> str:
    """Write ours minus theirs, nothing for ours itself."""
    return "" if ours is theirs else str(paired(ours, theirs, what))


def by_policy(stories: Mapping[str, Sequence[Story]], total: float) -> str:
    """Write the main table: every policy over the learners given."""
    rows = []
    for name, each in stories.items():
        n = len(each)
        found, pairs = slips(each), predictions(each)
        soon, of = named_soon(found)
        rows.append(
            [
                name,
                f"{sum(one.mean for one in each) / n:.3f}",
                less(stories[OURS], each, lambda one: one.mean),
                f"{sum(one.above for one in each) / n:.3f}",
                less(stories[OURS], each, lambda one: one.above),
                f"{sum(one.answers for one in each) / n:.0f}",
                f"{soon / max(of, 1):.3f} of {of}",
                f"{sum(named_minutes(one, total) for one in each) / n:.0f}",
                f"{sum(gone_minutes(one, total) for one in each) / n:.0f}",
                f"{sum(one.gone_minutes is None for one in found) / max(len(found), 1):.2f}",
                f"{brier(pairs):.3f}",
                f"{calibration_error(pairs):.3f}",
            ]
        )
    head = (
        "way of choosing",
        "exam-day chance",
        "ours minus it",
        "types above .70",
        "ours minus it",
        "answers",
        f"slips named within {SHOWINGS} showings",
        "minutes until named",
        "minutes until gone",
        "never gone",
        "Brier",
        "calibration error",
    )
    return table(head, rows)


def rivals(stories: Stories, kind: str) -> str:
    """Return the best of the plain ways for a kind of learner."""
    there = [name for name in RIVALS if (name, kind) in stories]
    return max(there, key=lambda name: sum(one.mean for one in stories[name, kind]))


def by_kind(stories: Stories, policies: Sequence[str], kinds: Sequence[str]) -> tuple[str, dict[str, Mean]]:
    """Write the exam-day chance for every kind of learner; also return ours minus the best plain way."""
    rows, gains = [], {}
    for kind in kinds:
        gains[kind] = paired(stories[OURS, kind], stories[rivals(stories, kind), kind], lambda one: one.mean)
        each = [stories[policy, kind] for policy in policies]
        pairs = predictions(stories[OURS, kind])
        rows.append(
            [
                kind,
                *[f"{sum(one.mean for one in some) / len(some):.3f}" for some in each],
                f"{gains[kind]} ({rivals(stories, kind)})",
                f"{calibration_error(pairs):.3f}",
                " ".join(f"{right_share(stories[OURS, kind], number):.2f}" for number in range(5)),
                f"{runs_of_misses(stories[OURS, kind]):.3f}",
                f"{called_by_chance(stories[OURS, kind]):.3f}",
            ]
        )
    head = (
        "kind of learner",
        *policies,
        "ours minus the best plain way",
        "calibration error of ours",
        "right in the first five sittings",
        "sittings with four misses in a row",
        "slips called recurring on chance",
    )
    return table(head, rows), gains


def aims(pooled: Mapping[str, Sequence[Story]], gains: Mapping[str, Mean], total: float) -> str:
    """Say of each aim whether it is met."""
    ours = pooled[OURS]
    slowest = "boxes by time" if "boxes by time" in pooled else "round robin"
    rival = max((name for name in RIVALS if name in pooled), key=lambda name: sum(one.mean for one in pooled[name]))
    gain = paired(ours, pooled[rival], lambda one: one.mean)
    worst = min(gains, key=lambda kind: gains[kind].value)
    soon, of = learners_named_soon(ours)
    slow, quick = (sum(gone_minutes(one, total) for one in each) for each in (pooled[slowest], ours))
    shares = [right_share(ours, number) for number in range(5)]
    low, high, runs = min(shares), max(shares), runs_of_misses(ours)
    saved, called = minutes_saved(ours, pooled["fixed boxes"]), called_by_chance(ours)
    error = calibration_error(predictions(ours))

    def line(aim: str, met: bool, found: str) -> str:
        return f"- {'met' if met else 'NOT met'}: {aim}: {found}"

    return "\n".join(
        [
            line("exam-day chance at least +.015 over the best plain way", gain.value >= 0.015,
                 f"{gain} over {rival}"),
            line("no kind below -.005", gains[worst].value >= -0.005, f"the least is {gains[worst]} ({worst})"),
            line("25 % of minutes saved at the chance that fixed boxes end with", saved is not None and saved >= 0.25,
                 "never reached" if saved is None else f"{saved:.2f}"),
            line("called recurring on chance alone at most 5 % of slips", called <= 0.05, f"{called:.3f}"),
            line(f"planted slips named within {SHOWINGS} showings in 95 % of learners", soon >= 0.95 * of,
                 f"{soon} of {of} ({soon / max(of, 1):.3f})"),
            line(f"gone in at most half the minutes of {slowest}", quick <= 0.5 * slow, f"{quick / slow:.2f} of them"),
            line("right answers in each of the first five sittings from .6 to .85", low >= 0.6 and high <= 0.85,
                 ", ".join(f"{one:.2f}" for one in shares)),
            line("runs of four misses in under 5 % of sittings", runs < 0.05, f"in {runs:.3f} of them"),
            line("calibration error of the foretold chance at most .05", error <= 0.05, f"{error:.3f}"),
        ]
    )  # fmt: skip


def print_sittings(seed: int) -> None:
    """Print a learner of five kinds case by case: first sitting, second week, after a month, three days before an exam.

    They practise ten minutes on five days of two weeks, then not for a month, then on the four days before the exam.
    """
    days = [0.0, 1, 2, 3, 4, 7, 8, 9, 10, 11, 42, 43, 44, 45]
    shown = {0: "First sitting", 7: "Second week", 42: "After a month"}
    shown |= {43: "Three days before the exam", 44: "Two days before", 45: "The day before"}
    kinds = ["exponential", "power law", "windows", APART, HUMAN]
    pool = the_pool("competent")
    for number, kind in enumerate(kinds):
        model, own = KINDS[kind]
        one = person(seed + number, model, pool.catalogue, own, human=kind == HUMAN)
        watched: list[Watched] = []
        play(one, pool, Ours, seed=seed + number, minutes_a_day=10.0, days=days, watch=watched)
        print(f"\n# {kind}, ability {one.memory.ability:+.1f}")  # noqa: T201
        for day, title in shown.items():
            print(f"\n## {title}")  # noqa: T201
            for case in [case for case in watched if int(case.day) == day][:12]:
                went = ", ".join(f"{step}: {slip}" for step, slip in case.way)
                print(f"{case.type_id:22} {case.seconds:4.0f} s {case.verdict:6} {case.why} [{went}]")  # noqa: T201


def main() -> None:
    """Play and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulation", description=__doc__)
    add = partial(parser.add_argument, metavar="N")
    add("--learners", type=int, default=100, help="learners of each kind (%(default)s)")
    add("--weeks", type=int, default=4, help="weeks of five days; the exam follows (%(default)s)")
    add("--minutes-a-day", type=float, default=20.0, help="practice on each of them (%(default)s)")
    add("--seed", type=int, default=HELD_OUT, help="first learner; below %(default)s they were used to tune")
    add("--processes", type=int, default=os.cpu_count() or 1, help="at once (%(default)s)")
    parser.add_argument("--level", choices=LEVELS, default="expert", help="of the types; the app's own is competent")
    parser.add_argument("--print-sittings", action="store_true", help="five learners, case by case, and nothing else")
    parser.add_argument("--policies", nargs="+", choices=list(POLICIES), default=list(POLICIES))
    parser.add_argument("--quick", action="store_true", help="ten learners of each kind")
    asked = parser.parse_args()
    if asked.quick:
        asked.learners = 10
    if asked.print_sittings:
        print_sittings(asked.seed)
        return
    policies = list(dict.fromkeys([OURS, *asked.policies]))
    began = time.monotonic()
    stories = run_all(policies, list(KINDS), asked)
    total = asked.minutes_a_day * 5 * asked.weeks
    pooled = {name: [one for kind in MODELS for one in stories[name, kind]] for name in policies}
    print(  # noqa: T201
        f"{asked.learners} learners of each kind, seeds from {asked.seed}; {asked.minutes_a_day:g} minutes on five "
        f"days of {asked.weeks} weeks; {time.monotonic() - began:.0f} s.\n\nThe {len(MODELS)} kinds that share steps:\n"
    )
    print(by_policy(pooled, total))  # noqa: T201
    if "fixed boxes" in policies:
        text, gains = by_kind(stories, policies, list(KINDS))
        print(text)  # noqa: T201
        print(aims(pooled, gains, total))  # noqa: T201


if __name__ == "__main__":
    main()
