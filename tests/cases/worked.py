"""Cases of numbers worked out elsewhere, and findings at random within what their kinds allow."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy

from cases.curriculum.record_faults import Written
from cases.curriculum.register import case_type
from cases.errors import CaseError
from cases.optics.lens import SphCyl
from cases.procedure.case_type import Case, CaseType
from cases.procedure.choices import Choice, Marks, Order
from cases.procedure.fields import Group, Several
from cases.procedure.kinds import Cross, Kind, Lens
from cases.procedure.lens_log import MOST_LINES, MOVEMENTS, LensLog
from cases.procedure.quantities import Quantity

CELLS = ("", "–", "+1.25", "1.25", "−0.50", "plano", "+1.30", "+2.00 DS", "0.00", "5", "180", "185", "0", "x", "+1,25")
"""What may stand in a cell of a written record, sound and faulty."""
AXES = st.integers(1, 360).map(lambda half: half / 2)


def case_of(type_id: str, findings: Mapping[str, Any]) -> Case:
    """Make a case of findings in JSON."""
    return case_type(type_id).case_from_json(findings)


def rx(sphere: float, cylinder: float = 0, axis: float = 180) -> dict[str, float]:
    """Write a lens as JSON has it."""
    return {"sphere": sphere, "cylinder": cylinder, "axis": axis}


def answer_of(case: Case) -> Any:
    """Give the right answer as JSON."""
    return case.type.answer_json(case.truth)


def slips_of(case: Case) -> dict[str, Any]:
    """Give every live slip's answer as JSON, by `step/slip`."""
    return {f"{one.slips[0].step}/{one.slips[0].slip}": case.type.answer_json(one.answer) for one in case.singles}


def slip_answer(case: Case, slip: str) -> Any:
    """Give what one slip leads to, named without its step."""
    found = [answer for name, answer in slips_of(case).items() if name.endswith(f"/{slip}")]
    assert len(found) == 1, f"{slip}: {sorted(slips_of(case))}"
    return found[0]


def anything(kind: Kind[Any]) -> SearchStrategy[Any]:
    """Draw any value, as JSON, that a kind lets in, plain and extreme ones alike."""
    if isinstance(kind, Group):
        return st.fixed_dictionaries({field.name: anything(field.kind) for field in kind.fields})
    if isinstance(kind, Choice):
        return st.sampled_from([option.id for option in kind.options])
    if isinstance(kind, Marks):
        return st.lists(st.sampled_from([option.id for option in kind.options]), unique=True)
    if isinstance(kind, Order):
        return st.permutations([option.id for option in kind.options])
    if isinstance(kind, Several):
        return st.lists(anything(kind.of), min_size=kind.least, max_size=kind.most)
    if isinstance(kind, LensLog):
        return st.lists(_TRIED, min_size=1, max_size=MOST_LINES)
    if kind.id == "axis":
        return AXES
    if isinstance(kind, Quantity):
        low, high = round(kind.low * 4), round(kind.high * 4)
        return st.integers(low, high).map(lambda quarters: quarters / 4) | st.floats(kind.low, kind.high)
    lens = st.builds(SphCyl, _quarters(30), _quarters(30), AXES)
    if isinstance(kind, Lens | Cross):
        return lens.map(kind.to_json)
    if isinstance(kind, Written):
        return st.sampled_from(CELLS)
    raise AssertionError(f"no strategy for {kind.id}")


def _quarters(limit: int) -> SearchStrategy[float]:
    return st.integers(-4 * limit, 4 * limit).map(lambda quarters: quarters / 4)


_TRIED = st.fixed_dictionaries(
    {"lens": _quarters(30), "movement": st.sampled_from(MOVEMENTS)}, optional={"unsteady": st.booleans()}
)


def check_never_falls_over(kind: CaseType, findings: Any) -> None:
    """Carry a type through on any findings, slips and all: only a CaseError may come out, and the words must hold."""
    try:
        case = kind.case_from_json(findings)
        lines = case.run.lines
    except CaseError:
        return
    assert all(line.says for line in lines)
    assert kind.same(case.truth, case.truth)
    for one in (*case.singles, *case.doubles):
        assert all(line.says for line in one.run.lines)
    assert all(kind.found(case.findings))
    asked = kind.question(case.findings)
    assert asked.endswith(("?", ".")), f"{kind.id}: a question ends with ? or a full stop, not “{asked[-20:]}”"
    kind.figure(case.findings, "f")
