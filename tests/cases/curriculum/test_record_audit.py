"""The audit of a record: marks by hand, every fault missed and every false alarm named."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest

from cases.curriculum.checking.record_audit import FAULTS, MISSED
from cases.curriculum.record_faults import all_faults
from cases.curriculum.register import case_type
from cases.procedure.case_type import draw
from cases.procedure.kinds import BadFinding
from cases.procedure.marking import mark_text
from cases.procedure.settings import Settings
from cases.procedure.vocabulary import LEVELS
from tests.cases.worked import answer_of, case_of, rx, slip_answer, slips_of


def line(sphere: str, cylinder: str = "", axis: str = "") -> dict[str, str]:
    return {"sphere": sphere, "cylinder": cylinder, "axis": axis}


SOUND: dict[str, Any] = {
    "found_right": rx(1, -0.5, 180), "found_left": rx(-3, -1, 20), "right": line("+1.00", "−0.50", "180"),
    "left": line("−3.00", "−1.00", "20"), "basis": "net-from", "drops": "timed", "distance_cm": 67,
}  # fmt: skip

SPOILT: list[tuple[dict[str, Any], list[str]]] = [
    ({}, []),
    ({"left": line("3.00", "−1.00", "20")}, ["sign-missing"]),
    ({"left": line("−3.00", "−1.00")}, ["axis-missing"]),
    ({"left": line("−3.00", "", "20")}, ["cylinder-missing"]),
    ({"left": line("−3.00", "−1.00", "200")}, ["axis-off-dial"]),
    ({"right": line("+1.00", "−0.50", "0")}, ["axis-off-dial"]),
    ({"left": line("−3.00")}, ["line-open"]),
    ({"left": line("−3.10", "−1.00", "20")}, ["off-step"]),
    ({"left": line("−4.00", "+1.00", "110")}, ["forms-mixed"]),
    ({"right": SOUND["left"], "left": SOUND["right"]}, ["eyes-swapped"]),
    ({"basis": "unsaid"}, ["net-unsaid"]),
    ({"drops": "unsaid"}, ["drops-unsaid"]),
    ({"drops": "untimed"}, ["time-unsaid"]),
    ({"left": line("3.00", "−1.00"), "drops": "untimed"}, ["sign-missing", "axis-missing", "time-unsaid"]),
]


@pytest.mark.parametrize(("change", "faults"), SPOILT, ids=lambda value: "+".join(value) or "sound")
def test_faults_by_hand_and_each_of_them_passed_over(change: dict[str, Any], faults: list[str]) -> None:
    """What a record needs: trainee feedback from a refraction examination; the dial, ISO 8429; else common practice."""
    case = case_of("record-audit", {**SOUND, **change})
    assert answer_of(case) == {"faults": faults}
    for fault in faults:
        missed = slip_answer(case, MISSED[fault].id)
        assert missed == {"faults": [one for one in faults if one != fault]}


@pytest.mark.parametrize(
    ("change", "slip", "marked"),
    [
        ({"right": line("plano", "−0.50", "170"), "found_right": rx(0, -0.5, 170)}, "sign-wanted-for-nought",
         "sign-missing"),
        ({"left": line("−3.00 DS"), "found_left": rx(-3)}, "axis-wanted-for-sphere", "axis-missing"),
        ({}, "axis-180-refused", "axis-off-dial"),
        ({}, "sphere-signs-taken-for-forms", "forms-mixed"),
        ({"basis": "net"}, "distance-wanted-beside-net", "net-unsaid"),
        ({"drops": "none"}, "time-wanted-without-drops", "time-unsaid"),
    ],
)  # fmt: skip
def test_each_false_alarm_is_the_consequence_of_a_wrong_rule(change: dict[str, Any], slip: str, marked: str) -> None:
    case = case_of("record-audit", {**SOUND, **change})
    assert answer_of(case) == {"faults": []}
    assert slip_answer(case, slip) == {"faults": [marked]}


def test_answers_are_typed_as_numbers_words_or_none() -> None:
    sound = case_of("record-audit", SOUND)
    assert mark_text(sound, "none").verdict == "right"
    spoilt = case_of("record-audit", {**SOUND, "left": line("3.00", "−1.00"), "drops": "untimed"})
    for text in ("1 2 11", "11, 1, 2", "sign-missing; axis-missing; time-unsaid"):
        assert mark_text(spoilt, text).verdict == "right"
    missed = mark_text(spoilt, "1 2")
    assert missed.verdict == "slip"
    assert missed.explanations[0].slips[0].slip == "time-unsaid-passed"
    both = mark_text(spoilt, "1")
    assert {ref.slip for ref in both.explanations[0].slips} == {"time-unsaid-passed", "missing-axis-passed"}
    one = case_of("record-audit", {**SOUND, "drops": "untimed"})
    assert mark_text(one, "drops without their time").verdict == "right"


@pytest.mark.parametrize("level", LEVELS)
def test_drawn_records_have_up_to_three_faults_and_every_sort_of_them(level: str) -> None:
    counts, kinds = Counter[int](), Counter[str]()
    for seed in range(250):
        case = draw(case_type("record-audit"), seed, Settings(level=level))
        found = case.findings
        eyes = {name: found[name] for name in ("right", "left")}
        again = all_faults(eyes, {name: found[f"found_{name}"] for name in eyes}, found["basis"], found["drops"])
        assert set(case.truth["faults"]) == {fault for fault, _ in again}
        counts[len(case.truth["faults"])] += 1
        kinds.update(case.truth["faults"])
    assert set(counts) == ({0, 1, 2} if level == "novice" else {0, 1, 2, 3} if level == "competent" else {0, 2, 3})
    assert set(kinds) == {option.id for option in FAULTS.options}


def test_a_line_without_a_sphere_is_sent_back() -> None:
    with pytest.raises(BadFinding, match="at least the sphere"):
        answer_of(case_of("record-audit", {**SOUND, "left": line("", "−1.00", "20")}))


def test_a_blank_cell_may_be_left_out_of_json() -> None:
    case = case_of("record-audit", {**SOUND, "left": {"sphere": "−3.00 DS"}, "found_left": rx(-3)})
    assert answer_of(case) == {"faults": []}
    assert "audit-cylinders/axis-wanted-for-sphere" in slips_of(case)
