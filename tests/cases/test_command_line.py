"""The command line of the core: stable JSON, and bad input answered with one line and exit 2."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from cases.__main__ import main
from cases.curriculum import case_list
from cases.curriculum.bench_types import stage_of
from cases.curriculum.register import all_types
from cases.procedure.documents import case_document
from cases.procedure.settings import Settings
from cases.worksheet import drawn_list
from tests.conftest import drawn_otherwise


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
    assert list(case) == ["type", "seed", "findings", "asks", "marked_within", "answer", "working", "slips"]
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


def test_without_a_command_it_shows_what_there_is_and_it_says_its_version(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys)
    assert (code, out) == (2, "")
    assert all(f"  {name} " in err for name in ("list", "draw", "work", "mark", "sheet"))
    assert run(capsys, "--version")[1].startswith("Two Meridians ")


def test_list_names_steps_slips_and_twins(capsys: pytest.CaptureFixture[str]) -> None:
    listed = {one["type"]: one for one in document(capsys, "list")}
    assert "two-spheres" in listed
    assert listed["two-spheres"]["twins"]
    assert all(one["steps"] and one["title"] and one["family"] for one in listed.values())


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("draw", "two-sphere", "--seed", "1"), "did you mean two-spheres"),
        (("draw", "two-spheres", "--seed", "x"), "not a valid integer"),
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
        (("nothing",), "No such command 'nothing'"),
        (("draw", "two-spheres"), "Missing option '--seed'"),
        (("mark", "net-sphere", "--answer", "1"), "either --seed N or --findings JSON"),
        (("mark", "net-sphere", "--seed", "1", "--findings", "{}", "--answer", "1"), "either --seed N"),
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


SHEET = ("sheet", "--types", "two-spheres,net-sphere", "--count", "4", "--seed", "9")


def digest_on(page: str) -> str:
    return str(re.findall(r"Check code of the cases: <strong>(\S+)</strong>", page)[0])


def test_a_sheet_and_its_key_are_printed_from_the_cases_that_were_kept(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Issue 13, point 1: after a change in how a type is drawn, the key from the file still fits the sheet."""
    file = tmp_path / "spring.json"
    _, sheet, _ = run(capsys, *SHEET, "--keep", str(file))
    with drawn_otherwise("two-spheres"):
        _, again, _ = run(capsys, "sheet", "--cases", str(file))
        _, key, _ = run(capsys, "sheet", "--cases", str(file), "--key", "--digest", digest_on(sheet).lower())
        assert again == sheet
        assert digest_on(key) == digest_on(sheet)
        assert key.count('class="working"') == 4
        code, out, err = run(capsys, *SHEET, "--key", "--digest", digest_on(sheet))
    assert (code, out) == (2, "")
    assert f"check code {digest_on(sheet)} was given, and these cases have " in err
    assert "Print its key from the cases that were saved with it, or print the sheet and its key again" in err
    assert run(capsys, *SHEET, "--key", "--digest", digest_on(sheet))[0] == 0


def test_versions_have_the_same_cases_in_two_orders_and_their_own_keys(capsys: pytest.CaptureFixture[str]) -> None:
    sheets = {order: run(capsys, *SHEET, "--order", order)[1] for order in "AB"}
    asked = {order: re.findall(r'</h2>(.*?)<p class="asked">', page, re.DOTALL) for order, page in sheets.items()}
    facts = {order: [re.findall(r"<p>(.*?)</p>", one) for one in parts] for order, parts in asked.items()}
    assert facts["A"] != facts["B"]
    assert sorted(facts["A"]) == sorted(facts["B"])
    assert digest_on(sheets["A"]) != digest_on(sheets["B"])
    code, key, _ = run(capsys, *SHEET, "--order", "B", "--key", "--digest", digest_on(sheets["B"]))
    assert code == 0
    assert "version B, with key" in key
    assert run(capsys, *SHEET, "--order", "A", "--key", "--digest", digest_on(sheets["B"]))[0] == 2


def test_the_answers_alone_are_those_of_the_key_a_line_each(capsys: pytest.CaptureFixture[str]) -> None:
    key, brief = (run(capsys, *SHEET, how)[1] for how in ("--key", "--answers"))
    answers = [one.rsplit(": ", 1)[1] for one in re.findall(r'<p class="answer">(.*?)</p>', key)]
    assert re.findall(r"<li><strong>\d+</strong> (.*?)</li>", brief) == answers
    assert "<section" not in brief


def test_a_sheet_has_a_line_for_each_step_and_its_marks_on_every_page(capsys: pytest.CaptureFixture[str]) -> None:
    sheet, key = run(capsys, *SHEET)[1], run(capsys, *SHEET, "--key")[1]
    steps = [part.count("<li>") for part in re.findall(r'<ol class="working">(.*?)</ol>', key)]
    rooms = [part.count('<p class="room">') for part in sheet.split('<section class="case">')[1:]]
    assert rooms == steps
    assert '<p class="room">' not in key
    assert re.search(rf"<tfoot>.*Sheet 9, check code {digest_on(sheet)}", sheet)
    assert re.search(r'<thead>.*Name <span class="name">', sheet)


def test_the_digest_tells_lists_apart_by_findings_types_and_order(capsys: pytest.CaptureFixture[str]) -> None:
    others = [("--seed", "10"), ("--count", "3"), ("--types", "net-sphere,two-spheres"), ("--level", "expert")]
    found = {digest_on(run(capsys, *SHEET, *other)[1]) for other in ([], *others)}
    assert len(found) == 5


@pytest.mark.parametrize("type_id", sorted(all_types()))
def test_cases_of_every_type_are_the_same_when_read_back(type_id: str) -> None:
    for level, form in (("novice", "minus"), ("expert", "plus")):
        settings = Settings(level=level, form=form)
        listed = drawn_list([all_types()[type_id]], count=3, seed=1, settings=settings)
        again = case_list.read(case_list.write(listed))
        assert again.digest == listed.digest
        assert [case_document(one) for one in again.cases] == [case_document(one) for one in listed.cases]


def test_a_file_of_cases_that_cannot_be_used_is_refused_in_words(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "spring.json"
    run(capsys, *SHEET, "--keep", str(file))
    good = file.read_text(encoding="utf-8")
    for text, says in (
        (good.replace('"distance_cm": ', '"distance_cm": 1'), "it was changed after it was saved"),
        (good.replace("net-sphere", "net-cube"), "cannot be read by this version"),
        (good.replace("version 1", "version 9"), "does not contain “two-meridians cases, version 1”"),
        ("{", "not JSON"),
        ("[]", "give one that `sheet --keep` wrote"),
    ):
        file.write_text(text, encoding="utf-8")
        code, out, err = run(capsys, "sheet", "--cases", str(file))
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert says in err
    for arguments, says in (
        (("sheet", "--cases", str(tmp_path / "none.json")), "it cannot be read"),
        (("sheet", "--cases", str(file), "--seed", "9"), "has the cases already: leave out --seed"),
        (("sheet", "--cases", str(file), "--level", "expert"), "leave out level, form and distance"),
        ((*SHEET, "--keep", str(file)), "there is a file of that name"),
        ((*SHEET, "--keep", str(tmp_path / "no" / "spring.json")), "cannot be written"),
        ((*SHEET, "--digest", "spring"), "give the eight letters and digits at the top of the sheet"),
        (("sheet", "--seed", "9"), "give --types and --seed to draw cases, or --cases FILE"),
    ):
        code, out, err = run(capsys, *arguments)
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert says in err


LOOK = {"rx": {"sphere": -1.0, "cylinder": -0.5, "axis": 90}, "distance_cm": 67, "streak": 90}


def test_a_look_has_the_shape_that_scripts_lean_on(capsys: pytest.CaptureFixture[str]) -> None:
    found = document(capsys, "look", "--setting", json.dumps(LOOK))
    assert list(found) == [
        "light", "mean_mm2", "centroid_mm", "sides", "half_width_mm", "contrast", "shift_per_mm", "residual", "seen",
    ]  # fmt: skip
    assert [set(one) for one in found["light"]] == [{"x_mm", "y_mm", "mm2"}] * 13
    assert set(found["seen"]) == {"signal", "peak_mm2", "word"}
    asked = document(capsys, "look", "--setting", json.dumps(LOOK | {"points_mm": [[0.5, -1]], "face_mm": -2}))
    assert [(one["x_mm"], one["y_mm"]) for one in asked["light"]] == [(0.5, -1)]
    code, out, _ = run(capsys, "look", "--setting", json.dumps(LOOK))
    assert (code, out.count("\n")) == (0, 1)


@pytest.mark.parametrize(
    ("setting", "why"),
    [
        ("{", "not JSON"),
        ("[1]", "Expected `object`"),
        ("{}", "missing required field"),
        (LOOK | {"pupil": 6}, "unknown field `pupil`"),
        (LOOK | {"pupil_mm": "6"}, "Expected `float`"),
        (LOOK | {"pupil_mm": None}, "Expected `float`"),
        (LOOK | {"pupil_mm": True}, "Expected `float`"),
        (LOOK | {"pupil_mm": 11}, "pupil 11 mm: it must lie between 0.5 and 10 mm"),
        (LOOK | {"distance_cm": 19}, "working distance 19 cm"),
        (LOOK | {"sleeve": 20.5}, "sleeve 20.5 D"),
        (LOOK | {"filament": "cross"}, "Invalid enum value 'cross'"),
        (LOOK | {"streak": 181}, "streak 181 °"),
        (LOOK | {"coma": [1]}, "length"),
        (LOOK | {"cone": {"x": 0, "y": 0, "power": 2, "spread_mm": 0}}, "cone's spread 0 mm"),
        (LOOK | {"haze": -0.1}, "haze -0.1"),
        (LOOK | {"rx": {"sphere": 51}}, "sphere 51 D"),
        (LOOK | {"rx": {"sphere": 1, "axis": 181}}, "axis 181 °"),
        (LOOK | {"face_mm": 61}, "place of the streak 61 mm"),
        (LOOK | {"points_mm": [[61, 0]]}, "distance of a point 61 mm"),
        (json.dumps(LOOK).replace("67", "NaN"), "malformed"),
        (json.dumps(LOOK).replace("67", "1e999"), "out of range"),
    ],
)
def test_a_setting_that_cannot_be_is_refused_in_one_line(
    capsys: pytest.CaptureFixture[str], setting: Any, why: str
) -> None:
    text = setting if isinstance(setting, str) else json.dumps(setting)
    code, out, err = run(capsys, "look", "--setting", text, "--json")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert why in err or why == "not JSON"
