"""The verdict on an answer, and what explains it. Lenses are compared, never texts. cases/README.md has its JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from cases.errors import CaseError
from cases.optics.lens import SphCyl
from cases.procedure.case_type import Case, Defensible
from cases.procedure.chain import Slipped, Values
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.explaining import FACT, LIKELY, NOTHING_KNOWN, Beforehand, Explanation, explain, together
from cases.procedure.fields import Field
from cases.procedure.kinds import Cross, Kind, Lens
from cases.procedure.quantities import Quantity
from cases.procedure.vocabulary import CREDITED, MISSED


class UnreadableAnswer(CaseError):
    """An answer could not be read: which part of it, and why."""

    def __init__(self, why: str, ask: str | None = None) -> None:
        super().__init__(why)
        self.ask = ask


@dataclass(frozen=True)
class Mark:
    """A verdict: "right", "equivalent", "near", "slip", "wrong" or "unreadable", with all that explains it.

    "slip" only where a single slip, or twins together, explain the answer with a probability of .85 or more.
    """

    verdict: str
    case: Case
    read_as: Values | None = None
    weighed: tuple[Explanation, ...] = ()
    """Everything that may explain a miss, the most probable first."""
    unreadable: UnreadableAnswer | None = None
    defended: Defensible | None = None
    """What speaks for the answer, where it is not the key and is credited all the same; its verdict is "right"."""

    @cached_property
    def named(self) -> tuple[Explanation, ...]:
        """The slip and its twins, or else the pairs, that together reach a probability of .5; empty where none do."""
        for kind in ("slip", "pair"):
            found = together(self.case, self.weighed, kind)
            if _probability(found) >= LIKELY:
                return found
        return ()

    @property
    def explanations(self) -> tuple[Slipped, ...]:
        """The workings with the slips that are named."""
        return tuple(one.slipped for one in self.named if one.slipped is not None)

    @property
    def probability(self) -> float:
        """How probable what is named is (0..1)."""
        return _probability(self.named)

    @property
    def credited(self) -> bool:
        """Whether the answer counts as right."""
        return self.verdict in CREDITED and not self.sent_back

    @property
    def sent_back(self) -> bool:
        """Whether the answer is the right lens, or nearly, in the other form, where the form was the point."""
        if not self.case.type.form_matters or self.verdict not in CREDITED or self.read_as is None:
            return False
        return _other_form(self.case, self.read_as)

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
            "explanations": [one.to_json() for one in self.weighed],
            "slips": [one.to_json()["slips"] for one in self.named],
            "because": str(self.unreadable) if self.unreadable else None,
            "credited_as": None
            if self.defended is None
            else {name: getattr(self.defended, name) for name in ("weight", "because", "next_check")},
        }


def read_one(ask: Field[Any], text: str) -> Any:
    """Read what was given for one thing asked.

    Raises
    ------
    CaseError
        When nothing was given, or it cannot be read.
    """
    if not text.strip():
        raise UnreadableAnswer(ask.kind.missing)
    return ask.kind.read(text)


def read_fields(asks: Sequence[Field[Any]], texts: Mapping[str, str]) -> dict[str, Any]:
    """Read one text for every thing asked.

    Raises
    ------
    UnreadableAnswer
        With the name of the first thing that could not be read.
    """
    values = {}
    for ask in asks:
        text = texts.get(ask.name, "")
        try:
            values[ask.name] = read_one(ask, text)
        except CaseError as error:
            name = ask.label if ask.label.endswith("?") else f"{ask.label}:"
            raise UnreadableAnswer(f"{name} {error}" if len(asks) > 1 else str(error), ask.name) from error
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
    UnreadableAnswer
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
        raise UnreadableAnswer(f"{len(parts)} of {len(asks)} parts: write {wanted}, with a semicolon between")
    return {ask.name: part for ask, part in zip(asks, parts, strict=True)}


def mark_text(case: Case, text: str, beforehand: Beforehand = NOTHING_KNOWN) -> Mark:
    """Mark an answer written as one text."""
    try:
        return mark(case, read_fields(case.type.asks, split_answer(case.type.asks, text)), beforehand)
    except UnreadableAnswer as error:
        return Mark("unreadable", case, unreadable=error)


def mark_fields(case: Case, texts: Mapping[str, str], beforehand: Beforehand = NOTHING_KNOWN) -> Mark:
    """Mark an answer written in one text for every thing asked."""
    try:
        return mark(case, read_fields(case.type.asks, texts), beforehand)
    except UnreadableAnswer as error:
        return Mark("unreadable", case, unreadable=error)


def mark(case: Case, given: Values, beforehand: Beforehand = NOTHING_KNOWN) -> Mark:
    """Mark an answer that has been read; an eighth written as −3.37, −3.375 or −3.38 is marked alike.

    beforehand: what is known of the slips and of this learner's steps; without it base rates alone are weighed.
    """
    return _credited(case, given) or _weighed_now(case, given, beforehand)


def is_credited(case: Case, given: Values) -> bool:
    """Say whether an answer that has been read counts as right, without weighing why where it does not."""
    found = _credited(case, given)
    return found is not None and found.credited


def mark_again(case: Case, texts: Mapping[str, str], verdict: str, weighed: Sequence[Explanation]) -> Mark:
    """Mark an answer once more, a miss with its explanations as they were weighed when it came, and not weighed again.

    What is known of a learner moves on, so that it would be weighed otherwise now. An answer that this version credits
    is marked so. It is weighed where there is nothing to take over: it was credited, or a slip is no longer one.
    weighed: the explanations then, which need no working: it is found here.
    """
    try:
        given = read_fields(case.type.asks, texts)
    except UnreadableAnswer as error:
        return Mark("unreadable", case, unreadable=error)
    if credited := _credited(case, given):
        return credited
    wanted = {one.slips for one in weighed if one.slips}
    # Pairs take long to work out, and most answers have none that is probable.
    every = (*case.singles, *(case.doubles if any(len(slips) > 1 for slips in wanted) else ()))
    runs = {one.slips: one for one in every if one.slips in wanted}
    if verdict not in MISSED or len(runs) < len(wanted):
        return _weighed_now(case, given, NOTHING_KNOWN)
    return Mark(verdict, case, given, tuple(replace(one, slipped=runs.get(one.slips)) for one in weighed))


def _credited(case: Case, given: Values) -> Mark | None:
    """Return the mark of an answer that counts as right, else None."""
    meant = case.type.meant(given)
    if any(case.type.same(one, case.truth) for one in meant):
        return Mark("equivalent" if _other_form(case, given) else "right", case, given)
    if any(case.type.close(one, case.truth) for one in meant):
        return Mark("near", case, given)
    defended = _defended(case, meant)
    return None if defended is None else Mark("right", case, given, defended=defended)


def _weighed_now(case: Case, given: Values, beforehand: Beforehand) -> Mark:
    weighed = explain(case, case.type.meant(given), beforehand)
    return Mark("slip" if _probability(together(case, weighed, "slip")) >= FACT else "wrong", case, given, weighed)


def _probability(explanations: Sequence[Explanation]) -> float:
    return math.fsum(one.probability for one in explanations)


def _defended(case: Case, meant: Sequence[Values]) -> Defensible | None:
    """Find the best of the other answers that are credited and that this one may be."""
    matched = (
        one for one in case.defensible if any(case.type.close(given, {**case.truth, **one.answer}) for given in meant)
    )
    return max(matched, key=lambda one: one.weight, default=None)


def _other_form(case: Case, given: Values) -> bool:
    lens = next((given[ask.name] for ask in case.type.asks if isinstance(ask.kind, Lens)), None)
    if lens is None or lens.cylinder == 0 or case.form is None:
        return False
    return bool((lens.cylinder < 0) != (case.form == "minus"))
