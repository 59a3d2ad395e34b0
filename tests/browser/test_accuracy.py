"""The accuracy log in a real browser: a file brought in, the pattern read, and practised; eyes entered by hand."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from quiz.accuracy.conclusions import PRACTICE
from quiz.accuracy.entries import Entry
from quiz.accuracy.importing import write_table
from quiz.storage import accuracy_queries
from tests.browser.conftest import Check, Served, in_both_themes_wide_and_narrow
from tests.quiz.accuracy.accuracy_logs import entry, log, written

State = Callable[[Page, Served], None]


@pytest.fixture
def forty_rows(tmp_path: Path) -> Path:
    """Make a file of 40 rows of an examiner who sat at 57 cm and allowed for 67; two of them cannot be read."""
    rows = list(csv.reader(io.StringIO(write_table(written(patients=20, shift=100 / 57 - 100 / 67, seed=5)))))
    rows[7][1] = "both"
    rows[22][4] = "-25"
    path = tmp_path / "forty.csv"
    with path.open("w", newline="", encoding="utf-8-sig") as file:
        csv.writer(file).writerows(rows)
    return path


def test_forty_rows_two_of_them_bad_are_read_understood_and_practised(
    page: Page, served: Served, accessible: Check, forty_rows: Path
) -> None:
    page.goto(f"{served.url}progress")
    page.locator(".me summary").click()
    page.get_by_role("navigation").get_by_role("link", name="Log").click()
    expect(page.locator("main")).to_contain_text("Numbers only, never a name.")
    page.get_by_role("link", name="Bring a file in").click()
    page.get_by_label("CSV file").set_input_files(forty_rows)
    page.get_by_role("button", name="Show how it is read").click()

    expect(page.locator("main")).to_contain_text("38 rows can be taken, 2 are refused. Nothing is saved yet.")
    refused = page.locator(".refused li")
    expect(refused).to_have_count(2)
    expect(refused.nth(0)).to_contain_text("Line 8: eye “both”: write right or left")
    expect(refused.nth(1)).to_contain_text("Line 23: retinoscopy: −25 may be −0.25 or −25.00")
    assert accuracy_queries.entries_of(served.store, served.learner.id, Entry) == []
    accessible(page)

    page.get_by_role("button", name="Take the 38 good rows").click()
    expect(page.get_by_role("status")).to_have_text("38 eyes added to the log.")
    reading = page.locator("#distance")
    expect(reading).to_contain_text("reads too plus on the whole")
    expect(reading).to_contain_text("where 67 cm was allowed for")
    expect(reading).to_contain_text("Rule: Mean difference of M against zero")
    assert page.locator(".reading").count() == 1
    assert page.locator("figure svg[role=img]").count() == 4
    accessible(page)

    reading.get_by_role("button", name="Practise it").click()
    expect(page.locator("h1")).to_have_text("Case 1 of 10")
    page.get_by_text("Why it came").click()
    expect(page.locator("main")).to_contain_text("You asked for it from your accuracy log")
    waiting = served.store.open_case(served.learner.id)
    assert waiting is not None
    assert waiting.type in PRACTICE["nearer"]


def test_both_eyes_of_a_patient_are_entered_by_hand(page: Page, served: Served) -> None:
    page.goto(served.url + "accuracy/add")
    expect(page.get_by_label("Your own net retinoscopy")).to_be_focused()
    page.keyboard.type("+100/-150x90")
    expect(page.locator("#reads-retinoscopy")).to_have_text("read as +1.00 / −1.50 × 90")
    page.get_by_label("End-point of the subjective").fill("-25")
    expect(page.locator("#reads-end_point")).to_contain_text("not read yet")
    page.get_by_label("Working distance that you allowed for").fill("67")
    page.get_by_label("Remark").fill("Mrs Example")
    page.keyboard.press("Enter")

    expect(page.locator("#end_point")).to_be_focused()
    expect(page.locator("#end_point-problem")).to_contain_text("may be −0.25 or −25.00")
    page.keyboard.press("Control+A")
    page.keyboard.type("+0.75 -1.50 90")
    page.keyboard.press("Enter")
    expect(page.locator("#doubt")).to_contain_text("may hold a name")
    expect(page.locator("#remark")).to_be_focused()
    page.get_by_label("Remark").fill("small pupils")
    page.keyboard.press("Enter")

    expect(page.locator(".done")).to_contain_text("Kept: patient 1, right eye")
    expect(page.locator(".done")).to_contain_text("Difference +0.25 DS")
    expect(page.get_by_label("left eye")).to_be_checked()
    expect(page.get_by_label("Patient, a running number")).to_have_value("1")
    expect(page.get_by_label("Working distance that you allowed for")).to_have_value("67 cm")
    (kept,) = accuracy_queries.entries_of(served.store, served.learner.id, Entry)
    assert kept.entry.remark == "small pupils"


def test_a_small_log_says_so(page: Page, served: Served) -> None:
    page.goto(served.url)
    accuracy_queries.add(served.store, served.learner.id, log(patients=3, shift=1))
    page.goto(served.url + "accuracy")
    expect(page.locator("main")).to_contain_text("6 eyes of 3 patients so far: too few")
    expect(page.get_by_role("button", name="Practise it")).to_have_count(0)
    expect(page.locator("figure svg[role=img]").first).to_be_visible()


def test_what_is_taken_out_can_be_brought_in_again(page: Page, served: Served, tmp_path: Path) -> None:
    page.goto(served.url)
    accuracy_queries.add(served.store, served.learner.id, written(patients=4))
    page.goto(served.url + "accuracy")
    with page.expect_download() as loading:
        page.get_by_role("link", name="Take a file out").click()
    path = tmp_path / loading.value.suggested_filename
    loading.value.save_as(path)
    page.goto(served.url + "accuracy/rows")
    page.get_by_label("Delete row 8").check()
    page.get_by_role("button", name="Delete the ticked rows").click()
    expect(page.get_by_role("status")).to_have_text("1 row deleted.")
    page.goto(served.url + "accuracy/import")
    page.get_by_label("CSV file").set_input_files(path)
    page.get_by_role("button", name="Show how it is read").click()
    expect(page.locator("main")).to_contain_text("1 row can be taken, 0 are refused, 7 are in the log already.")


def test_the_log_goes_only_with_a_tick(page: Page, served: Served) -> None:
    page.goto(served.url)
    accuracy_queries.add(served.store, served.learner.id, written(patients=2))
    page.goto(served.url + "accuracy/rows")
    page.get_by_role("button", name="Delete the log").click()
    expect(page.locator("#sure-problem")).to_contain_text("tick the box")
    page.get_by_label("Delete all 4 rows").check()
    page.get_by_role("button", name="Delete the log").click()
    expect(page.get_by_role("status")).to_contain_text("it held 4 eyes")


def test_it_all_works_without_scripts(browser: Browser, served: Served, forty_rows: Path) -> None:
    page = browser.new_context(java_script_enabled=False).new_page()
    page.goto(served.url + "accuracy/import")
    page.get_by_label("CSV file").set_input_files(forty_rows)
    page.get_by_role("button", name="Show how it is read").click()
    page.get_by_role("button", name="Take the 38 good rows").click()
    page.locator("#distance").get_by_role("button", name="Practise it").click()
    expect(page.locator("h1")).to_have_text("Case 1 of 10")


# --- accessibility -----------------------------------------------------------------------------------------------


def holding(*, patients: int, url: str, shift: float = 0.3) -> State:
    def state(page: Page, served: Served) -> None:
        page.goto(served.url)
        rows = [
            *log(patients=patients, shift=shift),
            entry(99, wet=True, remark="a remark that is longer than most are"),
        ]
        rows[3] = entry(2, "left", rows[3].end_point + entry(ret=rows[3].end_point).difference, rows[3].end_point)
        accuracy_queries.add(served.store, served.learner.id, rows)
        page.goto(served.url + url)
        for one in page.locator("details").all():
            one.evaluate("one => { one.open = true; }")

    return state


def at(url: str) -> State:
    def state(page: Page, served: Served) -> None:
        page.goto(served.url)
        page.goto(served.url + url)

    return state


def doubted(page: Page, served: Served) -> None:
    at("accuracy/add")(page, served)
    for name, text in (("retinoscopy", "1"), ("end_point", "1"), ("distance_cm", "67"), ("remark", "Mrs Example")):
        page.locator(f"#{name}").fill(text)
    page.get_by_role("button", name="Keep this eye").click()
    expect(page.locator("#doubt")).to_be_visible()


def faulty(page: Page, served: Served) -> None:
    at("accuracy/add")(page, served)
    page.get_by_role("button", name="Keep this eye").click()
    expect(page.locator(".problem")).to_have_count(3)


def shown(page: Page, served: Served) -> None:
    at("accuracy/import")(page, served)
    text = write_table([*written(patients=4), entry(9, remark="Mrs Example")]) + "1,up\r\n"
    page.get_by_label("Or paste the rows").fill(text + text.splitlines()[1])
    page.get_by_role("button", name="Show how it is read").click()
    expect(page.locator(".refused")).to_be_visible()


def no_file(page: Page, served: Served) -> None:
    at("accuracy/import")(page, served)
    page.get_by_role("button", name="Show how it is read").click()
    expect(page.locator("#whole-problem")).to_be_visible()


STATES: dict[str, State] = {
    "empty": at("accuracy"),
    "few": holding(patients=2, url="accuracy"),
    "claims": holding(patients=20, url="accuracy"),
    "quiet": holding(patients=20, url="accuracy", shift=0),
    "rows": holding(patients=3, url="accuracy/rows"),
    "add": at("accuracy/add"),
    "doubted": doubted,
    "faulty": faulty,
    "import": at("accuracy/import"),
    "no file": no_file,
    "preview": shown,
}


@pytest.mark.parametrize("state", STATES)
def test_every_state_in_both_themes_wide_and_narrow(page: Page, served: Served, accessible: Check, state: str) -> None:
    STATES[state](page, served)
    in_both_themes_wide_and_narrow(page, accessible)
    for field in page.locator("input:visible, select:visible, textarea:visible").all():
        assert field.evaluate("one => one.labels.length") > 0
    assert page.locator("[placeholder]").count() == 0


def test_no_mark_of_a_chart_is_told_by_colour_alone(page: Page, served: Served) -> None:
    """Right eyes, left eyes and those left out have a shape each, and the words beside the chart say so."""
    holding(patients=20, url="accuracy")(page, served)
    chart = page.locator("figure.chart").first
    for words in ("Filled dot: a right eye. Ring: a left eye.", "Cross: an eye left out"):
        expect(chart).to_contain_text(words)
    assert chart.locator("circle.ink[fill=currentColor]").count() > 0
    assert chart.locator("circle.ink:not([fill])").count() > 0
    assert chart.locator("line.mine").first.get_attribute("stroke-dasharray")
