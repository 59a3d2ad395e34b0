"""Doubtful cases as a file that can be sent on: all that it takes to draw each again, and nobody's name."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from quiz.storage.doubt_queries import Doubt
from quiz.storage.rows import write_json
from quiz.storage.store import Store


def doubts_jsonl(store: Store, doubts: Sequence[Doubt]) -> Iterator[str]:
    """Write one JSON document a line: the case, the answer as it was typed, its verdict and the note.

    `python -m cases draw TYPE --seed SEED` draws a case again; times are seconds since 1970 (UTC).
    """
    for one in doubts:
        dealt = store.dealt(one.dealt)
        answer = next((each for each in store.answers_of(one.learner) if each.dealt == one.dealt), None)
        if dealt is None or answer is None:
            continue
        row = {
            "type": dealt.type,
            "seed": dealt.seed,
            "settings": dealt.settings,
            "findings": answer.findings,
            "truth": answer.truth,
            "given": answer.given,
            "verdict": answer.verdict,
            "explanations": answer.explanations,
            "note": one.note,
            "at": one.at,
        }
        yield write_json(row) + "\n"
