"""Answers in open formats: CSV (RFC 4180), and xAPI 1.0.3 `answered` statements as JSON lines."""

from __future__ import annotations

import csv
import hashlib
import hmac
import io
import json
import re
import uuid
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from datetime import UTC, datetime
from functools import cache, lru_cache
from typing import Any

from cases.curriculum.register import all_types
from cases.errors import CaseError
from cases.procedure.case_type import CaseType
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.fields import Field
from cases.procedure.vocabulary import CREDITED
from quiz.storage import class_queries, result_queries, roster_queries
from quiz.storage.rows import write_json
from quiz.storage.store import Answer, Store

HOME = "https://two-meridians.invalid"
"""Of every IRI that is ours. The domain `.invalid` never resolves (RFC 2606): these name things, and lead nowhere."""
NAMESPACE = uuid.uuid5(uuid.NAMESPACE_URL, HOME)

COLUMNS = (
    "learner",
    "drill",
    "answered_at",
    "type",
    "seed",
    "findings",
    "given",
    "read_as",
    "right_answer",
    "verdict",
    "slips",
    "steps",
    "lines_shown",
    "confidence",
    "seconds",
    "explanations",
    "did_not_know",
    "source",
    "late",
)

BYTE_ORDER_MARK = "\ufeff"

_LENS = re.compile(r"[-+−\d\s.,;/x×X*°@DSCdsc]*")


def when(at: float) -> str:
    """Write a moment as ISO 8601 in UTC, to the millisecond."""
    return datetime.fromtimestamp(at, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


# --- CSV ---------------------------------------------------------------------------------------------------------


def answers_csv(store: Store, class_ids: Iterable[int], answers: Iterable[Answer]) -> Iterator[str]:
    """Write answers as CSV, line by line, with a heading line; what holds several values is JSON.

    It begins with a byte-order mark: without one a spreadsheet that opens it takes it for the letters of its own
    country, and garbles every − and ×. Anyone who reads it by program names "utf-8-sig" as its encoding.
    """
    names, titles, accepted = dict[int, str](), dict[int, str](), _accepted(store)
    for each in class_ids:
        names |= {one.learner: one.name for one in roster_queries.members_of(store, each)}
        titles |= {one.id: one.title for one in class_queries.drills_of(store, each)}
    yield BYTE_ORDER_MARK + csv_line(COLUMNS)
    for one in answers:
        yield csv_line(
            (
                no_formula(names.get(one.learner, "")),
                no_formula(titles.get(one.drill or 0, "")),
                when(one.at),
                one.type,
                one.seed,
                write_json(one.findings),
                no_formula("; ".join(map(str, one.given.values()))),
                write_json(one.read_as),
                write_json(one.truth),
                one.verdict,
                write_json(one.explanations),
                write_json(one.steps),
                len(one.hints),
                "" if one.confidence is None else one.confidence,
                "" if one.seconds is None else one.seconds,
                "" if one.weighed is None else write_json(one.weighed),
                "yes" if one.did_not_know else "",
                one.source,
                "" if not one.late else "counted" if accepted(one) else "yes",
            )
        )


def _accepted(store: Store) -> Callable[[Answer], bool]:
    """Return whether a preceptor let a late answer count, asked once for each learner."""
    of = cache(lambda learner: result_queries.accepted_of(store, learner))
    return lambda one: one.dealt in of(one.learner)


def csv_line(values: Iterable[object]) -> str:
    """Write one line of CSV."""
    out = io.StringIO()
    csv.writer(out).writerow(values)
    return out.getvalue()


def no_formula(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula; a lens such as "+1.00/-1.50x90" stays as it is."""
    dangerous = text[:1] in ("=", "@", "\t", "\r") or (text[:1] in ("+", "-") and not _LENS.fullmatch(text))
    return f"'{text}" if dangerous else text


# --- xAPI --------------------------------------------------------------------------------------------------------


def statements(store: Store, answers: Iterable[Answer]) -> Iterator[str]:
    """Write answers as xAPI statements, line by line, one JSON document each.

    Learners are pseudonyms that only this data file knows.
    Source: Experience API 1.0.3, part two (statements, interaction activities).
    """
    secret, accepted = store.secret(), _accepted(store)
    for one in answers:
        yield write_json(statement(one, secret, counted=one.late and accepted(one))) + "\n"


def pseudonym(learner_id: int, secret: str) -> str:
    """Return a name for a learner that is the same in every export of one data file and tells nothing."""
    return hmac.new(secret.encode(), f"learner {learner_id}".encode(), hashlib.sha256).hexdigest()[:20]


def statement(answer: Answer, secret: str, *, counted: bool = False) -> dict[str, Any]:
    """Make one answer an xAPI statement; the same answer always has the same id.

    counted says that a preceptor let a late answer count.
    """
    out: dict[str, Any] = {
        "id": str(uuid.uuid5(NAMESPACE, f"{secret[:16]} {answer.dealt}")),
        "actor": {
            "objectType": "Agent",
            "account": {"homePage": HOME, "name": pseudonym(answer.learner, secret)},
        },
        "verb": {"id": "http://adlnet.gov/expapi/verbs/answered", "display": {"en": "answered"}},
        "object": _activity(answer),
        "result": _result(answer, counted=counted),
        "context": {"platform": "Two Meridians", "language": "en"},
        "timestamp": when(answer.at),
        "version": "1.0.3",
    }
    if answer.drill is not None:
        mark = uuid.uuid5(NAMESPACE, f"{secret[:16]} drill {answer.drill}")
        drill = {"objectType": "Activity", "id": f"{HOME}/drill/{mark}"}
        out["context"]["contextActivities"] = {"parent": [drill]}
    return out


def _activity(answer: Answer) -> dict[str, Any]:
    findings = json.dumps(answer.findings, sort_keys=True)
    return _activity_of(answer.type, findings, json.dumps(answer.truth, sort_keys=True))


@lru_cache(maxsize=1000)
def _activity_of(type_id: str, findings: str, truth: str) -> dict[str, Any]:
    """Make a case the object of a statement; a class that had the same cases has the same object."""
    # A seed alone does not fix a case: level, form and distance do as well, and the findings say it all.
    mark = hashlib.sha256(findings.encode()).hexdigest()[:16]
    definition: dict[str, Any] = {
        "type": "http://adlnet.gov/expapi/activities/cmi.interaction",
        "interactionType": "other",
    }
    one = all_types().get(type_id)
    if one is not None:
        definition["name"] = {"en": one.title}
        # An answer that an older version took is exported all the same, though its case cannot be told any more.
        with suppress(CaseError):
            definition |= _described(one, json.loads(findings), json.loads(truth))
    return {"objectType": "Activity", "id": f"{HOME}/case/{type_id}/{mark}", "definition": definition}


def _described(one: CaseType, findings: Any, truth: Any) -> dict[str, Any]:
    """Say what was asked, and what was right by the log: the answer was marked against that."""
    case, kept = one.case_from_json(findings), one.answer_from_json(truth)
    # The log has thousandths; where the case still comes to that, its own last digit is the better one.
    right = case.truth if one.same(kept, case.truth) else kept
    out: dict[str, Any] = {
        "description": {"en": "\n".join((*one.found(case.findings), one.question(case.findings)))},
        "interactionType": interaction(one.asks),
        "correctResponsesPattern": ["[,]".join(response(ask, right[ask.name]) for ask in one.asks)],
    }
    if out["interactionType"] in ("choice", "sequencing"):
        options = one.asks[0].kind.options  # type: ignore[attr-defined]
        out["choices"] = [{"id": each.id, "description": {"en": each.label}} for each in options]
    return out


def interaction(asks: tuple[Field[Any], ...]) -> str:
    """Return the xAPI interaction type of what is asked."""
    if len(asks) > 1:
        return "fill-in"
    match asks[0].kind:
        case Choice() | Marks():
            return "choice"
        case Order():
            return "sequencing"
        case _:
            return "fill-in"


def response(ask: Field[Any], value: Any) -> str:
    """Write one thing asked as a response pattern does: options by id, all else as it is written."""
    match ask.kind:
        case Choice():
            return str(value)
        case Marks() | Order():
            return "[,]".join(value)
        case _:
            return ask.kind.write(value)


def _result(answer: Answer, *, counted: bool) -> dict[str, Any]:
    credited = answer.verdict in CREDITED
    result: dict[str, Any] = {
        "success": credited,
        "score": {"scaled": 1 if credited else 0},
        "response": "[,]".join(part.strip() for text in answer.given.values() for part in str(text).split(";")),
        "extensions": {
            f"{HOME}/verdict": answer.verdict,
            f"{HOME}/slips": [[f"{step} {slip}" for step, slip in one] for one in answer.explanations],
            f"{HOME}/lines-shown": len(answer.hints),
        },
    }
    if answer.weighed is not None:
        result["extensions"][f"{HOME}/explanations"] = [
            {"kind": one.kind, "slips": [f"{step} {slip}" for step, slip in one.slips], "probability": one.probability}
            for one in answer.weighed
        ]
    if answer.did_not_know:
        result["extensions"][f"{HOME}/did-not-know"] = True
    if answer.on_paper:
        result["extensions"][f"{HOME}/on-paper"] = True
    if answer.late:
        result["extensions"][f"{HOME}/late"] = True
        result["extensions"][f"{HOME}/counted"] = counted
    if answer.seconds is not None:
        result["duration"] = f"PT{answer.seconds:g}S"
    if answer.confidence is not None:
        result["extensions"][f"{HOME}/confidence"] = answer.confidence
    return result
