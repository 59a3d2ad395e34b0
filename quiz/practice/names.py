"""Names of learners, preceptors and classes: tidied, or refused with what would do."""

from __future__ import annotations

import unicodedata

from quiz.errors import QuizError
from quiz.storage.store import Learner

LONGEST_NAME = 60


class BadName(QuizError):
    """A name that cannot be taken."""


_JOINERS = "\u200c\u200d"
"""They belong to the spelling of names in Persian and in Indian scripts."""


def tidy_name(text: str, others: list[Learner], *, of: str = "") -> str:
    """Return a name with its spaces tidied; `of` says whose it is, for the refusal of an empty one: "the class".

    Raises
    ------
    BadName
        When it is empty, too long, holds characters that do not print, or is another learner's.
    """
    name = " ".join(text.split())
    # Putting accents in order takes the square of their number, so the length comes first: four marks a letter at most.
    if len(name) <= 4 * LONGEST_NAME:
        name = unicodedata.normalize("NFC", name)
    if not name:
        raise BadName(f"Enter a name for {of}." if of else "no name was given: write the name that you go by here")
    if len(name) > LONGEST_NAME:
        raise BadName(f"a name of {len(name)} characters: {LONGEST_NAME} is the most")
    if any(unicodedata.category(mark) in ("Cc", "Cf", "Cs", "Co", "Cn") for mark in name if mark not in _JOINERS):
        raise BadName("the name holds characters that do not print: write it again")
    if any(one.name.casefold() == name.casefold() for one in others):
        raise BadName(f"“{name}” is taken: pick it from the list, or add a letter")
    return name
