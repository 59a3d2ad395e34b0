"""What the data file holds: tables, the rules that guard them, and how an older file is brought up to date.

Times are seconds since 1970 (UTC). Columns named as JSON hold one JSON document. A migration that was released is
never changed; a new one is added below it.
"""

from __future__ import annotations

import secrets

from sqlite_utils import Database, Migrations

from quiz.storage.accuracy_schema import ACCURACY
from quiz.storage.class_schema import (
    CLASSES,
    DRILL_CASES,
    GONE,
    MARKS,
    OWN_CASES,
    PAPER_RUNS,
    PEOPLE,
    REGIONS,
    REMARKS,
    RETENTION,
    TESTS,
)
from quiz.storage.desk_schema import DESK
from quiz.storage.examining.examination_schema import (
    EXAMINATION_ORDER,
    EXAMINATIONS,
    SET_DELETIONS,
    SET_EXAMINATIONS,
)
from quiz.storage.organisation.school_schema import SCHOOLS
from quiz.storage.platform.lti_schema import EARLIER_RUNS, LTI

MIGRATIONS = Migrations("two-meridians")

_FIRST = (
    """CREATE TABLE app (
        name TEXT PRIMARY KEY,
        value TEXT NOT NULL
    ) STRICT""",
    # AUTOINCREMENT: the number of a learner who was removed is never given to another, so an old cookie opens nothing.
    """CREATE TABLE learners (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        name TEXT NOT NULL,
        created_at REAL NOT NULL,
        settings TEXT NOT NULL,         -- JSON
        state TEXT NOT NULL,            -- JSON: a fold over this learner's answers
        recall_state TEXT NOT NULL,     -- JSON: a fold over this learner's recall marks
        folded_with TEXT NOT NULL       -- the memory's numbers that both were folded with
    ) STRICT""",
    """CREATE TABLE sittings (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        started_at REAL NOT NULL,
        cases INTEGER,
        minutes REAL,
        ended_at REAL,
        CHECK ((cases IS NULL) <> (minutes IS NULL))
    ) STRICT""",
    "CREATE UNIQUE INDEX sittings_one_under_way ON sittings (learner) WHERE ended_at IS NULL",
    """CREATE TABLE dealt (
        id TEXT PRIMARY KEY,
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        sitting INTEGER NOT NULL REFERENCES sittings ON DELETE CASCADE,
        type TEXT NOT NULL,
        seed INTEGER NOT NULL,
        settings TEXT NOT NULL,         -- JSON: what it was drawn with
        findings TEXT NOT NULL,         -- JSON
        why TEXT NOT NULL,
        must_show TEXT,
        probe_of TEXT,                  -- JSON
        for_drill INTEGER NOT NULL,
        dealt_at REAL NOT NULL,
        lines_shown INTEGER NOT NULL DEFAULT 0,
        closed_at REAL                  -- when it was answered or set aside
    ) STRICT""",
    "CREATE UNIQUE INDEX dealt_one_open ON dealt (learner) WHERE closed_at IS NULL",
    "CREATE INDEX dealt_sitting ON dealt (sitting)",
    """CREATE TABLE answers (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        dealt TEXT NOT NULL UNIQUE REFERENCES dealt ON DELETE CASCADE,
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        sitting INTEGER NOT NULL REFERENCES sittings ON DELETE CASCADE,
        at REAL NOT NULL,
        type TEXT NOT NULL,
        seed INTEGER NOT NULL,
        findings TEXT NOT NULL,         -- JSON
        truth TEXT NOT NULL,            -- JSON: the right answer
        given TEXT NOT NULL,            -- JSON: the text typed for each thing asked
        read_as TEXT NOT NULL,          -- JSON
        verdict TEXT NOT NULL,
        explanations TEXT NOT NULL,     -- JSON: sets of [step, slip] that lead to the answer
        steps TEXT NOT NULL,            -- JSON: the steps exercised
        could_show TEXT NOT NULL,       -- JSON: [step, slip] that would have changed the answer
        hints TEXT NOT NULL,            -- JSON: the steps whose line was shown beforehand
        confidence INTEGER,
        seconds REAL,                   -- NULL: left and come back to
        options INTEGER,
        working_shown INTEGER NOT NULL,
        probe_of TEXT,                  -- JSON
        for_drill INTEGER NOT NULL,
        source TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX answers_learner ON answers (learner, id)",
    "CREATE INDEX answers_sitting ON answers (sitting)",
    """CREATE TABLE recalls (
        id TEXT PRIMARY KEY,
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        prompt TEXT NOT NULL,
        prompt_group TEXT NOT NULL,
        why TEXT NOT NULL,
        put_at REAL NOT NULL,
        typed TEXT,                     -- NULL: not shown yet
        closed_at REAL
    ) STRICT""",
    "CREATE UNIQUE INDEX recalls_one_open ON recalls (learner, prompt_group) WHERE closed_at IS NULL",
    """CREATE TABLE recall_marks (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        recall TEXT NOT NULL UNIQUE REFERENCES recalls ON DELETE CASCADE,
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        at REAL NOT NULL,
        prompt TEXT NOT NULL,
        prompt_group TEXT NOT NULL,
        typed TEXT NOT NULL,
        had INTEGER NOT NULL            -- the learner's own mark: 1 had it, 0 did not
    ) STRICT""",
    "CREATE INDEX recall_marks_learner ON recall_marks (learner, id)",
)

EXPLAINED = (
    # JSON: every explanation with its probability, as `mark --json` has them; NULL: before they were weighed.
    "ALTER TABLE answers ADD COLUMN weighed TEXT",
    "ALTER TABLE answers ADD COLUMN did_not_know INTEGER NOT NULL DEFAULT 0",  # 1: the learner said so, and gave none
    # The first answer stays in the log; where the learner had mistyped it, memory and results take this one.
    """CREATE TABLE retyped (
        dealt TEXT PRIMARY KEY REFERENCES dealt ON DELETE CASCADE,
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        at REAL NOT NULL,
        given TEXT NOT NULL,            -- JSON: the text typed for each thing asked
        read_as TEXT NOT NULL,          -- JSON
        verdict TEXT NOT NULL,
        explanations TEXT NOT NULL,     -- JSON: sets of [step, slip] that lead to the answer
        weighed TEXT NOT NULL           -- JSON: every explanation with its probability
    ) STRICT""",
    "CREATE INDEX retyped_learner ON retyped (learner)",
)


_DOUBTS = """CREATE TABLE doubts (
    dealt TEXT PRIMARY KEY REFERENCES dealt ON DELETE CASCADE,
    learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
    at REAL NOT NULL,
    note TEXT NOT NULL                  -- "" where nothing was said
) STRICT"""

BY_LEARNER = (
    # A learner or a drill that is removed takes its rows along, or is refused for them: looked for in every table.
    "CREATE INDEX dealt_learner ON dealt (learner)",
    "CREATE INDEX dealt_drill ON dealt (drill) WHERE drill IS NOT NULL",
    # With the end, so that what asks for those under way does not read through all that have ended.
    "CREATE INDEX sittings_learner ON sittings (learner, ended_at)",
    "CREATE INDEX recalls_learner ON recalls (learner)",
    "CREATE INDEX doubts_learner ON doubts (learner)",
    "CREATE INDEX lti_outcomes_learner ON lti_outcomes (learner)",
)

_BENCH = (
    "ALTER TABLE sittings ADD COLUMN at_bench INTEGER NOT NULL DEFAULT 0",  # 1: begun at the bench
    "ALTER TABLE dealt ADD COLUMN at_bench INTEGER NOT NULL DEFAULT 0",  # 1: asked for at the bench
    "DROP INDEX sittings_one_under_way",
    "CREATE UNIQUE INDEX sittings_one_under_way ON sittings (learner, at_bench) "
    "WHERE ended_at IS NULL AND drill IS NULL",
    "DROP INDEX dealt_one_open",
    "CREATE UNIQUE INDEX dealt_one_open ON dealt (learner, at_bench) WHERE closed_at IS NULL AND drill IS NULL",
)


def append_only(db: Database, table: str) -> None:
    """Let rows of a table be added and read; changing one is refused, and so is removing one whose learner remains."""
    db.execute(
        f"""CREATE TRIGGER {table}_are_not_changed BEFORE UPDATE ON {table}
            BEGIN SELECT RAISE(ABORT, '{table} are only ever added to: a row cannot be changed'); END"""
    )
    db.execute(
        f"""CREATE TRIGGER {table}_are_not_removed BEFORE DELETE ON {table}
            WHEN OLD.learner IN (SELECT id FROM learners)
            BEGIN SELECT RAISE(ABORT, '{table} are only ever added to: remove the learner or nothing'); END"""  # noqa: S608
    )


@MIGRATIONS()
def m001_people_cases_answers(db: Database) -> None:
    """Learners, sittings, dealt cases and the answer log; recall prompts and their marks."""
    for statement in _FIRST:
        db.execute(statement)
    append_only(db, "answers")
    append_only(db, "recall_marks")
    db.execute("INSERT INTO app (name, value) VALUES ('secret', ?)", [secrets.token_hex(32)])


@MIGRATIONS()
def m002_classes(db: Database) -> None:
    """Preceptors, classes, drills, sign-ins, and the tallies of results."""
    for statement in CLASSES:
        db.execute(statement)


@MIGRATIONS()
def m003_accuracy(db: Database) -> None:
    """Add the accuracy log, and sittings that keep to certain types."""
    for statement in ACCURACY:
        db.execute(statement)


@MIGRATIONS()
def m004_drill_cases(db: Database) -> None:
    """Keep the cases of each drill, and take over those that were dealt in drills of the same cases for all."""
    for statement in DRILL_CASES:
        db.execute(statement)


@MIGRATIONS()
def m005_marks(db: Database) -> None:
    """Add late answers, drills that count, what stays of a deletion; failed tries are kept no more."""
    for statement in MARKS:
        db.execute(statement)


@MIGRATIONS()
def m006_explained(db: Database) -> None:
    """Keep how explanations were weighed, that a learner did not know, and the answer meant where one was mistyped."""
    for statement in EXPLAINED:
        db.execute(statement)
    append_only(db, "retyped")


@MIGRATIONS()
def m008_desk(db: Database) -> None:
    """Keep what a sitting is for, prompts beside cases, worked examples, first answers and how forecasts came true."""
    for statement in DESK:
        db.execute(statement)


@MIGRATIONS()
def m009_doubts(db: Database) -> None:
    """Keep which marked cases a learner found doubtful, and what they said of them."""
    db.execute(_DOUBTS)


@MIGRATIONS()
def m013_people(db: Database) -> None:
    """Let one person be in several classes; add rosters, groups, co-teachers, extensions, ends of runs."""
    for statement in PEOPLE:
        db.execute(statement)


@MIGRATIONS()
def m014_tests(db: Database) -> None:
    """Add timed tests: a time for this many cases, cases put back, a start together, decisions about late answers."""
    for statement in TESTS:
        db.execute(statement)


@MIGRATIONS()
def m015_retention(db: Database) -> None:
    """Let answers be deleted for their age, and only those of before the day that was set."""
    for statement in RETENTION:
        db.execute(statement)


@MIGRATIONS()
def m016_bench(db: Database) -> None:
    """Let a case at the bench be open beside the one in Practise, each in a sitting of its own."""
    for statement in _BENCH:
        db.execute(statement)


@MIGRATIONS()
def m017_examinations(db: Database) -> None:
    """Keep whole examinations: their patients, every act, and what each showed."""
    for statement in EXAMINATIONS:
        db.execute(statement)


@MIGRATIONS()
def m018_examination_order(db: Database) -> None:
    """Keep after which answer each examination was handed in."""
    for statement in EXAMINATION_ORDER:
        db.execute(statement)


@MIGRATIONS()
def m019_set_examinations(db: Database) -> None:
    """Let a preceptor set patients for a class, each to be examined once by every learner."""
    for statement in SET_EXAMINATIONS:
        db.execute(statement)


@MIGRATIONS()
def m020_remarks(db: Database) -> None:
    """Keep what preceptors write about single answers."""
    for statement in REMARKS:
        db.execute(statement)


@MIGRATIONS()
def m022_own_cases(db: Database) -> None:
    """Keep cases that preceptors wrote, and the words round them where they are dealt."""
    for statement in OWN_CASES:
        db.execute(statement)


@MIGRATIONS()
def m023_paper(db: Database) -> None:
    """Keep who typed answers in from paper, and let those be taken back."""
    for statement in PAPER_RUNS:
        db.execute(statement)


@MIGRATIONS()
def m024_gone_learners(db: Database) -> None:
    """Keep who was deleted, by number alone."""
    for statement in GONE:
        db.execute(statement)


@MIGRATIONS()
def m025_set_deletions(db: Database) -> None:
    """Keep of a set of patients that a learner who had begun it was deleted."""
    for statement in SET_DELETIONS:
        db.execute(statement)


@MIGRATIONS()
def m027_regions(db: Database) -> None:
    """Keep as where the refractions of a class's drawn patients are."""
    for statement in REGIONS:
        db.execute(statement)


@MIGRATIONS()
def m029_course_platforms(db: Database) -> None:
    """Keep course platforms, their courses and people, and the grades that are to be sent to them."""
    for statement in LTI:
        db.execute(statement)


@MIGRATIONS()
def m030_schools(db: Database) -> None:
    """Put schools above classes: one that has all there is, who administers it, invitations, the record of changes."""
    for statement in SCHOOLS:
        db.execute(statement)


@MIGRATIONS()
def m032_checksums(db: Database) -> None:
    """Keep with each answer what shows that it stands as it was written; those of before have none."""
    db.execute("ALTER TABLE answers ADD COLUMN checksum INTEGER")


@MIGRATIONS()
def m033_earlier_runs(db: Database) -> None:
    """Keep who of a course platform has had a run through a drill that was deleted, so that its grade stands."""
    for statement in EARLIER_RUNS:
        db.execute(statement)


@MIGRATIONS()
def m034_by_learner(db: Database) -> None:
    """Find what is a learner's, and what was dealt in a drill, without reading everybody's."""
    for statement in BY_LEARNER:
        db.execute(statement)
