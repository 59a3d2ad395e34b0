"""Cases and case types as the JSON that other people's scripts lean on."""

from __future__ import annotations

from typing import Any

from cases.evidence.sources import cites
from cases.procedure.case_type import Case, CaseType, to_json


def case_document(case: Case) -> dict[str, Any]:
    """Give a case with its answer, working and every single slip's answer."""
    return {
        "type": case.type.id,
        "seed": case.seed,
        "findings": case.type.findings.to_json(case.findings),
        "asks": case.type.asks_id,
        "marked_within": case.type.marked_within,
        "answer": case.type.answer_json(case.truth),
        "working": [{"step": line.step, "says": line.says, "value": to_json(line.values)} for line in case.run.lines],
        "slips": [
            {"step": ref.step, "slip": ref.slip, "answer": case.type.answer_json(one.answer)}
            for one in case.singles
            for ref in one.slips
        ],
    }


def type_document(case_type: CaseType) -> dict[str, Any]:
    """Give a case type with its steps, slips and declared twins."""
    return {
        "type": case_type.id,
        "title": case_type.title,
        "family": case_type.family.id,
        "level": case_type.level,
        "seconds": case_type.seconds,
        "asks": case_type.asks_id,
        "findings": {one.name: one.label for one in case_type.findings.fields},
        "needs": list(case_type.needs),
        "steps": [
            {"step": step.skill.id, "title": step.skill.title, "slips": [slip.name.id for slip in step.slips]}
            for step in case_type.steps
        ],
        "twins": [[{"step": ref.step, "slip": ref.slip} for ref in pair] for pair in case_type.twins],
        "sources": list(cites(case_type.sources)),
    }
