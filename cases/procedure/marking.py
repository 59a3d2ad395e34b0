"""The verdict on an answer, and the slip behind it. Lenses are compared, never texts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

from cases.errors import CaseError
from cases.optics.lens import SphCyl
from cases.procedure.case_type import Case, Slipped
from cases.procedure.chain import Values
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.fields import Field
from cases.procedure.kinds import Cross, Kind, Lens
from cases.procedure.quantities import Quantity
from cases.procedure.vocabulary import CREDITED


class Unreadable(CaseError):
    """An answer could not be read: which part of it, and why."""

    def __init__(self, why: str, ask: str | None = None) -> None:
        super().__init__(why)
        self.ask = ask


@dataclass(frozen=True)
class Mark:
    """A verdict: "right", "equivalent", "near", "slip", "wrong" or "unreadable", with all that explains it."""

    verdict: str
    case: Case
    read_as: Values | None = None
    explanations: tuple[Slipped, ...] = ()
    unreadable: Unreadable | None = None

    @property
    def credited(self) -> bool:
        """Whether the answer counts as right."""
        return self.verdict in CREDITED and not self.sent_back

    @property
    def sent_back(self) -> bool:
        """Whether the answer is the lens as it was given where turning it was the point: to be tried again."""
        return self.verdict == "equivalent" and self.case.type.form_matters

    @property
    def difference(self) -> SphCyl | None:
        """Answer minus truth as a lens, where a lens or a power was asked."""
        if self.read_as is None:
            return None
        for ask in sorted(self.case.type.asks, key=lambda ask: not isinstance(ask.kind, Lens | Cross)):
            given, truth = self.read_as[ask.name], self.case.truth[ask.name]
            if isinstance(ask.kind, Lens | Cross):
                return given - truth  # type: ignore[no-any-return]
            if isinstance(ask.kind, Quantity) and ask.kind.eighths:
                return SphCyl(given - truth)
        return None

    @property
    def twins(self) -> bool:
        """Whether the explanations are single slips that this type cannot tell apart."""
        return len(self.explanations) > 1 and all(len(one.slips) == 1 for one in self.explanations)

    def to_json(self) -> dict[str, Any]:
        """Give the mark as JSON; cases/README.md says what is in it."""
        difference = self.difference
        vector = difference.power_vector() if difference else ()
        return {
            "verdict": self.verdict,
            "read_as": None if self.read_as is None else self.case.type.answer_json(self.read_as),
            "answer": self.case.type.answer_json(self.case.truth),
            "difference": None
            if difference is None
            else Lens().to_json(difference)
            | {name: round(part, 3) + 0.0 for name, part in zip(("M", "J0", "J45"), vector, strict=True)},
            "slips": [[{"step": ref.step, "slip": ref.slip} for ref in one.slips] for one in self.explanations],
            "because": str(self.unreadable) if self.unreadable else None,
        }


def read_one(ask: Field[Any], text: str) -> Any:
    """Read what was given for one thing asked.

    Raises
    ------
    CaseError
        When nothing was given, or it cannot be read.
    """
    if not text.strip():
        raise Unreadable(ask.kind.missing)
    return ask.kind.read(text)


def read_fields(asks: Sequence[Field[Any]], texts: Mapping[str, str]) -> dict[str, Any]:
    """Read one text for every thing asked.

    Raises
    ------
    Unreadable
        With the name of the first thing that could not be read.
    """
    values = {}
    for ask in asks:
        text = texts.get(ask.name, "")
        try:
            values[ask.name] = read_one(ask, text)
        except CaseError as error:
            name = ask.label if ask.label.endswith("?") else f"{ask.label}:"
            raise Unreadable(f"{name} {error}" if len(asks) > 1 else str(error), ask.name) from error
    return values


def as_given(asks: Sequence[Field[Any]], texts: Mapping[str, str]) -> tuple[str, ...]:
    """Return what was given for each thing asked: what was typed as it was typed, what was chosen by its label."""
    return tuple(_as_given(ask.kind, texts.get(ask.name, "")) for ask in asks)


def named(asks: Sequence[Field[Any]], texts: Sequence[str]) -> tuple[str, ...]:
    """Put its label before each of several answers: figures alone do not say what they were given for."""
    if len(asks) == 1:
        return tuple(texts)
    return tuple(f"{ask.label}: {text}" for ask, text in zip(asks, texts, strict=True))


def _as_given(kind: Kind[Any], text: str) -> str:
    chosen: Kind[Any] | None = kind if isinstance(kind, Choice | Marks | Order) else None
    try:
        return chosen.write(chosen.read(text)) if chosen else text
    except CaseError:
        return text


def split_answer(asks: Sequence[Field[Any]], text: str) -> dict[str, str]:
    """Share one text out among several things asked: semicolons between, names before if one likes.

    Raises
    ------
    Unreadable
        When there are more or fewer parts than are asked for.
    """
    if len(asks) == 1:
        return {asks[0].name: text}
    parts = [part.strip() for part in text.split(";")]
    named = dict(part.split("=", 1) for part in parts if "=" in part)
    if named.keys() == {ask.name for ask in asks} and len(named) == len(parts):
        return named
    if len(parts) != len(asks):
        wanted = "; ".join(ask.label.lower() for ask in asks)
        raise Unreadable(f"{len(parts)} of {len(asks)} parts: write {wanted}, with a semicolon between")
    return {ask.name: part for ask, part in zip(asks, parts, strict=True)}


def mark_text(case: Case, text: str) -> Mark:
    """Mark an answer written as one text."""
    try:
        return mark(case, read_fields(case.type.asks, split_answer(case.type.asks, text)))
    except Unreadable as error:
        return Mark("unreadable", case, unreadable=error)


def mark_fields(case: Case, texts: Mapping[str, str]) -> Mark:
    """Mark an answer written in one text for every thing asked."""
    try:
        return mark(case, read_fields(case.type.asks, texts))
    except Unreadable as error:
        return Mark("unreadable", case, unreadable=error)


def mark(case: Case, given: Values) -> Mark:
    """Mark an answer that has been read; an eighth written as −3.37, −3.375 or −3.38 is marked alike.

    Singles explain before pairs: a pair of slips is looked for only where no single one gives the answer.
    """
    meant = _meant(case, given)
    if any(case.type.same(one, case.truth) for one in meant):
        return Mark("equivalent" if _other_form(case, given) else "right", case, given)
    if any(case.type.close(one, case.truth) for one in meant):
        return Mark("near", case, given)
    explanations = _explain(case, meant, case.singles) or _explain(case, meant, case.doubles)
    return Mark("slip" if explanations else "wrong", case, given, explanations)


def _meant(case: Case, given: Values) -> tuple[Values, ...]:
    """Return all that an answer may mean: one, where there is no eighth in it."""
    names = [ask.name for ask in case.type.asks]
    ways = product(*(ask.kind.meant(given[ask.name]) for ask in case.type.asks))
    return tuple(dict(zip(names, one, strict=True)) for one in ways)


def _explain(case: Case, meant: Sequence[Values], candidates: Sequence[Slipped]) -> tuple[Slipped, ...]:
    exact = tuple(one for one in candidates if any(case.type.same(given, one.answer) for given in meant))
    return exact or tuple(one for one in candidates if any(case.type.alike(given, one.answer) for given in meant))


def _other_form(case: Case, given: Values) -> bool:
    lens = next((given[ask.name] for ask in case.type.asks if isinstance(ask.kind, Lens)), None)
    if lens is None or lens.cylinder == 0 or case.form is None:
        return False
    return bool((lens.cylinder < 0) != (case.form == "minus"))
