"""A learner's way through a drill: which are offered, beginning one, its next case, its end, and its score."""

from __future__ import annotations

from dataclasses import dataclass

from cases.errors import CaseError
from quiz.classroom.drills import NotReadable, UnknownDrill, as_dealt, is_barred, to_deal
from quiz.practice import case_cache, sittings
from quiz.practice.dealt_cases import Waiting
from quiz.practice.randomness import Lots
from quiz.storage import class_queries
from quiz.storage.class_queries import Allowance, Drill
from quiz.storage.store import Dealt, Learner, Sitting, Store


@dataclass(frozen=True)
class Offer:
    """A drill as it stands for one learner."""

    drill: Drill
    run: Sitting | None
    open: bool
    barred: bool = False
    """Whether it counts, is open, and this learner, who joined after it opened, has not been let in."""
    given: Allowance | None = None
    """What this learner has beyond the others."""
    awaited: bool = False
    """Whether it has a start together, which is still to come."""

    @property
    def closes_at(self) -> float | None:
        """When it closes for this learner; None: when it is closed by hand."""
        return self.drill.end_for(self.given)

    @property
    def answered(self) -> int:
        """How many of its cases the learner has answered."""
        return self.run.answered if self.run else 0

    @property
    def words(self) -> str:
        """Say how far along it is."""
        under_way = self.run is not None and not self.over
        return f"{self.drill.length}, {self.answered} answered" if under_way else self.drill.length

    @property
    def over(self) -> bool:
        """Whether the learner has come to its end."""
        return self.run is not None and self.run.ended_at is not None


def offers(store: Store, learner: Learner, *, now: float) -> list[Offer]:
    """Return the drills set for a learner, drafts and those still to open left out; closed ones where begun."""
    found = []
    given = class_queries.allowances_for(store, learner.id)
    for drill in class_queries.drills_for(store, learner):
        run = class_queries.run_of(store, drill.id, learner.id)
        is_open = drill.is_open(now, given.get(drill.id))
        awaited = drill.awaited(now)
        if is_open or awaited or run is not None:
            barred = (is_open or awaited) and run is None and is_barred(store, drill, learner.id)
            found.append(Offer(drill, run, is_open and not barred, barred, given.get(drill.id), awaited))
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
    with store.writing(learner.id):
        one = offer(store, learner, drill_id, now=now)
        if one.barred or not (one.open or one.run):
            raise UnknownDrill
        if one.run is None:
            drill = one.drill
            due = drill.due_for(now, one.given)
            store.begin_sitting(
                learner.id, now=now, cases=drill.cases, minutes=drill.minutes, drill=drill.id, due_at=due
            )


def waiting(store: Store, learner: Learner, one: Offer, *, now: float, lots: Lots, wanted: str = "") -> Waiting | None:
    """Return the case of a drill that waits for this learner, dealt now if there is none; None at its end or closed.

    wanted is one that was put back and is to be returned to now; else those come when all others are answered.

    Raises
    ------
    CaseError, NotReadable
        When an older version kept a case, or dealt one, that this one cannot draw or read.
    """
    if one.run is None or one.over:
        return None
    with store.writing(learner.id):
        run = store.sitting(one.run.id)
        if run is None or run.ended_at is not None:
            return None
        # While an answer may be on its way the run has not ended, so that no mark and no working is told yet.
        back = class_queries.put_back_in(store, run.id)
        if not sittings.is_late(run, None, now):
            dealt = next((each for each in back if each.id == wanted), None) or class_queries.open_case_of(
                store, one.drill.id, learner.id
            )
            if dealt is not None:
                return _as_waiting(store, dealt)
        if sittings.is_over(run, now):
            sittings.end(store, run, now)
            return None
        if not one.open:
            return None
        if back and class_queries.dealt_in(store, run.id) >= (run.cases or 0):
            return _as_waiting(store, back[0])
        return _deal(store, learner, one.drill, run.id, now, lots)


def _as_waiting(store: Store, dealt: Dealt) -> Waiting:
    try:
        return Waiting(dealt, case_cache.case(dealt.type, dealt.seed, dealt.findings, dealt.words))
    except CaseError as error:
        raise NotReadable(class_queries.dealt_in(store, dealt.sitting), error) from error


def _deal(store: Store, learner: Learner, drill: Drill, run: int, now: float, lots: Lots) -> Waiting:
    case = to_deal(store, drill, class_queries.dealt_in(store, run), learner.id)
    dealt = as_dealt(drill, run, learner.id, case, now, lots)
    store.deal(dealt)
    return Waiting(dealt, case)


def put_back(store: Store, learner: Learner, one: Offer, dealt_id: str, *, now: float) -> None:
    """Put the case that waits back, to be returned to later.

    Raises
    ------
    UnknownDrill
        When this drill does not let one, or no such case waits in it.
    """
    with store.writing(learner.id):
        dealt = store.dealt(dealt_id)
        theirs = dealt is not None and (dealt.drill, dealt.learner) == (one.drill.id, learner.id)
        if not (one.drill.may_return and theirs):
            raise UnknownDrill
        class_queries.put_back(store, dealt_id, now)


def finish(store: Store, one: Offer, *, now: float) -> None:
    """Come to the end of a drill before all is answered: what was not is not right."""
    with store.writing():
        run = None if one.run is None else store.sitting(one.run.id)
        if run is not None:
            sittings.end(store, run, now)


def under_test(store: Store, learner: Learner, now: float) -> tuple[Sitting, Drill] | None:
    """Return the test that a learner is in, with their run; None where they are in none, or its time is over."""
    found = class_queries.run_through_test(store, learner.id)
    if found is None or sittings.is_late(found[0], None, now):
        return None
    return found


def told(store: Store, dealt: Dealt) -> bool:
    """Say whether a learner may see the mark of a case: of a drill with feedback at the end, when it has ended."""
    drill = None if dealt.drill is None else class_queries.drill_of_id(store, dealt.drill)
    if drill is None or drill.at_once:
        return True
    run = store.sitting(dealt.sitting)
    return run is None or run.ended_at is not None


def end_overdue(store: Store, now: float) -> None:
    """End every run whose minutes are over, so that all who look at it find it ended."""
    if class_queries.overdue_runs(store, now, sittings.GRACE_S):
        with store.writing():
            for run in class_queries.overdue_runs(store, now, sittings.GRACE_S):
                sittings.end(store, run, now)
