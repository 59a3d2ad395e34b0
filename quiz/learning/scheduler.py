"""What to bring a learner next, and why, in one line.

Pure. What is on offer is type_catalogue.py's; how memory works, model.py's; drawing the case, the caller's.
"""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

from cases.procedure.vocabulary import LEVELS
from quiz.errors import QuizError
from quiz.learning.catalogue import Catalogue, Twins, TypeInfo, Wish
from quiz.learning.model import band, chance, outlook, sitting_at, slip_counts, standing, waited
from quiz.learning.parameters import Numbers
from quiz.learning.state import DAY, LearnerState, SlipKey

WEEK = 7 * DAY
LONG_AGO_DAYS = 3
"""From how many days on a gap is worth telling."""
LAST = 10
"""Answers over which the share of right ones is taken."""
HALF_A_DAY = DAY / 2
READING_S = 15.0
ALIKE = 0.98
"""Scores within 2 % of the best are alike, and chance picks among them."""
TIMES = {2: "twice", 3: "three times"}


class NothingToChoose(QuizError):
    """A catalogue without any type."""


class Done(NamedTuple):
    """One case answered recently, in this sitting or one just before it."""

    type_id: str
    right: bool
    for_drill: bool = False
    why: str = ""
    """What the learner was told for a reason."""


@dataclass(frozen=True)
class Choice:
    """The next case: what to draw, and what to tell the learner."""

    type_id: str
    why: str
    must_show: str | None = None
    """Draw a case in which this slip would show."""
    probe_of: Twins | None = None
    """Draw a case that tells these two apart, and say so in the log."""
    for_drill: bool = False

    @property
    def wish(self) -> Wish | None:
        """What the case is to show or tell apart."""
        return self.probe_of or self.must_show


def learner_seconds(one: TypeInfo) -> float:
    """Return what a case of a type takes someone to whom it is new: twice a clinician's time."""
    return 2 * one.seconds


def choose(
    state: LearnerState,
    catalogue: Catalogue,
    now: float,
    rng: random.Random,
    *,
    recent: Sequence[Done] = (),
    exam_day: float | None = None,
    drill: Collection[str] | None = None,
    level: str = LEVELS[-1],
    unable: Collection[tuple[str, Wish]] = frozenset(),
    numbers: Numbers | None = None,
) -> Choice:
    """Choose the next case.

    In this order: a probe, when the last diagnosis left two slips in doubt, of a type whose steps were met; the second
    case of a type whose very first was missed, unless it takes a learner over a minute; a type missed recently in which
    a recurring slip would show, five other cases having come since; else the best score, among the core of the trade
    while that has had under a third of the cases looked back on that were not new (its steps met, no case over a
    minute, and not yet right in those cases), unless a new type is best

        gain / seconds × pace × 2 for an open drill × 5^min(1, count/1.6) for the likeliest slip

    A teacher's rules stand over it. pace prefers what the learner is likely to get right after three misses in a row or
    where under 6 of the last 10 were right, and what is harder where over .85 were. In both of the former nothing new
    comes; nor straight after a miss, nor while two types were missed the last time that they came; nor a seventh type
    in a first sitting, nor a third in one that follows a sitting with under .6 right; nor, before an exam, a type whose
    worked example and first case take more than 3 % of the minutes left (ten a day). A type rests for five other cases,
    comes at most five times in those looked back on, and no more once it was right there twice running. One whose steps
    are all known, and called for by a longer type that was met, is not asked alone. After three misses in a row nothing
    is forced. A slip that showed three times within twelve hours is left alone until they are over; one that was told
    as the reason of three of the cases looked back on, for the rest of those.

    where seconds are what a case of the type takes, count is how often the learner made the slip recently, and gain is
    what a case may add to tomorrow (or to the exam, where that comes before), summed over all types on offer:

        (Σ share × worth × doubt × fresh over its steps + doubt of the type) × d/(d + 10)

    share is in how many of the type's cases, as they are drawn for this learner, the step is called for: what no case
    can exercise gains nothing. worth is the sum of share × chance of all types that call for the step, so that a step
    shared by many comes first, and one in chains that are hopeless for other reasons later; doubt is 1 − the chance
    foreseen; fresh is r/(1 + r), r the step's wait over 28 days (longer where it fades slowly), or 1 for a step never
    met; d is days since the type was met, and d/(d + 10) counts as 1 for one never met: breadth comes first. The type's
    own wait is there for what does not carry over from one type to another.

    A type with a slip of .75 or more is drawn so that the slip would show: one that was made once is followed up, so
    that it is soon known to stand, or let go. No new type comes for a slip. When the best is a new type, the first new
    one in teaching order comes in its stead; one more likely to go wrong than right lets those of the next five pass
    that are not. Open are the types of the learner's level whose needs are met (answered right once, or a chance of
    .6); a drill's types are open whatever their level and needs, and take at most half of those cases (the half of an
    odd number rounded up). When nothing is left, the rules give way in this order: what is not asked alone, what was
    right twice, the rest of a type, the wait of a missed type, those on new types, the drill's half, never the same
    type at once, needs, level.

    Parameters
    ----------
    now
        Seconds since 1970, UTC; so is `exam_day`, which counts only while it lies ahead.
    recent
        The cases answered recently, in this sitting and those just before it, the latest last.
    drill
        The types of an open drill.
    level
        The highest level of types to bring, one of `cases.procedure.case_type.LEVELS`.
    unable
        Types, by id, with what they cannot show or tell apart for this learner: they are not brought for it.

    Raises
    ------
    NothingToChoose
        When the catalogue is empty.
    """
    if not catalogue.types:
        raise NothingToChoose("the catalogue has no case types: give at least one")
    table = _Table(
        state, catalogue, now, rng, recent, exam_day, frozenset(drill or ()), level, unable, numbers or state.numbers
    )
    return table.probe() or table.second() or table.comeback() or table.best()


@dataclass
class _Table:
    """One choice being made."""

    state: LearnerState
    catalogue: Catalogue
    now: float
    rng: random.Random
    recent: Sequence[Done]
    exam_day: float | None
    drill: frozenset[str]
    level: str
    unable: Collection[tuple[str, Wish]]
    numbers: Numbers
    _mastered: dict[str, bool] = field(default_factory=dict)

    @cached_property
    def horizon(self) -> float:
        """The moment that practice is for."""
        soon = self.now + self.numbers.horizon_days * DAY
        return min(self.exam_day, soon) if self.exam_day is not None and self.exam_day > self.now else soon

    @cached_property
    def stands(self) -> dict[SlipKey, float]:
        """Standing slips, the most frequent first."""
        return standing(self.state, self.now, self.numbers)

    @cached_property
    def counts(self) -> dict[SlipKey, float]:
        """How often each slip was made recently."""
        return slip_counts(self.state, self.now, self.numbers)

    # the rules that may give way

    def at_level(self, one: TypeInfo) -> bool:
        return one.rank <= self.rank or one.id in self.drill

    @cached_property
    def rank(self) -> int:
        """The place of the highest level to bring."""
        return LEVELS.index(self.level)

    def ready(self, one: TypeInfo) -> bool:
        return one.id in self.drill or all(self.mastered(need) for need in one.needs)

    def mastered(self, type_id: str) -> bool:
        if type_id not in self._mastered:
            self._mastered[type_id] = self._is_mastered(type_id)
        return self._mastered[type_id]

    def _is_mastered(self, type_id: str) -> bool:
        one = self.catalogue.by_id.get(type_id)
        if one is None:
            return True
        memory = self.state.types.get(type_id)
        if memory is not None and memory.right > 0:
            return True
        now = chance(self.state, one.chain, self.now, type_id=type_id, options=one.options, numbers=self.numbers)
        return now >= self.numbers.open_chance

    @cached_property
    def drilled(self) -> int:
        """How many of the cases answered recently were for a drill."""
        return sum(done.for_drill for done in self.recent)

    def within_half(self, one: TypeInfo) -> bool:
        """Say whether a case would keep a drill within its half of the cases, that case being one of them."""
        return one.id not in self.drill or 2 * (self.drilled + 1) <= len(self.recent) + 2

    def not_just_done(self, one: TypeInfo) -> bool:
        return not self.recent or self.recent[-1].type_id != one.id

    def may_be_new(self, one: TypeInfo) -> bool:
        """Keep new types from a learner who is struggling, who met enough in a first sitting, or whose exam is near."""
        if one.id in self.state.types or one.id in self.drill:
            return True
        slow_down = self.stuck or self.few_right or self.not_learnt or self.met_enough
        return not slow_down and self.first_seconds(one) <= self.new_seconds

    @property
    def not_learnt(self) -> bool:
        """Whether the last answer was a miss, or two types were missed the last time that they came."""
        just_missed = bool(self.recent) and not self.recent[-1].right
        return just_missed or len(self.since_miss) > self.numbers.missed_at_once

    def first_seconds(self, one: TypeInfo) -> float:
        """Return what a first case of a type takes: with its worked example, where a step is new, and its mark."""
        worked = any(step not in self.state.steps for step in one.distinct)
        return (1 + worked * self.numbers.example_cases) * learner_seconds(one) + READING_S

    @cached_property
    def met_enough(self) -> bool:
        """Whether the sitting has had its new types: few in the first, fewer after one with many misses."""
        n, sitting = self.numbers, sitting_at(self.state, self.now, self.numbers)
        if sitting.number == 1:
            return sitting.new >= n.first_types
        return sitting.before is not None and sitting.before < n.few_right and sitting.new >= n.slow_types

    @cached_property
    def new_seconds(self) -> float:
        """What a first case of a type may take: before an exam a small share of the minutes left."""
        if self.exam_day is None or self.exam_day <= self.now:
            return math.inf
        n = self.numbers
        return n.exam_share * n.exam_minutes_a_day * 60 * (self.exam_day - self.now) / DAY

    @cached_property
    def stuck(self) -> bool:
        """Whether the last three answers were misses."""
        last = self.recent[-self.numbers.misses_in_a_row :]
        return len(last) == self.numbers.misses_in_a_row and not any(done.right for done in last)

    @cached_property
    def share_right(self) -> float | None:
        """The share of right ones of the last ten answers; None where they are too few to say."""
        last = self.recent[-LAST:]
        return None if len(last) < self.numbers.least_answers else [done.right for done in last].count(True) / len(last)

    @property
    def few_right(self) -> bool:
        """Whether too few of the last answers were right."""
        return self.share_right is not None and self.share_right < self.numbers.few_right

    def pace(self, one: TypeInfo) -> float:
        """Weigh a type by how hard it is now, where too few or too many of the last answers were right."""
        n = self.numbers
        usual = self.share_right is None or n.few_right <= self.share_right <= n.many_right
        if usual and not self.stuck:
            return 1.0
        now = chance(self.state, one.chain, self.now, type_id=one.id, options=one.options, numbers=n)
        return now**2 if self.stuck or self.few_right else 1 - 0.5 * now

    def rested(self, one: TypeInfo) -> bool:
        """Keep a type that was right from coming again at once, or again and again."""
        n = self.numbers
        lately = [done.type_id for done in self.recent[-n.rest_cases :]]
        return one.id not in lately and self.times.get(one.id, 0) < n.often

    def not_enough(self, one: TypeInfo) -> bool:
        """Leave out a type that was right twice running in these cases: it comes on another day."""
        return self.right_running.get(one.id, 0) < self.numbers.enough_right

    @cached_property
    def right_running(self) -> dict[str, int]:
        """By type, how often it was right in the cases answered recently since it was last missed in them."""
        out: dict[str, int] = {}
        for done in self.recent:
            out[done.type_id] = out.get(done.type_id, 0) + 1 if done.right else 0
        return out

    @cached_property
    def times(self) -> Counter[str]:
        """By type, how often it was among the cases answered recently."""
        return Counter(done.type_id for done in self.recent)

    def needed_alone(self, one: TypeInfo) -> bool:
        """Leave out a type all of whose steps are known, where a longer one that was met calls for them all."""
        steps = set(one.distinct)
        if any(self.ahead[step] < self.numbers.settled_chance or step not in self.state.steps for step in steps):
            return True
        return not any(steps < set(other.distinct) for other in self.of_level if other.id in self.state.types)

    def not_waiting(self, one: TypeInfo) -> bool:
        return self.since_miss.get(one.id, self.numbers.wait_cases) >= self.numbers.wait_cases

    @cached_property
    def since_miss(self) -> dict[str, int]:
        """By type that was missed the last time that it came, the cases since."""
        last = {done.type_id: (place, done) for place, done in enumerate(self.recent)}
        return {id_: len(self.recent) - 1 - place for id_, (place, done) in last.items() if not done.right}

    @cached_property
    def open(self) -> list[TypeInfo]:
        """The types to choose from: as many rules kept as leave any."""
        level, ready, half = self.at_level, self.ready, self.within_half
        fresh, wait = self.not_just_done, self.not_waiting
        ladder: tuple[tuple[Callable[[TypeInfo], bool], ...], ...] = (
            (level, ready, half, fresh, wait, self.may_be_new, self.rested, self.not_enough, self.needed_alone),
            (level, ready, half, fresh, wait, self.may_be_new, self.rested, self.not_enough),
            (level, ready, half, fresh, wait, self.may_be_new, self.rested),
            (level, ready, half, fresh, wait, self.may_be_new),
            (level, ready, half, fresh, self.may_be_new),
            (level, ready, half, fresh),
            (level, ready, fresh),
            (level, ready),
            (level, fresh),
            (level,),
            (fresh,),
            (),
        )
        for rules in ladder:
            left = list(self.catalogue.types)
            for rule in rules:
                left = [one for one in left if rule(one)]
            if left:
                return left
        raise NothingToChoose("unreachable: the last rung keeps every type")

    # the four ways to a case

    def probe(self) -> Choice | None:
        """Give a case that tells two twins apart: of the type declared for it, else of the shortest that can.

        Only of a type whose steps were all met: with a new one a miss may have other causes.
        """
        suspects = self.state.suspects
        if suspects is None or self.now - suspects.at > self.numbers.probe_days * DAY:
            return None
        a, b = suspects.pair
        declared = [type_id for one in self.catalogue.types for twins, type_id in one.probes if set(twins) == {a, b}]
        others = [
            one
            for one in self.catalogue.types
            if self.steps_met(one) and self.not_just_done(one) and (one.id, (a, b)) not in self.unable
        ]
        able = [one for one in others if one.id in declared] or sorted(
            (one for one in others if (a in one.slips) != (b in one.slips)),
            key=lambda one: (len(one.steps), a not in one.slips),
        )
        if not able:
            return None
        why = f"One answer could mean that you {self.slip_title(a)}, or that you {self.slip_title(b)}: this one tells."
        return Choice(able[0].id, why, probe_of=(a, b))

    def steps_met(self, one: TypeInfo) -> bool:
        """Say whether a type was met, or all of its steps were in others."""
        return one.id in self.state.types or self.state.steps.keys() >= set(one.distinct)

    def second(self) -> Choice | None:
        """Give the second case of a brand-new type at once, when the first was missed."""
        if not self.recent or self.recent[-1].right or self.stuck:
            return None
        one = self.catalogue.by_id.get(self.recent[-1].type_id)
        if one is None or not self.within_half(one) or learner_seconds(one) > self.numbers.forced_seconds:
            return None
        memory = self.state.types.get(one.id)
        if memory is None or memory.answered != 1:
            return None
        reasons = "A second example of the type you have just met.", "Once more, while it is fresh."
        return self.chosen(one, *reasons, f"{quoted(one)} once more, while it is fresh.")

    def comeback(self) -> Choice | None:
        """Give the type that was missed longest ago and has waited, where a recurring slip would show in it."""
        if self.stuck:
            return None
        # Among all types: a need that the miss undid must not keep the type from coming back.
        types = [one for one in self.catalogue.types if self.within_half(one)]
        waited = [(self.since_miss[one.id], one) for one in types if one.id in self.since_miss]
        due = [
            (since, one)
            for since, one in waited
            if since >= self.numbers.wait_cases and self.followed(one) in self.stands
        ]
        if not due:
            return None
        one = max(due, key=lambda pair: pair[0])[1]
        reasons = "Missed a few cases ago: here it is again.", "Another try at one you missed."
        return self.chosen(one, *reasons, f"Another try at {quoted(one)}.")

    def best(self) -> Choice:
        """Give the best score; chance picks among those that are alike, and new types come in their order."""
        one = self.best_of(self.open)
        if one.id in self.state.types:
            one = self.best_of(self.core) if self.core else one
        else:
            one = self.first_new([one, *(other for other in self.open if self.new_alike(one, other))])
        return self.chosen(one, *self.why(one))

    def best_of(self, offered: Sequence[TypeInfo]) -> TypeInfo:
        scores = [self.score(one) for one in offered]
        least = ALIKE * max(scores)
        alike = [one for one, score in zip(offered, scores, strict=True) if score >= least]
        return alike[int(self.rng.random() * len(alike))]

    @cached_property
    def core(self) -> list[TypeInfo]:
        """The core of the trade, where it had too few of the cases that were not new.

        None that takes over a minute, nor one that was right in these cases: it was shown that it is known.
        """
        types = self.state.types
        due = [
            self.catalogue.by_id.get(id_)
            for id_ in self.times.elements()
            if id_ not in types or types[id_].answered > 1
        ]
        if sum(one is not None and one.core for one in due) >= self.numbers.core_share * (len(due) + 1):
            return []
        known, n = self.state.steps.keys(), self.numbers
        due_now = [one for one in self.open if one.core and known >= set(one.distinct) and self.rested(one)]
        return [one for one in due_now if one.seconds <= n.forced_seconds and not self.right_running.get(one.id)]

    def first_new(self, new: Sequence[TypeInfo]) -> TypeInfo:
        """Return the next new type in teaching order; one that is likely to go wrong lets some that follow pass."""
        n = self.numbers
        following = sorted(new, key=lambda one: one.place)[: n.new_passed]
        return next((one for one in following if self.foreseen[one.id] >= n.hard_chance), following[0])

    def new_alike(self, one: TypeInfo, other: TypeInfo) -> bool:
        """Say whether another new type would do for this new one: of the drill like it, or not."""
        return other.id not in self.state.types and (other.id in self.drill) == (one.id in self.drill)

    def chosen(self, one: TypeInfo, *reasons: str) -> Choice:
        """Choose a type, for the first of the reasons that was not told recently, or else was told longest ago."""
        slip = self.followed(one)
        if slip is not None and slip in self.stands:
            reasons = self.why_standing(slip)
        told = {done.why: place for place, done in enumerate(self.recent)}
        return Choice(
            one.id,
            min(reasons, key=lambda why: told.get(why, -1)),
            must_show=None if slip is None else slip[1],
            for_drill=one.id in self.drill,
        )

    def score(self, one: TypeInfo) -> float:
        n = self.numbers
        value = self.gain(one) / one.seconds * self.pace(one)
        if one.id in self.drill:
            value *= n.drill_weight
        made = self.made_lately.get(one.id, 0.0) if one.id in self.state.types else 0.0
        return float(value * n.standing_weight ** min(1.0, made / n.slip_followed_fully))

    @cached_property
    def made_lately(self) -> dict[str, float]:
        """By type, the count of the slip most often made of those that it has."""
        out: dict[str, float] = {}
        for key, count in self.counts.items():
            for type_id in () if self.rests(key) else self.catalogue.with_slip.get(key, ()):
                if (type_id, key[1]) not in self.unable:
                    out[type_id] = max(out.get(type_id, 0.0), count)
        return out

    def gain(self, one: TypeInfo) -> float:
        n = self.numbers
        memory = self.state.types.get(one.id)
        if memory is None:
            own = n.new_type
        else:
            days = max(0.0, self.now - memory.at) / DAY
            own = days / (days + n.type_days)
        by_step = self.gain_by_step
        steps = math.fsum([by_step[step] * one.share(step) for step in one.distinct])
        return (steps + 1 - self.foreseen[one.id]) * own

    @cached_property
    def gain_by_step(self) -> dict[str, float]:
        """What practice of a step may add, over all types that call for it."""
        worth = self.worth
        return {
            step: worth.get(step, 0.0) * (1 - self.ahead[step]) * self.fresh(step)
            for step in dict.fromkeys(step for one in self.open for step in one.distinct)
        }

    def fresh(self, step: str) -> float:
        """Say how much a step has waited for practice (0..1)."""
        if step not in self.state.steps:
            return 1.0
        n = self.numbers
        r = waited(self.state.steps[step], self.now) * n.fading_days / n.rest_days
        return r / (1 + r)

    @cached_property
    def worth(self) -> dict[str, float]:
        """By step, how many of the types on offer call for it, each counted by its chance and its share of cases."""
        out: dict[str, float] = {}
        for one in self.of_level:
            foreseen = self.foreseen[one.id]
            for step in one.distinct:
                out[step] = out.get(step, 0.0) + foreseen * one.share(step)
        return out

    @cached_property
    def foreseen(self) -> dict[str, float]:
        """By type, the chance at the moment that practice is for."""
        state, at, n = self.state, self.horizon, self.numbers
        return {
            one.id: chance(
                state, one.chain, at, type_id=one.id, options=one.options, numbers=n, mastery=self.mastery_in(one)
            )
            for one in (*self.of_level, *(one for one in self.open if not self.at_level(one)))
        }

    def mastery_in(self, one: TypeInfo) -> Mapping[str, float]:
        """Return by step the chance that it does not go wrong in a case of a type, then: it may not be called for."""
        if not one.shares:
            return self.ahead
        return {step: 1 - one.share(step) * (1 - self.ahead[step]) for step in one.distinct}

    @cached_property
    def of_level(self) -> list[TypeInfo]:
        """The types that practice is for."""
        return [one for one in self.catalogue.types if self.at_level(one)]

    @cached_property
    def ahead(self) -> dict[str, float]:
        """By step, its mastery at the moment that practice is for: types share steps, and each is looked at once."""
        state, at, n = self.state, self.horizon, self.numbers
        unmet = outlook(state, "", at, n).mastery
        return {
            step: outlook(state, step, at, n).mastery if step in state.steps else unmet for step in self.catalogue.steps
        }

    def followed(self, one: TypeInfo) -> SlipKey | None:
        """Return the slip that a case of a type should show: of those made recently the most frequent, if any."""
        followed = self.numbers.slip_followed
        able = (key for key in one.slips if self.counts.get(key, 0.0) >= followed and not self.rests(key))
        shown = [key for key in able if (one.id, key[1]) not in self.unable]
        return max(shown, key=lambda key: self.counts[key], default=None)

    def rests(self, key: SlipKey) -> bool:
        """Say whether a slip was shown, or told as a reason, often enough: more of the same would only tire."""
        if key in self.tiring:
            return True
        seen = self.state.slips[key[0]][key[1]].seen if key in self.counts else ()
        return sum(self.now - at <= HALF_A_DAY for at in seen) >= self.numbers.fires_a_day

    @cached_property
    def tiring(self) -> frozenset[SlipKey]:
        """Slips that were the reason of enough of the cases answered recently."""
        made = [key for key, count in self.counts.items() if count >= self.numbers.slip_followed]
        told = Counter(key for done in self.recent for key in made if self.slip_title(key) in done.why)
        return frozenset(key for key, times in told.items() if times >= self.numbers.fires_a_day)

    # what the learner is told

    def slip_title(self, key: SlipKey) -> str:
        return self.catalogue.slip_titles.get(key[1], f"made the slip “{key[1]}”")

    def why_standing(self, key: SlipKey) -> tuple[str, ...]:
        times = sum(self.now - at <= WEEK for at in self.state.slips[key[0]][key[1]].seen)
        often = TIMES.get(times, "four times or more") + " this week" if times > 1 else "more than once in recent cases"
        step = self.catalogue.step_titles.get(key[0], key[0])
        check = f"A check on {step}, where your recurring mistake is."
        return f"You {self.slip_title(key)}: {often}.", check, f"Another check on {step}."

    def why(self, one: TypeInfo) -> tuple[str, ...]:
        """Say why a type comes, in more ways than one: a reason that was told is told in other words."""
        if one.id in self.drill:
            return "From the drill that your preceptor set.", "The drill again.", f"The drill: {quoted(one)}."
        memory = self.state.types.get(one.id)
        if memory is None:
            needs = [self.catalogue.by_id[need] for need in one.needs if need in self.catalogue.by_id]
            if not needs:
                return "New to you.", f"New: {quoted(one)}."
            before = quoted(needs[-1])
            again = f"New, and it builds on {before} too."
            return f"New: the next step after {before}.", again, f"New: {quoted(one)}."
        slip = self.followed(one)
        if slip is not None and len(self.state.slips[slip[0]][slip[1]].seen) > 1:
            # Not called recurring yet: what explains an answer may not be what was done.
            return (
                f"In recent cases it looked as if you {self.slip_title(slip)}: this case would show it again.",
                f"Again a case that would show whether you {self.slip_title(slip)}.",
                f"{quoted(one)} would show whether you {self.slip_title(slip)}.",
            )
        days = int((self.now - memory.at) / DAY)
        if days >= LONG_AGO_DAYS:
            ago = f"{days} days ago"
            return f"Last practised {ago}.", f"You last practised this {ago}.", f"You last did {quoted(one)} {ago}."
        unmet = [step for step in one.distinct if step not in self.state.steps]
        if unmet:
            step = max(unmet, key=one.share)
            title = self.catalogue.step_titles.get(step, step)
            new = f"A step that you have not met may come: {title}."
            return new, f"It may call for {title}, new to you.", f"{quoted(one)} may call for {title}, new to you."
        word = band(self.state, one.chain, self.now, type_id=one.id, numbers=self.numbers)
        weakest = min(one.chain, key=lambda step: outlook(self.state, step, self.now, self.numbers).mastery)
        title = self.catalogue.step_titles.get(weakest, weakest)
        if word == "shaky":
            again, held = f"More practice in {title}.", self.state.steps.get(weakest)
            missed = memory.right < memory.answered or (held is not None and held.misses > 0)
            first = f"Still shaky: {title}." if missed else f"Right so far, but too seldom to be sure: {title}."
            return first, again, f"{quoted(one)} for more practice in {title}."
        if word == "fading":
            keep = f"To keep this fresh: {title}."
            return f"You may forget this within a week: {title}.", keep, f"To keep {quoted(one)} fresh."
        return "One that you know, mixed in so that it stays.", "Another that you know.", f"You know {quoted(one)}."


def quoted(one: TypeInfo) -> str:
    """Return the title of a type in quotation marks."""
    return f"“{one.title or one.id}”"
