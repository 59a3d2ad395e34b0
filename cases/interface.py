"""Drawing, working and marking a case by the id of its type, for other people's scripts; `import cases` gives these."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from cases.curriculum.register import case_type
from cases.procedure import case_type as casetype
from cases.procedure import marking
from cases.procedure.case_type import Case
from cases.procedure.marking import Mark
from cases.procedure.settings import Settings


def draw(type_id: str, seed: int, settings: Settings | None = None) -> Case:
    """Draw a case: the same type, seed and settings give the same case on every machine.

    type_id: as `python -m cases list` gives it. settings: cylinder form, level, usual working distance in cm.

    >>> case = draw("distance-vergence", seed=7)
    >>> case.findings, round(case.truth["power"], 2)
    ({'distance_cm': 65.0, 'also': 'nothing', 'gross': 0.0}, 1.54)

    `case.type.found(case.findings)` says in words what was found, `case.type.question(case.findings)` what is asked.

    Raises
    ------
    CaseError
        For a type that does not exist, or settings at which it has no case.
    """
    return casetype.draw(case_type(type_id), seed, settings or Settings())


def work(type_id: str, findings: Mapping[str, Any]) -> Case:
    """Work a case out from your own findings, named and shaped as `python -m cases draw TYPE --json` gives them.

    >>> case = work("net-sphere", {"gross": 2.5, "distance_cm": 67})
    >>> case.truth
    {'power': 1.0}
    >>> [line.step for line in case.run.lines]
    ['distance-in-dioptres', 'take-off-distance']

    Each of those lines `says` what it does, in words.

    Raises
    ------
    CaseError
        With the name of the finding and what would be right.
    """
    return case_type(type_id).case_from_json(dict(findings))


def mark(case: Case, answer: str | Mapping[str, str]) -> Mark:
    """Mark an answer as a person writes it; several parts in one text with semicolons between, or by their names.

    A lens is right in either cylinder form. What may explain a wrong answer is weighed: `weighed` has every explanation
    with its probability, `explanations` the slips, or pairs of slips, that reach .5 together.

    >>> case = work("net-sphere", {"gross": 2.5, "distance_cm": 67})
    >>> mark(case, "+1.00").verdict
    'right'
    >>> wrong = mark(case, "+2.50")
    >>> wrong.verdict, [(ref.step, ref.slip) for one in wrong.explanations for ref in one.slips]
    ('slip', [('take-off-distance', 'distance-left-in')])
    >>> mark(case, "about one").verdict
    'unreadable'
    >>> [(one.kind, round(one.probability, 1)) for one in mark(case, "+1.25").weighed][:1]
    [('arithmetic', 0.9)]
    """
    return marking.mark_text(case, answer) if isinstance(answer, str) else marking.mark_fields(case, answer)
