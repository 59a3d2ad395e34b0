"""The tables of schools, above classes: who is in one, who administers it, invitations, and the record of changes.

Statements of migration m030; how each table is asked is school_queries.py's.
"""

from __future__ import annotations

FIRST_SCHOOL = "Our school"
"""What the one school of a file is called until somebody gives it a name; where there is one, few ever read it."""

ACTS = (
    *(
        "made school",
        "renamed school",
        "removed school",
        "added",
        "invited",
        "invited administrator",
        "withdrew",
        "joined",
        "removed",
        "renamed",
    ),
    *("administrator", "no administrator", "installation", "no installation", "signed out"),
    *("password link", "own password", "password", "handed over", "co-teacher", "reader", "off class"),
    *("platform invited", "platform added", "platform approved", "platform off", "platform changed"),
    "platform removed",
    *("moved class", "class left", "class came"),
)
"""What the record of changes can say was done; its sentences are quiz.classroom.schools's."""

SCHOOLS = (
    """CREATE TABLE schools (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        name TEXT NOT NULL UNIQUE COLLATE NOCASE,
        made_at REAL NOT NULL
    ) STRICT""",
    # Whatever is in the file belongs to one school, as it did without the word.
    f"INSERT INTO schools (name, made_at) SELECT '{FIRST_SCHOOL}', coalesce(min(made_at), 0.0) FROM preceptors",  # noqa: S608
    # NULL only in what is left of a removed class whose school is removed too: SQLite adds no other column that names
    # a row of another table.
    "ALTER TABLE classes ADD COLUMN school INTEGER REFERENCES schools",
    "UPDATE classes SET school = (SELECT min(id) FROM schools)",
    "CREATE INDEX classes_school ON classes (school)",
    "ALTER TABLE lti_registrations ADD COLUMN school INTEGER REFERENCES schools",
    "UPDATE lti_registrations SET school = (SELECT min(id) FROM schools)",
    """CREATE TABLE school_people (
        school INTEGER NOT NULL REFERENCES schools ON DELETE CASCADE,
        preceptor INTEGER NOT NULL REFERENCES preceptors ON DELETE CASCADE,
        administrator INTEGER NOT NULL DEFAULT 0,
        added_at REAL NOT NULL,
        PRIMARY KEY (school, preceptor)
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX school_people_preceptor ON school_people (preceptor)",
    "INSERT INTO school_people (school, preceptor, administrator, added_at) "
    "SELECT (SELECT min(id) FROM schools), id, administrator, made_at FROM preceptors",
    # Removed when it is taken, so that it is taken once; the secret stands in the link alone.
    """CREATE TABLE school_invitations (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        school INTEGER NOT NULL REFERENCES schools ON DELETE CASCADE,
        secret TEXT NOT NULL UNIQUE,    -- SHA-256
        whom TEXT NOT NULL,             -- as the person who invited them wrote it
        administrator INTEGER NOT NULL,
        preceptor INTEGER REFERENCES preceptors ON DELETE CASCADE,  -- who sets a new password; NULL: someone new
        made_by INTEGER REFERENCES preceptors ON DELETE CASCADE,    -- NULL: the command line
        by_whom TEXT NOT NULL,          -- their name
        made_at REAL NOT NULL,
        until REAL NOT NULL
    ) STRICT""",
    "CREATE INDEX school_invitations_school ON school_invitations (school)",
    # Who may do what, and who changed it when. Names are as they were; a row is only ever added.
    """CREATE TABLE school_changes (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        school INTEGER REFERENCES schools ON DELETE CASCADE,    -- NULL: of the installation
        at REAL NOT NULL,
        by_whom TEXT NOT NULL,
        act TEXT NOT NULL,
        whom TEXT NOT NULL,             -- "" where it was done to nobody
        what TEXT NOT NULL              -- the class, the former name, or ""
    ) STRICT""",
    "CREATE INDEX school_changes_school ON school_changes (school, id)",
    # Who was removed from a school, by numbers alone, so that an older backup that is put back lets nobody in again.
    """CREATE TABLE gone_preceptors (
        school INTEGER NOT NULL,
        preceptor INTEGER NOT NULL,
        added_at REAL NOT NULL,         -- as of school_people: who comes back later is there by another row
        on_day TEXT NOT NULL,           -- ISO 8601
        taker INTEGER,                  -- who took their classes
        PRIMARY KEY (school, preceptor, added_at)
    ) STRICT, WITHOUT ROWID""",
)
