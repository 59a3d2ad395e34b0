"""Cases that preceptors write: findings of an existing type with their own numbers, and words of their own before them.

A case is taken only where a drawn one would be: every slip shows, and two colleagues and a measurement error leave the
answer as it is. A refusal says which of these fails.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from cases.curriculum.case_list import LONGEST_WORDS
from cases.curriculum.register import all_skills, all_slips
from cases.errors import CaseError
from cases.procedure.case_type import Case, CaseType
from cases.procedure.chain import SlipRef
from quiz.classroom.drills import LONGEST_TITLE
from quiz.errors import QuizError
from quiz.practice.forms import BadFields
from quiz.practice.own_findings.working_out import BadFindings, Worked, work_out
from quiz.storage.class_queries import Class, Preceptor
from quiz.storage.classroom import own_case_queries
from quiz.storage.classroom.own_case_queries import NewCase, OwnCase
from quiz.storage.store import Store

MOST_CASES = 200
"""Own cases of one class."""
TITLE, WORDS = "title", "words"
"""Fields of the form beside the findings: none of a type's findings has such a name."""


class UnknownOwnCase(QuizError):
    """No such case is in this class."""

    def __init__(self) -> None:
        super().__init__("there is no such case in this class: the page of own cases lists those there are")


class CaseInUse(QuizError):
    """A case that a drill has, and that stays as it is for that drill's sake."""


class NotUsable(QuizError):
    """A case that would not tell what went wrong, or whose answer can be disputed."""


@dataclass(frozen=True)
class Written:
    """A case as it was typed, looked over and worked out."""

    title: str
    words: str
    worked: Worked

    @property
    def case(self) -> Case:
        """The case, with the words before its findings."""
        return self.worked.case


def look_over(case_type: CaseType, texts: Mapping[str, str]) -> Written:
    """Read the form of a case, work it out and hold it to what every drawn case is held to.

    Raises
    ------
    BadFindings
        With every field at fault; "" for why the whole cannot be used.
    """
    title, words = (" ".join(texts.get(name, "").split()) for name in (TITLE, WORDS))
    faults = dict[str, str]()
    if not 1 <= len(title) <= LONGEST_TITLE:
        faults[TITLE] = f"the name has {len(title)} characters: give 1 to {LONGEST_TITLE}, such as “Second visit”"
    if len(words) > LONGEST_WORDS:
        faults[WORDS] = f"the words have {len(words)} characters: {LONGEST_WORDS} are the most"
    try:
        worked = work_out(case_type, texts)
        case = again(case_type, case_type.findings.to_json(worked.case.findings), words)
        check(case)
    except BadFields as error:
        raise BadFindings(faults | error.faults) from error
    except (CaseError, NotUsable) as error:
        raise BadFindings({**faults, "": str(error)}) from error
    if faults:
        raise BadFindings(faults)
    return Written(title, words, Worked(case, worked.answers, worked.warnings))


def again(case_type: CaseType, findings: Any, words: str) -> Case:
    """Make the case of findings as they are saved; raises CaseError."""
    return case_type.case(case_type.findings.from_json(findings), words=words)


def check(case: Case) -> None:
    """Hold a case to what every drawn case is held to.

    Raises
    ------
    NotUsable
        With the reason, and what to change.
    CaseError
        When its findings fit no case, or it cannot be drawn as a picture.
    """
    hidden = case.hidden_slips()
    if len(hidden) == 1:
        raise NotUsable(
            f"A mistake would not show: a learner who {_slip(hidden[0])} gets the right answer as well. "
            "Change a number so that the two answers differ."
        )
    if hidden:
        one, other = map(_slip, hidden)
        raise NotUsable(
            f"Two mistakes would look the same: a learner who {one} and one who {other} give the same answer. "
            "Change a number so that the two answers differ."
        )
    if not case.is_undisputed:
        raise NotUsable(
            "Two colleagues may judge these findings differently. Move the findings away from the border between "
            "two choices."
        )
    if not case.is_firm():
        raise NotUsable(
            "The right choice depends on less than the usual error of one finding. Move that finding away from the "
            "border between two choices."
        )
    case.type.figure(case.findings, "own")


def _slip(ref: SlipRef) -> str:
    return f"{all_slips()[ref.slip].title} (step: {all_skills()[ref.step].title})"


# --- keeping them ------------------------------------------------------------------------------------------------


def own(store: Store, what: Class, number: int) -> OwnCase:
    """Return an own case of a class.

    Raises
    ------
    UnknownOwnCase
    """
    found = own_case_queries.case_of_id(store, number)
    if found is None or found.class_id != what.id:
        raise UnknownOwnCase
    return found


def keep(store: Store, what: Class, who: Preceptor, written: Written, *, now: float) -> int:
    """Save a case that was looked over and return its number.

    Raises
    ------
    CaseInUse
        When the class has as many as it may.
    """
    with store.writing():
        if len(own_case_queries.cases_of(store, what.id)) >= MOST_CASES:
            raise CaseInUse(f"this class has {MOST_CASES} own cases, the most possible: remove one that you do not use")
        return own_case_queries.add(store, what.id, _row(written, who.name), now)


def change(store: Store, one: OwnCase, written: Written) -> None:
    """Give an own case that no drill has other words and findings.

    Raises
    ------
    CaseInUse
    """
    with store.writing():
        _refuse_in_use(store, one)
        own_case_queries.change(store, one.id, _row(written, one.preceptor))


def remove(store: Store, one: OwnCase) -> None:
    """Remove an own case that no drill has.

    Raises
    ------
    CaseInUse
    """
    with store.writing():
        _refuse_in_use(store, one)
        own_case_queries.remove(store, one.id)


def _refuse_in_use(store: Store, one: OwnCase) -> None:
    found = own_case_queries.drills_with(store, one.id)
    if found:
        raise CaseInUse(
            f"the drill “{found[0][1]}” has this case, so it stays as it is: write another from it, "
            "or remove the drill first"
        )


def _row(written: Written, preceptor: str) -> NewCase:
    case = written.case
    return NewCase(written.title, written.words, case.type.id, case.type.findings.to_json(case.findings), preceptor)
