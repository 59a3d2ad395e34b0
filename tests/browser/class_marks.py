"""A preceptor's own case through browsers: written, refused, checked, put into a drill, printed, answered, marked."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from quiz.classroom import on_paper
from quiz.storage import class_queries
from quiz.storage.classroom import own_case_queries
from tests.browser.conftest import SIDEWAYS, Check
from tests.browser.test_class import (
    Class,
    Open,
    accessible_everywhere,
    case_on,
    device,
    give,
    make_class,
    marked,
    room,
    row_of,
    sign_in,
)
from tests.conftest import slipped, written
from tests.quiz import class_people

__all__ = ["device", "room"]

WORDS = "An invented girl of six. The room is dim and she looks at the far chart."


def fill(page: Page, **texts: str) -> None:
    for label, text in texts.items():
        page.get_by_label(label.replace("_", " ")).fill(text)


def test_a_case_is_written_checked_set_printed_answered_and_marked(
    room: Class, device: Open, accessible: Check
) -> None:
    desk = device().new_page()
    sign_in(desk, room)
    code = make_class(desk)
    desk.get_by_role("link", name="Write a case of your own").click()
    accessible_everywhere(desk, accessible)
    desk.locator("summary", has_text="Lens algebra").click()
    desk.get_by_role("link", name="Transposing", exact=False).first.click()
    expect(desk.locator("h1")).to_have_text("A case of your own")
    fill(desk, Name_of_the_case="Girl, dim room", Words_before_the_findings=WORDS)

    # Refused where a mistake would not show: 45 turned through 90 is 135, and so is 180 − 45.
    desk.locator("#finding-rx").fill("-2.00/-2.00x45")
    desk.get_by_role("button", name="Check it").click()
    expect(desk.locator("#whole-problem")).to_contain_text("A mistake would not show")
    expect(desk.get_by_label("Name of the case")).to_have_value("Girl, dim room")
    assert desk.get_by_role("button", name="Save the case").count() == 0
    accessible_everywhere(desk, accessible)

    # Previewed with its working and its slips, and saved as it was seen.
    desk.locator("#finding-rx").fill("-2.00/-1.50x30")
    desk.keyboard.press("Enter")
    expect(desk.locator("#checked")).to_contain_text("This case can be used")
    expect(desk.locator("main")).to_contain_text(WORDS)
    assert desk.locator(".lines li > span").first.evaluate("one => one.getBoundingClientRect().width") > 200
    slips = desk.get_by_role("region", name="Mistakes that this case shows")
    expect(slips).to_contain_text("took the axis from 180 instead of turning it")
    accessible_everywhere(desk, accessible)
    assert own_case_queries.cases_of(room.store, 1) == []
    desk.keyboard.press("Enter")
    expect(desk.locator("h1")).to_have_text("Girl, dim room")
    accessible_everywhere(desk, accessible)

    # In a drill with two drawn cases, the first of them.
    desk.get_by_role("link", name="Set a drill with it").click()
    expect(desk.get_by_label("Girl, dim room")).to_be_checked()
    desk.locator("summary", has_text="Working distance").first.click()
    desk.get_by_label("Gross to net, one sphere").check()
    desk.get_by_label("Cases", exact=True).fill("3")
    desk.get_by_label("Title").fill("Net from gross")
    desk.get_by_role("button", name="Set the drill").first.click()
    expect(desk.locator("main")).to_contain_text("Girl, dim room (Transposing")
    desk.get_by_role("button", name="Open it").click()
    drill = desk.url
    desk.get_by_role("link", name="Worksheet with key").click()
    expect(desk.locator("section.case").first).to_contain_text(WORDS)
    expect(desk.locator("section.case").first.locator(".answer")).to_contain_text("−3.50 / +1.50 × 120")

    # A learner meets its words first, and a slip in it is named.
    phone = device().new_page()
    phone.set_viewport_size({"width": 360, "height": 740})
    room.joined(phone, code, "Ada")
    phone.get_by_role("link", name="Net from gross").click()
    phone.get_by_role("button", name="Begin").click()
    expect(phone.locator(".found li").first).to_have_text(WORDS)
    assert not phone.evaluate(SIDEWAYS)
    accessible(phone)
    assert case_on(phone, room).words == WORDS
    give(phone, room, "axis-taken-from-180")
    expect(phone.locator("#verdict")).to_have_text("One step slipped")
    expect(phone.locator(".asked-before summary")).to_contain_text("An invented girl of six.")
    accessible(phone)
    phone.locator("#go-on").click()
    give(phone, room)
    marked(phone, "Right")

    # It stays as it is while the drill has it, and another can be written from it.
    desk.goto(drill)
    desk.get_by_role("link", name="Scores, cases one by one").click()
    expect(desk.get_by_role("region", name="Learners")).to_contain_text("Ada")
    desk.goto(f"{room.url}/class/1/cases/1")
    expect(desk.locator("main")).to_contain_text("In Net from gross: it stays as it is.")
    assert desk.get_by_role("button", name="Remove it").count() == 0
    desk.get_by_role("link", name="Write another from it").click()
    expect(desk.get_by_label("Words before the findings")).to_have_value(WORDS)
    desk.get_by_role("link", name="Fill in a drawn case").click()
    expect(desk.locator("#finding-rx")).to_have_value(re.compile(r"×"))


def test_a_reader_sees_own_cases_and_writes_none(room: Class, device: Open) -> None:
    desk, _, _ = room.opened()
    desk.post("/class/1/cases/new/net-sphere", {"title": "One", "gross": "+3.25", "distance_cm": "50", "do": "save"})
    reader = class_people.preceptor(room.app, room.store, "A Reader")
    desk.post("/class/1/keeping/teachers", {"preceptor": "2", "role": "reader"})
    page = device().new_page()
    room.carry(page, reader)
    page.goto(f"{room.url}/class/1/cases")
    page.get_by_role("link", name="One", exact=True).click()
    expect(page.locator("main")).to_contain_text("Net sphere")
    assert page.get_by_role("link", name="Change it").count() == 0
    page.goto(f"{room.url}/class/1/cases")
    assert page.get_by_text("Write one").count() == 0


def test_a_sheet_is_typed_in_read_back_saved_and_taken_back(room: Class, device: Open, accessible: Check) -> None:
    desk, phone = device().new_page(), device().new_page()
    code, drill = room.ready(desk)
    for page, name in ((phone, "Ada"), (device().new_page(), "Bo")):
        room.joined(page, code, name)
    desk.reload()
    desk.get_by_role("link", name="Type answers in from paper").click()
    accessible_everywhere(desk, accessible)
    desk.get_by_role("link", name="version B").click()
    desk.get_by_role("link", name="Ada").click()
    expect(desk.locator("h1")).to_have_text("The sheet of Ada, version B")
    found = class_queries.drill_of_id(room.store, 1)
    assert found is not None
    cases = dict(on_paper.sheet(room.store, found, "B"))
    expect(desk.locator("#answer-1-power")).to_be_focused()
    desk.keyboard.type("about one")
    desk.locator("#answer-2-power").fill(slipped(cases[2], "distance-left-in")["power"])
    desk.keyboard.press("Enter")
    expect(desk.locator("#problem-1-power")).to_be_visible()
    expect(desk.locator("#answer-1-power")).to_be_focused()
    accessible_everywhere(desk, accessible)
    desk.locator("#answer-1-power").fill(written(cases[1])["power"])
    desk.keyboard.press("Enter")
    expect(desk.locator("#as-read")).to_contain_text("1 right of 2 answered. Nothing is saved yet.")
    expect(desk.locator("tbody tr").nth(1)).to_contain_text("slipped: left the working distance in")
    accessible_everywhere(desk, accessible)
    desk.keyboard.press("Enter")
    expect(desk.locator("main")).to_contain_text("The sheet of Ada is saved.")
    expect(desk.locator("main")).to_contain_text("Ada: 1 right of 2 answered by Ada typed in by Marit Osei")
    expect(desk.get_by_role("link", name="Bo")).to_be_visible()
    desk.set_viewport_size({"width": 360, "height": 740})
    assert not desk.evaluate(SIDEWAYS)

    # Everyone is told that it came from paper; Ada sees her mark.
    desk.goto(drill)
    assert row_of(desk, "Ada").endswith("at its end, not passed, from paper, typed in by Marit Osei")
    phone.goto(f"{room.url}/class")
    phone.get_by_role("link", name="Net from gross").click()
    expect(phone.locator("main")).to_contain_text("1 of 3 right: 33 %. You worked on paper")
    phone.locator("tbody tr").nth(1).get_by_role("link").click()
    expect(phone.locator("#verdict")).to_have_text("One step slipped")
    expect(phone.locator("main")).to_contain_text("From paper. A preceptor typed this answer in from a sheet.")
    assert phone.get_by_role("link", name="I mistyped").count() == 0
    accessible_everywhere(phone, accessible)

    # Typed wrongly: taken back, which nothing on the screen can be.
    desk.goto(f"{drill}/paper")
    desk.locator("summary", has_text="Typed wrongly?").click()
    desk.get_by_role("button", name="Take the sheet back").click()
    expect(desk.locator("#problem")).to_contain_text("tick the box")
    desk.locator("summary", has_text="Typed wrongly?").click()
    desk.get_by_label("Remove these answers of Ada").check()
    desk.get_by_role("button", name="Take the sheet back").click()
    expect(desk.get_by_role("link", name="Ada")).to_be_visible()
    assert room.store.answers_of(1) == []
