"""What a case type is, what one case of it is, and how a case is drawn so that it can reveal what went wrong."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from functools import cached_property
from itertools import product
from typing import Any

from cases.errors import CaseError
from cases.evidence.sources import COMMON, check_sources
from cases.optics.axes import axis_of
from cases.optics.lens import SphCyl
from cases.procedure.chain import Run, Slipped, SlippedRun, SlipRef, Values, run_chain, slipped_runs
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.fields import Field, Group
from cases.procedure.keys import ALWAYS, NOTHING, Drawing, Given, Rule, Step, given
from cases.procedure.kinds import Kind, Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings
from cases.procedure.vocabulary import LEVELS
from cases.procedure.wiring import BrokenChain, check_wiring

TRIES = 4000
"""Draws before a type is held to be unable to give the case asked for; the tests watch how many are needed."""
DRAWS_OF_ONE = 24
"""Draws in which the subject of a case stays the same before another is taken."""

Pair = tuple[SlipRef, SlipRef]

HOLDS: Rule[None] = given()(lambda: None)
"""For findings that always fit together."""
NO_FORM: Rule[str | None] = given()(lambda: None)
"""For a type that has a finding called `form` and asks for none."""


@dataclass(frozen=True)
class Defensible:
    """Another answer than the key that is credited, with what speaks for it."""

    answer: Values
    """Only what is asked and answered otherwise than in the key."""
    weight: float
    """How good it is beside the key, which has 1 (0 to 1, neither included)."""
    because: str
    """A sentence: what speaks for it here."""
    next_check: str
    """A sentence: the check that would decide between it and the key."""

    def __post_init__(self) -> None:
        """Hold the weight to its range; raises ValueError."""
        if not 0 < self.weight < 1:
            raise ValueError(f"a defensible answer weighs more than 0 and less than 1, and this one {self.weight}")


NO_OTHERS: Rule[tuple[Defensible, ...]] = given()(lambda: ())
"""For a type whose key is the one right answer."""


@dataclass(frozen=True)
class Family:
    """A group of case types, one file each."""

    id: str
    title: str
    place: int
    """Where it stands in lists: from working distance towards judgement."""


@dataclass(frozen=True)
class Probe:
    """Which type tells two twins apart."""

    twins: Pair
    type_id: str


@dataclass(frozen=True)
class CaseType:
    """A short procedure: what is found, what is asked, the steps between, and where people slip."""

    id: str
    title: str
    """Shown after marking, never before: it would give the type away."""
    family: Family
    level: str
    seconds: int
    """What a competent clinician takes: an estimate."""
    findings: Group
    asks: tuple[Field[Any], ...]
    draw: Callable[[Chance, Settings], dict[str, Any]]
    steps: tuple[Step, ...]
    answer: Given
    """What is known at the end of the chain to one value for every `asks`."""
    found: Rule[tuple[str, ...]]
    """The findings in words, a line each."""
    question: Rule[str]
    figure: Drawing
    """The findings as a picture; the text is the figure's id on the page."""
    begin: Given = NOTHING
    """Findings to what the first step starts from."""
    holds: Rule[None] = HOLDS
    """Raises BadFinding where the findings do not fit together."""
    needs: tuple[str, ...] = ()
    """Types to be met before this one."""
    form: Rule[str | None] | None = None
    """The cylinder form asked for; by default the finding `form`, where there is one."""
    form_matters: bool = False
    """Whether the form is the point: the same lens in the other form is then sent back, not credited."""
    twins: tuple[Pair, ...] = ()
    """Slips that no case of this type can tell apart."""
    probes: tuple[Probe, ...] = ()
    defensible: Rule[tuple[Defensible, ...]] = NO_OTHERS
    """From all that is known at the end: the other answers that are credited."""
    errors: Mapping[str, float] = field(default_factory=dict)
    """By name of a finding, its measurement error in its own unit: no drawn key may turn on so little.

    Of a lens it is that of its powers, and its axis is taken to be off by `AXIS_ERROR`; of a choice that stands on a
    scale, such as a line of the chart, it is this many places. Inside a group: "first.left".
    """
    undisputed: Rule[bool] = ALWAYS
    """From all that is known at the end: whether two colleagues would judge it alike. A draw is thrown back if not."""
    sources: tuple[str, ...] = (COMMON,)
    """Keys of evidence/sources.toml."""

    def __post_init__(self) -> None:
        """Check that every rule of the chain finds what it needs, that the level is one and the sources are known.

        Raises
        ------
        BrokenChain, UnknownSource, BadSource
            With the place and what would be right.
        """
        if self.level not in LEVELS:
            raise BrokenChain(self.id, "level", f"“{self.level}” is none of {', '.join(LEVELS)}")
        check_sources(self.sources)
        check_wiring(self)

    @property
    def slips(self) -> tuple[SlipRef, ...]:
        """Every slip of every step."""
        return tuple(SlipRef(step.skill.id, slip.name.id) for step in self.steps for slip in step.slips)

    def case(self, findings: Values, seed: int | None = None, words: str = "") -> Case:
        """Make the case of these findings."""
        return Case(self, dict(findings), seed, words)

    def case_from_json(self, given: object) -> Case:
        """Make the case of findings in JSON, named as the type's own fields.

        Raises
        ------
        BadFinding, OutOfRange
            With the name of the finding and what would be right.
        """
        return self.case(self.findings.from_json(given))

    def are_twins(self, a: SlipRef, b: SlipRef) -> bool:
        """Say whether two slips are declared as not to be told apart."""
        return (a, b) in self.twins or (b, a) in self.twins

    @property
    def marked_within(self) -> str:
        """Say in a sentence how far the numbers asked for may be out and are still right; empty where none is."""
        parts = [(ask, ask.kind.marked_within) for ask in self.asks if ask.kind.marked_within]
        if not parts:
            return ""
        if len({within for _, within in parts}) == 1:
            within = parts[0][1]
            return f"Marked right within {within} each." if len(parts) > 1 else f"Marked right within {within}."
        return f"Marked right: {'; '.join(f'{_short_label(ask)} within {within}' for ask, within in parts)}."

    def close(self, given: Values, truth: Values) -> bool:
        """Say whether an answer is within the tolerance of the truth in all that is asked."""
        return all(ask.kind.close(given[ask.name], truth[ask.name]) for ask in self.asks)

    def same(self, given: Values, truth: Values) -> bool:
        """Say whether an answer is the exact one in all that is asked."""
        return all(ask.kind.same(given[ask.name], truth[ask.name]) for ask in self.asks)

    def alike(self, given: Values, slipped: Values) -> bool:
        """Say whether an answer may have come from a slipped run."""
        return all(ask.kind.alike(given[ask.name], slipped[ask.name]) for ask in self.asks)

    def tells_apart(self, one: Values, other: Values) -> bool:
        """Say whether the answers of two slips differ enough to be told apart."""
        return any(ask.kind.tells_apart(one[ask.name], other[ask.name]) for ask in self.asks)

    def meant(self, given: Values) -> tuple[Values, ...]:
        """Return all that an answer may mean: one, where there is no eighth in it."""
        names = [ask.name for ask in self.asks]
        ways = product(*(ask.kind.meant(given[ask.name]) for ask in self.asks))
        return tuple(dict(zip(names, one, strict=True)) for one in ways)

    def answer_json(self, values: Values) -> Any:
        """Put an answer into JSON: a lone prescription as such, everything else by name."""
        if len(self.asks) == 1 and isinstance(self.asks[0].kind, Lens):
            return self.asks[0].kind.to_json(values[self.asks[0].name])
        return {ask.name: ask.kind.to_json(values[ask.name]) for ask in self.asks}

    def answer_from_json(self, given: Any) -> Values:
        """Take an answer out of what `answer_json` gave.

        Raises
        ------
        BadFinding, OutOfRange
            When it does not answer what is asked.
        """
        if len(self.asks) == 1 and isinstance(self.asks[0].kind, Lens):
            given = {self.asks[0].name: given}
        return Group(self.asks).from_json(given)

    @property
    def asks_id(self) -> str:
        """Name what is asked in one word, for JSON."""
        return self.asks[0].kind.id if len(self.asks) == 1 else "+".join(ask.name for ask in self.asks)


@dataclass(frozen=True)
class Case:
    """One drawn or given case of a type, with everything that follows from its findings."""

    type: CaseType
    findings: Values
    seed: int | None = None
    words: str = ""
    """What the person who set the case says before its findings; "" for a drawn one."""

    @property
    def found(self) -> tuple[str, ...]:
        """What is known before the question, a line each: the words round the case, then its findings."""
        return (*([self.words] if self.words else []), *self.type.found(self.findings))

    @cached_property
    def start(self) -> dict[str, Any]:
        """What the first step starts from."""
        self.type.holds(self.findings)
        return {**self.findings, **self.type.begin(self.findings)}

    @cached_property
    def run(self) -> Run:
        """The chain carried through rightly."""
        return run_chain(self.type.steps, self.start)

    @cached_property
    def truth(self) -> Values:
        """The right answer, one value for everything asked."""
        return self.type.answer(self.run.known)

    @cached_property
    def defensible(self) -> tuple[Defensible, ...]:
        """The other answers that are credited: those of the type, and those that a measurement error would key."""
        named = self.type.defensible(self.run.known)
        found = [one for one in self.in_error if not any(_says(other, one, self) for other in named)]
        return (*named, *found)

    @cached_property
    def in_error(self) -> tuple[Defensible, ...]:
        """What would be chosen if one finding were off by its measurement error, each choice once."""
        chosen = [ask.name for ask in self.type.asks if isinstance(ask.kind, Choice | Marks | Order)]
        found: dict[tuple[Any, ...], Defensible] = {}
        for finding, findings in self._off_by_error():
            truth = _truth_of(self.type.case(findings))
            if truth is not None and any(truth[name] != self.truth[name] for name in chosen):
                key = tuple(truth[name] for name in chosen)
                found.setdefault(key, _in_error(finding, {name: truth[name] for name in chosen}))
        return tuple(found.values())

    def _off_by_error(self) -> Iterator[tuple[str, Values]]:
        for one in self.type.findings.fields:
            whole = self.findings[one.name]
            if isinstance(one.kind, Group):
                for part in one.kind.fields:
                    by = self.type.errors.get(f"{one.name}.{part.name}")
                    for value in _shifted(part.kind, whole[part.name], by) if by else ():
                        yield f"{one.label}, {part.label}", {**self.findings, one.name: {**whole, part.name: value}}
                continue
            by = self.type.errors.get(one.name)
            for value in _shifted(one.kind, whole, by) if by else ():
                yield one.label, {**self.findings, one.name: value}

    @cached_property
    def singles(self) -> tuple[Slipped, ...]:
        """What every single live slip leads to."""
        return tuple(self._slipped(1))

    @cached_property
    def doubles(self) -> tuple[Slipped, ...]:
        """What every pair of live slips at two steps leads to."""
        return tuple(self._slipped(2))

    def _slipped(self, at_once: int) -> Iterator[Slipped]:
        return self._led_to(slipped_runs(self.type.steps, self.start, at_once=at_once))

    def _led_to(self, runs: Iterable[SlippedRun]) -> Iterator[Slipped]:
        for one in runs:
            answer = self._answer_of(one)
            if answer is not None:
                yield Slipped(one.slips, answer, one.run)

    def _answer_of(self, slipped: SlippedRun) -> Values | None:
        try:
            return self.type.answer(slipped.run.known)
        except CaseError:
            return None

    def slipped(self, ref: SlipRef) -> Slipped | None:
        """Find what one slip leads to here, or None where it is not live."""
        return next((one for one in self.singles if one.slips == (ref,)), None)

    @property
    def form(self) -> str | None:
        """The cylinder form asked for, when one is."""
        return self.findings.get("form") if self.type.form is None else self.type.form(self.findings)

    @property
    def skills(self) -> tuple[str, ...]:
        """The steps that this case exercises, in order."""
        return tuple(line.step for line in self.run.lines)

    def hides_nothing(self) -> bool:
        """Say whether every live slip shows, and shows apart from every other that is not its declared twin.

        However its answer is written: an eighth cut or rounded must not make it an answer that is credited.
        """
        # Most draws of some types are thrown back, and most of those for two slips that hid the time before as well.
        # Those two alone are run first: the answer is the same in any order, and comes ten times sooner.
        usual = _HID_LAST.get(self.type.id, ())
        if usual:
            steps = self.type.steps
            runs = [one for ref in usual for one in slipped_runs(steps, self.start, only=ref.slip) if ref in one.slips]
            if self._first_hidden(self._led_to(runs)):
                return False
        hidden = self._first_hidden(self._slipped(1))
        if hidden:
            _HID_LAST[self.type.id] = hidden
        return not hidden

    def hidden_slips(self) -> tuple[SlipRef, ...]:
        """Return the first slip that hides behind a credited answer, or the two that hide behind each other.

        () where `hides_nothing`, which is quicker.
        """
        return self._first_hidden(self._slipped(1))

    def _first_hidden(self, slips: Iterable[Slipped]) -> tuple[SlipRef, ...]:
        """Return the first slip that hides behind a credited answer, or behind another one, with that; () for none."""
        credited = [self.truth, *({**self.truth, **one.answer} for one in self.type.defensible(self.run.known))]
        before: list[tuple[SlipRef, tuple[Values, ...]]] = []
        for slip in slips:
            (ref,), ways = slip.slips, self.type.meant(slip.answer)
            if any(self.type.close(one, right) for one in ways for right in credited):
                return (ref,)
            for other, written in before:
                apart = all(self.type.tells_apart(one, slip.answer) for one in written)
                if not apart and not self.type.are_twins(other, ref):
                    return other, ref
            before.append((ref, ways))
        return ()

    @property
    def is_undisputed(self) -> bool:
        """Whether two colleagues would judge it alike, by the type's own rule."""
        return self.type.undisputed(self.run.known)

    def is_firm(self) -> bool:
        """Say whether its key outlives a measurement error in any one finding, or the other choice is credited."""
        return len(self.defensible) == len(self.type.defensible(self.run.known))

    def parts(self, twins: Pair) -> bool:
        """Say whether the answer to this case tells these two slips apart."""
        a, b = self.slipped(twins[0]), self.slipped(twins[1])
        if a is None or b is None:
            return (a is None) != (b is None)
        return not self.type.alike(a.answer, b.answer)

    def shows(self, slip_id: str) -> bool:
        """Say whether a slip of this name would show in the answer, whatever the step."""
        # The slip alone is run, and not all that there are: most cases that are looked through for one are thrown away.
        return any(self._led_to(slipped_runs(self.type.steps, self.start, only=slip_id)))


_HID_LAST: dict[str, tuple[SlipRef, ...]] = {}
"""By type: the slips for which a draw was thrown back last, in the order in which they are run."""
_LABEL_ENDS = re.compile(r"[,:(]")


def _short_label(ask: Field[Any]) -> str:
    label = _LABEL_ENDS.split(ask.label)[0]
    return label[0].lower() + label[1:].rstrip()


AXIS_ERROR = 5.0
"""Degrees by which the axis of a measured lens may be off: common practice, no published source."""


def _shifted(kind: Kind[Any], value: Any, by: float) -> tuple[Any, ...]:
    """Return a finding off by its measurement error either way.

    Of a lens its sphere, the size of its cylinder and its axis are off, one at a time; of a choice, this many places.
    """
    if isinstance(kind, Choice):
        return kind.off_by(value, round(by))
    if not isinstance(value, SphCyl):
        return (value - by, value + by)
    spheres = (replace(value, sphere=value.sphere - by), replace(value, sphere=value.sphere + by))
    if not value.cylinder:
        return spheres
    weaker, stronger = (value.cylinder + sign * math.copysign(by, value.cylinder) for sign in (-1, 1))
    kept = weaker * value.cylinder > 0
    cylinders = (*([replace(value, cylinder=weaker)] if kept else []), replace(value, cylinder=stronger))
    axes = (replace(value, axis=axis_of(value.axis + sign * AXIS_ERROR)) for sign in (-1, 1))
    return (*spheres, *cylinders, *axes)


def _truth_of(case: Case) -> Values | None:
    """Work a case whose findings may fit no case at all."""
    try:
        return case.truth
    except CaseError:
        return None


def _in_error(finding: str, answer: Values) -> Defensible:
    return Defensible(
        answer,
        0.5,
        f"It is right if “{finding}” is off by no more than its measurement error.",
        "Measure that again.",
    )


def _says(one: Defensible, other: Defensible, case: Case) -> bool:
    """Say whether two credited answers come to the same."""
    return all({**case.truth, **one.answer}[name] == value for name, value in other.answer.items())


class CannotDraw(CaseError):
    """The ranges of a type leave no case of the sort asked for."""

    def __init__(self, type_id: str, wanted: str, because: CaseError | None = None) -> None:
        why = f" ({because})" if because else ""
        super().__init__(f"{type_id}: no case {wanted} can be drawn here{why}; ask for another type, level or distance")


def draw(
    case_type: CaseType,
    seed: int,
    settings: Settings = Settings(),
    *,
    wanted: Callable[[Case], bool] = lambda _: True,
    called: str = "that hides no slip",
    tries: int = TRIES,
) -> Case:
    """Draw the case of a type, seed and settings: the same on every machine.

    A draw in which a slip would hide behind an answer that is credited, or two slips behind one another, is thrown
    back. So is one whose key turns on a measurement error, one that is not `wanted` (`called` says what that was), or
    one that the type itself refuses as a finding, as some do from very near or very far away. After this many `tries`
    the type is held to have none.

    Raises
    ------
    CannotDraw
        When the ranges leave none.
    """
    name = f"{case_type.id} {seed} {settings.level} {settings.form}"
    chance = Chance(name)
    refused: CaseError | None = None
    thrown_back: list[Mapping[str, Any]] = []
    for turn in range(tries):
        if turn % DRAWS_OF_ONE == 0:
            chance.subject, thrown_back = f"{name}/{turn // DRAWS_OF_ONE}", []
        try:
            findings = case_type.draw(chance, settings)
            if findings in thrown_back:
                continue
            thrown_back.append(findings)
            case = case_type.case(findings, seed)
            fits = wanted(case) and case.is_undisputed and case.hides_nothing() and case.is_firm()
        except CannotDraw:
            raise
        except CaseError as error:
            refused = error
            continue
        if fits:
            return case
    raise CannotDraw(case_type.id, called, refused) from refused


def to_json(value: Any) -> Any:
    """Put whatever a working holds into JSON: lenses as FHIR names them, numbers to a thousandth, records by field."""
    if isinstance(value, SphCyl):
        return Lens().to_json(value)
    if isinstance(value, bool | str) or value is None:
        return value
    if isinstance(value, int | float):
        return round(value, 3) + 0.0
    if is_dataclass(value):
        return {one.name: to_json(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, Mapping):
        return {str(name): to_json(one) for name, one in value.items()}
    return [to_json(one) for one in value]
