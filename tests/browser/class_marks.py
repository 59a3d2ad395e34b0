"""A preceptor's own case through browsers: written, refused, checked, put into a drill, printed, answered, marked."""

from __future__ import annotations

import re
from pathlib import Path

from playwright.sync_api import Page, expect

from quiz.classroom import on_paper
from quiz.storage import class_queries
from quiz.storage.classroom import own_case_queries
from tests.browser.conftest import SIDEWAYS, Check, arrived
from tests.browser.test_class import (
    NAME,
    PASSWORD,
    Class,
    Open,
    accessible_everywhere,
    case_on,
    device,
    give,
    make_class,
    marked,
    open_drill,
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
    arrived(desk, "Own cases")
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
    drill = open_drill(desk)
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
    expect(phone.locator("h1")).to_contain_text("Case 3 of 3")

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
    arrived(desk, "Answers from paper")
    accessible_everywhere(desk, accessible)
    desk.get_by_role("link", name="version B").click()
    expect(desk).to_have_url(re.compile("version=B"))
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
    expect(desk.locator("tbody tr").nth(1)).to_contain_text("slipped: did not subtract the working distance")
    accessible_everywhere(desk, accessible)
    desk.keyboard.press("Enter")
    expect(desk.locator("main")).to_contain_text("The sheet of Ada is saved.")
    expect(desk.locator("main")).to_contain_text("Ada: 1 right of 2 answered by Ada typed in by Marit Osei")
    expect(desk.get_by_role("link", name="Bo")).to_be_visible()
    desk.set_viewport_size({"width": 360, "height": 740})
    assert not desk.evaluate(SIDEWAYS)

    # Everyone is told that it came from paper; Ada sees her mark.
    desk.goto(drill)
    assert row_of(desk, "Ada").endswith("finished, not passed, from paper, typed in by Marit Osei")
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


def test_a_set_is_saved_looked_at_and_taken_into_another_class(
    room: Class, device: Open, accessible: Check, tmp_path: Path
) -> None:
    desk = device().new_page()
    _, drill = room.ready(desk)
    people = preceptor_on(room)
    case = {"title": "Boy", "words": WORDS, "gross": "+3.25", "distance_cm": "50", "do": "save"}
    people.post("/class/1/cases/new/net-sphere", case)
    desk.goto(f"{room.url}/class/1/cases")
    desk.get_by_role("link", name="Take drills and own cases").click()
    arrived(desk, "Drills and cases to take elsewhere")
    accessible_everywhere(desk, accessible)
    with desk.expect_download() as sent:
        desk.get_by_role("button", name="Save the set").click()
    path = tmp_path / "set.json"
    sent.value.save_as(path)

    # Into another class: shown first, every case marked again.
    number, _ = class_people.make_class(people, "Autumn 1")
    desk.goto(f"{room.url}/class/{number}/set")
    desk.get_by_role("button", name="Show what is in it").click()
    expect(desk.locator("#file-problem")).to_contain_text("nothing was chosen")
    accessible_everywhere(desk, accessible)
    desk.locator("#file").set_input_files(path)
    desk.get_by_role("button", name="Show what is in it").click()
    expect(desk.locator("h1")).to_have_text("What is in the set")
    expect(desk.locator("main")).to_contain_text("4 cases worked out and marked again. Nothing is saved yet.")
    expect(desk.locator("main")).to_contain_text("Gross to net, one sphere: +1.25 D")
    accessible_everywhere(desk, accessible)
    desk.get_by_role("button", name="Take what is ticked into Autumn 1").click()
    expect(desk.locator(".done")).to_contain_text("1 drill and 1 own case taken.")
    desk.goto(f"{room.url}/class/{number}/drill/2")
    expect(desk.locator("main")).to_contain_text("Draft: no learner sees it.")
    digest = desk.locator("main").inner_text().split("check code of its cases: ")[1][:9]
    desk.goto(drill)
    expect(desk.locator("main")).to_contain_text(f"check code of its cases: {digest}")

    # A file that was changed is refused.
    changed = tmp_path / "changed.json"
    changed.write_text(path.read_text("utf-8").replace('"words":"An', '"words":"The'), "utf-8")
    desk.goto(f"{room.url}/class/{number}/set")
    desk.locator("#file").set_input_files(changed)
    desk.get_by_role("button", name="Show what is in it").click()
    expect(desk.locator("#file-problem")).to_contain_text("the file was changed after it was saved")


def test_what_a_preceptor_learns_scores_comparison_and_remarks(room: Class, device: Open, accessible: Check) -> None:
    """Ada does both drills rightly, Bo leaves the distance in twice in the first; a remark is written and read."""
    desk, phone = device().new_page(), device().new_page()
    code, drill = room.ready(desk)
    people = preceptor_on(room)
    ada, bo = (class_people.learner(room.app, code, name) for name in ("Ada", "Bo"))
    class_people.learner(room.app, code, "Cy")
    copied = people.post(f"{drill.removeprefix(room.url)}/copy").location.removesuffix("/edit")
    people.post(f"{copied}/open")
    for number in (1, 2):
        for who, slips in ((ada, 0), (bo, 2 if number == 1 else 0)):
            who.post(f"/drill/{number}/begin")
            for place in range(3):
                _, case = class_people.waiting_in(class_people.case_page(who, f"/drill/{number}"), room.store)
                room.clock.move(seconds=30)
                texts = slipped(case, "distance-left-in") if place < slips else None
                class_people.answer(who, room.store, f"/drill/{number}", texts)

    # Scores: the figures, a sorted table, a search, and the answers behind a case.
    desk.get_by_role("link", name="Scores, cases one by one").click()
    arrived(desk, "Scores of Net from gross")
    tally = " ".join(desk.locator(".tally").inner_text().split())
    assert tally == "finished 2 of 3 passed 1 mean right 2.0 median 2 SD 1.4"
    expect(desk.locator("main")).not_to_contain_text("Look at it again")  # two learners show nothing
    accessible_everywhere(desk, accessible)
    learners = desk.get_by_role("region", name="Learners")
    learners.get_by_role("link", name="Score", exact=True).click()
    expect(learners.locator("[aria-sort=ascending]")).to_contain_text("Score")
    assert learners.locator("tbody th").all_inner_texts() == ["Cy", "Bo", "Ada"]
    desk.get_by_label("Name", exact=True).fill("ad")
    desk.keyboard.press("Enter")
    expect(learners.locator("tbody th")).to_have_text(["Ada"])
    desk.get_by_role("link", name="Report to print").click()
    arrived(desk, "Net from gross")
    assert desk.locator("form").count() == 0
    accessible_everywhere(desk, accessible)
    desk.go_back()

    # Before and after: Bo's step is better, and two learners are too few to be sure of it.
    desk.get_by_label("Compare with an earlier drill").select_option(label="Net from gross (copy)")
    desk.get_by_role("button", name="Compare").click()
    expect(desk.locator("main")).to_contain_text("Taking the working distance off", ignore_case=True)
    accessible_everywhere(desk, accessible)
    desk.set_viewport_size({"width": 360, "height": 740})
    assert not desk.evaluate(SIDEWAYS)

    # A remark on Bo's first answer, which Bo reads under Class and drills, and which can be changed.
    desk.goto(f"{room.url}/class/1/answers?drill=1&learner={learner_named(room, 'Bo')}&missed=yes")
    desk.locator("tbody th a").first.click()
    desk.get_by_label("A remark that Bo will read").fill("Your distance was 67 cm: take off 1.50 D.")
    desk.get_by_role("button", name="Save the remark").click()
    expect(desk.locator("#remark")).to_contain_text("“Your distance was 67 cm: take off 1.50 D.”")
    accessible_everywhere(desk, accessible)
    room.carry(phone, bo)
    phone.goto(f"{room.url}/class")
    phone.locator("section", has_text="Remarks").get_by_role("link").first.click()
    expect(phone.locator("#remark")).to_contain_text("take off 1.50 D.")
    expect(phone.locator("#remark")).to_contain_text("Marit Osei")
    assert phone.get_by_label("A remark that").count() == 0
    accessible_everywhere(phone, accessible)


def learner_named(room: Class, name: str) -> int:
    return next(one.id for one in room.store.learners() if one.name == name)


def preceptor_on(room: Class) -> class_people.Browser:
    """Sign the preceptor in once more, without scripts."""
    one = class_people.Browser(room.app)
    one.sign_in(NAME, PASSWORD)
    return one
