"""Kinds that are answered by choosing: one of several, several of several, or an order. All can be typed as numbers."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from cases.errors import CaseError
from cases.notation.tokens import hold_to_length
from cases.procedure.kinds import BadFinding, Kind


@dataclass(frozen=True)
class Option:
    """One of the things to choose from."""

    id: str
    label: str
    when: str = ""
    """When it is the right choice: a sentence, told to the person who chose it where it is not."""


class UnknownOption(CaseError):
    """A choice was answered with something that is not on offer."""

    def __init__(self, given: str, options: Sequence[Option]) -> None:
        offered = ", ".join(f"{number} {option.label}" for number, option in enumerate(options, 1))
        super().__init__(f"“{given.strip()[:40]}” is not one of the choices: {offered}")


@dataclass(frozen=True)
class Choice(Kind[str]):
    """One of a few options, answered by its number, its label or its id."""

    options: tuple[Option, ...]
    scales: tuple[tuple[str, ...], ...] = ()
    """Ids of options that follow each other in even steps, such as the rows of a chart; where none is named, all do."""
    id = "choice"
    hint = "the number of one"
    missing = "nothing was chosen: choose one"

    def off_by(self, value: str, places: int) -> tuple[str, ...]:
        """Return the ids this many places away, on the first scale that holds this option."""
        scale = next((one for one in self.scales if value in one), tuple(option.id for option in self.options))
        found = (scale.index(value) + sign * places for sign in (-1, 1))
        return tuple(scale[place] for place in found if 0 <= place < len(scale))

    def read(self, text: str) -> str:
        """Read a number, a label or an id."""
        return _one(text, self.options)

    def write(self, value: str) -> str:
        """Write its label."""
        return _label(value, self.options)

    def from_json(self, given: object) -> str:
        """Take an option's id out of JSON."""
        if not isinstance(given, str) or given not in {option.id for option in self.options}:
            raise BadFinding(given, "give one of " + ", ".join(option.id for option in self.options))
        return str(given)

    def to_json(self, value: str) -> str:
        """Give the option's id."""
        return value

    def same(self, given: str, truth: str) -> bool:
        """Compare ids."""
        return given == truth

    def close(self, given: str, truth: str) -> bool:
        """Compare ids: there is no nearly right choice."""
        return given == truth


def _one(text: str, options: Sequence[Option]) -> str:
    wanted = hold_to_length(text).strip().casefold()
    for number, option in enumerate(options, 1):
        if wanted in (str(number), option.id.casefold(), option.label.casefold()):
            return option.id
    raise UnknownOption(text, options)


def _label(value: str, options: Sequence[Option]) -> str:
    return next(option.label for option in options if option.id == value)


def _listed(given: object, options: Sequence[Option]) -> tuple[str, ...]:
    known = {option.id for option in options}
    listed = given if isinstance(given, Sequence) and not isinstance(given, str) else None
    if listed is not None and all(isinstance(one, str) and one in known for one in listed):
        return tuple(listed)
    raise BadFinding(given, "give a list out of " + ", ".join(option.id for option in options))


_BETWEEN = re.compile(r"[;,]")


def _parts(text: str, options: Sequence[Option]) -> list[str]:
    """Cut an answer into its parts; a label has spaces in it, so one that stands alone is not cut."""
    if hold_to_length(text).strip().casefold() in {option.label.casefold() for option in options}:
        return [text]
    split = _BETWEEN.split(text) if _BETWEEN.search(text) else text.split()
    return [part for part in split if part.strip()]


@dataclass(frozen=True)
class Order(Kind[tuple[str, ...]]):
    """All of the options in an order, first to last: a tuple of ids."""

    options: tuple[Option, ...]
    id = "order"
    missing = "no order was given: choose which comes first, which next, to the last"

    @property
    def hint(self) -> str:  # type: ignore[override]
        """How it is typed."""
        return f"the numbers 1 to {len(self.options)} in order, such as {' '.join(map(str, self._example()))}"

    def _example(self) -> Iterable[int]:
        return range(len(self.options), 0, -1)

    def read(self, text: str) -> tuple[str, ...]:
        """Read numbers, ids or labels with spaces, commas or semicolons between."""
        ids = tuple(_one(part, self.options) for part in _parts(text, self.options))
        if len(ids) != len(self.options) or len(set(ids)) != len(ids):
            raise WrongCount(text, f"every one of the {len(self.options)} is needed, each once")
        return ids

    def write(self, value: Sequence[str]) -> str:
        """Write the labels first to last."""
        return "; ".join(_label(one, self.options) for one in value)

    def from_json(self, given: object) -> tuple[str, ...]:
        """Take a list of ids out of JSON."""
        return _listed(given, self.options)

    def to_json(self, value: Sequence[str]) -> list[str]:
        """Give a list of ids."""
        return list(value)

    def same(self, given: Sequence[str], truth: Sequence[str]) -> bool:
        """Compare place by place."""
        return tuple(given) == tuple(truth)

    def close(self, given: Sequence[str], truth: Sequence[str]) -> bool:
        """Compare place by place: there is no nearly right order."""
        return self.same(given, truth)


@dataclass(frozen=True)
class Marks(Kind[tuple[str, ...]]):
    """Any number of the options, none included: a tuple of ids in the order in which they are offered."""

    options: tuple[Option, ...]
    id = "marks"
    hint = "the numbers of all that apply with spaces between, or none"
    missing = "nothing was chosen: choose all that apply, or none of these"

    def read(self, text: str) -> tuple[str, ...]:
        """Read numbers, ids or labels with spaces, commas or semicolons between, or "none"."""
        if hold_to_length(text).strip().casefold() in ("none", "0", "-", "–"):
            return ()
        chosen = {_one(part, self.options) for part in _parts(text, self.options)}
        return self._in_place(chosen)

    def _in_place(self, chosen: Iterable[str]) -> tuple[str, ...]:
        wanted = set(chosen)
        return tuple(option.id for option in self.options if option.id in wanted)

    def write(self, value: Sequence[str]) -> str:
        """Write the labels, or "none"."""
        return "; ".join(_label(one, self.options) for one in value) or "none"

    def from_json(self, given: object) -> tuple[str, ...]:
        """Take a list of ids out of JSON."""
        return self._in_place(_listed(given, self.options))

    def to_json(self, value: Sequence[str]) -> list[str]:
        """Give a list of ids."""
        return list(value)

    def same(self, given: Sequence[str], truth: Sequence[str]) -> bool:
        """Compare as sets."""
        return set(given) == set(truth)

    def close(self, given: Sequence[str], truth: Sequence[str]) -> bool:
        """Compare as sets: leaving one out is not nearly right."""
        return self.same(given, truth)


class WrongCount(CaseError):
    """An order was answered with too few, too many or repeated parts."""

    def __init__(self, given: str, rule: str) -> None:
        super().__init__(f"“{given.strip()[:40]}”: {rule}")


MINUS_OR_PLUS = Choice((Option("minus", "minus cylinder"), Option("plus", "plus cylinder")))
