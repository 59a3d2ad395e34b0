"""Links to types of Work one out."""

from __future__ import annotations

from dataclasses import dataclass

from flask import url_for

from cases.procedure.case_type import CaseType
from quiz.practice.working_out import CHOSEN


@dataclass(frozen=True)
class TypeLink:
    """One type in a list."""

    id: str
    url: str
    title: str
    asks: str


def type_link(case_type: CaseType) -> TypeLink:
    """Return the link to a type's form, with what it gives."""
    labels = [ask.label for ask in case_type.asks if not isinstance(ask.kind, CHOSEN)]
    asks = "; ".join(label[:1].lower() + label[1:] for label in labels)
    return TypeLink(case_type.id, url_for("work.one", type_id=case_type.id), case_type.title, asks)
