"""The tables of the accuracy log, and of sittings that keep to certain types."""

from __future__ import annotations

ACCURACY = (
    """CREATE TABLE accuracy (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        eye TEXT NOT NULL,
        patient INTEGER NOT NULL,       -- arbitrary: pairs two eyes, and is nobody's name or number
        retinoscopy TEXT NOT NULL,      -- JSON: sphere, cylinder, axis
        end_point TEXT NOT NULL,        -- JSON
        distance_cm REAL NOT NULL,
        day TEXT NOT NULL,              -- of the examination: year-month-day
        wet INTEGER NOT NULL,
        end_wet INTEGER NOT NULL,
        age TEXT NOT NULL,              -- a coarse group, or ''
        remark TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX accuracy_learner ON accuracy (learner, id)",
    """CREATE TABLE kept_to (
        sitting INTEGER PRIMARY KEY REFERENCES sittings ON DELETE CASCADE,
        types TEXT NOT NULL,            -- JSON: type ids
        why TEXT NOT NULL
    ) STRICT""",
)
