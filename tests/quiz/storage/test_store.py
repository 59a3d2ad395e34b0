"""What the data file itself guards: rows that are only added to, one open case, one answer to a case."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import date

import pytest

from quiz.accuracy.entries import read_entry
from quiz.classroom import classes, sign_in
from quiz.classroom.throttle import Caller, Tries
from quiz.practice import dealing, learners, recall_prompts
from quiz.storage import accuracy_queries, class_queries
from quiz.storage.datafile import DataFile
from quiz.storage.store import REMEMBERED, Learner, Store
from tests.conftest import NOON, NOT_TAKEN, lots, written


def answer_one(store: Store, learner: Learner, *, now: float = NOON, seed: int = 1) -> str:
    one = dealing.waiting(store, learner, now=now, lots=lots(seed))
    dealing.take(store, learner, one.dealt.id, written(one.case), 3, now=now + 8)
    return one.dealt.id


def test_an_answer_is_kept_whole(store: Store, learner: Learner) -> None:
    one = dealing.waiting(store, learner, now=NOON, lots=lots())
    dealing.take(store, learner, one.dealt.id, written(one.case), 2, now=NOON + 8)
    kept = store.answer_to(one.dealt.id)
    assert kept is not None
    assert (kept.type, kept.seed, kept.verdict) == (one.case.type.id, one.case.seed, "right")
    assert kept.findings == one.case.type.findings.to_json(one.case.findings)
    assert kept.truth == one.case.type.answer_json(one.case.truth)
    assert kept.given == written(one.case)
    assert kept.steps == one.case.skills
    assert (kept.confidence, kept.seconds, kept.at, kept.source) == (2, 8.0, NOON + 8, "practice")


@pytest.mark.parametrize("table", ["answers", "recall_marks"])
def test_the_logs_are_only_added_to(store: Store, learner: Learner, table: str) -> None:
    answer_one(store, learner)
    put = recall_prompts.waiting(store, learner, "distance", now=NOON, lots=lots())
    recall_prompts.mark(store, learner, put.id, had=True, now=NOON)
    for change in (f"UPDATE {table} SET at = 0 WHERE id = 1", f"DELETE FROM {table} WHERE id = 1"):  # noqa: S608
        with pytest.raises(NOT_TAKEN, match="only ever added to"), store.writing():
            store.change(change)
    assert store.fetch(f"SELECT count(*) FROM {table}")[0][0] == 1  # noqa: S608


@pytest.mark.of_the_file("PostgreSQL has no INSERT OR REPLACE")
def test_replacing_an_answer_is_refused(data_file: DataFile, store: Store, learner: Learner) -> None:
    answer_one(store, learner)
    db = data_file.connect()
    with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
        db.conn.execute("INSERT OR REPLACE INTO answers SELECT * FROM answers")
    db.conn.close()


def test_a_learner_can_be_removed_with_everything(store: Store, learner: Learner) -> None:
    answer_one(store, learner)
    other = learners.add(store, "Bea", now=NOON)
    kept = answer_one(store, other, seed=2)
    learners.remove(store, learner.id, now=NOON)
    tables = ("learners", "sittings", "dealt", "answers")
    counts = {name: store.fetch(f"SELECT count(*) FROM {name}")[0][0] for name in tables}  # noqa: S608
    assert counts == {"learners": 1, "sittings": 1, "dealt": 1, "answers": 1}
    assert store.answer_to(kept) is not None


def test_a_removed_learners_number_is_not_given_again(store: Store, learner: Learner) -> None:
    learners.remove(store, learner.id, now=NOON)
    assert learners.add(store, "Bea", now=NOON).id > learner.id


def test_only_one_case_is_open_at_a_time(store: Store, learner: Learner) -> None:
    one = dealing.waiting(store, learner, now=NOON, lots=lots())
    with pytest.raises(NOT_TAKEN, match=r"dealt\.learner|dealt_one_open"), store.writing():
        store.deal(type(one.dealt)(**{**vars(one.dealt), "id": "another"}))


def test_a_second_answer_to_a_case_is_not_added(store: Store, learner: Learner) -> None:
    kept = store.answer_to(answer_one(store, learner))
    assert kept is not None
    with store.writing():
        assert store.add_answer(type(kept)(**{**vars(kept), "verdict": "wrong"})) is False
    assert store.answer_to(kept.dealt) == kept


# --- what was deleted leaves no trace ----------------------------------------------------------------------------

NAME = "Zsuzsanna Kovácsné"
"""Long enough to stand nowhere by chance."""


BYTES = pytest.mark.of_the_file("looks at the bytes of the file")


def traces(file: DataFile, text: str) -> dict[str, int]:
    """Count a text's bytes in the data file and in everything that SQLite keeps beside it."""
    beside = sorted(file.path.parent.glob(f"{file.path.name}*"))
    return {one.name.removeprefix(file.path.name): one.read_bytes().count(text.encode()) for one in beside}


@BYTES
def test_a_removed_learner_leaves_no_trace_in_the_bytes(data_file: DataFile, store: Store) -> None:
    who = learners.add(store, NAME, now=NOON)
    dealt = answer_one(store, who)
    assert traces(data_file, NAME)["-wal"] > 0, "or this test would see nothing"
    learners.remove(store, who.id, now=NOON)
    assert set(traces(data_file, NAME).values()) == set(traces(data_file, dealt).values()) == {0}


@BYTES
def test_a_removed_class_leaves_no_trace_in_the_bytes(data_file: DataFile, store: Store) -> None:
    sign_in.add_preceptor(store, "Marit Osei", "a streak at ninety", now=NOON)
    marit = class_queries.preceptor_named(store, "Marit Osei")
    assert marit is not None
    spring = classes.own(store, marit, classes.make(store, marit, "Spring of Larks", now=NOON, lots=lots()))
    form, caller = "a form's own secret", Caller(Tries())
    learner = classes.join(store, spring.code or "", NAME, form=form, caller=caller, now=NOON, lots=lots()).learner
    answer_one(store, learner)
    assert traces(data_file, NAME)["-wal"] > 0
    classes.remove(store, spring, now=NOON)
    assert set(traces(data_file, NAME).values()) == set(traces(data_file, spring.name).values()) == {0}
    assert traces(data_file, "Marit Osei")[""] > 0, "the preceptor stays, in the file itself"


@BYTES
def test_a_cleared_accuracy_log_leaves_no_trace_in_the_bytes(
    data_file: DataFile, store: Store, learner: Learner
) -> None:
    texts = {"eye": "right", "patient": "1", "retinoscopy": "+1", "end_point": "+1", "distance_cm": "67"}
    remark = "seen behind the third curtain"
    entry = read_entry({**texts, "on": "2031-01-01", "remark": remark}, today=date(2031, 5, 1))
    accuracy_queries.add(store, learner.id, [entry])
    assert accuracy_queries.clear(store, learner.id) == 1
    assert set(traces(data_file, remark).values()) == {0}


@BYTES
def test_a_reader_in_the_way_fails_no_removal_and_the_next_write_makes_up_for_it(
    data_file: DataFile, store: Store
) -> None:
    who, other = learners.add(store, NAME, now=NOON), learners.add(store, "Bea", now=NOON)
    with closing(sqlite3.connect(data_file.path, isolation_level=None)) as reader:
        reader.execute("BEGIN")
        assert reader.execute("SELECT count(*) FROM learners").fetchone() == (2,)
        learners.remove(store, who.id, now=NOON)
        assert [one.name for one in store.learners()] == ["Bea"]
        learners.rename(store, other.id, "Beatrix")
        assert traces(data_file, NAME)["-wal"] > 0, "the reader still looks at it"
    learners.rename(store, other.id, "Bea")
    assert set(traces(data_file, NAME).values()) == {0}


# --- one request's questions -------------------------------------------------------------------------------------


@pytest.mark.of_the_file("counts the questions by SQLite's own trace")
def test_a_question_is_put_once_until_something_is_written(data_file: DataFile, learner: Learner) -> None:
    put = list[str]()
    with closing(Store(data_file, remember=True)) as store:
        store._db.conn.set_trace_callback(put.append)
        assert store.learner(learner.id) == store.learner(learner.id)
        assert len(put) == 1
        with store.writing():
            store.rename_learner(learner.id, "Runa")
            assert [one.name for one in (store.learner(learner.id), *store.learners()) if one] == ["Runa", "Runa"]
        assert store.learner(learner.id) != learner
        store._db.conn.set_trace_callback(None)


def test_what_another_wrote_is_seen_once_the_writing_begins(data_file: DataFile, learner: Learner) -> None:
    with closing(Store(data_file, remember=True)) as store, closing(Store(data_file)) as other:
        assert store.learner(learner.id) == learner
        with other.writing():
            other.rename_learner(learner.id, "Runa")
        assert store.learner(learner.id) == learner, "one request sees one learner throughout"
        with store.writing():
            found = store.learner(learner.id)
        assert found is not None
        assert found.name == "Runa"


def test_what_was_undone_is_not_remembered(data_file: DataFile, learner: Learner) -> None:
    with closing(Store(data_file, remember=True)) as store:

        def fail() -> None:
            with store.writing():
                store.rename_learner(learner.id, "Wrong")
                assert store.learner(learner.id) != learner
                raise RuntimeError

        with pytest.raises(RuntimeError):
            fail()
        assert store.learner(learner.id) == learner


def test_holes_may_be_numbered(store: Store, learner: Learner) -> None:
    """A warning is an error here from Python 3.12 on; 3.14 refuses a sequence for numbered holes."""
    assert [tuple(row) for row in store.fetch("SELECT ?2, ?1, ?2", "a", "b")] == [("b", "a", "b")]
    with store.writing():
        assert store.change("UPDATE learners SET name = ?2 WHERE id = ?1", learner.id, "Runa") == 1


def test_without_being_told_a_store_remembers_nothing(data_file: DataFile, learner: Learner) -> None:
    with closing(Store(data_file)) as store, closing(Store(data_file)) as other:
        assert store.learner(learner.id) == learner
        with other.writing():
            other.rename_learner(learner.id, "Runa")
        assert store.learner(learner.id) != learner


def test_many_rows_are_not_remembered(data_file: DataFile) -> None:
    with closing(Store(data_file, remember=True)) as store:
        for number in range(REMEMBERED + 1):
            learners.add(store, f"Learner {number}", now=NOON)
        before = dict(store._asked)
        assert len(store.learners()) == REMEMBERED + 1
        assert store._asked == before
        for number in range(2 * REMEMBERED):
            store.learner(number)
        assert len(store._asked) == REMEMBERED
