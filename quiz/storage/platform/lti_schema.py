"""The tables of course platforms (LTI 1.3): keys, registrations, courses, their people, and grades to be sent.

Statements of migrations m029 and m033; how each table is asked is lti_queries.py's, outcome_queries.py's and
earlier_runs.py's.
"""

from __future__ import annotations

_MADE_DUE = "ON CONFLICT (link, learner) DO UPDATE SET next_at = excluded.next_at, given = NULL, tries = 0, "
_MADE_DUE += "sent_at = NULL, last_error = NULL"
_OF_LINKS = (
    "FROM lti_links k JOIN lti_users u ON u.context = k.context AND u.learner = {learner} "
    "WHERE k.drill = {drill} AND k.lineitem_url IS NOT NULL"
)

LTI = (
    # With these the app signs what it sends to platforms. They are secrets, and so is every backup.
    """CREATE TABLE lti_keys (
        kid TEXT PRIMARY KEY,
        private_pem TEXT NOT NULL,      -- RSA, 2048 bits, PKCS #8
        made_at REAL NOT NULL,
        retired_at REAL                 -- NULL: it signs
    ) STRICT""",
    """CREATE TABLE lti_registrations (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        issuer TEXT NOT NULL,
        client_id TEXT NOT NULL,
        auth_login_url TEXT NOT NULL,
        auth_token_url TEXT NOT NULL,
        token_audience TEXT NOT NULL,
        key_set_url TEXT NOT NULL,
        name TEXT NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('pending', 'active', 'off')),
        made_at REAL NOT NULL,
        UNIQUE (issuer, client_id)
    ) STRICT""",
    """CREATE TABLE lti_deployments (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        registration INTEGER NOT NULL REFERENCES lti_registrations ON DELETE CASCADE,
        deployment_id TEXT NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('pending', 'active')),
        UNIQUE (registration, deployment_id)
    ) STRICT""",
    # A course of a platform, which is one class.
    """CREATE TABLE lti_contexts (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        deployment INTEGER NOT NULL REFERENCES lti_deployments ON DELETE CASCADE,
        context_id TEXT NOT NULL,
        title TEXT NOT NULL,
        class INTEGER REFERENCES classes ON DELETE SET NULL,
        members_url TEXT,
        lineitems_url TEXT,
        roster_at REAL,                 -- when the course list was last fetched
        UNIQUE (deployment, context_id)
    ) STRICT""",
    "CREATE INDEX lti_contexts_class ON lti_contexts (class) WHERE class IS NOT NULL",
    # A place in a course that opens a drill.
    """CREATE TABLE lti_links (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        context INTEGER NOT NULL REFERENCES lti_contexts ON DELETE CASCADE,
        resource_link_id TEXT NOT NULL,
        title TEXT NOT NULL,
        drill INTEGER REFERENCES drills ON DELETE SET NULL,
        lineitem_url TEXT,
        UNIQUE (context, resource_link_id)
    ) STRICT""",
    "CREATE INDEX lti_links_drill ON lti_links (drill) WHERE drill IS NOT NULL",
    # Who somebody of a course is here. A subject means nothing outside its registration.
    """CREATE TABLE lti_users (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        context INTEGER NOT NULL REFERENCES lti_contexts ON DELETE CASCADE,
        subject TEXT NOT NULL,
        role TEXT NOT NULL CHECK (role IN ('learner', 'teacher')),
        learner INTEGER REFERENCES learners ON DELETE CASCADE,
        preceptor INTEGER REFERENCES preceptors ON DELETE CASCADE,
        left_at REAL,                   -- no longer in the course, as its list said then
        extra_time INTEGER NOT NULL DEFAULT 0,  -- per cent that they had in the class when they left it
        UNIQUE (context, subject, role),
        CHECK ((learner IS NULL) <> (preceptor IS NULL))
    ) STRICT""",
    "CREATE INDEX lti_users_learner ON lti_users (learner) WHERE learner IS NOT NULL",
    "CREATE INDEX lti_users_preceptor ON lti_users (preceptor) WHERE preceptor IS NOT NULL",
    """CREATE TABLE lti_states (
        state TEXT PRIMARY KEY,         -- SHA-256, as the two below
        browser TEXT NOT NULL,
        nonce TEXT NOT NULL,
        registration INTEGER NOT NULL REFERENCES lti_registrations ON DELETE CASCADE,
        target TEXT NOT NULL,
        parameters TEXT NOT NULL,       -- JSON: with what the login was asked for, so that it can be begun again
        until REAL NOT NULL
    ) STRICT""",
    """CREATE TABLE lti_tickets (
        ticket TEXT PRIMARY KEY,        -- SHA-256
        kind TEXT NOT NULL CHECK (kind IN ('enter', 'choose')),
        user INTEGER NOT NULL REFERENCES lti_users ON DELETE CASCADE,
        link INTEGER REFERENCES lti_links ON DELETE CASCADE,
        request TEXT NOT NULL,          -- JSON: what a platform asked for that has a drill chosen; {} where none has
        until REAL NOT NULL
    ) STRICT""",
    # What is to be told to platforms. The newest score of a learner wins; what is sent is kept before it is sent.
    """CREATE TABLE lti_outcomes (
        link INTEGER NOT NULL REFERENCES lti_links ON DELETE CASCADE,
        learner INTEGER NOT NULL REFERENCES learners ON DELETE CASCADE,
        given REAL,                     -- NULL: still to be worked out
        maximum REAL,
        comment TEXT,
        stamp REAL,                     -- of the last one sent; the next one's is later
        tries INTEGER NOT NULL DEFAULT 0,
        next_at REAL,                   -- NULL: nothing to do
        sent_at REAL,
        last_error TEXT,
        PRIMARY KEY (link, learner)
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX lti_outcomes_next ON lti_outcomes (next_at) WHERE next_at IS NOT NULL",
    # However a run ends, its grade is due in that very transaction, so that none is lost between the two.
    f"""CREATE TRIGGER lti_grade_is_due_at_the_end AFTER UPDATE OF ended_at ON sittings
        WHEN NEW.drill IS NOT NULL AND NEW.ended_at IS NOT NULL AND OLD.ended_at IS NULL
        BEGIN INSERT INTO lti_outcomes (link, learner, next_at) SELECT k.id, u.learner, NEW.ended_at
            {_OF_LINKS.format(learner="NEW.learner", drill="NEW.drill")} {_MADE_DUE}; END""",
    f"""CREATE TRIGGER lti_grade_is_due_after_a_decision AFTER INSERT ON late_decisions
        BEGIN INSERT INTO lti_outcomes (link, learner, next_at) SELECT k.id, u.learner, NEW.decided_at
            FROM answers a JOIN sittings s ON s.id = a.sitting AND s.ended_at IS NOT NULL
            JOIN lti_links k ON k.drill = a.drill AND k.lineitem_url IS NOT NULL
            JOIN lti_users u ON u.context = k.context AND u.learner = a.learner
            WHERE a.dealt = NEW.dealt {_MADE_DUE}; END""",  # noqa: S608
)

EARLIER_RUNS = (
    # Who of a platform has had a run through a drill that this file no longer holds: no name, no answer, no grade.
    """CREATE TABLE lti_earlier_runs (
        drill INTEGER NOT NULL REFERENCES drills ON DELETE CASCADE,
        person TEXT NOT NULL,           -- SHA-256 of this file's secret, the issuer and the subject
        why TEXT NOT NULL CHECK (why IN ('deleted', 'restored')),
        on_day TEXT NOT NULL,           -- ISO 8601, in the server's own time
        allowed_at REAL,                -- when a preceptor let another grade take the place of the one that was sent
        PRIMARY KEY (drill, person)
    ) STRICT""",
)
