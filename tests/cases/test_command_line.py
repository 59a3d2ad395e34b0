"""The command line of the core: stable JSON, and bad input answered with one line and exit 2."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from html import unescape
from typing import Any

import pytest

from cases.__main__ import main
from cases.register import all_types
from cases.stages import stage_of


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    try:
        code = main(list(arguments))
    except SystemExit as stop:
        code = int(stop.code or 0)
    shown = capsys.readouterr()
    return code, shown.out, shown.err


def document(capsys: pytest.CaptureFixture[str], *arguments: str) -> Any:
    code, out, err = run(capsys, *arguments, "--json")
    assert (code, err) == (0, "")
    return json.loads(out)


def test_a_case_has_the_shape_that_scripts_lean_on(capsys: pytest.CaptureFixture[str]) -> None:
    case = document(capsys, "draw", "two-spheres", "--seed", "7")
    assert list(case) == ["type", "seed", "findings", "asks", "answer", "working", "slips"]
    assert set(case["findings"]) == {"first", "second", "distance_cm", "form"}
    assert set(case["findings"]["first"]) == {"streak", "sphere"}
    assert (case["asks"], set(case["answer"])) == ("prescription", {"sphere", "cylinder", "axis"})
    assert all(set(line) == {"step", "says", "value"} for line in case["working"])
    assert all(set(slip) == {"step", "slip", "answer"} for slip in case["slips"])


def test_count_prints_one_document_a_line_and_the_same_each_time(capsys: pytest.CaptureFixture[str]) -> None:
    twice = [run(capsys, "draw", "net-sphere", "--seed", "3", "--count", "4", "--json")[1] for _ in range(2)]
    assert twice[0] == twice[1]
    assert [json.loads(line)["seed"] for line in twice[0].splitlines()] == [3, 4, 5, 6]


def test_another_process_draws_the_same_case(capsys: pytest.CaptureFixture[str]) -> None:
    here = run(capsys, "draw", "sphere-then-cyl", "--seed", "11", "--json")[1]
    there = subprocess.run(
        [sys.executable, "-m", "cases", "draw", "sphere-then-cyl", "--seed", "11", "--json"],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    assert here == there


def test_drawn_answer_is_marked_right_by_seed_and_by_findings(capsys: pytest.CaptureFixture[str]) -> None:
    case = document(capsys, "draw", "transpose", "--seed", "5")
    rx = case["answer"]
    text = f"{rx['sphere']:+.2f} {rx['cylinder']:+.2f} x {rx['axis']:.0f}"
    assert document(capsys, "mark", "transpose", "--seed", "5", "--answer", text)["verdict"] == "right"
    findings = json.dumps(case["findings"])
    assert document(capsys, "mark", "transpose", "--findings", findings, "--answer", text)["verdict"] == "right"
    assert document(capsys, "work", "transpose", "--findings", findings)["answer"] == rx


def test_at_for_an_axis_is_asked_back_about_with_both_readings(capsys: pytest.CaptureFixture[str]) -> None:
    """A power along 90 is that of a cylinder × 180: no cylinder has power along its axis, ISO 13666."""
    findings = '{"rx": {"sphere": 1, "cylinder": -1.5, "axis": 90}}'
    marked = document(capsys, "mark", "transpose", "--findings", findings, "--answer", "-0.50 / +1.50 @ 180")
    assert marked["verdict"] == "unreadable"
    assert "did you mean × 180? Write −0.50 / +1.50 × 180 if 180 is the axis" in marked["because"]
    assert "−0.50 / +1.50 × 90 if the cylinder acts along 180" in marked["because"]
    cross = document(capsys, "mark", "rx-to-cross", "--findings", findings, "--answer", "+1.00 @ 90, -0.50 @ 180")
    assert cross["verdict"] == "right"


def test_an_answer_may_start_with_a_minus(capsys: pytest.CaptureFixture[str]) -> None:
    findings = '{"gross": -2, "distance_cm": 50}'
    marked = document(capsys, "mark", "net-sphere", "--findings", findings, "--answer", "-4.00")
    assert marked["verdict"] == "right"


def test_list_names_steps_slips_and_twins(capsys: pytest.CaptureFixture[str]) -> None:
    listed = {one["type"]: one for one in document(capsys, "list")}
    assert "two-spheres" in listed
    assert listed["two-spheres"]["twins"]
    assert all(one["steps"] and one["title"] and one["family"] for one in listed.values())


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("draw", "two-sphere", "--seed", "1"), "did you mean two-spheres"),
        (("draw", "two-spheres", "--seed", "x"), "invalid int value"),
        (("draw", "two-spheres", "--seed", "1", "--count", "0"), "give 1 to"),
        (("work", "net-sphere", "--findings", "{"), "not JSON"),
        (("work", "net-sphere", "--findings", "[1]"), "give an object"),
        (("work", "net-sphere", "--findings", '{"gross": 1}'), "distance_cm is missing"),
        (("work", "net-sphere", "--findings", '{"gross": "1", "distance_cm": 67}'), "must be a number"),
        (("work", "net-sphere", "--findings", '{"gross": NaN, "distance_cm": 67}'), "must be a number"),
        (("work", "net-sphere", "--findings", '{"gross": 1, "distance_cm": 0}'), "5 to 1000"),
        (("work", "net-sphere", "--findings", '{"gross": 1, "distance_cm": 67, "eye": 1}'), "unknown here"),
        (("work", "transpose", "--findings", '{"rx": {"sphere": 1, "cylinder": -1, "axis": 0}}'), "write 180"),
        (("sheet", "--types", ",", "--seed", "1"), "name at least one"),
        (("sheet", "--types", "net-sphere", "--count", "9999", "--seed", "1"), "give 1 to 200"),
        (("sheet", "--types", "bench-sphere,bench-eye", "--seed", "1"), "cannot be answered on paper"),
        (("nothing",), "invalid choice"),
        ((), "required"),
    ],
)  # fmt: skip
def test_bad_input_is_one_line_and_exit_2(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], says: str
) -> None:
    code, out, err = run(capsys, *arguments)
    assert (code, out) == (2, "")
    assert says in err
    assert err.count("\n") == 1


def test_a_sheet_is_the_same_each_time_and_its_key_holds_the_answers(capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ("sheet", "--types", "two-spheres,transpose", "--count", "4", "--seed", "9")
    plain, again, key = run(capsys, *arguments)[1], run(capsys, *arguments)[1], run(capsys, *arguments, "--key")[1]
    assert plain == again
    assert plain.count('<section class="case">') == 4
    assert plain.count("<svg") == 4
    assert "working" not in plain.split("</style>")[1]
    assert key.count('class="working"') == 4


def test_a_sheet_leaves_out_what_only_the_bench_can_show(capsys: pytest.CaptureFixture[str]) -> None:
    _, paper, _ = run(capsys, "sheet", "--types", "net-sphere,bench-sphere", "--count", "5", "--seed", "9")
    assert re.findall(r"<h2>(Case \d+)</h2>", paper) == ["Case 1", "Case 3", "Case 5"]
    assert "3 cases, competent level" in paper
    assert "Cases 2 and 4 are at the bench" in paper


@pytest.mark.parametrize("type_id", [one.id for one in all_types().values() if stage_of(one.id) is None])
def test_what_is_answered_by_choosing_can_be_chosen_on_paper(capsys: pytest.CaptureFixture[str], type_id: str) -> None:
    _, paper, _ = run(capsys, "sheet", "--types", type_id, "--count", "1", "--seed", "9", "--level", "expert")
    boxes = [unescape(one) for one in re.findall(r"<li>(.*?)</li>", paper)]
    asks = all_types()[type_id].asks
    assert boxes == [option.label for ask in asks for option in getattr(ask.kind, "options", ())]
    lines = paper.count('<p class="line">')
    assert lines == sum(not hasattr(ask.kind, "options") for ask in asks)
