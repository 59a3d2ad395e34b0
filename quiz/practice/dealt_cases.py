"""A case that waits, one that was answered, and why an answer is sent back: what practice hands to its pages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from cases.procedure.case_type import Case
from cases.procedure.marking import Mark
from cases.procedure.vocabulary import CREDITED
from quiz.errors import QuizError
from quiz.storage.store import Answer, Dealt, Retyped


@dataclass(frozen=True)
class Place:
    """Where in its sitting a case stands."""

    number: int
    of: int | None

    @property
    def words(self) -> str:
        """Say it: "Case 3 of 10"."""
        return f"Case {self.number}" + (f" of {self.of}" if self.of else "")


class UnknownCase(QuizError):
    """No such case was dealt to this learner."""

    def __init__(self) -> None:
        super().__init__("no such case was dealt to you: go on with the one that is open, from Today")


class SentBack(QuizError):
    """An answer that is not marked yet: it could not be read, or gave the lens back as it stood. Nothing is kept."""

    def __init__(self, why: str, ask: str | None) -> None:
        super().__init__(why)
        self.ask = ask


class BadConfidence(QuizError):
    """A confidence that the form does not offer."""

    def __init__(self, given: object) -> None:
        super().__init__(f"confidence {given}: give 1, 2 or 3, or leave it out")


@dataclass(frozen=True)
class Waiting:
    """A case that waits for its answer."""

    dealt: Dealt
    case: Case


@dataclass(frozen=True)
class Marked:
    """A case that was answered."""

    dealt: Dealt
    answer: Answer
    mark: Mark
    """Of the answer that was meant, where the one in the log was mistyped."""
    retyped: Retyped | None = None
    """The answer that was meant."""

    @property
    def given(self) -> Mapping[str, str]:
        """The texts that the mark is of."""
        return self.answer.given if self.retyped is None else self.retyped.given


@dataclass(frozen=True)
class Taken:
    """What became of an answer that was handed in."""

    outcome: str
    """"new", "repeat" (the same answer again) or "other" (another answer to a case that has one: the first stands)."""
    dealt_id: str


def can_retype(answer: Answer) -> bool:
    """Say whether an answer may have been mistyped: its learner typed it, and it was missed."""
    typed = answer.options is None and not (answer.did_not_know or answer.on_paper)
    return typed and answer.verdict not in CREDITED
