"""Own data that is being brought in: whose ids are known already, and the file that waits for the word to take it in.

Functions that change anything must run inside `store.writing()`.
"""

from __future__ import annotations

from collections.abc import Sequence

from quiz.storage.rows import write_json
from quiz.storage.store import Store

AT_ONCE = 500
"""Ids looked for in one question."""
_OWNERS = {
    "dealt": "SELECT id, learner FROM dealt WHERE id IN (SELECT value FROM json_each(?))",
    "recalls": "SELECT id, learner FROM recalls WHERE id IN (SELECT value FROM json_each(?))",
}


def owners(store: Store, table: str, ids: Sequence[str]) -> dict[str, int]:
    """Return which learner each id belongs to, of those that are in "dealt" or "recalls"."""
    out: dict[str, int] = {}
    for start in range(0, len(ids), AT_ONCE):
        rows = store.fetch(_OWNERS[table], write_json(list(ids[start : start + AT_ONCE])))
        out |= {row[0]: int(row[1]) for row in rows}
    return out


def held(store: Store, learner_id: int) -> int:
    """Count the answers and the recall marks that a learner has."""
    sql = (
        "SELECT (SELECT count(*) FROM answers WHERE learner = ?1) "
        "+ (SELECT count(*) FROM recall_marks WHERE learner = ?1)"
    )
    return int(store.fetch(sql, learner_id)[0][0])


def keep(store: Store, learner_id: int, lines: bytes, *, now: float) -> None:
    """Keep a file, compressed, until it is taken in or another one comes."""
    store.change(
        "INSERT INTO brought (learner, at, lines) VALUES (?1, ?2, ?3) "
        "ON CONFLICT (learner) DO UPDATE SET at = ?2, lines = ?3",
        learner_id,
        now,
        lines,
    )


def kept(store: Store, learner_id: int) -> bytes | None:
    """Return the file that waits."""
    rows = store.fetch("SELECT lines FROM brought WHERE learner = ?", learner_id)
    return bytes(rows[0][0]) if rows else None


def forget(store: Store, learner_id: int) -> None:
    """Let the file go."""
    store.change("DELETE FROM brought WHERE learner = ?", learner_id)


def has_brought(store: Store, learner_id: int) -> bool:
    """Say whether any answers of a learner were brought in, so that their log is not in the order of time."""
    sql = (
        "SELECT 1 FROM kept_to k JOIN sittings s ON s.id = k.sitting WHERE s.learner = ? AND k.what = 'brought' LIMIT 1"
    )
    return bool(store.fetch(sql, learner_id))
