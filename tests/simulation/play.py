"""One learner through some weeks under one way of choosing, and what came of it."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from quiz.learning.catalogue import Catalogue
from quiz.learning.model import chance, expected, fold, standing
from quiz.learning.parameters import NUMBERS, Numbers
from quiz.learning.state import DAY, Answered, LearnerState, SlipKey
from quiz.practice import worked_examples
from quiz.practice.settings import LearnerSettings
from tests.simulation.people import GIVES_UP, GONE, Bug, Person, exam
from tests.simulation.policies import Ours, Policy
from tests.simulation.pool import Pool, Way

START = 1.7e9 - 1.7e9 % DAY
WEEK = 7
HOUR = 0.7
"""When on a day the practice begins, as a part of it."""


@dataclass
class SlipStory:
    """What became of one planted false belief."""

    slip: SlipKey
    made: int = 0
    """Cases in which the learner made it."""
    showings: int = 0
    """Those of them in which nothing else went wrong, so that the answer shows it."""
    first_minutes: float | None = None
    named_at_made: int | None = None
    named_at_showing: int | None = None
    named_minutes: float | None = None
    gone_minutes: float | None = None


@dataclass
class Story:
    """What came of it."""

    mean: float
    """Mean true chance on the exam day, over the types."""
    above: float
    """Share of the types above .70."""
    types: dict[str, float]
    answers: int
    slips: list[SlipStory]
    predictions: list[tuple[float, bool]] = field(default_factory=list)
    """The chance that memory gave before each answer, and what came."""
    foretold: float = 0.0
    """Mean chance that memory gives for the exam day, over the types."""
    worked: int = 0
    """Worked examples gone through."""
    curve: list[tuple[float, float]] = field(default_factory=list)
    """Minutes spent and the mean true chance at the end of each week."""
    chance_slips: int = 0
    """Slips that were made with no belief behind them."""
    chance_called: int = 0
    """Those of them that were ever called recurring."""


class Watched(NamedTuple):
    """One case as a teacher would look on."""

    day: float
    type_id: str
    why: str
    way: Way
    verdict: str
    seconds: float


def play(
    one: Person,
    pool: Pool,
    policy: Callable[[Catalogue, random.Random, float, LearnerSettings], Policy],
    *,
    seed: int,
    minutes_a_day: float,
    weeks: int = 4,
    numbers: Numbers = NUMBERS,
    days: Sequence[float] | None = None,
    watch: list[Watched] | None = None,
    worked: bool = True,
) -> Story:
    """Let a learner practise this many minutes on five days of each week, or on `days`, and look on the exam's day.

    worked: whether a new type comes as a worked example first, by the app's own rule.
    """
    asked = days or [float(day + WEEK * week) for week in range(weeks) for day in range(5)]
    exam_day = WEEK * weeks if days is None else math.ceil(days[-1]) + 1
    plan = one.days(asked, minutes_a_day, seed) if days is None else dict.fromkeys(asked, minutes_a_day)
    rng = random.Random(f"policy {seed}")
    way = policy(pool.catalogue, rng, START + exam_day * DAY, pool.learner)
    state = LearnerState.new(numbers)
    planted = [(bug, SlipStory(bug.slip)) for bug in one.bugs.values() if bug.stable]
    total = sum(plan.values())
    spent, ends, examples = 0.0, 0.0, 0
    predictions, curve, called = [], list[tuple[float, float]](), set[SlipKey]()
    for date, minutes in plan.items():
        if isinstance(way, Ours):
            way.new_day()
        began, misses = spent, 0
        ends += minutes
        if date % WEEK < 1 and date:
            curve.append((spent, _mean(exam(one, pool, date))))
        while spent < ends and not (one.human and misses >= GIVES_UP):
            day = date + HOUR + (spent - began) / 1440
            now = START + day * DAY
            choice = way.next(now, state, spent / total)
            sample = pool.deal(choice, rng)
            info = pool.catalogue.by_id[choice.type_id]
            if worked and worked_examples.comes_worked(state, info, now):
                one.read(sample, day)
                spent += numbers.example_cases * one.slow * pool.seconds(info.id) / 60
                examples += 1
            outcome, errors, fired = one.answer(sample, day, pool)
            event = Answered(
                at=now,
                type=info.id,
                steps=sample.skills,
                verdict=outcome.verdict,
                explanations=outcome.weighed,
                shares=outcome.shares,
                options=info.options,
                probe_of=choice.probe_of,
                could_show=sample.could_show,
            )
            predictions.append((expected(state, event, numbers), event.right))
            fold(state, event, numbers)
            seconds = one.seconds(info.id, pool.seconds(info.id), event.right)
            spent += seconds / 60
            misses = 0 if event.right else misses + 1
            way.saw(choice, event.right, now)
            called |= standing(state, now, numbers).keys()
            if watch is not None:
                watch.append(Watched(day, info.id, choice.why, errors, event.verdict, seconds))
            _follow(planted, [bug.slip for bug in fired], len(errors) == 1, state, day, now, spent, numbers)
        if one.human:
            ends = spent  # what was given up is not made up for
    true = exam(one, pool, exam_day)
    held = {bug.slip for bug in one.bugs.values()}
    by_chance = {(step, slip) for step, made in state.slips.items() for slip in made} - held
    at = START + exam_day * DAY
    foretold = [
        chance(state, info.chain, at, type_id=info.id, options=info.options, numbers=numbers)
        for info in pool.catalogue.types
    ]
    return Story(
        mean=_mean(true),
        above=sum(value > 0.70 for value in true.values()) / len(true),
        types=true,
        answers=state.answers,
        slips=[story for _, story in planted],
        predictions=predictions,
        foretold=sum(foretold) / len(foretold),
        worked=examples,
        curve=[*curve, (spent, _mean(true))],
        chance_slips=len(by_chance),
        chance_called=len(by_chance & called),
    )


def _mean(chances: Mapping[str, float]) -> float:
    return sum(chances.values()) / len(chances)


def _follow(
    planted: list[tuple[Bug, SlipStory]],
    fired: list[SlipKey],
    alone: bool,
    state: LearnerState,
    day: float,
    now: float,
    spent: float,
    numbers: Numbers,
) -> None:
    stands = standing(state, now, numbers)
    for bug, story in planted:
        story.made += story.slip in fired
        story.showings += story.slip in fired and alone
        if story.slip in fired and story.first_minutes is None:
            story.first_minutes = spent
        if story.named_at_showing is None and story.slip in stands:
            story.named_at_made, story.named_at_showing = story.made, story.showings
            story.named_minutes = spent
        gone = bug.chance(day) < GONE
        if gone and story.gone_minutes is None:
            story.gone_minutes = spent
