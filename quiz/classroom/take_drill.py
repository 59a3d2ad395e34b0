"""A learner's way through a drill: which are offered, beginning one, its next case, its end, and its score."""

from __future__ import annotations

from dataclasses import dataclass

from cases.errors import CaseError
from quiz.classroom.drills import NotReadable, UnknownDrill, to_deal
from quiz.practice import case_cache, sittings
from quiz.practice.dealt_cases import Waiting
from quiz.practice.randomness import Lots
from quiz.storage import class_queries
from quiz.storage.class_queries import Drill
from quiz.storage.store import Dealt, Learner, Sitting, Store

WHY = "From the drill that your preceptor set."


@dataclass(frozen=True)
class Offer:
    """A drill as it stands for one learner."""

    drill: Drill
    run: Sitting | None
    open: bool
    barred: bool = False
    """Whether it counts, is open, and this learner, who joined after it opened, has not been let in."""

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
    for drill in class_queries.drills_for(store, learner):
        run = class_queries.run_of(store, drill.id, learner.id)
        is_open = drill.is_open(now)
        if is_open or run is not None:
            barred = is_open and run is None and is_barred(store, drill, learner.id)
            found.append(Offer(drill, run, is_open and not barred, barred))
    return found


def is_barred(store: Store, drill: Drill, learner_id: int) -> bool:
    """Say whether a drill counts and this learner, who joined after it opened, has to be let in first."""
    if not drill.counts or not joined_after(drill.open_from, class_queries.joined_at(store, learner_id)):
        return False
    return learner_id not in class_queries.were_let_in(store, drill.id)


def joined_after(opened_at: float | None, joined_at: float | None) -> bool:
    """Say whether someone joined after a drill was open; False where it is not known."""
    return opened_at is not None and joined_at is not None and joined_at > opened_at


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
        if one.barred:
            raise UnknownDrill
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
        run = store.sitting(one.run.id)
        if run is None or run.ended_at is not None:
            return None
        # While an answer may be on its way the run has not ended, so that no mark and no working is told yet.
        if not sittings.is_late(run, None, now):
            dealt = class_queries.open_case_of(store, one.drill.id, learner.id)
            if dealt is not None:
                return _as_waiting(store, dealt)
        if sittings.is_over(run, now):
            sittings.end(store, run, now)
            return None
        if not one.open:
            return None
        return _deal(store, learner, one.drill, run.id, now, lots)


def _as_waiting(store: Store, dealt: Dealt) -> Waiting:
    try:
        return Waiting(dealt, case_cache.case(dealt.type, dealt.seed, dealt.findings))
    except CaseError as error:
        raise NotReadable(class_queries.dealt_in(store, dealt.sitting), error) from error


def _deal(store: Store, learner: Learner, drill: Drill, run: int, now: float, lots: Lots) -> Waiting:
    case = to_deal(store, drill, class_queries.dealt_in(store, run), learner.id)
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
