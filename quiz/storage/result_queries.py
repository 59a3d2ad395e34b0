"""What a class's answers come to: sums kept as each answer comes in, and the questions that are put to them.

The sums ("tallies") are kept for learners of a class only, once over everything and once over each drill, in the
transaction of the answer: a page of results then reads a few thousand rows whatever the log has grown to.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from cases.procedure.vocabulary import CREDITED
from quiz.storage.store import Answer, Learner, Store

EVERYTHING = 0
"""In place of a drill's number: all practice of a learner, in drills or not."""

_ADD = """
INSERT INTO tallies (learner, drill, kind, key, answered, missed, seconds, timed, last_at, last_answer)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
ON CONFLICT (learner, drill, kind, key) DO UPDATE SET
    answered = tallies.answered + excluded.answered,
    missed = tallies.missed + excluded.missed,
    seconds = tallies.seconds + excluded.seconds,
    timed = tallies.timed + excluded.timed,
    last_at = excluded.last_at,
    last_answer = excluded.last_answer
"""


@dataclass(frozen=True)
class Counts:
    """Answers that belong together, counted."""

    key: str
    """"" for all, a type's id, a step's id, or "step slip"."""
    answered: int
    missed: int
    seconds: float
    """Of the timed ones together."""
    timed: int

    @property
    def right(self) -> int:
        """How many were not missed."""
        return self.answered - self.missed

    @property
    def mean_seconds(self) -> float | None:
        """Seconds an answer took on average; None when none was timed."""
        return self.seconds / self.timed if self.timed else None


@dataclass(frozen=True)
class Sum(Counts):
    """The sum over a class, or over one learner of it."""

    learners: int
    last_answer: int
    """Its number in the log."""


@dataclass(frozen=True)
class LearnerSum(Counts):
    """One learner's sum."""

    learner: int
    last_at: float


# --- keeping the sums --------------------------------------------------------------------------------------------


def tally(store: Store, learner: Learner, answer: Answer) -> None:
    """Add an answer of a class's learner to the sums, once it is in the log; in `writing()`."""
    if learner.joined:
        _tally(store, answer)


def _tally(store: Store, answer: Answer) -> None:
    number = int(store.fetch("SELECT id FROM answers WHERE dealt = ?", answer.dealt)[0][0])
    for line in _lines(answer, not answer.late):
        store.change(_ADD, answer.learner, *line[:3], 1, *line[3:], answer.at, number)
    _keep_slipped(store, answer, number)


def _explained(answer: Answer) -> list[tuple[str, str]]:
    if answer.verdict in CREDITED:
        return []
    return sorted({(step, slip) for one in answer.explanations for step, slip in one})


def _lines(answer: Answer, in_time: bool) -> Iterator[tuple[int, str, str, int, float, int]]:
    """Yield what an answer adds: drill, kind, key, missed, seconds, timed."""
    missed, explained = answer.verdict not in CREDITED, _explained(answer)
    slipped_steps = dict.fromkeys(step for step, _ in explained)
    seconds, timed = (0.0, 0) if answer.seconds is None else (answer.seconds, 1)
    lines = [("all", "", missed, seconds, timed), ("type", answer.type, missed, seconds, timed)]
    lines += [("step", step, step in slipped_steps, 0.0, 0) for step in dict.fromkeys([*answer.steps, *slipped_steps])]
    surely = answer.verdict == "slip" and len(answer.explanations) == 1
    lines += [("slip", f"{step} {slip}", surely, 0.0, 0) for step, slip in explained]
    # What came after the time was answered all the same: it is practice, and not counted in its drill.
    for drill in dict.fromkeys((EVERYTHING, answer.drill or EVERYTHING if in_time else EVERYTHING)):
        for kind, key, counts, took, known in lines:
            yield drill, kind, key, int(counts), took, known


def _keep_slipped(store: Store, answer: Answer, number: int) -> None:
    for step, slip in _explained(answer):
        store.change(
            "INSERT INTO slipped (learner, step, slip, answer, drill) VALUES (?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
            answer.learner,
            step,
            slip,
            number,
            answer.drill,
        )


def tally_anew(store: Store, learner: Learner) -> None:
    """Work the sums of a class's learner out again from the log; in `writing()`."""
    learner_id = learner.id
    store.change("DELETE FROM tallies WHERE learner = ?", learner_id)
    store.change("DELETE FROM slipped WHERE learner = ?", learner_id)
    if not learner.joined:
        return
    numbers = [row[0] for row in store.fetch("SELECT id FROM answers WHERE learner = ? ORDER BY id", learner_id)]
    sums: dict[tuple[int, str, str], list[float]] = {}
    accepted = accepted_of(store, learner_id)
    for number, answer in zip(numbers, store.answers_of(learner_id), strict=True):
        for drill, kind, key, missed, seconds, timed in _lines(answer, not answer.late or answer.dealt in accepted):
            one = sums.setdefault((drill, kind, key), [0, 0, 0.0, 0, 0.0, 0])
            one[:4] = [one[0] + 1, one[1] + missed, one[2] + seconds, one[3] + timed]
            one[4:] = [answer.at, number]
        _keep_slipped(store, answer, number)
    for (drill, kind, key), one in sums.items():
        store.change(_ADD, learner_id, drill, kind, key, *one)


# --- asking ------------------------------------------------------------------------------------------------------


def class_sums(
    store: Store, class_id: int, kind: str, *, drill: int = EVERYTHING, learner: int | None = None
) -> list[Sum]:
    """Return the sums of a kind ("all", "type", "step" or "slip") over a class or one learner of it."""
    return store.fetch_as(
        Sum,
        "SELECT t.key, sum(t.answered) AS answered, sum(t.missed) AS missed, sum(t.seconds) AS seconds, "
        "sum(t.timed) AS timed, count(*) AS learners, max(t.last_answer) AS last_answer "
        "FROM members m JOIN tallies t ON t.learner = m.learner AND t.drill = ?1 AND t.kind = ?2 "
        "WHERE m.class = ?3 AND (m.learner = ?4 OR ?4 IS NULL) GROUP BY t.key",
        drill,
        kind,
        class_id,
        learner,
    )


def learner_sums(
    store: Store, class_id: int, kind: str, *, drill: int = EVERYTHING, learners: Sequence[int] | None = None
) -> list[LearnerSum]:
    """Return the sums of a kind learner by learner: of all in the class, or of some."""
    some = "" if learners is None else f" AND m.learner IN ({', '.join('?' * len(learners))})"
    return store.fetch_as(
        LearnerSum,
        "SELECT t.learner, t.key, t.answered, t.missed, t.seconds, t.timed, t.last_at "  # noqa: S608 - holes only
        "FROM members m JOIN tallies t ON t.learner = m.learner AND t.drill = ? AND t.kind = ? "
        f"WHERE m.class = ?{some}",
        drill,
        kind,
        class_id,
        *(learners or ()),
    )


def step_shares(store: Store, class_id: int, drill: int) -> dict[str, dict[int, tuple[int, int]]]:
    """Return, by step and learner, answers of a drill without a slip at it, and answers that called for it."""
    # Tens of thousands of rows: no dataclass is made of each.
    sql = (
        "SELECT t.key, t.learner, t.answered - t.missed, t.answered "
        "FROM members m JOIN tallies t ON t.learner = m.learner AND t.drill = ? AND t.kind = 'step' WHERE m.class = ?"
    )
    found: dict[str, dict[int, tuple[int, int]]] = {}
    for step, learner, good, answered in store.fetch(sql, drill, class_id):
        found.setdefault(step, {})[learner] = good, answered
    return found


def who_slipped(store: Store, class_id: int, step: str, slip: str, *, drill: int = EVERYTHING) -> frozenset[int]:
    """Return the learners of a class who have an answer that a slip at a step would explain, in all or in a drill."""
    key = f"{step} {slip}"
    sql = (
        "SELECT m.learner FROM members m JOIN tallies t ON t.learner = m.learner AND t.drill = ? AND t.kind = 'slip' "
        "AND t.key = ? WHERE m.class = ?"
    )
    return frozenset(row[0] for row in store.fetch(sql, drill, key, class_id))


def late_answers(store: Store, drill: int) -> dict[int, int]:
    """Count, learner by learner, the answers that came in after a drill's time: they are in no sum of the drill."""
    sql = f"SELECT a.learner, count(*) FROM {OF_MEMBERS} WHERE a.drill = ? AND {IS_LATE} GROUP BY a.learner"  # noqa: S608
    return {row[0]: row[1] for row in store.fetch(sql, drill)}


def count_late(store: Store, drill: int) -> int:
    """Count the answers that came in after a drill's time, whatever was decided about them."""
    sql = f"SELECT count(*) FROM {OF_MEMBERS} WHERE a.drill = ? AND a.late = 1"  # noqa: S608 - words from here
    return int(store.fetch(sql, drill)[0][0])


def late_in(store: Store, drill: int) -> list[Answer]:
    """Return the answers that came in after a drill's time, the earliest first."""
    sql = f"SELECT a.* FROM {OF_MEMBERS} WHERE a.drill = ? AND a.late = 1 ORDER BY a.id"  # noqa: S608 - words from here
    return store.fetch_as(Answer, sql, drill)


# --- late answers that a preceptor lets count ---------------------------------------------------------------------


@dataclass(frozen=True)
class LateDecision:
    """What a preceptor decided about a late answer."""

    dealt: str
    preceptor: str
    """Their name."""
    counts: bool
    decided_at: float


_LATEST_DECISION = (
    "SELECT x.* FROM late_decisions x WHERE NOT EXISTS "
    "(SELECT 1 FROM late_decisions y WHERE y.dealt = x.dealt AND y.id > x.id)"
)
OF_MEMBERS = "answers a JOIN drills d ON d.id = a.drill JOIN members m ON m.class = d.class AND m.learner = a.learner"
"""Answers in drills of those who are in its class: of who left it, its preceptor is shown none."""
IS_LATE = f"(a.late = 1 AND a.dealt NOT IN (SELECT dealt FROM ({_LATEST_DECISION}) z WHERE z.counts = 1))"  # noqa: S608


def decide_late(store: Store, decision: LateDecision) -> None:
    """Keep what a preceptor decided about a late answer; in `writing()`, and then the sums are worked out again."""
    store.add("late_decisions", decision)


def decisions_in(store: Store, drill: int) -> dict[str, list[LateDecision]]:
    """Return what was decided about late answers of a drill, by case, the earliest first."""
    found: dict[str, list[LateDecision]] = {}
    sql = "SELECT x.* FROM late_decisions x JOIN answers a ON a.dealt = x.dealt WHERE a.drill = ? ORDER BY x.id"
    for one in store.fetch_as(LateDecision, sql, drill):
        found.setdefault(one.dealt, []).append(one)
    return found


def accepted_of(store: Store, learner_id: int) -> frozenset[str]:
    """Return the cases whose late answers a preceptor lets count."""
    latest = f"({_LATEST_DECISION}) x JOIN answers a ON a.dealt = x.dealt"
    sql = f"SELECT x.dealt FROM {latest} WHERE x.counts = 1 AND a.learner = ?"  # noqa: S608 - words from here
    return frozenset(row[0] for row in store.fetch(sql, learner_id))


def accepted_in(store: Store, drill: int) -> frozenset[str]:
    """Return the cases of a drill whose late answers a preceptor lets count."""
    # From the few decisions, and not from the many answers; the latest decision about an answer stands.
    sql = (
        "SELECT x.dealt, x.counts FROM late_decisions x CROSS JOIN answers a ON a.dealt = x.dealt AND a.drill = ? "
        "ORDER BY x.id"
    )
    decided = {row[0]: row[1] for row in store.fetch(sql, drill)}
    return frozenset(dealt for dealt, counts in decided.items() if counts)


def keep_delay(store: Store, dealt: str, seconds: float) -> None:
    """Keep for how long a browser says that it had held an answer back; the first word stands."""
    store.add("delays", {"dealt": dealt, "seconds": seconds}, conflict="ON CONFLICT (dealt) DO NOTHING")


def delays_in(store: Store, drill: int) -> dict[str, float]:
    """Return for how long browsers say that they had held answers of a drill back, in seconds, by case."""
    sql = "SELECT e.* FROM delays e JOIN answers a ON a.dealt = e.dealt WHERE a.drill = ?"
    return {row["dealt"]: row["seconds"] for row in store.fetch(sql, drill)}


def answers_behind(
    store: Store,
    class_id: int,
    *,
    drill: int = EVERYTHING,
    learner: int | None = None,
    type_id: str | None = None,
    step: str | None = None,
    slip: str | None = None,
    types: Sequence[str] = (),
    missed_only: bool = False,
    seed: int | None = None,
    late: bool = False,
    most: int = 100,
) -> list[Answer]:
    """Return the answers behind a number, the latest first.

    step finds the answers in which it was exercised (with missed_only: may have slipped); slip, with its step, those
    that it would explain; types are those that have the step, so that
    fewer answers need be read; seed, with type_id, those to one case. Of a drill, late
    finds those that came after its time, which are in no other number.
    """
    source, where, values = "members m JOIN answers a ON a.learner = m.learner", ["m.class = ?"], [class_id]
    more: list[object] = []
    exercised = step is not None and slip is None and not missed_only
    if step is not None and not exercised:
        source = "members m JOIN slipped s ON s.learner = m.learner JOIN answers a ON a.id = s.answer"
        where.append("s.step = ?")
        more.append(step)
        if slip is not None:
            where.append("s.slip = ?")
            more.append(slip)
    types = (type_id,) if type_id is not None else types if exercised else ()
    if types:
        where.append(f"a.type IN ({', '.join('?' * len(types))})")
        more += types
    if drill != EVERYTHING:
        where += ["a.drill = ?", IS_LATE if late else f"NOT {IS_LATE}"]
        more.append(drill)
    if learner is not None:
        where.append("m.learner = ?")
        more.append(learner)
    if seed is not None:
        where.append("a.seed = ?")
        more.append(seed)
    if missed_only:
        where.append("a.verdict IN ('slip', 'wrong')")
    latest = f"SELECT DISTINCT a.id FROM {source} WHERE {' AND '.join(where)} ORDER BY a.id DESC LIMIT ?"  # noqa: S608
    sql = f"SELECT a.* FROM answers a WHERE a.id IN ({latest})"  # noqa: S608 - words from here, values in holes
    if not exercised:
        return store.fetch_as(Answer, f"{sql} ORDER BY a.id DESC", *values, *more, most)
    # Nearly every answer of a type calls for its steps, so few of the latest are looked into in vain.
    sql += " AND EXISTS (SELECT 1 FROM json_each(a.steps) WHERE value = ?) ORDER BY a.id DESC"
    looked = 2 * most
    while True:
        found = store.fetch_as(Answer, sql, *values, *more, looked, step)
        if len(found) >= most or looked > _count(store, class_id, learner):
            return found[:most]
        looked *= 8


def _count(store: Store, class_id: int, learner: int | None) -> int:
    found = class_sums(store, class_id, "all", learner=learner)
    return found[0].answered if found else 0


def answer_numbered(store: Store, number: int) -> Answer | None:
    """Return an answer by its number in the log."""
    return store.fetch_one(Answer, "SELECT * FROM answers WHERE id = ?", number)


def answers_numbered(store: Store, numbers: Iterable[int]) -> dict[int, Answer]:
    """Return answers by their numbers in the log."""
    found = {number: answer_numbered(store, number) for number in numbers}
    return {number: one for number, one in found.items() if one is not None}


def answers_for_export(store: Store, learners: Iterable[int], *, drill: int = EVERYTHING) -> Iterable[Answer]:
    """Return answers learner by learner, each learner's the earliest first."""
    for learner in learners:
        if drill == EVERYTHING:
            yield from store.answers_of(learner)
        else:
            yield from store.fetch_as(
                Answer, "SELECT * FROM answers WHERE drill = ? AND learner = ? ORDER BY id", drill, learner
            )
