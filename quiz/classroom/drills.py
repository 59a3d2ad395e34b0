"""Drills: what a preceptor sets, and which case comes at which place. A learner's way through is take_drill.py's."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from cases.curriculum.bench_types import stage_of
from cases.curriculum.case_list import CaseList, digest, identity
from cases.curriculum.register import all_types, case_type
from cases.errors import CaseError
from cases.patients.population import EUROPE, REGIONS
from cases.procedure import quantities
from cases.procedure.case_type import CannotDraw, Case, draw
from cases.procedure.settings import Settings
from cases.procedure.vocabulary import LEVELS
from quiz.errors import QuizError
from quiz.learning.state import SlipKey
from quiz.practice import case_cache, constraints, learners
from quiz.practice.forms import BadFields, Moment, Pick, Tick, Whole, Words, asked, described, inputs_of
from quiz.practice.randomness import Lots
from quiz.practice.settings import FORMS, LEVEL_WORDS, REGIONS_SAID
from quiz.storage import class_queries, result_queries, roster_queries
from quiz.storage.class_queries import Class, Drill, KeptCase
from quiz.storage.classroom import own_case_queries
from quiz.storage.classroom.own_case_queries import OwnCase
from quiz.storage.platform import earlier_runs
from quiz.storage.result_queries import LateDecision
from quiz.storage.roster_queries import Member
from quiz.storage.store import Dealt, Store

WHY = "From the drill that your preceptor set."
MOST_CASES = 100
MOST_MINUTES = 180
CASES_ON_PAPER = 20
"""Of a drill that is this many minutes long, on its worksheet and as items."""
LONGEST_NOTES = 1000
LONGEST_TITLE = 80
DRAWN_FROM = (
    "types",
    "own_cases",
    "slips",
    "level",
    "form",
    "distance_cm",
    "fixed_distance",
    "region",
    "cases",
    "minutes",
)
"""What decides on the cases of a drill, beside its seed."""
SETTLED = ("title", "opens_at", "closes_at", "pass_mark", "counts", "notes")
"""What can be changed whatever has been answered; for whom a drill is, and extensions, can too."""
MOST_EXTRA_MINUTES = 180
SEEDS = 1_000_000
"""Short enough to be read out and typed on a command line."""
OWN_SEEDS = 10 * SEEDS
"""An own case has this and its number for its seed: type and seed name one case of a drill."""

SAME = (("same", "the same for all"), ("own", "each learner their own"))
FEEDBACK = (("once", "at once, with the working"), ("end", "at the end of the drill"))
ENTRIES = WHICH, LENGTH, MARKS, TEST, REST = "which", "length", "marks", "test", "rest"
"""Parts of the form, in order."""
_LENGTH = "give either a number of cases or a number of minutes"


class UnknownDrill(QuizError):
    """No such drill is in this class, or set for this learner."""

    def __init__(self, *, of_class: bool = False) -> None:
        super().__init__(
            "there is no such drill in this class: its drills are listed on the page of the class"
            if of_class
            else "there is no such drill for you: the drills open to you are listed on Today"
        )


class BadPlan(BadFields):
    """A drill that cannot be set like this."""

    @property
    def name(self) -> str:
        """The first field at fault."""
        return next(iter(self.faults))


class NotNow(QuizError):
    """A drill that cannot be worked on, or changed, as it stands."""


class NotReadable(QuizError):
    """A case that was saved by an older version, and that this one cannot read."""

    def __init__(self, number: int, why: CaseError) -> None:
        super().__init__(
            f"case {number} of this drill was saved by an older version, and this one cannot read it ({why}): "
            f"its preceptor can copy the drill, and the copy has cases of this version"
        )


@dataclass(frozen=True)
class Plan:
    """What a preceptor asks for. Distances in cm, times in seconds since 1970, the pass mark in per cent."""

    title: str = field(
        metadata=described(
            "Title",
            Words(tidy=lambda text: " ".join(text.split())),
            required=True,
            stand_in="Drill",
            help="Learners see it; left empty, it is named for its families.",
            size=40,
            most=LONGEST_TITLE,
            entry=REST,
        )
    )
    types: tuple[str, ...]
    slips: tuple[SlipKey, ...] = ()
    """The cases are to be such that one of these would show."""
    level: str = asked("Level", Pick(LEVEL_WORDS), usual="competent", entry=WHICH)
    cases: int | None = asked(
        "Cases", Whole("cases", missing=_LENGTH), usual=10, required=True, size=8, most=80, entry=LENGTH
    )
    minutes: float | None = asked("or minutes", Whole("minutes"), size=8, most=80, entry=LENGTH)
    least: int | None = asked(
        "Fewest cases the score is out of (only for a drill of minutes)",
        Whole("least number of cases"),
        help="The score is out of at least this many cases. Left empty: the score is the number right within the "
        "minutes, without a percentage or a pass mark.",
        size=8,
        most=80,
        entry=MARKS,
    )
    """Of a drill of minutes: a share is of this many cases at least."""
    same: bool = asked("Cases are", Pick(SAME, values=(True, False)), usual=True, entry=MARKS)
    feedback: str = asked("Marks are shown", Pick(FEEDBACK), usual="once", entry=MARKS)
    form: str = asked("Cylinder form asked for", Pick(FORMS), usual="minus", entry=REST)
    distance_cm: float = asked(
        "Usual working distance, in centimetres",
        quantities.DISTANCE,
        help="About two cases in five use this distance; the others use another one.",
        usual=67.0,
        required=True,
        bare=" cm",
        size=8,
        most=80,
        entry=REST,
    )
    fixed_distance: bool = asked("Every case at this distance", Tick(), usual=False, entry=REST)
    region: str = asked(
        "Refractions of drawn patients, as in",
        Pick(REGIONS_SAID),
        usual=EUROPE,
        help="To begin with, as the class has it.",
        entry=REST,
    )
    opens_at: float | None = asked("Opens", Moment(), help="Left empty: as soon as you open it.", entry=REST)
    closes_at: float | None = asked("Closes", Moment(), help="Left empty: when you close it.", entry=REST)
    pass_mark: int | None = asked(
        "Pass mark, in per cent",
        Whole("pass mark"),
        help="Left empty: none. In a drill of minutes it needs the least number of cases above.",
        size=8,
        most=80,
        entry=REST,
    )
    counts: bool = asked(
        "Graded: a learner who joins the class after the drill opens can begin only when you let them in",
        Tick(),
        usual=False,
        entry=REST,
    )
    """Anyone who joins the class after it opens has to be let in."""
    test: bool = asked(
        "A test: nothing else is open to a learner until they have finished it", Tick(), usual=False, entry=TEST
    )
    limit_minutes: float | None = asked(
        "Time for these cases, in minutes",
        Whole("time"),
        help="The server ends a run when its time is over.",
        size=8,
        most=80,
        entry=TEST,
    )
    may_return: bool = asked("Learners may leave a case and return to it later", Tick(), usual=False, entry=TEST)
    shuffled: bool = asked("The same cases in another order for each learner", Tick(), usual=False, entry=TEST)
    together: bool = asked(
        "Same start for all: the time runs for everyone from the opening time, or from when you press Start",
        Tick(),
        usual=False,
        entry=TEST,
    )
    aids: tuple[str, ...] = ()
    """What stays open beside a test."""
    notes: str = asked("Notes for the learners", Words("long"), usual="", most=LONGEST_NOTES, entry=REST)
    for_learner: int | None = None
    own_cases: tuple[int, ...] = ()
    """Cases that preceptors of the class wrote, by their numbers: they come first, in this order."""

    def __post_init__(self) -> None:
        faults = dict(self._faults())
        if faults:
            raise BadPlan(faults)

    def _faults(self) -> Iterator[tuple[str, str]]:
        """Yield each field at fault with the sentence why, in the order of the form."""
        unknown = [one for one in self.types if one not in all_types()]
        if not self.types and not self.own_cases:
            yield "types", "no type of case is chosen: tick a family or at least one type"
        elif unknown:
            yield "types", f"there is no type “{unknown[0][:40]}”: tick some of those listed"
        if self.level not in LEVELS or self.form not in dict(FORMS) or self.feedback not in dict(FEEDBACK):
            yield "level", "a level, form or way of feedback that is not on the form: choose from the form"
        if (self.cases is None) == (self.minutes is None):
            yield "cases", _LENGTH
        elif self.cases is not None and not 1 <= self.cases <= MOST_CASES:
            yield "cases", f"{self.cases} cases: give 1 to {MOST_CASES}"
        elif self.minutes is not None and not 1 <= self.minutes <= MOST_MINUTES:
            yield "minutes", f"{self.minutes:g} minutes: give 1 to {MOST_MINUTES}"
        elif self.own_cases:
            yield from self._faults_with_own_cases(len(self.own_cases))
        if self.least is not None and (self.minutes is None or not 1 <= self.least <= MOST_CASES):
            yield "least", f"a least number of {self.least} cases: give 1 to {MOST_CASES}, for a drill of minutes"
        elif self.minutes is not None and self.least is None and self.pass_mark is not None:
            yield "least", "a pass mark in a drill of minutes: give the least number of cases, or no pass mark"
        yield from self._faults_of_a_test()
        if not self.title or len(self.title) > LONGEST_TITLE:
            yield "title", f"the title has {len(self.title)} characters: give 1 to {LONGEST_TITLE}"
        try:
            quantities.DISTANCE.from_json(self.distance_cm)
        except CaseError as error:
            yield "distance_cm", str(error)
        if self.opens_at is not None and self.closes_at is not None and self.closes_at <= self.opens_at:
            yield "closes_at", "it would close before it opens: give a later time to close"
        if self.pass_mark is not None and not 1 <= self.pass_mark <= 100:
            yield "pass_mark", f"a pass mark of {self.pass_mark} %: give 1 to 100, or leave it empty"
        if len(self.notes) > LONGEST_NOTES:
            yield "notes", f"notes of {len(self.notes)} characters: {LONGEST_NOTES} is the most"

    def _faults_with_own_cases(self, own: int) -> Iterator[tuple[str, str]]:
        if not self.same:
            yield "same", "own cases are the same for all: choose that, or tick no own case"
        if self.cases is None and not self.types:
            yield "types", "a drill of minutes with own cases alone would run out of them: tick a type as well"
        elif self.cases is not None and self.cases < own:
            yield "cases", f"{own} own cases are ticked: give at least {own}"
        elif self.cases is not None and self.cases > own and not self.types:
            yield "types", f"{self.cases} cases, {own} of them your own: tick a type for the others"

    def _faults_of_a_test(self) -> Iterator[tuple[str, str]]:
        limit, has_time = self.limit_minutes, self.limit_minutes is not None or self.minutes is not None
        if limit is not None and self.cases is None:
            yield "limit_minutes", "a time for cases in a drill of minutes: give one of the two"
        elif limit is not None and not 1 <= limit <= MOST_MINUTES:
            yield "limit_minutes", f"a time of {limit:g} minutes: give 1 to {MOST_MINUTES}"
        elif (self.test or self.together) and not has_time:
            yield "limit_minutes", "a test, and the same start for all, need a time: give the minutes"
        if self.test and self.feedback != "end":
            yield "feedback", "a test shows its marks at the end: choose “at the end of the drill”"
        if self.may_return and self.cases is None:
            yield "cases", "learners can return to a case only where there is a number of cases"
        if self.shuffled and (self.cases is None or not self.same):
            yield "same", "another order needs a number of cases that are the same for all"
        if self.region not in REGIONS:
            yield "region", f"region “{self.region[:40]}” is unknown: choose from the form"
        if not set(self.aids) <= set(AIDS):
            yield "limit_minutes", "an aid that is not on the form: choose from the form"


@dataclass(frozen=True)
class Audience:
    """For whom a drill is: groups and learners by their numbers; for the whole class where neither is named."""

    groups: frozenset[int] = frozenset()
    people: frozenset[int] = frozenset()


EVERYONE = Audience()

AIDS = {
    "reference": "Reference",
    "work": "Work one out, and Look up",
    "recall": "Recall",
    "bench": "Bench",
}
"""What can stay open beside a test."""

PLAN = tuple(sorted(inputs_of(Plan), key=lambda one: ENTRIES.index(one.entry)))
"""The fields of the form in their order on the page; types, slips and for whom it is are chosen otherwise."""


# --- which case comes at which place -----------------------------------------------------------------------------


def settings_of(drill: Drill | Plan) -> Settings:
    """Return what the cases of a drill are drawn with."""
    return Settings(
        form=drill.form,
        level=drill.level,
        distance_cm=drill.distance_cm,
        fixed_distance=drill.fixed_distance,
        region=drill.region,
    )


def seed_for(drill: Drill, learner_id: int | None) -> int:
    """Return the first seed of a learner's cases: the drill's own where all get the same."""
    if drill.same or learner_id is None:
        return drill.seed
    mixed = hashlib.sha256(f"{drill.seed} {learner_id}".encode()).digest()
    return int.from_bytes(mixed[:4], "big") % 2**31


def case_at(drill: Drill, place: int, learner_id: int | None = None) -> Case:
    """Draw the case at a place (from 0) of a drill: the types in turn, at seed, seed + 1, ..., as on its worksheet.

    Raises
    ------
    CannotDraw
        When this version has no such case any more.
    """
    return _drawn_at(drill, seed_for(drill, learner_id), place)


def _drawn_at(drill: Drill | Plan, seed: int, place: int) -> Case:
    return _drawn(_type_at(drill, place), seed + place, settings_of(drill), drill.slips)


def _type_at(drill: Drill | Plan, place: int) -> str:
    """Return the type of which a case is drawn at a place, after the own cases."""
    return drill.types[(place - len(drill.own_cases)) % len(drill.types)]


def places_on_paper(drill: Drill | Plan) -> int:
    """Return how many cases a drill's worksheet and packages are made from."""
    return drill.cases or CASES_ON_PAPER


def at_the_bench(store: Store, drill: Drill) -> int:
    """Return how many of these are at the bench, which neither paper nor a package can hold."""
    types = [one.type for one in own_case_queries.cases_numbered(store, drill.own_cases)]
    types += [_type_at(drill, place) for place in range(len(drill.own_cases), places_on_paper(drill))]
    return sum(stage_of(one) is not None for one in types)


def in_turn(types: Sequence[str], cases: int | None, seed: int) -> tuple[str, ...]:
    """Return types in the order in which their cases come: one of each family, then the next of each.

    Where there are fewer cases than types, the seed chooses where each family begins, so that the same few do not come
    in every drill.
    """
    if not types:
        return ()
    by_family: dict[str, list[str]] = {}
    for one in types:
        by_family.setdefault(all_types()[one].family.id, []).append(one)
    if cases is not None and cases < len(types):
        by_family = {name: [*ones[seed % len(ones) :], *ones[: seed % len(ones)]] for name, ones in by_family.items()}
    longest = max(map(len, by_family.values()))
    return tuple(ones[row] for row in range(longest) for ones in by_family.values() if row < len(ones))


def _drawn(type_id: str, seed: int, settings: Settings, slips: Sequence[SlipKey]) -> Case:
    one = case_type(type_id)
    wanted = {slip for step, slip in slips if any((ref.step, ref.slip) == (step, slip) for ref in one.slips)}
    if wanted:
        try:
            return draw(one, seed, settings, wanted=lambda case: any(map(case.shows, wanted)))
        except CannotDraw:
            pass
    return draw(one, seed, settings)


def types_for(slips: Sequence[SlipKey], settings: Settings) -> tuple[str, ...]:
    """Return the types up to the level of these settings that have one of these slips and can show it there."""
    at_level = [one for one in all_types().values() if LEVELS.index(one.level) <= LEVELS.index(settings.level)]
    return tuple(
        one.id
        for one in at_level
        if any(constraints.can(one, settings, ref.slip) for ref in one.slips if (ref.step, ref.slip) in slips)
    )


# --- the cases that a drill keeps ------------------------------------------------------------------------------------
#
# A drill keeps its cases when it is set, so that no change in how a type is drawn gives it others: all that is printed,
# and where all learners get the same, each that is dealt beyond. Where each has their own, a learner's case is kept
# with what was dealt to them. A drill of an older data file keeps its cases when they are first asked for.


def _kept(case: Case, place: int) -> KeptCase:
    return KeptCase(place, case.type.id, case.seed or 0, case.type.findings.to_json(case.findings), case.words)


def _to_keep(
    drill: Drill | Plan, seed: int, without: Collection[int] = (), own: Sequence[OwnCase] = ()
) -> list[KeptCase]:
    kept = [KeptCase(place, one.type, OWN_SEEDS + one.id, one.findings, one.words) for place, one in enumerate(own)]
    # Own cases are kept from the first day: what is missing later is drawn.
    places = range(len(drill.own_cases), places_on_paper(drill))
    return kept + [_kept(_drawn_at(drill, seed, place), place) for place in places if place not in without]


def _to_keep_of(store: Store, class_id: int, plan: Plan, seed: int) -> list[KeptCase]:
    own = own_case_queries.cases_numbered(store, plan.own_cases)
    if len(own) < len(plan.own_cases) or any(one.class_id != class_id for one in own):
        raise BadPlan({"types": "an own case that is ticked was removed meanwhile: choose again"})
    try:
        return _to_keep(plan, seed, own=own)
    except CannotDraw as error:
        raise BadPlan({"types": str(error)}) from error


def kept_on_paper(store: Store, drill: Drill) -> list[KeptCase]:
    """Return what a drill's worksheet and packages are made from; kept now, where a place had none.

    Raises
    ------
    CaseError
        When a place had none, and this version cannot draw it.
    """
    found = class_queries.kept_cases(store, drill.id, first=places_on_paper(drill))
    if len(found) == places_on_paper(drill):
        return found
    missing = _to_keep(drill, drill.seed, {one.place for one in found})
    with store.writing():
        class_queries.keep_cases(store, drill.id, missing)
        return class_queries.kept_cases(store, drill.id, first=places_on_paper(drill))


def cases_on_paper(store: Store, drill: Drill) -> CaseList:
    """Return the cases of a drill's worksheet and packages.

    Raises
    ------
    CaseError, NotReadable
        When this version cannot draw a case that was never kept, or cannot read one that was.
    """
    return CaseList(tuple(map(_read, kept_on_paper(store, drill))), drill.seed, drill.level)


def digest_of(store: Store, drill: Drill) -> str:
    """Return the digest that a drill's worksheet and key bear; raises CaseError as `kept_on_paper` does."""
    return digest(identity(one.type, one.findings, one.words) for one in kept_on_paper(store, drill))


def shown_at(store: Store, drill: Drill, place: int) -> Case:
    """Return the case at a place as a preceptor sees it: the one that is kept there, or would be; keeps nothing.

    Raises
    ------
    CaseError, NotReadable
    """
    found = class_queries.kept_case(store, drill.id, place)
    return case_at(drill, place) if found is None else _read(found)


def to_deal(store: Store, drill: Drill, place: int, learner_id: int) -> Case:
    """Return the case to be dealt to a learner at a place, and keep it where all get the same; inside `writing()`.

    Raises
    ------
    CaseError, NotReadable
    """
    if not drill.same:
        return case_at(drill, place, learner_id)
    if drill.shuffled and drill.cases is not None:
        place = order_for(drill.seed, drill.cases, learner_id)[place]
    if class_queries.kept_case(store, drill.id, place) is None:
        class_queries.keep_cases(store, drill.id, [_kept(case_at(drill, place), place)])
    return shown_at(store, drill, place)


def as_dealt(drill: Drill, run: int, learner_id: int, case: Case, now: float, lots: Lots) -> Dealt:
    """Return a case of a drill as it is dealt to a learner in their run."""
    return Dealt(
        id=lots.new_id(),
        learner=learner_id,
        sitting=run,
        type=case.type.id,
        seed=case.seed or 0,
        settings={"form": drill.form, "level": drill.level, "distance_cm": drill.distance_cm},
        findings=case.type.findings.to_json(case.findings),
        why=WHY,
        must_show=None,
        probe_of=None,
        for_drill=True,
        dealt_at=now,
        drill=drill.id,
        words=case.words,
    )


def order_for(seed: int, cases: int, learner_id: int) -> list[int]:
    """Return the order in which a learner meets the same cases: by a hash, so that it is the same on every machine."""
    return sorted(range(cases), key=lambda place: hashlib.sha256(f"{seed} {learner_id} {place}".encode()).digest())


def _read(one: KeptCase) -> Case:
    try:
        return case_cache.case(one.type, one.seed, one.findings, one.words)
    except CaseError as error:
        raise NotReadable(one.place + 1, error) from error


# --- what a preceptor does ---------------------------------------------------------------------------------------


def too_late(closes_at: float | None, now: float, was: float | None = None) -> dict[str, str]:
    """Return the fault of a time to close that has passed, by the name of its field; none where there is none.

    was is the time that it had before, which may stay: a form has it to the minute.
    """
    if closes_at is None or closes_at > now or (was is not None and closes_at == 60 * (was // 60)) or closes_at == was:
        return {}
    return {"closes_at": "that time has passed already: give a later time to close, or leave it empty"}


def checked(plan: Plan, seed: int, *, now: float, was: float | None = None) -> Plan:
    """Return a plan with its types in the order in which they come, each of which gives a case with its settings.

    Raises
    ------
    BadPlan
        With the types that do not, and when it would have closed before it can be opened.
    """
    faults = too_late(plan.closes_at, now, was)
    without = []
    for type_id in plan.types:
        try:
            _drawn(type_id, seed, settings_of(plan), plan.slips)
        except CannotDraw:
            without.append(all_types()[type_id].title)
    if without:
        named = ", ".join(without)
        faults["types"] = f"with this level and distance there is no case of {named}: leave it out"
    if faults:
        raise BadPlan(faults)
    drawn = None if plan.cases is None else plan.cases - len(plan.own_cases)
    return replace(plan, types=in_turn(plan.types, drawn, seed))


def make(store: Store, one: Class, plan: Plan, *, now: float, lots: Lots, audience: Audience = EVERYONE) -> int:
    """Set a drill, as a draft that no learner sees yet, and return its number.

    Raises
    ------
    BadPlan
    """
    seed = lots.new_seed() % SEEDS
    plan = checked(plan, seed, now=now)
    cases = _to_keep_of(store, one.id, plan, seed)
    with store.writing():
        number = class_queries.add_drill(store, one.id, plan, seed=seed, now=now)
        roster_queries.keep_audience(store, number, audience.groups, audience.people)
        class_queries.keep_cases(store, number, cases)
    return number


def own(store: Store, one: Class, drill_id: int) -> Drill:
    """Return a drill of a class.

    Raises
    ------
    UnknownDrill
    """
    found = class_queries.drill_of_id(store, drill_id)
    if found is None or found.class_id != one.id:
        raise UnknownDrill(of_class=True)
    return found


def plan_of(drill: Drill, **other: Any) -> Plan:
    """Return a drill's plan, to be changed or set once more; with other values where they are given.

    Raises
    ------
    BadPlan
    """
    values = {name: getattr(drill, name) for name in Plan.__dataclass_fields__}
    if drill.minutes is not None and drill.least is None:
        values["pass_mark"] = None  # set before a least number was asked for: there is nothing to be a share of
    return Plan(**values | other)


def audience_of(store: Store, drill: Drill) -> Audience:
    """Return for whom a drill is."""
    if not drill.chosen:
        return EVERYONE
    groups = frozenset(one.id for one in roster_queries.groups_in_drill(store, drill.id))
    return Audience(groups, roster_queries.people_in_drill(store, drill.id))


def is_barred(store: Store, drill: Drill, learner_id: int) -> bool:
    """Say whether a drill counts and this learner has to be let in first.

    That is one who joined after it opened, or who came by a platform, had begun it before and was deleted since.
    """
    if not drill.counts:
        return False
    if earlier_runs.earlier_run(store, drill.id, learner_id) is not None:
        return True
    joined = roster_queries.joined_at(store, drill.class_id, learner_id)
    if not joined_after(drill.open_from, joined):
        return False
    return learner_id not in class_queries.were_let_in(store, drill.id)


def joined_after(opened_at: float | None, joined_at: float | None) -> bool:
    """Say whether someone joined after a drill was open; False where it is not known."""
    return opened_at is not None and joined_at is not None and joined_at > opened_at


def members_for(store: Store, drill: Drill, members: Sequence[Member]) -> list[Member]:
    """Return those members of a class whom a drill is for, or who have begun it."""
    if drill.for_learner is not None:
        return [one for one in members if one.learner == drill.for_learner]
    if not drill.chosen:
        return list(members)
    who = roster_queries.audience_of(store, drill.id) | {run.learner for run in class_queries.runs_of(store, drill.id)}
    return [one for one in members if one.learner in who]


def change(store: Store, drill: Drill, plan: Plan, *, now: float, audience: Audience | None = None) -> None:
    """Give a drill that nobody has begun another plan.

    Raises
    ------
    BadPlan, NotNow
    """
    if sorted(plan.own_cases) == sorted(drill.own_cases):
        plan = replace(plan, own_cases=drill.own_cases)  # a form knows no order, and a set that was taken may have one
    plan = checked(plan, drill.seed, now=now, was=drill.closes_at)
    # Another title or time leaves the cases as they are: they may be on paper already.
    others = any(getattr(plan, name) != getattr(drill, name) for name in DRAWN_FROM)
    cases = _to_keep_of(store, drill.class_id, plan, drill.seed) if others else []
    with store.writing():
        if class_queries.is_begun(store, drill.id):
            raise NotNow("someone has begun this drill meanwhile, so its cases stay as they are")
        class_queries.change_drill(store, drill.id, plan)
        _keep_audience(store, drill, audience)
        if others:
            class_queries.forget_cases(store, drill.id)
            class_queries.keep_cases(store, drill.id, cases)


def settle(
    store: Store, drill: Drill, values: Mapping[str, Any], *, now: float, audience: Audience | None = None
) -> None:
    """Change what can be changed of a drill that someone has begun: values by the names in `SETTLED`.

    Raises
    ------
    BadPlan
    """
    faults: dict[str, str] = {}
    try:
        plan_of(drill, **values)
    except BadPlan as error:
        faults = {name: why for name, why in error.faults.items() if name in SETTLED}
        if "least" in error.faults and values["pass_mark"] is not None:
            faults |= {"pass_mark": "this drill of minutes has no least number of cases, so it has no pass mark"}
    faults |= too_late(values["closes_at"], now, drill.closes_at)
    if faults:
        raise BadPlan(faults)
    with store.writing():
        class_queries.settle_drill(store, drill.id, values)
        _keep_audience(store, drill, audience)
        retime(store, drill.id)


def _keep_audience(store: Store, drill: Drill, audience: Audience | None) -> None:
    if audience is not None and drill.for_learner is None:
        roster_queries.keep_audience(store, drill.id, audience.groups, audience.people)


def retime(store: Store, drill_id: int) -> None:
    """Let the server end each run that is under way when the drill's times, and its learner's own, now say."""
    drill = class_queries.drill_of_id(store, drill_id)
    if drill is None or drill.time is None:
        return
    given = class_queries.allowances_in(store, drill_id)
    for run in class_queries.runs_of(store, drill_id):
        if run.ended_at is None:
            class_queries.set_due(store, run.id, drill.due_for(run.started_at, given.get(run.learner)))


def copy(store: Store, one: Class, drill: Drill, *, now: float, lots: Lots) -> int:
    """Set a drill once more, with other cases and no times, as a draft; return its number."""
    title = drill.title if len(drill.title) > LONGEST_TITLE - 7 else f"{drill.title} (copy)"
    plan = replace(plan_of(drill), title=title, opens_at=None, closes_at=None)
    return make(store, one, plan, now=now, lots=lots, audience=audience_of(store, drill))


def open_(store: Store, drill: Drill, *, now: float, closes_at: float | None = None, asked: bool = True) -> None:
    """Open a drill, or open it again.

    closes_at takes the place of a time to close that has passed; asked says that the preceptor was asked for it.

    Raises
    ------
    NotNow
        When its time to close has passed and nobody was asked for another; when it counts and the class has a code.
    BadPlan
        When the new time to close has passed too.
    CaseError, NotReadable
        When this version cannot draw a case of it that was never kept, or cannot read one that was.
    """
    cases_on_paper(store, drill)
    passed = drill.closes_at is not None and drill.closes_at <= now
    if passed and not asked:
        raise NotNow("its time to close has passed: give a later one, or leave it empty to close it by hand")
    if passed and too_late(closes_at, now):
        raise BadPlan(too_late(closes_at, now))
    with store.writing():
        one = class_queries.class_of_id(store, drill.class_id)
        if drill.counts and one is not None and one.code_holds(now):
            raise NotNow(
                "this drill counts, so nobody may join by the code while it is open: close joining on the page of the "
                "class, then open it"
            )
        if passed:
            class_queries.set_times(store, drill.id, drill.opens_at, closes_at)
        class_queries.set_closed(store, drill.id, None)
        class_queries.set_opened(store, drill.id, now)
        class_queries.set_state(store, drill.id, "open")
        retime(store, drill.id)


def close(store: Store, drill: Drill, *, now: float) -> None:
    """Close a drill for everyone; an answer to a case that was given is kept, and counts within seconds.

    The time to close that was set is kept with it.
    """
    with store.writing():
        class_queries.set_closed(store, drill.id, now)
        class_queries.set_state(store, drill.id, "closed")
        class_queries.close_extensions(store, drill.id, now)
        retime(store, drill.id)


def start(store: Store, drill: Drill, *, now: float) -> None:
    """Start a drill for all at once; one that was started stays so.

    Raises
    ------
    NotNow
    """
    with store.writing():
        drill = class_queries.drill_of_id(store, drill.id) or drill
        if not drill.together or drill.state != "open" or drill.opens_at is not None:
            raise NotNow("there is nothing to start: this drill opens by its own time, or is not open")
        class_queries.set_started(store, drill.id, now)


def decide_late(store: Store, drill: Drill, dealt_id: str, by: str, *, counts: bool, now: float) -> None:
    """Let a late answer count in its drill, or not; who decided it and when is kept.

    Raises
    ------
    NotNow
        When there is no such late answer.
    """
    with store.writing():
        answer = next((one for one in result_queries.late_in(store, drill.id) if one.dealt == dealt_id), None)
        if answer is None:
            raise NotNow("there is no such late answer in this drill")
        result_queries.decide_late(store, LateDecision(dealt_id, by, counts, now))
        result_queries.tally_anew(store, learners.get(store, answer.learner))


def extend(
    store: Store, drill: Drill, learner_id: int, *, closes_at: float | None, extra_minutes: float, now: float
) -> None:
    """Give one learner a time to close of their own, and minutes more; neither takes what they had back.

    Raises
    ------
    BadPlan
    NotNow
        When their run has come to its end: what was handed in stands.
    """
    if not 0 <= extra_minutes <= MOST_EXTRA_MINUTES:
        raise BadPlan({"extra_minutes": f"{extra_minutes:g} minutes more: give 0 to {MOST_EXTRA_MINUTES}"})
    had = class_queries.allowances_for(store, learner_id).get(drill.id)
    faults = too_late(closes_at, now, had.closes_at if had else None)
    if faults:
        raise BadPlan(faults)
    with store.writing():
        run = class_queries.run_of(store, drill.id, learner_id)
        if run is not None and run.ended_at is not None:
            raise NotNow("this learner has finished the drill; what was handed in cannot be changed")
        class_queries.keep_extension(store, drill.id, learner_id, closes_at, extra_minutes)
        retime(store, drill.id)


def let_in(store: Store, drill: Drill, learner_id: int, *, now: float) -> None:
    """Let a learner begin a drill that counts although they joined after it opened, or had begun it before."""
    with store.writing():
        class_queries.let_in(store, drill.id, learner_id, now)
        earlier_runs.allow(store, drill.id, learner_id, now)


def remove(store: Store, drill: Drill) -> None:
    """Remove a drill that nobody has begun.

    Raises
    ------
    NotNow
    """
    with store.writing():
        if class_queries.is_begun(store, drill.id):
            raise NotNow("someone has begun this drill, so it is kept with its answers: close it instead")
        class_queries.remove_drill(store, drill.id)


# --- what a run through one comes to -----------------------------------------------------------------------------


def whole_per_cent(part: int, of: int) -> int:
    """Return a share in whole per cent, halves upward: 4 of 6 is 67."""
    return (200 * part + of) // (2 * of)


@dataclass(frozen=True)
class Outcome:
    """The score of a learner's run through a drill, of the answers that came in its time."""

    right: int
    answered: int
    asked: int | None
    """Of how many cases the score is a share; None where a drill of minutes sets no least number: it has no share."""
    passed: bool | None
    """None where there is no pass mark, or nothing that it could be a share of."""
    pass_mark: int | None = None

    @property
    def per_cent(self) -> int | None:
        """The share, rounded to the nearest: down where it would else show a pass mark, or 100, that is not reached."""
        if self.asked is None:
            return None
        return 100 * self.right // self.asked if self.rounded_down else whole_per_cent(self.right, self.asked)

    @property
    def rounded_down(self) -> bool:
        """Whether the share is rounded down although the nearest whole number is above it."""
        if self.asked is None:
            return False
        nearest, least = whole_per_cent(self.right, self.asked), self.pass_mark
        return nearest * self.asked > 100 * self.right and (nearest == 100 or (not self.passed and nearest == least))


def outcome(drill: Drill, answered: int, right: int) -> Outcome:
    """Return the score of a run, late answers left out.

    It is a share of the cases that were set; of a drill of minutes, of those answered, or of the least number that it
    sets where that is more: one right answer is no 100 %.
    """
    asked = drill.cases if drill.least is None else max(drill.least, answered)
    passed = None if drill.pass_mark is None or asked is None else 100 * right >= drill.pass_mark * asked
    return Outcome(right, answered, asked, passed, drill.pass_mark)
