"""For every option of a case: whether it is the key, credited or wrong, how much it weighs, and a sentence why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from cases.procedure.case_type import Case
from cases.procedure.choices import Choice, Marks, Option
from cases.procedure.fields import Field

KEYED, CREDITED_TOO, WRONG = "key", "credited", "wrong"


@dataclass(frozen=True)
class OptionVerdict:
    """One option of one thing asked, judged for one case."""

    ask: str
    option: str
    standing: str
    """"key", "credited" or "wrong"."""
    weight: float
    """1 of the key, more than 0 and less than 1 of what is credited, 0 of what is wrong."""
    because: str
    """A sentence or two: why it is right, what speaks for it, or when it would be right and what holds here."""
    next_check: str = ""
    """Of what is credited: the check that would decide between it and the key."""
    slip: str | None = None
    """Of what is wrong: the slip that leads to it, by id, where one does."""

    def to_json(self) -> dict[str, Any]:
        """Give it as `mark --json` has it."""
        return asdict(self)


def option_verdicts(case: Case) -> tuple[OptionVerdict, ...]:
    """Judge every option of everything that is answered by choosing; an order is marked as a whole and left out."""
    return tuple(one for ask in case.type.asks if isinstance(ask.kind, Choice | Marks) for one in _of_ask(case, ask))


def verdict_on(case: Case, ask: str, option: str) -> OptionVerdict | None:
    """Find the verdict on one option; None of what is not answered by choosing."""
    return next((one for one in option_verdicts(case) if (one.ask, one.option) == (ask, option)), None)


def _of_ask(case: Case, ask: Field[Any]) -> Iterator[OptionVerdict]:
    credited = {one.answer[ask.name]: one for one in reversed(case.defensible) if ask.name in one.answer}
    for option in ask.kind.options:  # type: ignore[attr-defined]
        if _is_in(option.id, case.truth[ask.name]):
            yield OptionVerdict(ask.name, option.id, KEYED, 1.0, _line(case, ask, option))
        elif other := next((one for value, one in credited.items() if _is_in(option.id, value)), None):
            yield OptionVerdict(ask.name, option.id, CREDITED_TOO, other.weight, other.because, other.next_check)
        else:
            yield _wrong(case, ask, option)


def _is_in(option: str, value: Any) -> bool:
    return option == value if isinstance(value, str) else option in value


def _wrong(case: Case, ask: Field[Any], option: Option) -> OptionVerdict:
    leading = [one for one in case.singles if _is_in(option.id, one.answer[ask.name])]
    # A slip at the step that gives the answer says more of the choice than one that came earlier.
    leads = next((one for one in leading if one.slips[0].step == _deciding(case, ask)), next(iter(leading), None))
    says = [_when(option), "Here it is not so." if isinstance(ask.kind, Marks) else f"Here: {_line(case, ask, option)}"]
    ref = leads.slips[0] if leads else None
    if ref is not None:
        titles = {slip.name.id: slip.name.title for step in case.type.steps for slip in step.slips}
        says.append(f"You may have chosen this because you {titles[ref.slip]}.")
    return OptionVerdict(ask.name, option.id, WRONG, 0.0, " ".join(says), slip=ref.slip if ref else None)


def _deciding(case: Case, ask: Field[Any]) -> str:
    """Return the step whose line gave the answer last; "" where none did."""
    return next((line.step for line in reversed(case.run.lines) if ask.name in line.values), "")


def _when(option: Option) -> str:
    if option.when.startswith("never"):
        return f"That is never right{option.when.removeprefix('never')}."
    return f"That is right when {option.when}."


def _line(case: Case, ask: Field[Any], option: Option) -> str:
    """Return the line of the working that decides: the one that names the option, or the last that gave the answer."""
    lines = case.run.lines
    if isinstance(ask.kind, Marks):
        named = [line.says for line in lines if option.label.casefold() in line.says.casefold()]
        return named[0] if named else lines[-1].says
    return next((line.says for line in reversed(lines) if ask.name in line.values), lines[-1].says)
