"""The ranges that are exported against the app's own marking, over all types."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Mapping
from contextlib import suppress
from typing import Any

import pytest

from cases.curriculum.bench_types import stage_of
from cases.curriculum.register import all_types
from cases.errors import CaseError
from cases.optics.axes import axis_of
from cases.optics.lens import SphCyl
from cases.procedure.case_type import CannotDraw, Case, draw
from cases.procedure.choices import Marks, Order
from cases.procedure.crossed_cylinders import CrossedCylinders
from cases.procedure.kinds import Cross
from cases.procedure.marking import is_credited, mark
from cases.procedure.quantities import Quantity
from cases.procedure.settings import Settings
from quiz.exports.numeric_fields import (
    INFINITE,
    NEARLY_EQUAL,
    NotCarried,
    Questions,
    Range,
    credits_numbers,
    fits,
    numbers,
    questions,
)

PAPER = sorted(one for one in all_types() if stage_of(one) is None)
STEP = 1e-4
"""Just inside and just outside a bound."""


def drawn(type_id: str, seeds: range) -> Iterator[Case]:
    for seed in seeds:
        level = ("novice", "competent", "expert")[seed % 3]
        with suppress(CannotDraw):
            yield draw(all_types()[type_id], seed, Settings(level=level, form=("minus", "plus")[seed % 2]))


def key_of(found: Questions) -> dict[str, Any]:
    """Return the right answer by the names of the fields and of the choices."""
    key: dict[str, Any] = {field.name: field.value for asked in found.asked for field in asked.fields}
    return key | {one.ask.name: found.case.truth[one.ask.name] for one in found.asked if not one.fields}


def as_read(found: Questions, given: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return the answer that the app would read from the same numbers; None where it would read none."""
    answer: dict[str, Any] = {}
    try:
        for asked in found.asked:
            kind, numbers = asked.ask.kind, [given[field.name] for field in asked.fields]
            if not numbers:
                answer[asked.ask.name] = given[asked.ask.name]
            elif isinstance(kind, Quantity):
                answer[asked.ask.name] = axis_of(numbers[0]) if kind.on_dial else kind.from_json(numbers[0])
            elif isinstance(kind, CrossedCylinders):
                answer[asked.ask.name] = kind.of(found.case.truth[asked.ask.name].axis, *numbers)
            elif isinstance(kind, Cross):
                answer[asked.ask.name] = SphCyl.from_meridians(found.case.truth[asked.ask.name].axis, *numbers)
            else:
                sphere, cylinder, axis = numbers
                answer[asked.ask.name] = SphCyl(sphere, cylinder or 0.0, 180 if axis is None else axis_of(axis))
    except CaseError:
        return None
    return answer


def in_app(found: Questions, given: Mapping[str, Any]) -> bool | None:
    """Return the app's verdict, None where it has none: the answer is unreadable, or sent back to be turned."""
    answer = as_read(found, given)
    if answer is None or _form_not_asked(found.case, answer):
        return None
    return is_credited(found.case, answer)


def _form_not_asked(case: Case, answer: Mapping[str, Any]) -> bool:
    """Say whether a lens is in the other form where its form is the point: the app sends it back."""
    if not case.type.form_matters:
        return False
    lens = next(one for one in answer.values() if isinstance(one, SphCyl))
    return lens.cylinder != 0 and (lens.cylinder < 0) != (case.form == "minus")


def ranges_of(found: Questions) -> Iterator[Range]:
    for way in found.ways:
        for one in way.values():
            for piece in one:
                if not isinstance(piece, str):
                    yield from piece.ranges


def near_every_bound(found: Questions, chance: random.Random) -> Iterator[dict[str, Any]]:
    """Yield answers just inside and just outside each bound, others near the key, and the key in the other form."""
    key = key_of(found)
    yield key
    for one in ranges_of(found):
        for bound, way in ((one.low, -1), (one.high, 1)):
            for out in (-STEP, STEP):
                for sign, name in one.terms:
                    rest = math.fsum(s * key[other] for s, other in one.terms if other != name)
                    yield {**key, name: sign * (bound + way * out - rest)}
    for asked in found.asked:
        names = [field.name for field in asked.fields]
        if len(names) == 3:
            sphere, cylinder, axis = (key[name] for name in names)
            turned = dict(zip(names, (sphere + cylinder, -cylinder, axis_of(axis + 90)), strict=True))
            yield key | turned
            yield key | turned | {names[0]: sphere}
            yield key | {names[1]: -cylinder}
            yield key | {names[2]: axis_of(axis + 90)}
            # 0 and 180 are one axis, on whichever side of the dial.
            yield key | {names[2]: axis - 180}
            yield key | {names[2]: axis + 180}
        for _ in range(12):
            steps = [
                chance.choice((-0.255, -0.25, -0.13, -0.125, -0.12, -0.06, 0, 0.01, 0.12, 0.125, 0.13, 0.25))
                for _ in names
            ]
            moved = {name: key[name] + step for name, step in zip(names, steps, strict=True)}
            yield key | moved
            yield key | {name: round(value, 2) for name, value in moved.items()}
        for field in asked.fields:
            if not field.wraps:
                yield key | {field.name: -key[field.name]}
                yield key | {field.name: key[field.name] * 10}
        options = () if asked.fields else asked.ask.kind.options  # type: ignore[attr-defined]
        for option in options:
            many = isinstance(asked.ask.kind, Marks)
            if not isinstance(asked.ask.kind, Order):
                yield key | {asked.ask.name: (option.id,) if many else option.id}


def test_every_type_is_carried_or_says_why_not() -> None:
    refused = set()
    for type_id in PAPER:
        for case in drawn(type_id, range(1, 5)):
            try:
                questions(case)
            except NotCarried as error:
                refused.add((type_id, str(error)))
    assert {why for _, why in refused} <= {INFINITE, NEARLY_EQUAL}
    assert {type_id for type_id, _ in refused} <= {"reflex"}


def test_what_no_range_can_mark_is_refused_with_its_reason() -> None:
    """At neutral the reflex is infinitely fast; of two powers 0.12 D apart either may be the more plus one."""
    still = {"rx": {"sphere": 0, "cylinder": 0}, "streak": 90, "distance_cm": 50.0, "in_place": {"sphere": 2.0}}
    cross = {"rx": {"sphere": 1.0, "cylinder": -0.12, "axis": 90}}
    for type_id, findings, why in (("reflex", still, INFINITE), ("rx-to-cross", cross, NEARLY_EQUAL)):
        with pytest.raises(NotCarried, match=why):
            questions(all_types()[type_id].case_from_json(findings))


def test_a_range_is_what_the_handbook_rule_gives() -> None:
    """Worked by hand. A turned cylinder C leaves 2C sin δ; 0.25 D of it is 14.48° at 0.50 DC: common practice."""
    case = all_types()["cross-to-rx"].case_from_json(
        {"form": "minus", "powers": [{"meridian": 175, "power": 1.0}, {"meridian": 85, "power": 0.5}]}
    )
    sphere, cylinder, axis = questions(case).asked[0].fields
    assert (sphere.value, cylinder.value, axis.value) == (1.0, -0.5, 175)
    # ±0.125, and 1.13 is how 1.125 is written as well.
    assert (sphere.low, sphere.high, cylinder.low, cylinder.high) == pytest.approx((0.87, 1.13, -0.63, -0.37))
    assert (axis.low, axis.high) == pytest.approx((175 - 14.4775, 175 + 14.4775), abs=1e-4)
    for typed, right in ((5, True), (9, True), (10, False), (160.6, True), (160, False)):
        given = {sphere.name: 1.0, cylinder.name: -0.5, axis.name: typed}
        assert credits_numbers(questions(case), given) == right


@pytest.mark.parametrize("type_id", PAPER)
def test_the_ranges_give_the_verdict_of_the_app(type_id: str) -> None:
    """A law over all types: just inside and outside each bound, in other forms, and cut or rounded eighths."""
    compared = 0
    for case in drawn(type_id, range(1, 5)):
        with suppress(NotCarried):
            found = questions(case)
            for given in near_every_bound(found, random.Random(case.seed)):
                verdict = in_app(found, given)
                if verdict is not None:
                    compared += 1
                    assert credits_numbers(found, given) == verdict, (case.seed, case.truth, given)
    assert compared > 10


@pytest.mark.parametrize("type_id", PAPER)
def test_no_slip_that_is_listed_is_credited(type_id: str) -> None:
    for case in drawn(type_id, range(1, 2)):
        with suppress(NotCarried):
            found = questions(case)
            for slip in found.slips:
                assert not mark(case, slip.values).credited
                given: dict[str, Any] = {}
                for asked in found.asked:
                    value, names = slip.values[asked.ask.name], [field.name for field in asked.fields]
                    values = numbers(case, asked.ask, value, as_written=True) if names else (value,)
                    given |= zip(names or [asked.ask.name], values, strict=True)
                assert not credits_numbers(found, given)
                assert all(fits(one, ask, given) for ask, one in slip.ways.items()), "its feedback is shown"
