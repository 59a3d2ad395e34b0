"""Links to types of Work one out."""

from __future__ import annotations

from dataclasses import dataclass

from flask import url_for

from cases.procedure.case_type import CaseType
from quiz.practice.own_findings.referrals import Referral
from quiz.practice.own_findings.working_out import CHOSEN, computing_types


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


@dataclass(frozen=True)
class ReferralLink:
    """Where findings belong that were typed elsewhere."""

    says: str
    url: str
    """"" where nothing takes them."""
    title: str


def referral_link(one: Referral) -> ReferralLink:
    """Return the link to where findings belong, with the numbers that are carried over."""
    if one.line:
        return ReferralLink(one.says, url_for("work.show", line=one.line), one.line)
    if not one.type_id:
        return ReferralLink(one.says, "", "")
    url = url_for("work.one", type_id=one.type_id, **one.texts)  # type: ignore[arg-type]
    return ReferralLink(one.says, url, computing_types()[one.type_id].title)
