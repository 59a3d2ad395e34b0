"""The data file asked and changed: learners, sittings, cases and answers here, all else by the modules named *_queries.

A `Store` is one connection: one for each request. Methods that change anything must run inside `writing()`. What the
rows mean is the business of others.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, TypeVar

from quiz.learning.state import SlipKey, Weighed
from quiz.storage.engines.seam import Engine
from quiz.storage.rows import checksum, from_row, read_json, to_row, write_json

Row = TypeVar("Row")


PAPER = "paper"
"""The source of an answer that was written on paper and typed in by a preceptor."""


@dataclass(frozen=True)
class Learner:
    """Someone who practises on this computer."""

    id: int
    name: str
    created_at: float
    settings: str
    """As JSON."""
    joined: bool
    """Whether they are of a class, and come in by their own sign-in."""


@dataclass(frozen=True)
class KeptStates:
    """What a learner's two logs fold into, as JSON, and the numbers that they were folded with."""

    state: str
    recall_state: str
    folded_with: str
    priors: str | None = None
    """What the learner said of themselves beforehand, as JSON: by step, the mean and the variance of its strength."""


@dataclass(frozen=True)
class Sitting:
    """One run of practice: this many cases or this many minutes."""

    id: int
    learner: int
    started_at: float
    cases: int | None
    minutes: float | None
    ended_at: float | None
    drill: int | None = None
    answered: int = 0
    """How many of its cases were answered."""
    last_dealt_at: float | None = None
    due_at: float | None = None
    """When the server ends it, in a drill with a time; None: it has none."""
    at_bench: bool = False
    """Whether it holds the cases that were asked for at the bench."""


@dataclass(frozen=True)
class Dealt:
    """A case as it was put before a learner."""

    id: str
    learner: int
    sitting: int
    type: str
    seed: int
    settings: dict[str, Any]
    findings: dict[str, Any]
    why: str
    must_show: str | None
    probe_of: tuple[SlipKey, SlipKey] | None
    for_drill: bool
    dealt_at: float
    lines_shown: int = 0
    closed_at: float | None = None
    drill: int | None = None
    at_bench: bool = False
    """Whether it was asked for at the bench, where it is open beside the one in Practise."""
    words: str = ""
    """What the preceptor who wrote the case says before its findings; "" for a drawn one."""


@dataclass(frozen=True)
class Answer:
    """One row of the answer log, without its own number."""

    dealt: str
    learner: int
    sitting: int
    at: float
    type: str
    seed: int
    findings: dict[str, Any]
    truth: dict[str, Any]
    given: dict[str, str]
    read_as: dict[str, Any] | None
    verdict: str
    explanations: tuple[tuple[SlipKey, ...], ...]
    steps: tuple[str, ...]
    could_show: tuple[SlipKey, ...]
    hints: tuple[str, ...]
    confidence: int | None
    seconds: float | None
    options: int | None
    working_shown: bool
    probe_of: tuple[SlipKey, SlipKey] | None
    for_drill: bool
    source: str
    """Where it was given: "practice", "bench" or "paper"."""
    drill: int | None = None
    """The drill that it was answered in, if in one."""
    late: bool = False
    """Whether it arrived after the time of its drill: kept, and not counted there."""
    weighed: tuple[Weighed, ...] | None = None
    """What may explain a miss, with its probability; None in answers from before that was kept."""
    did_not_know: bool = False
    """Whether the learner said so instead of answering."""

    @property
    def on_paper(self) -> bool:
        """Whether it was written on paper and typed in by a preceptor."""
        return self.source == PAPER


@dataclass(frozen=True)
class Retyped:
    """The answer that a learner meant where the first one was mistyped; the first one stays in the log."""

    dealt: str
    learner: int
    at: float
    given: dict[str, str]
    read_as: dict[str, Any]
    verdict: str
    explanations: tuple[tuple[SlipKey, ...], ...]
    weighed: tuple[Weighed, ...]


def _learner(row: Any) -> Learner:
    found = from_row(Learner, row)
    _look_at_settings(found.settings)
    return found


@lru_cache(500)
def _look_at_settings(text: str) -> None:
    """See that a learner's settings can be read, which they are later, wherever they are needed."""
    read_json(text, type=dict)


_LEARNERS = (
    "SELECT l.id, l.name, l.created_at, l.settings, EXISTS (SELECT 1 FROM phrases WHERE learner = l.id) AS joined "
    "FROM learners l"
)
"""Without their memories, which are far longer than all else and asked for by themselves."""
_SITTINGS = (
    "SELECT s.*, (SELECT count(*) FROM answers WHERE sitting = s.id) AS answered, "
    "(SELECT max(dealt_at) FROM dealt WHERE sitting = s.id) AS last_dealt_at FROM sittings s"
)
REMEMBERED = 50
"""Answers of more rows than these are not remembered, nor more answers than these: a page asks a score of questions at
most, and an export reads a whole class."""


class Store:
    """One connection to the data, in whichever engine they are.

    With `remember` a question that was put before is answered from memory until something is written here or the
    writing begins: for the span of one request, whose parts ask for the same learner and case again and again.
    """

    def __init__(self, file: Engine, *, remember: bool = False) -> None:
        self._file = file
        self._db = file.lend()
        self._remember = remember
        self._asked: dict[tuple[Any, ...], list[Any]] = {}
        self._patience = file.patience
        """Seconds for which locks of others are waited for yet: a request waits so long in all, a command each time."""

    def close(self) -> None:
        """Give the connection back."""
        self._file.give_back(self._db)

    @contextmanager
    def writing(self, learner: int | None = None) -> Iterator[None]:
        """Make all changes of the block one transaction, committed when it ends and undone by an error.

        learner: whose rows alone are changed, and read for the change; None: anyone's. Where the engine lets several
        write at once, those of other learners go on meanwhile.

        Raises
        ------
        Busy
            When another process keeps what is wanted locked.
        Away
            When the database cannot be reached.
        """
        with self._file.writing(self._db, learner=learner, patience=self._patience, waited=self._waited):
            # Another request may have written while this one waited for its turn.
            self._asked.clear()
            try:
                yield
            except BaseException:
                self._asked.clear()  # what was read since is undone
                raise

    def _waited(self, seconds: float) -> None:
        if self._remember:
            self._patience = max(0.0, self._patience - seconds)

    @property
    def wipes(self) -> bool:
        """Whether what is deleted is overwritten at once where it stood."""
        return self._file.wipes

    def wipe(self) -> None:
        """Let nothing of what was deleted be found in the log beside the data file either; outside `writing()`."""
        self._file.wipe(self._db)

    # --- asking in general, here and in the modules that hold the questions of their own area: the SQL stands there

    def fetch(self, sql: str, *values: Any) -> list[Any]:
        """Return the rows that a question finds."""
        return self._found(None, sql, values)

    def fetch_as(self, kind: type[Row], sql: str, *values: Any) -> list[Row]:
        """Return the rows that a question finds, made into dataclasses."""
        return self._found(kind, sql, values)

    def fetch_with(self, make: Callable[[Any], Row], sql: str, *values: Any) -> list[Row]:
        """Return the rows that a question finds, each made into something; what `make` cannot read is damage."""
        return self._found(make, sql, values)

    def fetch_one(self, kind: type[Row], sql: str, *values: Any) -> Row | None:
        """Return the only row that a question finds, made into a dataclass; None where it finds none."""
        return next(iter(self._found(kind, sql, values)), None)

    def _found(self, make: Any, sql: str, values: tuple[Any, ...]) -> list[Any]:
        key = (make, sql, values)
        kept = self._asked.get(key)
        if kept is None:
            with self._file.reading():
                rows = self._file.fetch(self._db, sql, values)
                if make is None:
                    kept = rows
                else:
                    kept = [from_row(make, row) if isinstance(make, type) else make(row) for row in rows]
            if self._remember and max(len(kept), len(self._asked) + 1) <= REMEMBERED:
                self._asked[key] = kept
        return list(kept)

    def change(self, sql: str, *values: Any) -> int:
        """Carry a change out, inside `writing()`, and return how many rows it met."""
        self._asked.clear()
        return self._file.change(self._db, sql, values)

    def add(self, table: str, what: Any, *, conflict: str = "") -> int:
        """Add a row, a dataclass or its values by column, inside `writing()`; return its number.

        conflict is what SQL is to do where another row stands in its way; the number is 0 where nothing was added.
        """
        self._asked.clear()
        return self._file.add(self._db, table, what if isinstance(what, dict) else to_row(what), conflict)

    # --- the app itself

    def secret(self) -> str:
        """Return the key that cookies are signed with."""
        return self.fetch_with(lambda row: str(row[0]), "SELECT value FROM app WHERE name = 'secret'")[0]

    # --- learners

    def learners_where(self, rest: str = "", *values: Any) -> list[Learner]:
        """Return the learners, `l`, whom the rest of a question finds: joins, conditions, order."""
        return self.fetch_with(_learner, f"{_LEARNERS} {rest}", *values)

    def learner_where(self, rest: str, *values: Any) -> Learner | None:
        """Return the only learner, `l`, whom the rest of a question finds."""
        return next(iter(self.learners_where(rest, *values)), None)

    def learners(self) -> list[Learner]:
        """Return everyone, in the order in which they came."""
        return self.learners_where("ORDER BY l.id")

    def local_learners(self) -> list[Learner]:
        """Return those who practise at this computer; a learner who joined a class is picked by nobody."""
        return self.learners_where("WHERE NOT EXISTS (SELECT 1 FROM phrases WHERE learner = l.id) ORDER BY l.id")

    def learner(self, learner_id: int) -> Learner | None:
        """Return one learner."""
        return self.learner_where("WHERE l.id = ?", learner_id)

    def app_value(self, name: str) -> str | None:
        """Return what the data file keeps under a name for everyone, None where it keeps nothing."""
        rows = self.fetch("SELECT value FROM app WHERE name = ?", name)
        return str(rows[0][0]) if rows else None

    def keep_app_value(self, name: str, value: str) -> None:
        """Keep something under a name for everyone."""
        self.change(
            "INSERT INTO app (name, value) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = ?", name, value, value
        )

    def states(self, learner_id: int) -> KeptStates | None:
        """Return what is kept of a learner's memory."""
        sql = "SELECT state, recall_state, folded_with, priors FROM learners WHERE id = ?"
        return self.fetch_one(KeptStates, sql, learner_id)

    def add_learner(
        self, name: str, *, now: float, settings: object, state: str, recall_state: str, folded_with: str
    ) -> int:
        """Add a learner and return the number."""
        row = {"name": name, "created_at": now, "settings": write_json(settings)}
        return self.add("learners", row | {"state": state, "recall_state": recall_state, "folded_with": folded_with})

    def rename_learner(self, learner_id: int, name: str) -> None:
        """Give a learner another name."""
        self.change("UPDATE learners SET name = ? WHERE id = ?", name, learner_id)

    def remove_learner(self, learner_id: int) -> None:
        """Remove a learner and everything that was kept of them."""
        self.change("DELETE FROM learners WHERE id = ?", learner_id)

    def keep_settings(self, learner_id: int, settings: object) -> None:
        """Keep a learner's settings."""
        self.change("UPDATE learners SET settings = ? WHERE id = ?", write_json(settings), learner_id)

    def keep_state(self, learner_id: int, state: str) -> None:
        """Keep what the log of answers folds into, with the numbers that the learner's states were folded with."""
        self.change("UPDATE learners SET state = ? WHERE id = ?", state, learner_id)

    def keep_states(self, learner_id: int, *, state: str, recall_state: str, folded_with: str) -> None:
        """Keep what the two logs fold into."""
        self.change(
            "UPDATE learners SET state = ?, recall_state = ?, folded_with = ? WHERE id = ?",
            state,
            recall_state,
            folded_with,
            learner_id,
        )

    # --- sittings

    def sittings_where(self, rest: str, *values: Any) -> list[Sitting]:
        """Return the sittings, `s`, that the rest of a question finds."""
        return self.fetch_as(Sitting, f"{_SITTINGS} {rest}", *values)

    def sitting_where(self, rest: str, *values: Any) -> Sitting | None:
        """Return the only sitting, `s`, that the rest of a question finds."""
        return next(iter(self.sittings_where(rest, *values)), None)

    def sitting(self, sitting_id: int) -> Sitting | None:
        """Return one sitting."""
        return self.sitting_where("WHERE s.id = ?", sitting_id)

    def sitting_under_way(self, learner_id: int, *, at_bench: bool = False) -> Sitting | None:
        """Return the learner's own sitting in Practise, or at the bench, that has not ended; never a drill's."""
        return self.sitting_where(
            "WHERE s.learner = ? AND s.at_bench = ? AND s.ended_at IS NULL AND s.drill IS NULL", learner_id, at_bench
        )

    def begin_sitting(
        self,
        learner_id: int,
        *,
        now: float,
        cases: int | None,
        minutes: float | None,
        drill: int | None = None,
        due_at: float | None = None,
        at_bench: bool = False,
    ) -> int:
        """Begin a sitting and return its number."""
        row = {"learner": learner_id, "started_at": now, "cases": cases, "minutes": minutes, "drill": drill}
        return self.add("sittings", {**row, "due_at": due_at, "at_bench": int(at_bench)})

    def begin_ended_sitting(self, learner_id: int, *, began: float, ended: float, cases: int) -> int:
        """Add a sitting that is over, of answers that were brought in, and return its number."""
        row = {"learner": learner_id, "started_at": began, "cases": cases, "minutes": None, "ended_at": ended}
        return self.add("sittings", row)

    def end_sitting(self, sitting_id: int, *, now: float) -> None:
        """End a sitting; one that has ended stays as it is."""
        self.change("UPDATE sittings SET ended_at = ? WHERE id = ? AND ended_at IS NULL", now, sitting_id)

    # --- cases dealt

    def dealt(self, dealt_id: str) -> Dealt | None:
        """Return one dealt case."""
        return self.fetch_one(Dealt, "SELECT * FROM dealt WHERE id = ?", dealt_id)

    def open_case(self, learner_id: int, *, at_bench: bool = False) -> Dealt | None:
        """Return the case that is open for this learner in Practise, or at the bench."""
        sql = "SELECT * FROM dealt WHERE learner = ? AND at_bench = ? AND closed_at IS NULL AND drill IS NULL"
        return self.fetch_one(Dealt, sql, learner_id, at_bench)

    def deal(self, dealt: Dealt) -> None:
        """Put a case before a learner."""
        self.add("dealt", dealt)

    def move_case(self, dealt_id: str, sitting_id: int) -> None:
        """Let an open case belong to another sitting: it was left, and come back to."""
        self.change("UPDATE dealt SET sitting = ? WHERE id = ? AND closed_at IS NULL", sitting_id, dealt_id)

    def close_case(self, dealt_id: str, *, now: float) -> None:
        """Let a case wait no longer."""
        self.change("UPDATE dealt SET closed_at = ? WHERE id = ? AND closed_at IS NULL", now, dealt_id)

    def show_lines(self, dealt_id: str, lines: int) -> None:
        """Record that this many lines of the working were shown; never fewer than before, never after the answer."""
        self.change(
            "UPDATE dealt SET lines_shown = max(lines_shown, ?) WHERE id = ? AND closed_at IS NULL", lines, dealt_id
        )

    # --- answers

    def add_answer(self, answer: Answer) -> bool:
        """Add an answer to the log; False when that case has one, which then stands."""
        row = to_row(answer)
        row["checksum"] = checksum(row)
        return self.add("answers", row, conflict="ON CONFLICT (dealt) DO NOTHING") > 0

    def answer_to(self, dealt_id: str) -> Answer | None:
        """Return the answer to a dealt case."""
        return self.fetch_one(Answer, "SELECT * FROM answers WHERE dealt = ?", dealt_id)

    def retype(self, retyped: Retyped) -> bool:
        """Add the answer that was meant where one was mistyped; False where there is one already, which stands."""
        return self.add("retyped", retyped, conflict="ON CONFLICT (dealt) DO NOTHING") > 0

    def retyped_to(self, dealt_id: str) -> Retyped | None:
        """Return the answer that was meant where the one to this case was mistyped."""
        return self.fetch_one(Retyped, "SELECT * FROM retyped WHERE dealt = ?", dealt_id)

    def retyped_of(self, learner_id: int) -> dict[str, Retyped]:
        """Return a learner's answers that were meant where another was mistyped, by the case."""
        found = self.fetch_as(Retyped, "SELECT * FROM retyped WHERE learner = ?", learner_id)
        return {one.dealt: one for one in found}

    def has_answered(self, learner_id: int) -> bool:
        """Say whether a learner has answered anything yet."""
        return bool(self.fetch("SELECT 1 FROM answers WHERE learner = ? LIMIT 1", learner_id))

    def count_answers(self, learner_id: int) -> int:
        """Count a learner's answers."""
        return int(self.fetch("SELECT count(*) FROM answers WHERE learner = ?", learner_id)[0][0])

    def answers_in(self, sitting_id: int) -> list[Answer]:
        """Return the answers of a sitting, the earliest first."""
        return self.fetch_as(Answer, "SELECT * FROM answers WHERE sitting = ? ORDER BY id", sitting_id)

    def course_since(self, learner_id: int, since: float, *, most: int) -> list[tuple[str, str, bool, str]]:
        """Return type, verdict, whether it was for a drill and why it came, of the latest answers in ordinary practice.

        The earliest first; none from before `since`, and no more than `most`.
        """
        sql = (
            "SELECT a.type, verdict, a.for_drill, d.why FROM (SELECT id, dealt, type, verdict, for_drill, at, drill "
            "FROM answers WHERE learner = ? ORDER BY id DESC LIMIT ?) a JOIN dealt d ON d.id = a.dealt "
            "WHERE at >= ? AND a.drill IS NULL ORDER BY a.id"
        )
        return [(row[0], row[1], bool(row[2]), row[3]) for row in self.fetch(sql, learner_id, most, since)]

    def place_in_sitting(self, dealt_id: str) -> int:
        """Return the place, from 1, of an answered case among the answers of its sitting."""
        sql = (
            "SELECT count(*) FROM answers a JOIN answers b ON b.sitting = a.sitting AND b.id <= a.id WHERE a.dealt = ?"
        )
        return int(self.fetch(sql, dealt_id)[0][0])

    def answers_of(self, learner_id: int) -> list[Answer]:
        """Return all answers of a learner, the earliest first."""
        return self.fetch_as(Answer, "SELECT * FROM answers WHERE learner = ? ORDER BY id", learner_id)
