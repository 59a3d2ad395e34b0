"""What a chain knows, as keys that carry their type; rules from keys to a value; steps and slips made of rules."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from operator import itemgetter
from typing import Any, Generic, Protocol, TypeVar, TypeVarTuple, overload

from cases.procedure.chain import ChainSlip, ChainStep, Skill, SlipName, Values, always
from cases.procedure.figure import Figure

A = TypeVar("A")
B = TypeVar("B")
C = TypeVar("C")
D = TypeVar("D")
E = TypeVar("E")
F = TypeVar("F")
T = TypeVar("T")
V = TypeVar("V")
T_co = TypeVar("T_co", covariant=True)
Ts = TypeVarTuple("Ts")


class Readable(Protocol[T_co]):
    """What a rule is made of: a key, or another rule, whose value is then worked out again wherever it is read."""

    def get(self, known: Values) -> T_co:
        """Look the value up, or work it out."""


@dataclass(frozen=True)
class Key(Generic[T]):
    """The name of one thing that a chain knows, and the type of its value."""

    name: str
    unit: str = field(default="", kw_only=True)

    def get(self, known: Values) -> T:
        """Look the value up."""
        value: T = known[self.name]
        return value

    def to(self, value: T) -> dict[str, Any]:
        """Give the value as what is known; join several with `|`."""
        return {self.name: value}

    def by(self, rule: Rule[T]) -> Given:
        """Say by which rule the value is found: for what a chain begins with, and for answers."""
        return Given((self,), rule, self._named(rule))

    def _named(self, rule: Rule[T]) -> Callable[[Values], dict[str, Any]]:
        name, function, of = self.name, rule.function, rule.of
        # One call fewer for rules of one or two keys, which are most: chains run very often.
        match rule.looks:
            case (a,):
                return lambda known: {name: function(a(known))}
            case (a, b):
                return lambda known: {name: function(a(known), b(known))}
            case _:
                return lambda known: {name: of(known)}

    def step(
        self,
        skill: Skill,
        *,
        run: Rule[T],
        says: Rule[str],
        slips: Sequence[Slip[T]] = (),
        needed: Rule[bool] | None = None,
    ) -> Step:
        """Make the step that gives this value."""
        return _step((self,), self._named, skill, run, says, slips, needed)


@dataclass(frozen=True)
class Flag(Key[bool]):
    """Whether a step was called for: it gives True, and where it was passed over the mark is False."""

    def get(self, known: Values) -> bool:
        """Say whether the mark was left."""
        return bool(known.get(self.name, False))


@dataclass(frozen=True)
class Part(Key[T]):
    """One thing inside another, such as the streak of the first view."""

    whole: Key[Mapping[str, Any]]
    inner: Key[T]

    def get(self, known: Values) -> T:
        """Look the value up in the whole."""
        return self.inner.get(self.whole.get(known))


@dataclass(frozen=True)
class Keys(Generic[*Ts]):
    """Several keys in order: called with a function of their values they make a rule. Rules may stand among them."""

    read: tuple[Readable[Any], ...]

    @property
    def keys(self) -> tuple[Key[Any], ...]:
        """The keys, for what is given under them.

        Raises
        ------
        TypeError
            Where a rule stands among them: a value cannot be given under a rule.
        """
        found = tuple(one for one in self.read if isinstance(one, Key))
        if len(found) < len(self.read):
            raise TypeError("a value can be given under a key only, and a rule stands among these")
        return found

    def __call__(self, function: Callable[[*Ts], V]) -> Rule[V]:
        """Make the rule that calls `function` with the values of these keys."""
        looks = tuple(map(_look, self.read))
        return Rule(_needed(self.read), function, _looking_up(looks, function), looks)

    def drawing(self, function: Callable[[str, *Ts], Figure | None]) -> Drawing:
        """Make the rule of a figure: `function` is given the figure's id on the page, then the values."""
        return Drawing(_needed(self.read), function, _getter(self.read))

    def to(self, *values: *Ts) -> dict[str, Any]:
        """Give one value for every key, as what is known."""
        every: tuple[Any, ...] = values
        return {key.name: value for key, value in zip(self.keys, every, strict=True)}

    def by(self, rule: Rule[tuple[*Ts]]) -> Given:
        """Say by which rule the values are found."""
        return Given(self.keys, rule, self._named(rule))

    def _named(self, rule: Rule[tuple[*Ts]]) -> Callable[[Values], dict[str, Any]]:
        names = [key.name for key in self.keys]
        of: Callable[[Values], tuple[Any, ...]] = rule.of
        return lambda known: dict(zip(names, of(known), strict=True))

    def step(
        self,
        skill: Skill,
        *,
        run: Rule[tuple[*Ts]],
        says: Rule[str],
        slips: Sequence[Slip[tuple[*Ts]]] = (),
        needed: Rule[bool] | None = None,
    ) -> Step:
        """Make the step that gives these values."""
        return _step(self.keys, self._named, skill, run, says, slips, needed)


@dataclass(frozen=True)
class Rule(Generic[T_co]):
    """A function of what certain keys hold. Called with all that is known, it looks them up."""

    needs: tuple[Key[Any], ...]
    function: Callable[..., T_co]
    of: Callable[[Values], T_co] = field(repr=False)
    """The function with its values looked up in what is known."""
    looks: tuple[Callable[[Values], Any], ...] = field(default=(), repr=False, compare=False)
    """How each of its values is looked up."""
    instead_of: Rule[Any] | None = field(default=None, repr=False, compare=False)
    """The rule that holds just where this one does not, if there is one: see `otherwise`."""

    def __call__(self, known: Values) -> T_co:
        """Look the values up and call the function."""
        return self.of(known)

    def get(self, known: Values) -> T_co:
        """Do the same where another rule reads this one."""
        return self.of(known)


@dataclass(frozen=True)
class Drawing:
    """A rule that draws: what it needs, and the id of the figure on the page."""

    needs: tuple[Key[Any], ...]
    function: Callable[..., Figure | None]
    _values: Callable[[Values], tuple[Any, ...]]

    def __call__(self, known: Values, uid: str) -> Figure | None:
        """Look the values up and draw."""
        return self.function(uid, *self._values(known))


@dataclass(frozen=True)
class Given:
    """Keys and the rule that finds their values."""

    keys: tuple[Key[Any], ...]
    rule: Rule[Any]
    _found: Callable[[Values], dict[str, Any]]

    def __call__(self, known: Values) -> dict[str, Any]:
        """Find the values."""
        return self._found(known)


@dataclass(frozen=True)
class Slip(Generic[T_co]):
    """One wrong version of a step: another rule for the same value, and the line that it leads to."""

    name: SlipName
    run: Rule[T_co]
    says: Rule[str]
    live: Rule[bool] | None = None
    """Whether the wrong way is wrong here at all: "always 1.50" is no slip at two thirds of a metre."""


@dataclass(frozen=True, kw_only=True)
class WiredSlip(ChainSlip):
    """A slip as chains run it, with what it reads."""

    rules: tuple[Rule[Any], ...] = field(repr=False)
    """Before the step: its run and its live."""
    line: Rule[str] = field(repr=False)
    """After the step."""


@dataclass(frozen=True, kw_only=True)
class Step(ChainStep):
    """A step as chains run it, with what it reads and gives, so that a whole chain can be checked unrun."""

    slips: tuple[WiredSlip, ...] = ()
    gives: tuple[Key[Any], ...] = field(repr=False)
    named: Callable[[Rule[Any]], Callable[[Values], dict[str, Any]]] = field(repr=False)
    rules: tuple[Rule[Any], ...] = field(repr=False)
    line: Rule[str] = field(repr=False)
    sometimes: bool

    @property
    def under(self) -> Rule[Any] | None:
        """The rule under which the step is carried out; None for a step that always is."""
        return self.rules[-1] if self.sometimes else None

    def when(self, needed: Rule[bool]) -> Step:
        """Make the same step for the cases that call for it."""
        before = self.rules[:1] if self.sometimes else self.rules
        return replace(self, needed=needed.of, rules=(*before, needed), sometimes=needed is not ALWAYS)

    def with_slips(self, *slips: Slip[Any]) -> Step:
        """Make the same step with other slips in place of its own."""
        return replace(self, slips=_plain_slips(slips, self.named))


@overload
def given() -> Keys[()]: ...
@overload
def given(a: Readable[A], /) -> Keys[A]: ...
@overload
def given(a: Readable[A], b: Readable[B], /) -> Keys[A, B]: ...
@overload
def given(a: Readable[A], b: Readable[B], c: Readable[C], /) -> Keys[A, B, C]: ...
@overload
def given(a: Readable[A], b: Readable[B], c: Readable[C], d: Readable[D], /) -> Keys[A, B, C, D]: ...
@overload
def given(a: Readable[A], b: Readable[B], c: Readable[C], d: Readable[D], e: Readable[E], /) -> Keys[A, B, C, D, E]: ...
@overload
def given(
    a: Readable[A], b: Readable[B], c: Readable[C], d: Readable[D], e: Readable[E], f: Readable[F], /
) -> Keys[A, B, C, D, E, F]: ...
def given(*keys: Readable[Any]) -> Keys[*tuple[Any, ...]]:
    """Name what a rule is made of: keys, or other rules that are worked out first.

    Of more than six make a record, by a rule of its own, and read that rule.
    """
    return Keys(keys)


def given_all(keys: Sequence[Readable[T]]) -> Keys[*tuple[T, ...]]:
    """Name any number of keys of one type."""
    return Keys[*tuple[T, ...]](tuple(keys))


def as_found(*keys: Key[Any]) -> Given:
    """Answer with what the chain knows under these very keys."""
    every = Keys[*tuple[Any, ...]](keys)
    return every.by(every(lambda *values: values))


def asking(text: str) -> Rule[str]:
    """Make the rule of a question that is the same for every case."""
    return given()(lambda: text)


def otherwise(rule: Rule[bool]) -> Rule[bool]:
    """Make the rule that holds just where this one does not: of two branches of a chain one is always carried out."""
    return replace(given(rule)(lambda held: not held), instead_of=rule)


def _needed(read: tuple[Readable[Any], ...]) -> tuple[Key[Any], ...]:
    """List the keys that are read, those of rules among them, each once."""
    every: list[Key[Any]] = []
    for one in read:
        every += one.needs if isinstance(one, Rule) else [one] if isinstance(one, Key) else []
    return tuple({id(one): one for one in every}.values())


def _looking_up(looks: tuple[Callable[[Values], Any], ...], function: Callable[..., V]) -> Callable[[Values], V]:
    """Bind a function to what it reads; up to five, which are nearly all, without a detour: chains run very often."""
    match looks:
        case ():
            return lambda _: function()
        case (a,):
            return lambda known: function(a(known))
        case (a, b):
            return lambda known: function(a(known), b(known))
        case (a, b, c):
            return lambda known: function(a(known), b(known), c(known))
        case (a, b, c, d):
            return lambda known: function(a(known), b(known), c(known), d(known))
        case (a, b, c, d, e):
            return lambda known: function(a(known), b(known), c(known), d(known), e(known))
        case _:
            return lambda known: function(*[look(known) for look in looks])


def _look(one: Readable[Any]) -> Callable[[Values], Any]:
    if isinstance(one, Rule):
        return one.of
    return itemgetter(one.name) if isinstance(one, Key) and not isinstance(one, Part | Flag) else one.get


def _getter(read: tuple[Readable[Any], ...]) -> Callable[[Values], tuple[Any, ...]]:
    looks = tuple(map(_look, read))
    return lambda known: tuple([look(known) for look in looks])


def _step(
    gives: tuple[Key[Any], ...],
    named: Callable[[Rule[Any]], Callable[[Values], dict[str, Any]]],
    skill: Skill,
    run: Rule[Any],
    says: Rule[str],
    slips: Sequence[Slip[Any]],
    needed: Rule[bool] | None,
) -> Step:
    return Step(
        skill=skill,
        run=named(run),
        says=says.of,
        slips=_plain_slips(slips, named),
        needed=needed.of if needed else always,
        gives=gives,
        named=named,
        rules=(run, *([needed] if needed else [])),
        line=says,
        sometimes=needed is not None and needed is not ALWAYS,
    )


def _plain_slips(
    slips: Sequence[Slip[Any]], named: Callable[[Rule[Any]], Callable[[Values], dict[str, Any]]]
) -> tuple[WiredSlip, ...]:
    return tuple(_plain(one, named) for one in slips)


def _plain(slip: Slip[Any], named: Callable[[Rule[Any]], Callable[[Values], dict[str, Any]]]) -> WiredSlip:
    return WiredSlip(
        slip.name,
        named(slip.run),
        slip.says.of,
        slip.live.of if slip.live else always,
        rules=(slip.run, *([slip.live] if slip.live else [])),
        line=slip.says,
    )


ALWAYS: Rule[bool] = Keys[()](())(lambda: True)
"""Under all conditions."""
NOTHING = Given((), Keys[()](())(lambda: ()), lambda _: {})
"""For a chain that begins with its findings as they are."""
NO_FIGURE = Keys[()](()).drawing(lambda _: None)
"""For a type whose findings are words alone."""
