"""Work one out: a form made from what a case type declares as its findings, read, looked over and computed.

No type has a form of its own: whatever the register holds and computes can be worked out with one's own numbers.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from cases.curriculum.register import all_types
from cases.errors import CaseError
from cases.notation.prescription import write_distance, write_prescription
from cases.optics.lens import SphCyl
from cases.optics.vergence import USUAL_CM
from cases.procedure.case_type import Case, CaseType
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.fields import Field, Group, Several
from cases.procedure.kinds import Cross, Lens
from cases.procedure.quantities import POWER, Quantity
from quiz.practice.forms import BadFields, Input, nested, read, written
from quiz.practice.own_findings.squaring import square_crosses, square_streaks

_LETTERS = re.compile(r"[a-z]+")
LONGEST = 600
"""Characters of one finding: a list of lenses needs the most."""
USUAL_POWER = 30.0
"""Powers in D beyond which a sign or a decimal mark was likely mistyped: common practice, no published source."""
WORKING_DISTANCES = frozenset({"distance_cm", "assumed_cm", "actual_cm", "planned_cm"})
"""Names of findings that are an examiner's distance; other distances (a chart's, a far point) may be anything."""


CHOSEN = (Choice, Marks, Order)
"""Kinds that are picked, not computed."""


class BadFindings(BadFields):
    """Findings that cannot be worked with."""


@dataclass(frozen=True)
class Computed:
    """One thing asked, answered; a lens in both cylinder forms."""

    label: str
    value: str
    other_form: str = ""


@dataclass(frozen=True)
class Worked:
    """A case worked out from someone's own findings."""

    case: Case
    answers: tuple[Computed, ...]
    warnings: tuple[str, ...]


@cache
def computing_types() -> dict[str, CaseType]:
    """Return the types whose answer holds something computed, by id; those that are only choices are left out."""
    return {
        one.id: one
        for one in all_types().values()
        if any(not isinstance(ask.kind, CHOSEN) for ask in one.asks)
        and any(not isinstance(field.kind, CHOSEN) for _, field in _fields(one.findings))
    }


_TRADE_WORDS = {
    "bvd": "moved line of sight",
    "vertex": "moved line of sight",
    "orx": "over",
    "se": "spherical equivalent",
    "mem": "lag",
    "wd": "working distance",
    "transposition": "transposing",
    "transpose": "transposing",
    "cl": "contact lens",
    "jcc": "crossed",
    "oblique": "between principal",
}
"""Words of the trade that no title holds, and words that lead there."""


MOST_FOUND = 12
"""Types that a search lists."""


def types_by_words(text: str) -> tuple[CaseType, ...]:
    """Return the computing types whose title, family, things asked or steps hold every word.

    Those whose title holds them come first; otherwise in teaching order.

    Words are compared by their beginnings, and those of two letters or fewer only where the trade uses them so.
    """
    words = [part for word in text.lower().split() for part in _TRADE_WORDS.get(word, word).split()]
    words = [word for word in words if word.isalpha() and len(word) > 2]
    if not words:
        return ()
    found = [
        one
        for one in computing_types().values()
        if all(any(held.startswith(word) for held in _words_of(one)) for word in words)
    ]
    titled = [one for one in found if all(word in one.title.lower() for word in words)]
    return tuple([*titled, *(one for one in found if one not in titled)][:MOST_FOUND])


def _words_of(case_type: CaseType) -> frozenset[str]:
    texts = [case_type.title, case_type.family.title, *(ask.label for ask in case_type.asks)]
    texts += [step.skill.title for step in case_type.steps]
    return frozenset(_LETTERS.findall(" ".join(texts).lower()))


def _fields(group: Group, before: str = "") -> Iterator[tuple[str, Field[Any]]]:
    """Yield every field that is no group, with its dotted name."""
    for field in group.fields:
        if isinstance(field.kind, Group):
            yield from _fields(field.kind, f"{before}{field.name}.")
        else:
            yield before + field.name, field


def inputs_for(case_type: CaseType) -> tuple[Input, ...]:
    """Return the form of a type: a field for each finding, those of a group under its name."""
    groups = {one.name: one.label for one in case_type.findings.fields}
    return tuple(
        Input(
            name,
            one.label,
            one.kind,
            hint="" if isinstance(one.kind, Choice | Marks) else one.kind.hint,
            entry=groups[name.split(".")[0]] if "." in name else "",
            usual=one.default,
            required=one.default is None,
            long=isinstance(one.kind, Several) or one.kind.id in ("log", "order"),
            most=LONGEST,
        )
        for name, one in _fields(case_type.findings)
    )


def texts_of(case_type: CaseType, findings: Mapping[str, Any]) -> dict[str, str]:
    """Write findings as the form's texts."""
    return written(inputs_for(case_type), findings)


def work_out(case_type: CaseType, texts: Mapping[str, str]) -> Worked:
    """Read the form's texts and work the case out.

    What is merely unlikely is warned of and computed all the same.

    Raises
    ------
    BadFindings
        With every blank that cannot be read, or with the sentence why the whole cannot be.
    """
    inputs = inputs_for(case_type)
    texts, squared = square_crosses(inputs, texts)
    values, faults = read(inputs, texts)
    if faults:
        raise BadFindings(faults)
    findings, warnings = square_streaks(inputs, nested(inputs, values))
    warnings = (*squared, *warnings, *_unlikely(case_type, findings))
    try:
        case = case_type.case(findings)
        answers = _answers(case)
    except CaseError as error:
        raise BadFindings({"": str(error)}) from error
    return Worked(case, answers, (*warnings, *_strong(answers, case)))


def _answers(case: Case) -> tuple[Computed, ...]:
    return tuple(_answer(ask, case.truth[ask.name], case.form) for ask in case.type.asks)


def _answer(ask: Field[Any], value: Any, form: str | None) -> Computed:
    if not isinstance(ask.kind, Lens):
        return Computed(ask.label, ask.kind.write(value))
    first = "plus" if form == "plus" else "minus"
    one, other = (write_prescription(value, way) for way in (first, "minus" if first == "plus" else "plus"))
    return Computed(ask.label, one, "" if one == other else other)


# --- what is likely a slip of the pen ----------------------------------------------------------------------------


def _values(case_type: CaseType, findings: Mapping[str, Any]) -> Iterator[tuple[Input, Any]]:
    for one in inputs_for(case_type):
        yield one, one.of(findings)


def _label(one: Input) -> str:
    return f"{one.entry}, {one.label[:1].lower()}{one.label[1:]}" if one.entry else one.label


def _unlikely(case_type: CaseType, findings: Mapping[str, Any]) -> Iterator[str]:
    low, high = USUAL_CM
    for one, value in _values(case_type, findings):
        if one.place[-1] in WORKING_DISTANCES and not low <= value <= high:
            yield (
                f"{_label(one)}: {write_distance(value)} is outside {low:g} to {high:g} cm, where "
                "retinoscopy is done. Look at the number and its unit."
            )
        if _strongest(one.kind, value) > USUAL_POWER:
            yield (
                f"{_label(one)}: {one.kind.write(value)} is beyond ±{USUAL_POWER:g} D. Look at "
                "the sign and the decimal mark."
            )


def _strongest(kind: object, value: Any) -> float:
    match kind:
        case Quantity(unit=POWER.unit):
            return abs(float(value))
        case Lens() | Cross():
            return float(value.strongest) if isinstance(value, SphCyl) else 0.0
        case Several():
            return max((_strongest(kind.of, one) for one in value), default=0.0)
        case _:
            return 0.0


def _strong(answers: tuple[Computed, ...], case: Case) -> Iterator[str]:
    for ask, answer in zip(case.type.asks, answers, strict=True):
        if _strongest(ask.kind, case.truth[ask.name]) > USUAL_POWER:
            yield f"{ask.label}: {answer.value} is beyond ±{USUAL_POWER:g} D, which few eyes need. Look the findings "
            "over."
