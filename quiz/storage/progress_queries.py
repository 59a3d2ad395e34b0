"""What the Progress page asks the data file: one learner's weeks, confidences and slips, and what is kept of them.

Every question looks at the latest `LATEST` answers at most, found by the index on learner and number, so that a page
costs the same whatever the log has grown to. Answers of a drill or a mock paper whose marks are shown at its end are
left out until it has ended.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from quiz.learning.state import SlipKey
from quiz.storage.desk_queries import PAPERS_UNDER_WAY, withheld
from quiz.storage.store import Answer, Store

LATEST = 4000
"""Answers looked at: some fifty a day for twelve weeks."""
WEEK = 7 * 86400.0

_LATEST = f"""
WITH latest AS MATERIALIZED (
    SELECT a.* FROM (SELECT * FROM answers WHERE learner = ?1 ORDER BY id DESC LIMIT ?2) a
    WHERE (a.drill IS NULL
        OR EXISTS (SELECT 1 FROM drills d WHERE d.id = a.drill AND d.feedback = 'once')
        OR EXISTS (SELECT 1 FROM sittings s WHERE s.id = a.sitting AND s.ended_at IS NOT NULL))
        AND a.sitting NOT IN ({PAPERS_UNDER_WAY})
)
"""  # noqa: S608 - words from desk_queries.py
_WEEKS = """
SELECT CAST((at - ?3) / ?4 AS INTEGER) AS number, '' AS step, count(*) AS met,
    count(*) FILTER (WHERE verdict NOT IN ('slip', 'wrong')) AS right, count(seconds) AS timed,
    coalesce(sum(seconds / max(1, json_array_length(steps))), 0.0) AS seconds
FROM latest WHERE at >= ?3 GROUP BY number ORDER BY number
"""
_BY_STEP = """
, met AS (
    SELECT DISTINCT l.id, CAST((l.at - ?3) / ?4 AS INTEGER) AS number, s.value AS step,
        l.verdict NOT IN ('slip', 'wrong') AS credited,
        l.seconds / json_array_length(l.steps) AS a_line,
        json_array_length(l.steps) AS lines,
        -- What is likely and no more says nothing of the other steps.
        CASE WHEN verdict = 'slip' THEN json_array_length(l.explanations) ELSE 0 END AS ways,
        (SELECT count(*) FROM json_each(l.explanations) e WHERE EXISTS (
            SELECT 1 FROM json_each(e.value) p WHERE json_extract(p.value, '$[0]') = s.value)) AS named
    FROM latest l, json_each(l.steps) s
    WHERE l.at >= ?3 AND s.value NOT IN (SELECT value FROM json_each(l.hints))
)
SELECT number, step, count(*) AS met, count(*) FILTER (WHERE credited OR (ways > 0 AND named = 0)) AS right,
    count(a_line) AS timed, coalesce(sum(a_line), 0.0) AS seconds
FROM met WHERE credited OR (ways > 0 AND named IN (0, ways)) OR (ways = 0 AND lines = 1)
GROUP BY number, step ORDER BY number, step
"""
_SURENESS = """
SELECT confidence, count(*) AS answered, count(*) FILTER (WHERE verdict NOT IN ('slip', 'wrong')) AS right
FROM latest WHERE confidence IS NOT NULL GROUP BY confidence ORDER BY confidence DESC
"""
_WITH_SLIP = (
    "SELECT * FROM latest WHERE verdict IN ('slip', 'wrong') AND instr(explanations, ?3) > 0 ORDER BY id DESC LIMIT 1"
)


@dataclass(frozen=True)
class Week:
    """One week of answers, of everything or of one step."""

    number: int
    """Weeks since the first day asked about: 0 is the first."""
    step: str
    """"" for whole answers."""
    met: int
    right: int
    seconds: float
    """Sum over the timed answers of the time that one line of the working took."""
    timed: int


@dataclass(frozen=True)
class Sureness:
    """Answers given with one confidence (1 to 3), counted."""

    confidence: int
    answered: int
    right: int


@dataclass(frozen=True)
class Holdings:
    """How much is kept of a learner."""

    answers: int
    recall_marks: int
    eyes: int
    """Rows of the accuracy log."""
    examinations: int
    """Whole examinations, with every act."""


def weeks(store: Store, learner: int, *, since: float) -> list[Week]:
    """Return a learner's weeks from `since` (seconds since 1970), whole answers: right is what was credited."""
    return store.fetch_as(Week, _LATEST + _WEEKS, learner, LATEST, since, WEEK)


def weeks_by_step(store: Store, learner: int, *, since: float) -> list[Week]:
    """Return a learner's weeks step by step.

    An answer counts for a step where it is known whether that step went right: it was credited, or every explanation of
    the miss names the step, or none does, and that is a fact. It does not count where the step's line was shown
    beforehand.
    """
    return store.fetch_as(Week, _LATEST + _BY_STEP, learner, LATEST, since, WEEK)


def sureness(store: Store, learner: int) -> list[Sureness]:
    """Return how the latest answers with a confidence turned out, the surest first."""
    return store.fetch_as(Sureness, _LATEST + _SURENESS, learner, LATEST)


def last_with_slip(store: Store, learner: int, key: SlipKey) -> Answer | None:
    """Return the latest answer that a slip would explain."""
    step, slip = key
    # The log writes JSON without spaces, so a slip at its step always reads like this.
    written = f'["{step}","{slip}"]'
    return store.fetch_one(Answer, _LATEST + _WITH_SLIP, learner, LATEST, written)


def latest_of(store: Store, learner: int, types: Sequence[str], *, most: int) -> list[Answer]:
    """Return the latest answers to some types, those left out whose learner did not know, the latest first."""
    holes = ", ".join(f"?{number}" for number in range(4, 4 + len(types)))
    sql = f"SELECT * FROM latest WHERE type IN ({holes}) AND did_not_know = 0 ORDER BY id DESC LIMIT ?3"  # noqa: S608
    return store.fetch_as(Answer, _LATEST + sql, learner, LATEST, most, *types)


def held_back(store: Store, learner: int) -> frozenset[str]:
    """Return the cases whose marks this learner may not see yet: of drills and mock papers that tell at their end."""
    sql = (
        "SELECT a.dealt FROM answers a JOIN drills d ON d.id = a.drill JOIN sittings s ON s.id = a.sitting "
        "WHERE a.learner = ? AND a.drill IS NOT NULL AND d.feedback = 'end' AND s.ended_at IS NULL"
    )
    of_papers = (one.dealt for one in withheld(store, learner))
    return frozenset((*(row[0] for row in store.fetch(sql, learner)), *of_papers))


def holdings(store: Store, learner: int) -> Holdings:
    """Count what is kept of a learner."""
    sql = (
        "SELECT (SELECT count(*) FROM answers WHERE learner = ?1) AS answers, "
        "(SELECT count(*) FROM recall_marks WHERE learner = ?1) AS recall_marks, "
        "(SELECT count(*) FROM accuracy WHERE learner = ?1) AS eyes, "
        "(SELECT count(*) FROM examinations WHERE learner = ?1) AS examinations"
    )
    return store.fetch_as(Holdings, sql, learner)[0]
