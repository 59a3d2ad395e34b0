"""A chain that does not fit together is refused when its type is made, or by mypy before that."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from cases.curriculum.register import all_types
from cases.curriculum.skills import ALWAYS_ONE_FIFTY, DISTANCE_IN_DIOPTRES, TAKE_OFF_DISTANCE
from cases.curriculum.steps import DISTANCE, METRES, STREAK, VERGENCE
from cases.curriculum.working_distance.gross_to_net import DIOPTRES, distance_vergence
from cases.procedure.keys import (
    ALWAYS,
    Drawing,
    Flag,
    Given,
    Key,
    Rule,
    Slip,
    Step,
    WiredSlip,
    given,
    given_all,
    otherwise,
)
from cases.procedure.wiring import BrokenChain, check_wiring

ROOT = Path(__file__).resolve().parents[3]
TO_METRES, INVERT = distance_vergence.steps
SAYS = given()(lambda: "So it is.")


def test_every_type_is_made_of_rules_and_of_nothing_else() -> None:
    """What a step reads and gives stands on its line for all types, so that each is checked when it is made."""
    for one in all_types().values():
        assert all(type(step) is Step and all(type(slip) is WiredSlip for slip in step.slips) for step in one.steps)
        assert (type(one.begin), type(one.answer), type(one.figure)) == (Given, Given, Drawing), one.id
        rules = (one.found, one.question, one.holds, *([one.form] if one.form else []))
        assert all(type(rule) is Rule for rule in rules), one.id


def test_no_family_looks_a_name_up_in_what_is_known() -> None:
    """Such a look-up is what a type checker cannot see: `Known` and its adapters are gone."""
    for path in sorted((ROOT / "cases").rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"\bKnown\b|\buntyped\(|lambda known\b", text) or path.name == "keys.py", path


def test_a_step_before_what_it_needs_is_refused() -> None:
    with pytest.raises(BrokenChain) as refused:
        replace(distance_vergence, steps=(INVERT, TO_METRES))
    assert str(refused.value) == (
        "case type distance-vergence, step distance-in-dioptres: needs metres, which nothing before it gives; "
        "known there: distance_cm, also, gross"
    )


def test_a_slip_that_needs_what_nothing_gives_is_refused() -> None:
    wrong = Slip(ALWAYS_ONE_FIFTY, run=given(STREAK)(lambda streak: streak), says=SAYS)
    step = VERGENCE.step(DISTANCE_IN_DIOPTRES, run=given(METRES)(lambda metres: 1 / metres), says=SAYS, slips=(wrong,))
    with pytest.raises(BrokenChain, match="slip always-one-fifty: needs streak, which nothing before it gives"):
        replace(distance_vergence, steps=(TO_METRES, step))


def test_a_value_that_nothing_needs_is_refused() -> None:
    idle = Key[float]("idle").step(TAKE_OFF_DISTANCE, run=given(METRES)(lambda metres: metres), says=SAYS)
    with pytest.raises(BrokenChain, match="step take-off-distance: gives idle, which nothing needs"):
        replace(distance_vergence, steps=(TO_METRES, idle, INVERT))


def test_a_question_that_would_give_a_result_away_is_refused() -> None:
    with pytest.raises(
        BrokenChain, match="found: needs vergence, which nothing before it gives; known there: distance_cm"
    ):
        replace(distance_vergence, found=given(VERGENCE)(lambda vergence: (f"It is {vergence}.",)))


def test_another_key_of_the_same_name_is_refused() -> None:
    other = VERGENCE.step(DISTANCE_IN_DIOPTRES, run=given(Key[float]("metres"))(lambda metres: 1 / metres), says=SAYS)
    with pytest.raises(BrokenChain, match="needs another metres than the one known here, which step centimetres-to"):
        replace(distance_vergence, steps=(TO_METRES, other))


def test_an_answer_to_what_is_not_asked_is_refused() -> None:
    with pytest.raises(BrokenChain, match="answer: gives power, where distance_cm is asked"):
        replace(distance_vergence, asks=(DISTANCE,))
    assert distance_vergence.asks == (DIOPTRES,)


def test_a_rule_reads_rules_and_asks_for_what_they_need() -> None:
    inverted = given(METRES)(lambda metres: 1 / metres)
    both = given(inverted, STREAK)(lambda power, streak: (power, streak))
    assert both({"metres": 0.5, "streak": 90.0}) == (2.0, 90.0)
    assert both.needs == (METRES, STREAK)
    with pytest.raises(TypeError, match="a rule stands among these"):
        given(inverted, STREAK).to(1.0, 2.0)
    assert given_all([METRES, VERGENCE])(lambda *both: sum(both))({"metres": 0.5, "vergence": 2.0}) == 2.5


def test_a_mark_that_no_step_left_is_false_and_one_that_nothing_reads_is_refused() -> None:
    mark = Flag("turned")
    says_whether = given(mark)(lambda turned: "yes" if turned else "no")
    assert [says_whether({}), says_whether({"turned": True})] == ["no", "yes"]
    leave = given(METRES, mark).step(
        TAKE_OFF_DISTANCE, run=given(METRES)(lambda metres: (metres, True)), says=SAYS, needed=ALWAYS
    )
    with pytest.raises(BrokenChain, match="gives turned, which nothing needs"):
        replace(distance_vergence, steps=(TO_METRES, leave, INVERT))
    invert = VERGENCE.step(
        DISTANCE_IN_DIOPTRES, run=given(METRES, mark)(lambda metres, turned: -1 if turned else 1 / metres), says=SAYS
    )
    read = replace(distance_vergence, steps=(TO_METRES, leave, invert))
    check_wiring(read)


def test_a_value_known_in_some_cases_only_is_unknown_after_its_step() -> None:
    sometimes = TO_METRES.when(given(DISTANCE)(lambda cm: cm > 50))
    with pytest.raises(BrokenChain, match="needs metres, which nothing before it gives"):
        replace(distance_vergence, steps=(sometimes, INVERT))


FAR = given(DISTANCE)(lambda cm: cm > 50)
NEAR = otherwise(FAR)


def test_a_value_that_both_branches_give_is_known_after_them() -> None:
    assert [NEAR({"distance_cm": cm}) for cm in (40.0, 67.0)] == [True, False]
    far, near = TO_METRES.when(FAR), TO_METRES.when(NEAR)
    for branches in ((far, near), (near, far)):
        check_wiring(replace(distance_vergence, steps=(*branches, INVERT)))
    unrelated = TO_METRES.when(given(DISTANCE)(lambda cm: cm <= 50))
    for branch, other in ((far, far), (near, near), (far, unrelated)):
        with pytest.raises(BrokenChain, match="needs metres, which nothing before it gives"):
            replace(distance_vergence, steps=(branch, other, INVERT))


def test_another_key_of_the_same_name_in_the_other_branch_is_not_mixed_up() -> None:
    words = Key[str]("metres")
    told = words.step(TAKE_OFF_DISTANCE, run=given(DISTANCE)(lambda cm: f"{cm / 100:g}"), says=SAYS).when(NEAR)
    read = VERGENCE.step(DISTANCE_IN_DIOPTRES, run=given(words)(lambda said: 1 / float(said)), says=SAYS)
    far = (TO_METRES.when(FAR), INVERT.when(FAR))
    for steps in ((*far, told, read.when(NEAR)), (far[0], told, read.when(NEAR), far[1])):
        both = replace(distance_vergence, steps=steps)
        assert [both.case({"distance_cm": cm}).truth for cm in (40.0, 80.0)] == [{"power": 2.5}, {"power": 1.25}]
    for wrong in (INVERT, INVERT.when(NEAR), read, read.when(FAR)):
        with pytest.raises(BrokenChain, match="needs another metres than the one known here"):
            replace(distance_vergence, steps=(far[0], told, wrong))


GIVEN = """
from cases.curriculum.working_distance.gross_to_net import FRAME
from cases.procedure.keys import Slip, given
from cases.curriculum.skills import ALWAYS_ONE_FIFTY, DISTANCE_IN_DIOPTRES
from cases.curriculum.steps import FORM, GROSS, METRES, NET, RX, VERGENCE
S = given()(lambda: "")
S2 = given(NET)(lambda net: net)
D = DISTANCE_IN_DIOPTRES
"""
WRONG = (
    ("VERGENCE.step(D, run=given(METRSE)(lambda metres: 1 / metres), says=S)", 'Name "METRSE" is not defined'),
    ("VERGENCE.step(D, run=given(FORM)(lambda form: 1 / form), says=S)", "Unsupported operand types for /"),
    ("NET.step(D, run=given(METRES)(lambda metres: metres), says=S)", 'got "float", expected "tuple[float, ...]"'),
    ("VERGENCE.step(D, run=S, says=S)", 'incompatible type "Rule[str]"; expected "Rule[float]"'),
    ("given(METRES, VERGENCE)(lambda metres: 1 / metres)", "Cannot infer type of lambda"),
    (
        "NET.step(D, run=S2, says=S, slips=(Slip(ALWAYS_ONE_FIFTY, run=given(METRES)(lambda m: m), says=S),))",
        "expected",
    ),
    ("FRAME.to((1.0, 2.0), 1.5)", 'Too few arguments for "to"'),
    ("RX.by(given(VERGENCE)(lambda vergence: vergence))", 'got "float", expected "SphCyl"'),
    ("given(GROSS)(lambda gross: gross.sphere)", '"tuple[float, ...]" has no attribute "sphere"'),
)


def test_mypy_sees_wrong_names_types_and_missing_findings(tmp_path: Path) -> None:

    file = tmp_path / "wrong.py"
    file.write_text(GIVEN + "\n".join(line for line, _ in WRONG), encoding="utf-8")
    root = Path(__file__).resolve().parents[3]
    command = (sys.executable, "-m", "mypy", "--strict", str(file))
    found = subprocess.run(command, cwd=root, capture_output=True, text=True, check=False)
    told = re.findall(r"wrong\.py:(\d+): error: (.*)", found.stdout)
    for number, (line, expected) in enumerate(WRONG, GIVEN.count("\n") + 1):
        assert any(int(at) == number and expected in what for at, what in told), (line, found.stdout)
