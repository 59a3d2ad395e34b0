"""An invented class for show: weeks of answers through the real marking and folding, with an earlier clock.

Everyone in it is named for a tree, nobody for a person; every answer follows from a made-up learner who has habits.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from cases.curriculum.register import case_type
from cases.optics.lens import SphCyl
from cases.procedure.case_type import Case
from cases.procedure.chain import Values
from cases.recall.prompts import all_groups
from quiz.accuracy.entries import Entry
from quiz.classroom import (
    classes,
    drills,
    on_paper,
    own_cases,
    preceptors,
    roster,
    roster_file,
    sign_in,
    take_drill,
)
from quiz.classroom.drills import Audience, Plan
from quiz.classroom.places import group_named
from quiz.classroom.throttle import Caller, Tries
from quiz.learning.state import DAY
from quiz.practice import dealing, learners, recall_prompts
from quiz.practice.dealt_cases import SentBack, Waiting
from quiz.practice.forms import form_text
from quiz.practice.randomness import Lots
from quiz.storage import accuracy_queries, doubt_queries
from quiz.storage.class_queries import Class, Preceptor, preceptor_named
from quiz.storage.doubt_queries import Remark
from quiz.storage.store import Learner, Store

PRECEPTOR = "Preceptor Oak"
CO_TEACHER = "Preceptor Ash"
LAST_YEAR = "The Copse, last year (invented)"
CLASS = "The Copse, second year (invented)"
ALONE = "Willow (invented)"
ROSTER = """name,number,group
Alder,T-01,Monday
Birch,T-02,Monday
Cedar,T-03,Monday
Dogwood,T-04,Monday
Elm,T-05,Monday
Fir,T-06,Thursday
Hazel,T-07,Thursday
Juniper,T-08,Thursday
Larch,T-09,Thursday
Maple,T-10,Thursday
Rowan,T-11,Thursday
"""
"""The roster as a school would send it: one of it has not come yet."""
TREES = ("Alder", "Birch", "Cedar", "Dogwood", "Elm", "Fir", "Hazel", "Juniper", "Larch", "Maple")
WEEKS = 8
SITTINGS = 14
"""For each learner, over the weeks."""
BEHIND = 6
"""The place of the one who practises little, as one in every class does."""
HABITS = (
    ("distance-left-in", "with-and-against-swapped"),
    ("sweep-for-streak",),
    ("axis-not-turned", "second-power-as-cylinder"),
    (),
)
"""Kinds of learners, by the slips that come easily to them."""
KEPT_UP = {"Birch": "sweep-for-streak", ALONE: "distance-left-in"}
"""Who makes a slip whatever they have practised, to the last days: it stands on the day of the demonstration."""
KEEPS_SLIPPING = 0.9
"""How often, where it can be made."""
LAST_DAYS = (7 * WEEKS - 4, 7 * WEEKS - 2, 7 * WEEKS - 1)
"""Days, counted from the first, on which those sit down too."""


@dataclass
class Invented:
    """A made-up learner: how sure of a step at first, what each time adds, and what slips easily."""

    learner: Learner
    start: float
    """Log-odds of doing a new step rightly."""
    gain: float
    habits: tuple[str, ...]
    rng: random.Random
    kept_up: str | None = None
    """A slip that practice does not wear off."""
    met: dict[str, int] = field(default_factory=dict)

    def slips_at(self, step: str, slip: str) -> float:
        """Return the chance of a slip at its step now."""
        if slip == self.kept_up:
            return KEEPS_SLIPPING
        odds = self.start + self.gain * math.log1p(self.met.get(step, 0))
        if slip in self.habits:
            odds -= 2.8
        return 1 / (1 + math.exp(odds))

    def answer(self, case: Case) -> tuple[Values, float]:
        """Answer a case; also how likely that was to be right."""
        likely, given = 1.0, case.truth
        for one in case.singles:
            ref = one.slips[0]
            chance = self.slips_at(ref.step, ref.slip)
            likely *= 1 - chance
            if given is case.truth and self.rng.random() < chance:
                given = one.answer
        for step in case.skills:
            self.met[step] = self.met.get(step, 0) + 1
        return given, likely

    def seconds(self) -> float:
        """Return how long an answer takes: less with practice."""
        practised = sum(self.met.values()) / 100
        return min(400.0, 6 + self.rng.lognormvariate(math.log(38) - 0.12 * min(practised, 4), 0.45))


@dataclass(frozen=True)
class DemoFilled:
    """What the demonstration holds, and how to come in as its preceptor."""

    answers: int
    password: str


def fill(store: Store, *, now: float, rng: random.Random, said: Callable[[str], None]) -> DemoFilled:
    """Fill an empty data file: one learner at this computer, and a class with drills; `said` hears how it goes on."""
    lots = Lots(new_seed=lambda: rng.randrange(2**31), rng=rng)
    password = lots.new_secret()[:12]
    first = now - 7 * WEEKS * DAY
    sign_in.add_preceptor(store, PRECEPTOR, password, now=first)
    preceptor = preceptor_named(store, PRECEPTOR)
    if preceptor is None:
        raise RuntimeError("the preceptor was added and is not there")
    number = classes.make(store, preceptor, CLASS, now=first, lots=lots)
    one = classes.own(store, preceptor, number)
    sign_in.add_preceptor(store, CO_TEACHER, lots.new_secret(), now=first)
    preceptors.make_administrator(store, preceptor, now=first)
    co_teacher = preceptors.named(store, CO_TEACHER)
    preceptors.give_role(store, one, co_teacher, "co-teacher", by=preceptor.name, now=first)
    last_year = classes.own(store, preceptor, classes.make(store, preceptor, LAST_YEAR, now=first, lots=lots))
    classes.archive(store, last_year, now=first)
    members, caller = [], Caller(Tries())
    for at, tree in enumerate(TREES):
        form = lots.new_secret()
        joined = classes.join(store, one.code or "", tree, form=form, caller=caller, now=first + 60 * at, lots=lots)
        members.append(joined.learner)
    roster_file.take(store, one, ROSTER, now=first)
    roster.give_extra_time(store, one, (members[-1].id,), 25)
    classes.take_code(store, one)
    one = classes.own(store, preceptor, number)
    monday = group_named(store, one, "Monday", first)
    for plan, when, group in zip(_plans(), _days(first, now), (None, monday, None, None), strict=True):
        audience = Audience(frozenset(() if group is None else (group,)))
        if plan.test:  # nobody may begin it before it was set
            plan = replace(plan, opens_at=when)
        drill = drills.make(store, one, plan, now=when, lots=lots, audience=audience)
        drills.open_(store, drills.own(store, one, drill), now=when)
    answers = 0
    alone = learners.add(store, ALONE, now=first)
    invented = []
    for place, learner in enumerate((*members, alone)):
        habits = HABITS[place % len(HABITS)]
        who = Invented(learner, rng.uniform(2.6, 4.0), rng.uniform(0.2, 0.6), habits, rng, KEPT_UP.get(learner.name))
        invented.append(who)
        answers += _weeks(store, who, SITTINGS if place != BEHIND else 3, first, lots)
        said(f"{learner.name}: {answers} answers in all")
    answers += _on_paper(store, one, preceptor, invented[:-1], now - 0.2 * DAY, lots)
    _remark(store, members, now - 0.1 * DAY)
    _recall(store, alone, first, now, rng, lots)
    accuracy_queries.add(store, alone.id, list(_readings(rng, now)))
    return DemoFilled(answers, password)


def _days(first: float, now: float) -> tuple[float, ...]:
    return (first + 14 * DAY, first + 35 * DAY, now - 8 * DAY, now - 3 * DAY)


def _plans() -> tuple[Plan, ...]:
    return (
        Plan("Gross to net", ("net-sphere", "two-spheres", "distance-vergence"), cases=8, pass_mark=75),
        Plan("Streak, meridian and axis", ("streak-axis", "transpose", "rx-to-cross"), cases=8, same=False),
        Plan(
            "Timed test",
            ("net-sphere", "two-spheres", "next-lens"),
            cases=6,
            feedback="end",
            pass_mark=70,
            counts=True,
            test=True,
            limit_minutes=10.0,
            may_return=True,
            shuffled=True,
        ),
        Plan("Before the practical", ("two-spheres", "next-lens", "transpose"), cases=6, feedback="end", pass_mark=80),
    )


OWN_CASES = (
    (
        "net-sphere",
        {
            "title": "Child on a lap",
            "words": "An invented child of four, on a lap. You sit closer than usual, so that she stays calm.",
            "gross": "+4.50",
            "distance_cm": "40 cm",
        },
    ),
    (
        "two-spheres",
        {
            "title": "Long arm",
            "words": "An invented man of fifty. The examiner has long arms.",
            "first.streak": "90",
            "first.sphere": "+0.50",
            "second.streak": "180",
            "second.sphere": "−1.25",
            "distance_cm": "80 cm",
            "form": "minus",
        },
    ),
)
"""Cases that the invented preceptor wrote: their types, and what was typed."""
REMARK = "Look at the distance before you take anything off. We go through it on Thursday."


def _on_paper(store: Store, one: Class, preceptor: Preceptor, people: Sequence[Invented], at: float, lots: Lots) -> int:
    """Write own cases, set a drill with them, and type in the sheets of those who sat it; return how many answers."""
    own = tuple(
        own_cases.keep(store, one, preceptor, own_cases.look_over(case_type(type_id), texts), now=at - 2 * DAY)
        for type_id, texts in OWN_CASES
    )
    plan = Plan("On paper, with cases of our own", ("net-sphere",), cases=4, pass_mark=50, own_cases=own)
    number = drills.make(store, one, plan, now=at - 2 * DAY, lots=lots)
    drills.open_(store, drills.own(store, one, number), now=at - 2 * DAY)
    drill, answers = drills.own(store, one, number), 0
    for place, who in enumerate(people[:-1]):  # one was not there
        version = "AB"[place % 2]
        cases = on_paper.sheet(store, drill, version)
        texts = {at_: _sent(case, who.answer(case)[0]) for at_, case in cases}
        if place % 3 == 2:
            texts.pop(cases[-1][0])  # there was no time left for the last one
        read = on_paper.read(store, who.learner, cases, texts, now=at + place)
        on_paper.keep(store, drill, who.learner, preceptor, version, read, now=at + place, lots=lots)
        answers += len(texts)
    drills.close(store, drills.own(store, one, number), now=at + 3600)
    return answers


def _remark(store: Store, people: Sequence[Learner], at: float) -> None:
    """Write a remark on the first answer in a drill that left the distance in."""
    for learner in people:
        for answer in store.answers_of(learner.id):
            slips = [slip for each in answer.explanations for _, slip in each]
            if answer.drill is not None and answer.verdict == "slip" and slips == ["distance-left-in"]:
                with store.writing():
                    doubt_queries.keep_remark(store, Remark(answer.dealt, PRECEPTOR, REMARK, at))
                return


def _weeks(store: Store, who: Invented, sittings: int, first: float, lots: Lots) -> int:
    """Let someone practise over the weeks, drills among it, and return how many cases they answered."""
    answered = 0
    days = who.rng.sample(range(1, 7 * WEEKS - 1), sittings)
    for day in sorted({*days, *(LAST_DAYS if who.kept_up else ())}):
        at = first + (day + who.rng.uniform(0.1, 0.4)) * DAY
        for offer in take_drill.offers(store, who.learner, now=at):
            if offer.open and not offer.over and who.rng.random() < 0.8:
                take_drill.begin(store, who.learner, offer.drill.id, now=at)
                count, at = _drill(store, who, offer.drill.id, at, lots)
                answered += count
        for _ in range(learners.settings_of(who.learner).length.cases or 10):
            one = dealing.waiting(store, who.learner, now=at, lots=lots)
            at = _answered(store, who, one, at) + who.rng.uniform(4, 15)
            answered += 1
    return answered


def _drill(store: Store, who: Invented, drill_id: int, at: float, lots: Lots) -> tuple[int, float]:
    count = 0
    while True:
        offer = take_drill.offer(store, who.learner, drill_id, now=at)
        one = take_drill.waiting(store, who.learner, offer, now=at, lots=lots)
        if one is None:
            return count, at + 60
        at = _answered(store, who, one, at) + who.rng.uniform(4, 15)
        count += 1


def _answered(store: Store, who: Invented, one: Waiting, at: float) -> float:
    """Answer a case that waits, and return when that was."""
    given, likely = who.answer(one.case)
    at += who.seconds()
    sure = 3 if likely + who.rng.gauss(0, 0.25) > 0.8 else 2 if likely > 0.4 else 1
    lines = min(2, len(one.case.run.lines) - 1) if who.rng.random() < 0.06 else 0
    if lines > 0:
        dealing.show_line(store, who.learner, one.dealt.id, lines)
    confidence = sure if who.rng.random() < 0.8 else None
    try:
        dealing.take(store, who.learner, one.dealt.id, _sent(one.case, given), confidence, now=at)
    except SentBack:  # a lens handed back as it stood: it is asked for once more, and then they see it
        dealing.take(store, who.learner, one.dealt.id, _sent(one.case, one.case.truth), confidence, now=at)
    return at


def _sent(case: Case, values: Values) -> dict[str, str]:
    return {ask.name: form_text(ask.kind, values[ask.name]) for ask in case.type.asks}


def _recall(store: Store, learner: Learner, first: float, now: float, rng: random.Random, lots: Lots) -> None:
    for day in sorted(rng.sample(range(2, int((now - first) / DAY)), 8)):
        at = first + (day + 0.5) * DAY
        for group in all_groups()[:3]:
            for _ in range(4):
                put = recall_prompts.waiting(store, learner, group.id, now=at, lots=lots)
                recall_prompts.show(store, learner, put.id, "")
                recall_prompts.mark(store, learner, put.id, had=rng.random() < 0.7, now=at + 8)
                at += 15


def _readings(rng: random.Random, now: float) -> Iterator[Entry]:
    """Give the log of someone who sits 9 cm nearer than the 67 cm that they allow for: invented eyes, both of each."""
    lean = 100 / 58 - 100 / 67
    for patient in range(1, 31):
        on = date.fromtimestamp(now) - timedelta(days=rng.randint(1, 7 * WEEKS))
        for eye in ("right", "left"):
            sphere, cylinder = _quarter(rng.gauss(-1, 2)), -abs(_quarter(rng.gauss(0.5, 0.5)))
            axis = round(rng.gauss(180 if rng.random() < 0.7 else 90, 12)) % 180 or 180
            seen = SphCyl(_quarter(sphere + lean + rng.gauss(0, 0.28)), cylinder, axis)
            turned = SphCyl(sphere, cylinder, round(axis + rng.gauss(0, 6)) % 180 or 180)
            yield Entry(eye, patient, seen, turned, 67.0, on, age=rng.choice(("20-to-39", "40-or-over")))


def _quarter(power: float) -> float:
    return round(power * 4) / 4
