"""One learner through some weeks under one way of choosing, and what came of it."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field

from quiz.learning.catalogue import Catalogue
from quiz.learning.model import chance, expected, fold, standing
from quiz.learning.parameters import NUMBERS, Numbers
from quiz.learning.state import DAY, Answered, LearnerState, SlipKey
from tests.simulation.people import GONE, Bug, Person, exam
from tests.simulation.policies import Ours, Policy
from tests.simulation.pool import Pool

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


def play(
    one: Person,
    pool: Pool,
    policy: Callable[[Catalogue, random.Random, float], Policy],
    *,
    seed: int,
    minutes_a_day: float,
    weeks: int = 4,
    numbers: Numbers = NUMBERS,
) -> Story:
    """Let a learner practise so many minutes on five days of each week, and look on the day after the last."""
    days = [day + WEEK * week for week in range(weeks) for day in range(5)]
    exam_day = WEEK * weeks
    rng = random.Random(f"policy {seed}")
    way = policy(pool.catalogue, rng, START + exam_day * DAY)
    state = LearnerState(offset_variance=numbers.offset_variance)
    planted = [(bug, SlipStory(bug.slip)) for bug in one.bugs.values() if bug.stable]
    total = minutes_a_day * len(days)
    spent = 0.0
    predictions = []
    for number, date in enumerate(days):
        if isinstance(way, Ours):
            way.new_day()
        while spent < (number + 1) * minutes_a_day:
            day = date + HOUR + (spent - number * minutes_a_day) / 1440
            now = START + day * DAY
            choice = way.next(now, state, spent / total)
            sample = pool.deal(choice, rng)
            info = pool.catalogue.by_id[choice.type_id]
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
            spent += one.seconds(pool.seconds(info.id), event.right) / 60
            way.saw(choice, event.right, now)
            _follow(planted, [bug.slip for bug in fired], len(errors) == 1, state, day, now, spent, numbers)
    true = exam(one, pool, exam_day)
    at = START + exam_day * DAY
    foretold = [
        chance(state, info.chain, at, type_id=info.id, options=info.options, numbers=numbers)
        for info in pool.catalogue.types
    ]
    return Story(
        mean=sum(true.values()) / len(true),
        above=sum(value > 0.70 for value in true.values()) / len(true),
        types=true,
        answers=state.answers,
        slips=[story for _, story in planted],
        predictions=predictions,
        foretold=sum(foretold) / len(foretold),
    )


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
