"""The tables of classes: preceptors, classes and who joined them, sign-ins, drills, and the tallies of results.

Each tuple is one migration's; what was released is never changed.
"""

from __future__ import annotations

CLASSES = (
    """CREATE TABLE preceptors (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        name TEXT NOT NULL UNIQUE COLLATE NOCASE,
        password TEXT NOT NULL,         -- a salted scrypt hash
        made_at REAL NOT NULL
    ) STRICT""",
    """CREATE TABLE classes (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        preceptor INTEGER NOT NULL REFERENCES preceptors,
        name TEXT NOT NULL,
        made_at REAL NOT NULL,
        code TEXT UNIQUE,               -- NULL: nobody can join
        code_until REAL
    ) STRICT""",
    "CREATE INDEX classes_preceptor ON classes (preceptor)",
    """CREATE TABLE members (
        learner INTEGER PRIMARY KEY REFERENCES learners ON DELETE CASCADE,
        class INTEGER NOT NULL REFERENCES classes,
        joined_at REAL NOT NULL,
        joined_with TEXT NOT NULL UNIQUE,   -- names the form that was sent, so that one sent twice joins once
        phrase TEXT UNIQUE              -- SHA-256 of the come-back phrase; NULL: taken back
    ) STRICT""",
    "CREATE INDEX members_class ON members (class)",
    """CREATE TABLE sign_ins (
        token TEXT PRIMARY KEY,         -- SHA-256 of what the cookie holds
        preceptor INTEGER REFERENCES preceptors ON DELETE CASCADE,
        learner INTEGER REFERENCES learners ON DELETE CASCADE,
        made_at REAL NOT NULL,
        until REAL NOT NULL,
        CHECK ((preceptor IS NULL) <> (learner IS NULL))
    ) STRICT""",
    "CREATE INDEX sign_ins_preceptor ON sign_ins (preceptor) WHERE preceptor IS NOT NULL",
    "CREATE INDEX sign_ins_learner ON sign_ins (learner) WHERE learner IS NOT NULL",
    """CREATE TABLE tries (
        id INTEGER PRIMARY KEY,
        kind TEXT NOT NULL,
        whom TEXT NOT NULL,
        at REAL NOT NULL
    ) STRICT""",
    "CREATE INDEX tries_whom ON tries (kind, whom, at)",
    """CREATE TABLE drills (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        class INTEGER NOT NULL REFERENCES classes ON DELETE CASCADE,
        title TEXT NOT NULL,
        types TEXT NOT NULL,            -- JSON: type ids, drawn in turn
        slips TEXT NOT NULL,            -- JSON: [step, slip] that the cases must be able to show
        level TEXT NOT NULL,
        form TEXT NOT NULL,
        distance_cm REAL NOT NULL,
        fixed_distance INTEGER NOT NULL,
        cases INTEGER,
        minutes REAL,
        same INTEGER NOT NULL,          -- 1: the same cases for all
        seed INTEGER NOT NULL,
        opens_at REAL,
        closes_at REAL,
        feedback TEXT NOT NULL CHECK (feedback IN ('once', 'end')),
        pass_mark INTEGER,              -- per cent
        notes TEXT NOT NULL,
        for_learner INTEGER REFERENCES learners ON DELETE SET NULL,
        made_at REAL NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('draft', 'open', 'closed')),
        CHECK ((cases IS NULL) <> (minutes IS NULL))
    ) STRICT""",
    "CREATE INDEX drills_class ON drills (class)",
    "CREATE INDEX drills_for_learner ON drills (for_learner) WHERE for_learner IS NOT NULL",
    # A drill is worked through in one sitting of its own, beside the ordinary one.
    "ALTER TABLE sittings ADD COLUMN drill INTEGER REFERENCES drills",
    "ALTER TABLE dealt ADD COLUMN drill INTEGER REFERENCES drills",
    "ALTER TABLE answers ADD COLUMN drill INTEGER REFERENCES drills",
    "DROP INDEX sittings_one_under_way",
    "CREATE UNIQUE INDEX sittings_one_under_way ON sittings (learner) WHERE ended_at IS NULL AND drill IS NULL",
    "CREATE UNIQUE INDEX sittings_one_a_drill ON sittings (drill, learner) WHERE drill IS NOT NULL",
    "DROP INDEX dealt_one_open",
    "CREATE UNIQUE INDEX dealt_one_open ON dealt (learner) WHERE closed_at IS NULL AND drill IS NULL",
    "CREATE UNIQUE INDEX dealt_one_open_in_drill ON dealt (drill, learner) WHERE closed_at IS NULL AND drill NOTNULL",
    "CREATE INDEX answers_drill ON answers (drill, learner, id) WHERE drill IS NOT NULL",
    "CREATE INDEX answers_learner_type ON answers (learner, type, id)",
    # Results: sums kept in the answer's own transaction, so that a class of any size opens at once.
    """CREATE TABLE tallies (
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        drill INTEGER NOT NULL,         -- 0: everything, in drills or not
        kind TEXT NOT NULL,             -- 'all', 'type', 'step' or 'slip'
        key TEXT NOT NULL,              -- '', a type, a step, or step and slip with a space between
        answered INTEGER NOT NULL,      -- slip: how often it would explain the answer
        missed INTEGER NOT NULL,        -- step: how often it may have slipped; slip: how often nothing else explains it
        seconds REAL NOT NULL,
        timed INTEGER NOT NULL,         -- how many answers `seconds` is the sum of
        last_at REAL NOT NULL,
        last_answer INTEGER NOT NULL,
        PRIMARY KEY (learner, drill, kind, key)
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE slipped (
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        step TEXT NOT NULL,
        slip TEXT NOT NULL,
        answer INTEGER NOT NULL,
        drill INTEGER,
        PRIMARY KEY (learner, step, slip, answer)
    ) STRICT, WITHOUT ROWID""",
)

DRILL_CASES = (
    """CREATE TABLE drill_cases (
        drill INTEGER NOT NULL REFERENCES drills ON DELETE CASCADE,
        place INTEGER NOT NULL,         -- from 0
        type TEXT NOT NULL,
        seed INTEGER NOT NULL,
        findings TEXT NOT NULL,         -- JSON
        PRIMARY KEY (drill, place)
    ) STRICT""",
    # Of a drill of the same cases for all, what was dealt first at a place is what the drill has there. Cases that
    # nobody has met are not drawn here: what a migration does must not depend on how this version draws.
    """INSERT INTO drill_cases (drill, place, type, seed, findings)
    SELECT drill, place, type, seed, findings FROM (
        SELECT *, row_number() OVER (PARTITION BY drill, place ORDER BY dealt_at, id) AS met FROM (
            SELECT d.*, row_number() OVER (PARTITION BY d.sitting ORDER BY d.dealt_at, d.rowid) - 1 AS place
            FROM dealt d JOIN drills ON drills.id = d.drill AND drills.same = 1
        )
    ) WHERE met = 1""",
)

MARKS = (
    # Failed tries are counted in memory: no address of a device is held (throttle.py).
    "DROP TABLE tries",
    "ALTER TABLE drills ADD COLUMN least INTEGER",  # of a drill of minutes: a share is of these cases at least
    "ALTER TABLE drills ADD COLUMN counts INTEGER NOT NULL DEFAULT 0",  # 1: who joins later has to be let in
    "ALTER TABLE drills ADD COLUMN opened_at REAL",  # for the first time; NULL: never, or before this was kept
    "ALTER TABLE answers ADD COLUMN late INTEGER NOT NULL DEFAULT 0",  # 1: kept, and not counted in its drill
    "ALTER TABLE classes ADD COLUMN joins_from REAL",  # those who joined before are known to the preceptor
    # What stays of a learner who had begun a drill and is gone: that there was one, and the day.
    """CREATE TABLE deletions (
        id INTEGER PRIMARY KEY,
        drill INTEGER NOT NULL REFERENCES drills ON DELETE CASCADE,
        on_day TEXT NOT NULL,           -- ISO 8601, this computer's own day
        by_whom TEXT NOT NULL CHECK (by_whom IN ('owner', 'preceptor'))
    ) STRICT""",
    "CREATE INDEX deletions_drill ON deletions (drill)",
    """CREATE TABLE let_in (
        drill INTEGER NOT NULL REFERENCES drills ON DELETE CASCADE,
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        at REAL NOT NULL,
        PRIMARY KEY (drill, learner)
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX let_in_learner ON let_in (learner)",
    "CREATE INDEX sittings_timed ON sittings (started_at) WHERE minutes IS NOT NULL AND ended_at IS NULL",
    # The title that was proposed named the learner, and stayed when they had gone.
    "UPDATE drills SET title = 'Recurring mistakes' WHERE for_learner IS NULL "
    "AND (title LIKE '%: what slips' OR title LIKE '%: what slips (copy)')",
)

PEOPLE = (
    # Of a person, not of a class: the person who is in several comes back by one phrase, and has one memory.
    """CREATE TABLE phrases (
        learner INTEGER PRIMARY KEY REFERENCES learners ON DELETE CASCADE,
        phrase TEXT UNIQUE              -- SHA-256 of the come-back phrase; NULL: none was given out
    ) STRICT""",
    "INSERT INTO phrases (learner, phrase) SELECT learner, phrase FROM members",
    # A place in a class. Where it is on the roster it stays when its learner is gone.
    """CREATE TABLE places (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        class INTEGER NOT NULL REFERENCES classes ON DELETE CASCADE,
        learner INTEGER REFERENCES learners ON DELETE SET NULL,
        name TEXT,                      -- as the roster has it; NULL: the name that the learner chose
        number TEXT,                    -- the school's own for this learner
        joined_at REAL NOT NULL,
        joined_with TEXT UNIQUE,        -- names the form that was sent, which joins once; NULL: by roster
        on_roster INTEGER NOT NULL DEFAULT 0,
        extra_time INTEGER NOT NULL DEFAULT 0,  -- per cent of the time of a timed drill
        gone_on TEXT,                   -- ISO 8601: the day on which a learner of this place was last deleted
        gone_by TEXT CHECK (gone_by IN ('owner', 'preceptor'))
    ) STRICT""",
    "INSERT INTO places (class, learner, joined_at, joined_with) "
    "SELECT class, learner, joined_at, joined_with FROM members ORDER BY rowid",
    "DROP TABLE members",
    "ALTER TABLE places RENAME TO members",
    "CREATE UNIQUE INDEX members_once ON members (class, learner) WHERE learner IS NOT NULL",
    "CREATE UNIQUE INDEX members_number ON members (class, number) WHERE number IS NOT NULL",
    "CREATE INDEX members_class ON members (class)",
    "CREATE INDEX members_learner ON members (learner) WHERE learner IS NOT NULL",
    # Who typed the code of a class that asks its preceptor first.
    """CREATE TABLE requests (
        class INTEGER NOT NULL REFERENCES classes ON DELETE CASCADE,
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        asked_at REAL NOT NULL,
        joined_with TEXT NOT NULL UNIQUE,
        PRIMARY KEY (class, learner)
    ) STRICT""",
    "CREATE INDEX requests_learner ON requests (learner)",
    "ALTER TABLE classes ADD COLUMN asks INTEGER NOT NULL DEFAULT 0",  # 1: who types the code waits to be let in
    "ALTER TABLE classes ADD COLUMN archived_at REAL",
    # Removed while some of its learners are in another class: what is left are the drills that they had begun.
    "ALTER TABLE classes ADD COLUMN removed_at REAL",
    # Beside its owner, who is in the class's own row: one and only one.
    """CREATE TABLE teachers (
        class INTEGER NOT NULL REFERENCES classes ON DELETE CASCADE,
        preceptor INTEGER NOT NULL REFERENCES preceptors ON DELETE CASCADE,
        role TEXT NOT NULL CHECK (role IN ('co-teacher', 'reader')),
        added_at REAL NOT NULL,
        PRIMARY KEY (class, preceptor)
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX teachers_preceptor ON teachers (preceptor)",
    "ALTER TABLE preceptors ADD COLUMN administrator INTEGER NOT NULL DEFAULT 0",
    """CREATE TABLE class_groups (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        class INTEGER NOT NULL REFERENCES classes ON DELETE CASCADE,
        name TEXT NOT NULL COLLATE NOCASE,
        made_at REAL NOT NULL,
        UNIQUE (class, name)
    ) STRICT""",
    """CREATE TABLE group_people (
        class_group INTEGER NOT NULL REFERENCES class_groups ON DELETE CASCADE,
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        PRIMARY KEY (class_group, learner)
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX group_people_learner ON group_people (learner)",
    # For whom a drill is: 1: for the groups and people named, and nobody else once they are gone.
    "ALTER TABLE drills ADD COLUMN chosen INTEGER NOT NULL DEFAULT 0",
    """CREATE TABLE drill_groups (
        drill INTEGER NOT NULL REFERENCES drills ON DELETE CASCADE,
        class_group INTEGER NOT NULL REFERENCES class_groups ON DELETE CASCADE,
        PRIMARY KEY (drill, class_group)
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX drill_groups_group ON drill_groups (class_group)",
    """CREATE TABLE drill_people (
        drill INTEGER NOT NULL REFERENCES drills ON DELETE CASCADE,
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        PRIMARY KEY (drill, learner)
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX drill_people_learner ON drill_people (learner)",
    # When it was closed by hand, so that the time to close that was set is not lost.
    "ALTER TABLE drills ADD COLUMN closed_at REAL",
    # A time to close, and minutes more, for one learner.
    """CREATE TABLE extensions (
        drill INTEGER NOT NULL REFERENCES drills ON DELETE CASCADE,
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        closes_at REAL,
        extra_minutes REAL NOT NULL DEFAULT 0,
        PRIMARY KEY (drill, learner)
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX extensions_learner ON extensions (learner)",
    # The place in the roster of which a learner was deleted.
    "ALTER TABLE deletions ADD COLUMN place INTEGER REFERENCES members ON DELETE SET NULL",
    "CREATE INDEX deletions_place ON deletions (place) WHERE place IS NOT NULL",
    # When the server ends a run by its own clock; NULL: it does not.
    "ALTER TABLE sittings ADD COLUMN due_at REAL",
    "UPDATE sittings SET due_at = started_at + 60 * minutes WHERE drill IS NOT NULL AND minutes IS NOT NULL",
    "DROP INDEX sittings_timed",
    "CREATE INDEX sittings_due ON sittings (due_at) WHERE due_at IS NOT NULL AND ended_at IS NULL",
)

TESTS = (
    # A test: only its cases, with a clock, until it ends.
    "ALTER TABLE drills ADD COLUMN test INTEGER NOT NULL DEFAULT 0",
    "ALTER TABLE drills ADD COLUMN limit_minutes REAL",  # the time for this many cases; NULL: none
    "ALTER TABLE drills ADD COLUMN may_return INTEGER NOT NULL DEFAULT 0",  # 1: a case can be put back for later
    "ALTER TABLE drills ADD COLUMN aids TEXT NOT NULL DEFAULT '[]'",  # JSON: what stays open beside a test
    "ALTER TABLE drills ADD COLUMN shuffled INTEGER NOT NULL DEFAULT 0",  # 1: the same cases in an order for each
    "ALTER TABLE drills ADD COLUMN together INTEGER NOT NULL DEFAULT 0",  # 1: the time runs for all at once
    "ALTER TABLE drills ADD COLUMN started_at REAL",  # when it was started for all by hand
    "ALTER TABLE dealt ADD COLUMN flagged_at REAL",  # when it was put back; NULL: it was not
    "DROP INDEX dealt_one_open_in_drill",
    "CREATE UNIQUE INDEX dealt_one_open_in_drill ON dealt (drill, learner) "
    "WHERE closed_at IS NULL AND drill NOTNULL AND flagged_at IS NULL",
    "CREATE INDEX sittings_in_drill ON sittings (learner) WHERE ended_at IS NULL AND drill IS NOT NULL",
    # For how long a browser says that it had held an answer back for want of a connection: a claim, shown as one.
    """CREATE TABLE delays (
        dealt TEXT PRIMARY KEY REFERENCES dealt ON DELETE CASCADE,
        seconds REAL NOT NULL
    ) STRICT""",
    # What a preceptor decided about a late answer, the latest holds.
    """CREATE TABLE late_decisions (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        dealt TEXT NOT NULL REFERENCES dealt ON DELETE CASCADE,
        preceptor TEXT NOT NULL,        -- the name of who decided
        counts INTEGER NOT NULL,
        decided_at REAL NOT NULL
    ) STRICT""",
    "CREATE INDEX late_decisions_dealt ON late_decisions (dealt, id)",
)

RETENTION = (
    # Until when a learner's answers were deleted for their age: the guards of the logs let those go, and no others.
    """CREATE TABLE retired (
        learner INTEGER PRIMARY KEY REFERENCES learners ON DELETE CASCADE,
        before_at REAL NOT NULL
    ) STRICT""",
    *(f"DROP TRIGGER {table}_are_not_removed" for table in ("answers", "recall_marks", "retyped")),
    *(
        f"""CREATE TRIGGER {table}_are_not_removed BEFORE DELETE ON {table}
            WHEN OLD.learner IN (SELECT id FROM learners)
            AND NOT EXISTS (SELECT 1 FROM retired r WHERE r.learner = OLD.learner AND OLD.at < r.before_at)
            BEGIN SELECT RAISE(ABORT, '{table} are only ever added to: remove the learner or nothing'); END"""  # noqa: S608
        for table in ("answers", "recall_marks")
    ),
    # What was meant in place of an answer goes with that answer, however much later it was given.
    """CREATE TRIGGER retyped_are_not_removed BEFORE DELETE ON retyped
        WHEN OLD.learner IN (SELECT id FROM learners) AND NOT EXISTS (SELECT 1 FROM retired WHERE learner = OLD.learner)
        BEGIN SELECT RAISE(ABORT, 'retyped are only ever added to: remove the learner or nothing'); END""",
)

REMARKS = (
    # What a preceptor wrote about an answer, for its learner to read.
    """CREATE TABLE remarks (
        dealt TEXT PRIMARY KEY REFERENCES dealt ON DELETE CASCADE,
        preceptor TEXT NOT NULL,        -- the name of who wrote it
        note TEXT NOT NULL,
        at REAL NOT NULL
    ) STRICT""",
)

OWN_CASES = (
    # Cases that preceptors wrote. One that a drill has is not changed, so that it is the same in both places.
    """CREATE TABLE own_cases (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        class INTEGER NOT NULL REFERENCES classes ON DELETE CASCADE,
        title TEXT NOT NULL,            -- for the preceptors: learners do not see it
        words TEXT NOT NULL,            -- what stands before the findings; '' for nothing
        type TEXT NOT NULL,
        findings TEXT NOT NULL,         -- JSON
        preceptor TEXT NOT NULL,        -- the name of who wrote it
        made_at REAL NOT NULL
    ) STRICT""",
    "CREATE INDEX own_cases_class ON own_cases (class)",
    "ALTER TABLE drills ADD COLUMN own_cases TEXT NOT NULL DEFAULT '[]'",  # JSON: numbers of own cases
    "ALTER TABLE drill_cases ADD COLUMN words TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE dealt ADD COLUMN words TEXT NOT NULL DEFAULT ''",
)

PAPER_RUNS = (
    # Runs that were worked on paper, whose answers a preceptor typed in.
    """CREATE TABLE paper_runs (
        sitting INTEGER PRIMARY KEY REFERENCES sittings ON DELETE CASCADE,
        preceptor TEXT NOT NULL,        -- the name of who typed them in
        version TEXT NOT NULL CHECK (version IN ('', 'A', 'B'))  -- of the sheet
    ) STRICT""",
    # What a preceptor typed in from paper can be taken back, to be typed again; no other answer can.
    "DROP TRIGGER answers_are_not_removed",
    """CREATE TRIGGER answers_are_not_removed BEFORE DELETE ON answers
        WHEN OLD.learner IN (SELECT id FROM learners) AND OLD.source <> 'paper'
        AND NOT EXISTS (SELECT 1 FROM retired r WHERE r.learner = OLD.learner AND OLD.at < r.before_at)
        BEGIN SELECT RAISE(ABORT, 'answers are only ever added to: remove the learner or nothing'); END""",
)

GONE = (
    # Who was deleted, by number alone, so that a backup from before that is put back does not bring them back.
    """CREATE TABLE gone_learners (
        learner INTEGER PRIMARY KEY,
        created_at REAL NOT NULL,       -- with the number it tells them from anyone else
        on_day TEXT NOT NULL,
        by_whom TEXT NOT NULL
    ) STRICT""",
)

REGIONS = (
    # As where the refractions of drawn patients are: the class's, and a drill's as it was when the drill was set.
    "ALTER TABLE classes ADD COLUMN region TEXT NOT NULL DEFAULT 'europe'",
    "ALTER TABLE drills ADD COLUMN region TEXT NOT NULL DEFAULT 'europe'",
)
