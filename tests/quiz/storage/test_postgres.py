"""What PostgreSQL does in its own way: locks of single learners, outages, versions of the schema, its address."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import closing

import psycopg
import pytest

from quiz.app import create_app
from quiz.practice import learners
from quiz.storage import class_queries
from quiz.storage.datafile import Away, Busy, Damaged, Refused
from quiz.storage.engines import postgres_schema
from quiz.storage.engines.address import Address
from quiz.storage.engines.dialect import ascii_lower, schema_to_postgres, to_postgres
from quiz.storage.engines.opening import open_engine
from quiz.storage.engines.postgres import PostgresData
from quiz.storage.safekeeping.checks import check
from quiz.storage.schema import MIGRATIONS
from quiz.storage.store import Learner, Store
from tests.conftest import NOON, Clock, lots
from tests.postgres_server import PostgresServer, opened, server
from tests.quiz.web.test_server import quiz


@pytest.fixture
def data() -> Iterator[PostgresData]:
    with opened() as one:
        yield one


@pytest.fixture
def two(data: PostgresData) -> tuple[Learner, Learner]:
    with closing(Store(data)) as store:
        return learners.add(store, "Ada", now=NOON), learners.add(store, "Bea", now=NOON)


# --- who waits for whom -------------------------------------------------------------------------------------------


def waits(data: PostgresData, held: int | None, wanted: int | None) -> bool:
    """Say whether a writer who wants one lock waits for one who holds another."""
    with closing(Store(data)) as one, closing(Store(data)) as other:
        other._patience = 0.1
        with one.writing(held):
            try:
                with other.writing(wanted):
                    return False
            except Busy:
                return True


def test_learners_write_side_by_side_and_nobody_beside_the_whole(
    data: PostgresData, two: tuple[Learner, Learner]
) -> None:
    ada, bea = (one.id for one in two)
    assert not waits(data, ada, bea)
    assert waits(data, ada, ada)
    assert waits(data, None, ada)
    assert waits(data, ada, None)
    assert waits(data, None, None)


def test_who_waited_sees_what_the_other_wrote(data: PostgresData, two: tuple[Learner, Learner]) -> None:
    ada, began, seen = two[0].id, threading.Event(), list[str]()

    def second() -> None:
        with closing(Store(data)) as store:
            began.set()
            with store.writing(ada):
                seen.extend(one.name for one in store.learners())

    with closing(Store(data)) as store, store.writing(ada):
        store.rename_learner(ada, "Zoe")
        thread = threading.Thread(target=second)
        thread.start()
        began.wait(5)
        time.sleep(0.2)
        assert seen == []
    thread.join(10)
    assert seen == ["Zoe", "Bea"]


def test_two_who_join_with_one_name_at_once_are_told_apart(data: PostgresData) -> None:
    def add() -> None:
        with closing(Store(data)) as store, store.writing():
            here = [one.name for one in store.learners()]
            time.sleep(0.05)
            if "Ada" not in here:
                learners.added(store, "Ada", NOON)

    threads = [threading.Thread(target=add) for _ in range(5)]
    for one in threads:
        one.start()
    for one in threads:
        one.join(20)
    with closing(Store(data)) as store:
        assert [one.name for one in store.learners()] == ["Ada"]


# --- outages --------------------------------------------------------------------------------------------------------


def test_while_it_is_away_a_page_says_so_and_afterwards_it_comes_back_by_itself() -> None:
    own = PostgresServer()
    try:
        with closing(PostgresData.open(own.new())) as data:
            client = create_app(data, clock=Clock(), lots=lots()).test_client()
            assert client.get("/practise").status_code == 200
            own.kill()
            for url in ("/practise", "/healthz", "/"):
                page = client.get(url)
                assert page.status_code == 503, url
                assert "database is away" in page.text
                assert "Traceback" not in page.text
            own.start()
            until = time.monotonic() + 20
            while (page := client.get("/practise")).status_code != 200:
                assert time.monotonic() < until, page.text
                time.sleep(0.2)
    finally:
        own.close()


def test_a_transaction_that_breaks_is_undone_and_told(data: PostgresData, two: tuple[Learner, Learner]) -> None:
    with closing(Store(data)) as store:
        number = store.fetch("SELECT pg_backend_pid()")[0][0]

        def break_it() -> None:
            with store.writing():
                store.rename_learner(two[0].id, "Zoe")
                with closing(Store(data)) as other:
                    other.fetch("SELECT pg_terminate_backend(?)", number)
                store.rename_learner(two[1].id, "Zoe")

        with pytest.raises(Away, match="cannot be reached"):
            break_it()
    with closing(Store(data)) as store:
        assert [one.name for one in store.learners()] == ["Ada", "Bea"]


# --- opening ----------------------------------------------------------------------------------------------------------


def _holding(words: str) -> set[str]:
    """Return in which of its folders the server has these words on its disk."""
    server().run("CHECKPOINT")
    folder = server()._data
    files = [one for one in folder.rglob("*") if one.is_file() and words.encode() in one.read_bytes()]
    return {one.relative_to(folder).parts[0] for one in files}


def test_what_is_deleted_is_off_the_tables_once_they_are_written_anew(data: PostgresData) -> None:
    """README.md says what stays on the disk and how it goes; the page on which one deletes oneself, that it stays."""
    assert not data.wipes
    with closing(Store(data)) as store:
        who = learners.add(store, "Ada Quellenau", now=NOON)
        assert _holding("Quellenau") == {"base", "pg_wal"}
        learners.remove(store, who.id, now=NOON)
        assert [one.name for one in store.learners() if "Quellenau" in one.name] == []
    assert "base" in _holding("Quellenau")
    with psycopg.connect(data.address.with_password, autocommit=True) as conn:
        conn.execute("VACUUM FULL")
    assert _holding("Quellenau") == {"pg_wal"}
    page = create_app(data, clock=Clock(), lots=lots()).test_client().get("/progress/delete").text
    assert "The disk of the database holds it until its administrator has tidied up." in page


def test_an_empty_database_is_made_and_opened_again() -> None:
    address = server().empty()
    with pytest.raises(Refused, match="it is empty"):
        open_engine(address, make=False)
    with closing(open_engine(address)) as data, closing(Store(data)) as store:
        key = store.secret()
        learners.add(store, "Ada", now=NOON)
    with closing(open_engine(address, make=False)) as data, closing(Store(data)) as store:
        assert store.secret() == key
        assert [one.name for one in store.learners()] == ["Ada"]
    server().drop(address)


def test_a_newer_version_s_is_refused_and_an_older_one_s_brought_up_to_date(
    data: PostgresData, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A migration runs as it stands, translated: a table, a column, an index, a guard, and a change of rows."""
    known = list(MIGRATIONS._migrations)
    with monkeypatch.context() as patched:
        patched.setattr(MIGRATIONS, "_migrations", list(known))

        @MIGRATIONS()
        def m998_tomorrow(db: object) -> None:
            for sql in (
                "CREATE TABLE guilds (id INTEGER PRIMARY KEY AUTOINCREMENT, "
                "name TEXT NOT NULL UNIQUE COLLATE NOCASE) STRICT",
                "ALTER TABLE classes ADD COLUMN guild INTEGER REFERENCES guilds ON DELETE SET NULL",
                "CREATE INDEX classes_guild ON classes (guild) WHERE guild IS NOT NULL",
                "INSERT INTO guilds (name) VALUES ('Ours')",
                "CREATE TRIGGER guilds_stay BEFORE DELETE ON guilds BEGIN SELECT RAISE(ABORT, 'they stay'); END",
            ):
                db.execute(sql)  # type: ignore[attr-defined]

        with closing(open_engine(data.address)) as newer, closing(Store(newer)) as store:
            assert [row["name"] for row in store.fetch("SELECT * FROM guilds WHERE lower(name) = 'ours'")] == ["Ours"]
            with pytest.raises(psycopg.IntegrityError, match="they stay"), store.writing():
                store.change("DELETE FROM guilds")
    with pytest.raises(Refused, match=r"a newer version of Two Meridians wrote it \(m998_tomorrow\)"):
        open_engine(data.address)
    with psycopg.connect(data.address.with_password, autocommit=True) as conn:
        conn.execute("ALTER TABLE classes DROP COLUMN guild")
        conn.execute("DROP TABLE guilds")
        conn.execute("DROP FUNCTION guilds_stay")
        conn.execute(f"DELETE FROM {postgres_schema.VERSIONS} WHERE name LIKE 'm998%'")  # noqa: S608


def test_what_another_hand_changed_is_found(data: PostgresData, two: tuple[Learner, Learner]) -> None:
    address = data.address
    assert all(one.good for one in check(address))
    with psycopg.connect(address.with_password, autocommit=True) as conn:
        conn.execute("ALTER TABLE answers DISABLE TRIGGER answers_are_not_removed")
        conn.execute("UPDATE learners SET settings = 'nonsense' WHERE id = %s", [two[0].id])
    try:
        bad = [one.words for one in check(address) if not one.good]
    except Damaged as error:
        bad = [str(error)]
    assert any("settings" in one for one in bad)
    with psycopg.connect(address.with_password, autocommit=True) as conn:
        conn.execute("UPDATE learners SET settings = '{}'")
        bad = [one.words for one in check(address) if not one.good]
        assert any("trigger answers_are_not_removed" in one for one in bad)
        conn.execute("ALTER TABLE answers ENABLE TRIGGER answers_are_not_removed")


@pytest.mark.parametrize("command", ["backup", "restore"])
def test_what_is_for_files_names_what_is_for_databases(command: str) -> None:
    done = quiz(command, "copy.sqlite3", "--data", "postgresql://school:streak@db/class")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "quiz: database postgresql://school@db/class: this is for data files; "
        "back it up with pg_dump, put it back with pg_restore\n"
    )


# --- its address ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("url", "told"),
    [
        ("postgresql://school:streak@db:5432/class", "postgresql://school@db:5432/class"),
        ("postgresql://school:str#eak@db/class", "postgresql://school@db/class"),
        ("postgresql://school:a@b/c?d@db/class?sslmode=require", "postgresql://school@db/class?sslmode=require"),
        ("postgres://db/class?user=school&password=streak", "postgres://db/class?user=school&password=***"),
        ("postgresql:///class", "postgresql:///class"),
    ],
)
def test_a_password_is_never_told(url: str, told: str) -> None:
    address = Address.read(url)
    assert address is not None
    assert (str(address), repr(address)) == (told, f"Address({told})")
    with pytest.raises(Refused) as found:
        open_engine(Address.read(f"{url}{'&' if '?' in url else '?'}connect_timeout=1&port=1&host=127.0.0.1"))
    assert "streak" not in str(found.value)
    assert "eak" not in str(found.value).replace("break", "")
    assert "c?d" not in str(found.value)
    assert Address.read("class.sqlite3") is None


# --- the dialect ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        ("SELECT ?2, ?1, ?2", "SELECT $2, $1, $2"),
        ("UPDATE a SET b = max(b, ?) WHERE c = ?", "UPDATE a SET b = greatest(b, $1) WHERE c = $2"),
        ("SELECT max(id), '?' FROM a -- all?", "SELECT max(id), '?' FROM a "),
        ("SELECT CAST((a - ?1) / ?2 AS INTEGER)", "SELECT trunc((a - $1) / $2)::bigint"),
        (
            "SELECT 1 FROM json_each(a.steps) WHERE value = ?",
            "SELECT 1 FROM json_array_elements_text((a.steps)::json) AS json_each(value) WHERE value = $1",
        ),
        ("SELECT json_extract(p.value, '$[0]')", "SELECT ((p.value)::json ->> 0)"),
        ("SELECT instr(a, ?) > 0", "SELECT strpos(a, $1) > 0"),
    ],
)
def test_a_question_is_translated(ours: str, theirs: str) -> None:
    assert to_postgres(ours).sql == theirs


def test_names_are_compared_without_regard_to_ascii_case_alone(data: PostgresData) -> None:
    assert ascii_lower("Åsa MÜLLER") == "Åsa mÜller"
    with closing(Store(data)) as store, store.writing():
        class_queries.add_preceptor(store, "Åsa Müller", "hash", NOON, school=1)
        assert class_queries.preceptor_named(store, "Åsa MüLLER") is not None
        assert class_queries.preceptor_named(store, "åsa müller") is None


def test_a_table_s_links_come_by_themselves() -> None:
    made = schema_to_postgres("CREATE TABLE a (id INTEGER PRIMARY KEY, b INTEGER NOT NULL REFERENCES c) STRICT")
    assert [one.split(" (")[0] for one in made] == [
        "CREATE TABLE a",
        "ALTER TABLE a ADD CONSTRAINT a_b_names FOREIGN KEY",
    ]


def test_a_zero_byte_and_a_truth_are_taken_as_the_file_takes_them(data: PostgresData) -> None:
    with closing(Store(data)) as store:
        assert [tuple(row) for row in store.fetch("SELECT ?, ? = 1", "a\x00b", True)] == [("a\ufffdb", True)]
