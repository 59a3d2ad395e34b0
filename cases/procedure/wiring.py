"""Whether every rule of a case type finds what it needs, and every value is needed: checked when a type is made."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any, Protocol

from cases.errors import CaseError
from cases.procedure.keys import Drawing, Flag, Given, Key, Part, Rule, Step

Read = Rule[Any] | Drawing


class Findings(Protocol):
    """What of a type's findings is looked at here."""

    @property
    def fields(self) -> Sequence[Key[Any]]: ...  # noqa: D102


class Chain(Protocol):
    """What of a case type is looked at here."""

    @property
    def id(self) -> str: ...  # noqa: D102
    @property
    def findings(self) -> Findings: ...  # noqa: D102
    @property
    def asks(self) -> Sequence[Key[Any]]: ...  # noqa: D102
    @property
    def holds(self) -> Rule[None]: ...  # noqa: D102
    @property
    def begin(self) -> Given: ...  # noqa: D102
    @property
    def steps(self) -> Sequence[Step]: ...  # noqa: D102
    @property
    def answer(self) -> Given: ...  # noqa: D102
    @property
    def defensible(self) -> Rule[Any]: ...  # noqa: D102
    @property
    def undisputed(self) -> Rule[bool]: ...  # noqa: D102
    @property
    def found(self) -> Rule[tuple[str, ...]]: ...  # noqa: D102
    @property
    def question(self) -> Rule[str]: ...  # noqa: D102
    @property
    def figure(self) -> Drawing: ...  # noqa: D102


class BrokenChain(CaseError):
    """A case type's rules do not fit together: at which place of which type, and what would be right."""

    def __init__(self, type_id: str, where: str, what: str) -> None:
        super().__init__(f"case type {type_id}, {where}: {what}")


@dataclass
class _Value:
    """One value in the chain: its key, who gave it, and whether anything reads it."""

    key: Key[Any]
    giver: str
    under: Rule[Any] | None = None
    """The rule under which it is given, where it is not always."""
    read: bool = False
    said_by: tuple[_Value, ...] = ()
    """The other values of a step whose own sentence reads this one: it is needed where one of them is."""

    @property
    def needed(self) -> bool:
        return self.read or any(one.read for one in self.said_by)


class _Chain:
    """What is known while the chain is gone through without being run."""

    def __init__(self, type_id: str) -> None:
        self.type_id = type_id
        self.known: dict[str, list[_Value]] = {}
        self.every: list[_Value] = []

    def give(
        self, keys: Sequence[Key[Any]], giver: str, *, under: Rule[Any] | None = None, said: Sequence[str] = ()
    ) -> None:
        values = [_Value(key, giver, under) for key in keys]
        for key, value in zip(keys, values, strict=True):
            self.every.append(value)
            if key.name in said:
                value.said_by = tuple(other for other in values if other is not value)
            before = [one for one in self.known.get(key.name, []) if under and one.under is not under]
            self.known[key.name] = [*before, value]

    def found(self, key: Key[Any], under: Rule[Any] | None) -> list[_Value]:
        """Return what may stand under a key where `under` holds; nothing where there may be no value at all.

        What is given in some cases only is known under the same rule, and everywhere once both branches gave it.
        """
        values = self.known.get(key.name, [])
        given_under = [value.under for value in values]
        branches = any(_exclude(one, other) for one, other in combinations(given_under, 2))
        always = isinstance(key, Flag) or None in given_under or branches or under in given_under
        if not always:
            return []
        return [value for value in values if not _exclude(value.under, under)]

    def read(
        self,
        rules: Sequence[Read],
        where: str,
        also: Sequence[Key[Any]] = (),
        under: Rule[Any] | None = None,
    ) -> None:
        """Hold each rule to what is known here, and to `also`, what the step itself has just given."""
        own = {key.name: key for key in also}
        for key in (one for rule in rules for one in rule.needs):
            whole = key.whole if isinstance(key, Part) else key
            if whole.name in own and _same(own[whole.name], whole):
                continue
            values = self.found(whole, under)
            if not values and not isinstance(whole, Flag):
                what = f"needs {whole.name}, which nothing before it gives; known there: {', '.join(self.known)}"
                raise BrokenChain(self.type_id, where, what)
            for value in values:
                if not _same(value.key, whole):
                    what = f"needs another {whole.name} than the one known here, which {value.giver} gave"
                    raise BrokenChain(self.type_id, where, what)
                value.read = True


def _exclude(a: Rule[Any] | None, b: Rule[Any] | None) -> bool:
    """Say whether of two rules one holds just where the other does not."""
    return a is not None and b is not None and (a.instead_of is b or b.instead_of is a)


def _same(a: Key[Any], b: Key[Any]) -> bool:
    """Say whether two keys stand for one thing: a field may have a label and range of its own in every type."""
    kinds = [getattr(getattr(one, "kind", None), "id", None) for one in (a, b)]
    return a is b or (a.name == b.name and kinds[0] == kinds[1] and kinds[0] is not None)


def check_wiring(case_type: Chain) -> None:
    """Go through a type's chain without running it.

    Raises
    ------
    BrokenChain
        Where a rule needs what is not known there, or a value is never needed.
    """
    chain = _Chain(case_type.id)
    chain.give(case_type.findings.fields, "the findings")
    # These see the findings alone, so that none of them can give the answer away.
    for name in ("found", "question", "figure", "holds"):
        chain.read([getattr(case_type, name)], name)
    chain.read([case_type.begin.rule], "begin")
    chain.give(case_type.begin.keys, "begin")
    for step in case_type.steps:
        where = f"step {step.skill.id}"
        chain.read(step.rules, where, under=step.under)
        chain.read([step.line], f"{where}, says", step.gives, step.under)
        for slip in step.slips:
            chain.read(slip.rules, f"{where}, slip {slip.name.id}", under=step.under)
            chain.read([slip.line], f"{where}, slip {slip.name.id}, says", step.gives, step.under)
        said = {key.name for line in (step.line, *(slip.line for slip in step.slips)) for key in line.needs}
        chain.give(step.gives, where, under=step.under, said=tuple(said))
    chain.read([case_type.answer.rule], "answer")
    chain.read([case_type.defensible], "defensible")
    chain.read([case_type.undisputed], "undisputed")
    asked, answered = sorted(one.name for one in case_type.asks), sorted(one.name for one in case_type.answer.keys)
    if asked != answered:
        raise BrokenChain(case_type.id, "answer", f"gives {', '.join(answered)}, where {', '.join(asked)} is asked")
    idle = [value for value in chain.every if not value.needed]
    if idle:
        raise BrokenChain(case_type.id, idle[0].giver, f"gives {idle[0].key.name}, which nothing needs")
