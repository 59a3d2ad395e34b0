"""A learner's way through a drill: which are offered, beginning one, its next case, and what it came to."""

from __future__ import annotations

from dataclasses import dataclass

from cases.errors import CaseError
from quiz import class_store, sittings
from quiz.class_store import Drill
from quiz.drills import NotReadable, UnknownDrill, to_deal
from quiz.lots import Lots
from quiz.practice import Waiting, case_of
from quiz.store import Dealt, Learner, Sitting, Store

WHY = "From the drill that your preceptor set."


@dataclass(frozen=True)
class Offer:
    """A drill as it stands for one learner."""

    drill: Drill
    run: Sitting | None
    open: bool

    @property
    def answered(self) -> int:
        """How many of its cases the learner has answered."""
        return self.run.answered if self.run else 0

    @property
    def words(self) -> str:
        """Say how far along it is."""
        return self.drill.length if self.run is None else f"{self.drill.length}, {self.answered} answered"

    @property
    def over(self) -> bool:
        """Whether the learner has come to its end."""
        return self.run is not None and self.run.ended_at is not None


@dataclass(frozen=True)
class Outcome:
    """What a learner's run through a drill came to."""

    right: int
    asked: int
    """Of how many the score is counted: the cases set, or those answered in the minutes."""
    passed: bool | None

    @property
    def per_cent(self) -> int:
        """The score, rounded down: 79.9 % is no 80 %."""
        return 100 * self.right // self.asked if self.asked else 0


def offers(store: Store, learner: Learner, *, now: float) -> list[Offer]:
    """Return the drills set for a learner, drafts and those still to open left out; closed ones where begun."""
    found = []
    for drill in class_store.drills_for(store, learner):
        run = class_store.run_of(store, drill.id, learner.id)
        is_open = drill.is_open(now)
        if is_open or run is not None:
            found.append(Offer(drill, run, is_open))
    return found


def offer(store: Store, learner: Learner, drill_id: int, *, now: float) -> Offer:
    """Return one drill as it stands for a learner.

    Raises
    ------
    UnknownDrill
    """
    for one in offers(store, learner, now=now):
        if one.drill.id == drill_id:
            return one
    raise UnknownDrill


def begin(store: Store, learner: Learner, drill_id: int, *, now: float) -> None:
    """Begin a drill; one that was begun goes on.

    Raises
    ------
    UnknownDrill
        Also when it is not open.
    """
    with store.writing():
        one = offer(store, learner, drill_id, now=now)
        if one.run is None:
            drill = one.drill
            store.begin_sitting(learner.id, now=now, cases=drill.cases, minutes=drill.minutes, drill=drill.id)


def waiting(store: Store, learner: Learner, one: Offer, *, now: float, lots: Lots) -> Waiting | None:
    """Return the case of a drill that waits for this learner, dealt now if there is none; None at its end or closed.

    Raises
    ------
    CaseError, NotReadable
        When an older version kept a case, or dealt one, that this one cannot draw or read.
    """
    if one.run is None or one.over:
        return None
    with store.writing():
        dealt = class_store.open_case_of(store, one.drill.id, learner.id)
        if dealt is not None:
            return _as_waiting(store, dealt)
        run = store.sitting(one.run.id)
        if run is None or run.ended_at is not None or not one.open:
            return None
        if sittings.is_over(run, now):
            store.end_sitting(run.id, now=now)
            return None
        return _deal(store, learner, one.drill, run.id, now, lots)


def _as_waiting(store: Store, dealt: Dealt) -> Waiting:
    try:
        return Waiting(dealt, case_of(dealt))
    except CaseError as error:
        raise NotReadable(class_store.dealt_in(store, dealt.sitting), error) from error


def _deal(store: Store, learner: Learner, drill: Drill, run: int, now: float, lots: Lots) -> Waiting:
    case = to_deal(store, drill, class_store.dealt_in(store, run), learner.id)
    dealt = Dealt(
        id=lots.new_id(),
        learner=learner.id,
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
    )
    store.deal(dealt)
    return Waiting(dealt, case)


def told(store: Store, dealt: Dealt) -> bool:
    """Say whether a learner may see the mark of a case: of a drill with feedback at the end, when it has ended."""
    drill = None if dealt.drill is None else class_store.drill_of_id(store, dealt.drill)
    if drill is None or drill.at_once:
        return True
    run = store.sitting(dealt.sitting)
    return run is None or run.ended_at is not None


def outcome(drill: Drill, answered: int, right: int) -> Outcome:
    """Say what a run came to: of the cases set, or of those answered in the minutes, so many were right."""
    asked = drill.cases or answered
    passed = None if drill.pass_mark is None else asked > 0 and 100 * right >= drill.pass_mark * asked
    return Outcome(right, asked, passed)
