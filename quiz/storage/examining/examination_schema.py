"""The tables of whole examinations: who was examined by whom, every act of it, and what it showed at its end.

Statements of migrations m017 to m019; how each table is asked is examination_queries.py's.
"""

from __future__ import annotations

EXAMINATIONS = (
    """CREATE TABLE examinations (
        id TEXT PRIMARY KEY,
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        patient TEXT NOT NULL,          -- JSON: as drawn, so that a later version examines the same
        begun_at REAL NOT NULL,
        closed_at REAL                  -- when it was handed in or given up
    ) STRICT""",
    "CREATE INDEX examinations_learner ON examinations (learner, begun_at)",
    """CREATE TABLE examination_acts (
        examination TEXT NOT NULL REFERENCES examinations ON DELETE CASCADE,
        place INTEGER NOT NULL,         -- from 0
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        at REAL NOT NULL,
        minute REAL NOT NULL,           -- by the clock of the examination, which acts and waits move
        what TEXT NOT NULL,
        side TEXT,                      -- the eye that it was done to; NULL: both or neither
        value TEXT NOT NULL,            -- JSON
        sent_as TEXT NOT NULL,          -- names the form that was sent, so that one sent twice is one act
        PRIMARY KEY (examination, place)
    ) STRICT""",
    "CREATE UNIQUE INDEX examination_acts_once ON examination_acts (examination, sent_as)",
    "CREATE INDEX examination_acts_learner ON examination_acts (learner)",
    # What the ledger of an examination that was handed in says of its steps, for memory.
    """CREATE TABLE examination_marks (
        examination TEXT PRIMARY KEY REFERENCES examinations ON DELETE CASCADE,
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        at REAL NOT NULL,
        verdict TEXT NOT NULL,
        steps TEXT NOT NULL,            -- JSON: the steps exercised
        explanations TEXT NOT NULL,     -- JSON: sets of [step, slip] that the log shows
        could_show TEXT NOT NULL,       -- JSON: [step, slip] that it could have shown
        failed TEXT NOT NULL            -- why the whole failed; "" where it did not
    ) STRICT""",
    "CREATE INDEX examination_marks_learner ON examination_marks (learner, at)",
    *(
        f"""CREATE TRIGGER {table}_are_not_changed BEFORE UPDATE ON {table}
            BEGIN SELECT RAISE(ABORT, '{table} are only ever added to: a row cannot be changed'); END"""
        for table in ("examination_acts", "examination_marks")
    ),
    # Those of before a day that was set may be deleted for their age, as answers may.
    *(
        f"""CREATE TRIGGER {table}_are_not_removed BEFORE DELETE ON {table}
            WHEN OLD.learner IN (SELECT id FROM learners)
            AND NOT EXISTS (SELECT 1 FROM retired r WHERE r.learner = OLD.learner AND OLD.at < r.before_at)
            BEGIN SELECT RAISE(ABORT, '{table} are only ever added to: remove the learner or nothing'); END"""  # noqa: S608
        for table in ("examination_acts", "examination_marks")
    ),
)

EXAMINATION_ORDER = (
    # The learner's last answer by then: memory takes examinations and answers in the order in which they came.
    "ALTER TABLE examination_marks ADD COLUMN after_answer INTEGER NOT NULL DEFAULT 0",
)

SET_EXAMINATIONS = (
    # Patients that a preceptor sets for a class: every learner examines the same ones, each once.
    """CREATE TABLE set_examinations (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        class INTEGER NOT NULL REFERENCES classes ON DELETE CASCADE,
        title TEXT NOT NULL,
        patients TEXT NOT NULL,         -- JSON: as drawn when they were set
        set_at REAL NOT NULL,
        closed_at REAL                  -- NULL: open
    ) STRICT""",
    "CREATE INDEX set_examinations_class ON set_examinations (class)",
    "ALTER TABLE examinations ADD COLUMN set_in INTEGER REFERENCES set_examinations ON DELETE SET NULL",
    "ALTER TABLE examinations ADD COLUMN set_place INTEGER",  # which of its patients, from 0
    "CREATE UNIQUE INDEX examinations_set_once ON examinations (set_in, set_place, learner) WHERE set_in IS NOT NULL",
)

SET_DELETIONS = (
    # A learner who had begun a set and was deleted: that there was one stays, and the day.
    """CREATE TABLE set_deletions (
        id INTEGER PRIMARY KEY,
        set_in INTEGER NOT NULL REFERENCES set_examinations ON DELETE CASCADE,
        on_day TEXT NOT NULL,           -- ISO 8601, this computer's own day
        by_whom TEXT NOT NULL CHECK (by_whom IN ('owner', 'preceptor'))
    ) STRICT""",
    "CREATE INDEX set_deletions_set ON set_deletions (set_in)",
)
