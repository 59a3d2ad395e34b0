"""What the desk needs of the data file: what a sitting is for, prompts beside cases, worked examples, first answers.

Statements of migration m008; how each table is asked is desk_queries.py's.
"""

from __future__ import annotations

DESK = (
    # What a sitting is for: "types" (those in `types`), or one of practice.what_to_practise.
    "ALTER TABLE kept_to ADD COLUMN what TEXT NOT NULL DEFAULT 'types'",
    "ALTER TABLE kept_to ADD COLUMN topic TEXT NOT NULL DEFAULT ''",  # a family, a type, or a step and its slip
    "ALTER TABLE kept_to ADD COLUMN minutes REAL",  # of a mock paper
    "ALTER TABLE recalls ADD COLUMN dealt TEXT",  # the case beside which it came
    # JSON: by step, the mean and the variance of its strength beforehand; NULL: the learner was not asked yet.
    "ALTER TABLE learners ADD COLUMN priors TEXT",
    # How far a learner is through the worked example of a type: met, and not tested.
    """CREATE TABLE worked (
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        type TEXT NOT NULL,
        parts INTEGER NOT NULL,         -- 1: read with every line; 2: and with one line left out
        at REAL NOT NULL,
        PRIMARY KEY (learner, type)
    ) STRICT""",
    # Forecasts made a day or more ahead, by tenths of the chance, with what came: how far figures may be given.
    """CREATE TABLE forecasts (
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        tenth INTEGER NOT NULL,         -- 0: below .1
        answers INTEGER NOT NULL,
        given REAL NOT NULL,            -- sum of the chances
        came INTEGER NOT NULL,          -- right answers
        PRIMARY KEY (learner, tenth)
    ) STRICT""",
    # A file of one's own data that was looked over and waits for the word to take it in.
    """CREATE TABLE brought (
        learner INTEGER PRIMARY KEY REFERENCES learners ON DELETE CASCADE,
        at REAL NOT NULL,
        lines BLOB NOT NULL             -- compressed
    ) STRICT""",
)
