"""People of a class through browsers: a preceptor, a co-teacher and five learners, one of them on a shared device."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from quiz.classroom import sign_in as signing
from quiz.storage import class_queries, roster_queries
from tests.browser.conftest import SIDEWAYS, Check, arrived
from tests.browser.test_class import (
    PASSWORD,
    Class,
    Open,
    case_on,
    change_drill,
    close_joining,
    device,
    give,
    make_class,
    open_drill,
    room,
    save_drill,
    set_drill,
    sign_in,
)
from tests.conftest import NOON, written

__all__ = ["device", "room"]

ROSTER = """Name,Number,Group,E-mail
Ada Berg,S1,Monday,ada@example.org
,S2,Monday,
Bo Lind,S1,Monday,
Bo Lind,S3,Monday,
Cy Moe,S4,Tuesday,
Dee Holm,S5,Tuesday,
Eli Roe,S6,Tuesday,
"""
CO_TEACHER = "Jun Park"


def come_in(page: Page, room: Class, phrase: str, *, shared: bool = False) -> None:
    """Open the link of a slip and come in."""
    page.goto(f"{room.url}/back/{phrase.lower()}")
    if shared:
        page.get_by_label("This is a shared device").check()
    page.locator("main button").click()
    expect(page).not_to_have_url(re.compile("/back/"))


def phrases_of(page: Page) -> dict[str, str]:
    """Read the slips that a page shows: names and phrases."""
    slips = page.locator(".slip").all()
    return {one.locator("strong").inner_text(): one.locator(".slip-phrase").inner_text() for one in slips}


def tick(page: Page, *names: str) -> None:
    for name in names:
        page.get_by_role("region", name="People").get_by_label(name).check()


def test_a_school_brings_its_list_and_a_year_goes_by(room: Class, device: Open, accessible: Check) -> None:
    """Roster with bad rows, slips, groups, two classes, a moved deadline, extra time, hand-over, archive."""
    signing.add_preceptor(room.store, CO_TEACHER, PASSWORD, now=NOON)
    desk = device().new_page()
    sign_in(desk, room)
    make_class(desk)
    above = desk.url
    close_joining(desk)
    desk.get_by_role("link", name="Roster, sign-in cards and groups").click()
    arrived(desk, "People of Spring 2")
    accessible(desk)
    desk.get_by_role("link", name="Add people from a file").click()
    arrived(desk, "People from a file")
    accessible(desk)
    desk.get_by_label("CSV file").set_input_files(
        {"name": "list.csv", "mimeType": "text/csv", "buffer": ROSTER.encode("utf-16")}
    )
    desk.get_by_role("button", name="Show how it is read").click()
    expect(desk.locator(".lead")).to_have_text(
        "5 new learners, 0 in Spring 2 already, 2 rows refused. Nothing is saved yet."
    )
    expect(desk.locator("main")).to_contain_text("Line 3: no name.")
    expect(desk.locator("main")).to_contain_text("Line 4: number S1 is in line 2 already.")
    accessible(desk)
    desk.get_by_role("button", name="Take these 5 rows").click()
    expect(desk.locator("table.roster tbody tr")).to_have_count(5)

    # Slips, as they are printed.
    names = ("Ada Berg", "Bo Lind", "Cy Moe", "Dee Holm", "Eli Roe")
    tick(desk, *names)
    desk.get_by_role("button", name="Print sign-in cards").click()
    expect(desk.locator(".slip")).to_have_count(5)
    accessible(desk)
    phrases = phrases_of(desk)
    for width in (360, 1280):
        desk.set_viewport_size({"width": width, "height": 800})
        assert not desk.evaluate(SIDEWAYS)
    first = desk.locator(".slip").first
    size = first.locator("svg").bounding_box()
    assert size is not None
    assert size["width"] > 100, "a telephone can read it"
    assert desk.locator(".slip-code path").first.get_attribute("stroke") in ("black", "#000", None)

    # A drill for the group of Monday.
    desk.goto(f"{above}/people")
    desk.get_by_role("link", name="Monday", exact=True).click()
    arrived(desk, "Monday")
    accessible(desk)
    desk.get_by_role("link", name="Set a drill for this group").click()
    expect(desk.get_by_label("Monday (2)")).to_be_checked()
    desk.goto(above)
    set_drill(desk)
    change_drill(desk)
    desk.get_by_label("Monday (2)").check()
    save_drill(desk)
    expect(desk.locator("main")).to_contain_text("Monday")
    drill = open_drill(desk)
    learners = {name: device().new_page() for name in names[:3]}
    for name, page in learners.items():
        come_in(page, room, phrases[name])
        page.goto(f"{room.url}/class")
        expect(page.locator("h1")).to_have_text(f"{name} in Spring 2")
    ada, bo, cy = learners.values()
    expect(cy.locator("main")).to_contain_text("No drill is set for you now.")
    for page in (ada, bo):
        page.get_by_role("link", name="Net from gross").click()
        page.get_by_role("button", name="Begin").click()
        give(page, room)
        expect(page.locator("#verdict")).to_have_text("Right")

    # The deadline moves although they have begun, and Ada has until later still.
    desk.goto(f"{drill}/edit")
    expect(desk.locator("main")).to_contain_text("This cannot be changed any more: copy the drill to set it otherwise.")
    expect(desk.get_by_label("Cases", exact=True)).to_have_count(0)
    accessible(desk)
    desk.get_by_label("Closes").fill("2031-05-20T10:00")
    desk.get_by_role("button", name="Save changes").click()
    expect(desk.locator("main")).to_contain_text("Open until Tue 20 May 2031, 10:00.")
    desk.get_by_role("link", name="More time for someone").click()
    desk.get_by_label("Learner").select_option(label="Ada Berg")
    desk.get_by_label("Closes for them").fill("2031-05-21T10:00")
    desk.get_by_role("button", name="Give this time").click()
    expect(desk.locator("main")).to_contain_text("until Wed 21 May 2031, 10:00")
    accessible(desk)

    # Bo is in a second class too, with one memory.
    desk.goto(f"{room.url}/class")
    desk.get_by_label("What the class is called").fill("Autumn 1")
    desk.get_by_role("button", name="Make the class").click()
    arrived(desk, "Autumn 1")
    desk.goto(f"{above}/people")
    tick(desk, "Bo Lind")
    desk.locator("summary").filter(has_text="Groups, extra time").click()
    desk.get_by_label("Another class").select_option(label="Autumn 1")
    desk.get_by_role("button", name="Put into it as well").click()
    expect(desk.locator("main")).to_contain_text("in another class too")
    bo.goto(f"{room.url}/class")
    expect(bo.locator("h1")).to_have_text("Bo Lind in Spring 2 and Autumn 1")
    tick(desk, "Ada Berg")
    desk.locator("summary").filter(has_text="Groups, extra time").click()
    accessible(desk)
    desk.get_by_label("Extra time in timed drills").select_option(label="25 %")
    desk.get_by_role("button", name="Give extra time").click()
    expect(desk.locator("table.roster tbody tr").first).to_contain_text("25 %")
    desk.get_by_role("button", name="Print sign-in cards").click()
    expect(desk.locator(".problem")).to_contain_text("nobody is ticked")
    accessible(desk)

    # A co-teacher, who then gets the class; and the year ends.
    desk.goto(f"{above}/keeping")
    desk.locator("#add-preceptor").select_option(label=CO_TEACHER)
    desk.get_by_role("button", name="Add to the class").click()
    expect(desk.locator("main")).to_contain_text(f"{CO_TEACHER}, co-teacher")
    accessible(desk)
    second = device().new_page()
    second.goto(f"{room.url}/door")
    second.get_by_label("Your name").fill(CO_TEACHER)
    second.get_by_label("Your password").fill(PASSWORD)
    second.get_by_role("button", name="Sign in").click()
    second.get_by_role("link", name="Spring 2").click()
    expect(second.get_by_role("link", name="Manage the class")).to_have_count(0)
    desk.locator("#hand-over").select_option(label=CO_TEACHER)
    desk.get_by_label(re.compile("Hand Spring 2 over")).check()
    desk.get_by_role("button", name="Hand it over").click()
    expect(desk.locator("main")).to_contain_text("Jun Park (owner), Marit Osei (co-teacher)")
    second.reload()
    second.get_by_role("link", name="Manage the class").click()
    arrived(second, "Manage Spring 2")
    second.get_by_role("button", name="Archive the class").click()
    expect(second.locator("h1")).to_have_text("Your classes")
    expect(second.locator("main")).to_contain_text("Archive of 2026")
    accessible(second)
    second.goto(above)
    expect(second.locator("main")).to_contain_text("everything in it can be read, and nothing is changed")
    expect(second.get_by_role("link", name="Set a drill")).to_have_count(0)
    accessible(second)
    kept = class_queries.class_of_id(room.store, 1)
    assert kept is not None
    assert kept.archived_at is not None
    assert len(roster_queries.members_of(room.store, 1)) == 5


def test_a_shared_device_forgets_its_learner(room: Class, device: Open, accessible: Check) -> None:
    """With its tab, and after twenty minutes without a page; never within a test."""
    desk = device().new_page()
    sign_in(desk, room)
    code = make_class(desk)
    tablet = device()
    page = tablet.new_page()
    page.goto(f"{room.url}/door")
    page.get_by_label("The code that your preceptor gave you").fill(code)
    page.get_by_label("A name to go by in the class").fill("Ada")
    page.get_by_label("This is a shared device").first.check()
    page.get_by_role("button", name="Join", exact=True).click()
    phrase = page.locator(".told").inner_text()
    page.goto(f"{room.url}/class")
    expect(page.locator("h1")).to_have_text("Ada in Spring 2")
    page.close()
    page = tablet.new_page()
    page.goto(f"{room.url}/class")
    expect(page.locator("main")).to_contain_text("its tab was closed, so the person who used it is signed out")
    accessible(page)

    come_in(page, room, phrase, shared=True)
    room.clock.move(seconds=19 * 60)
    page.goto(f"{room.url}/class")
    expect(page.locator("h1")).to_have_text("Ada in Spring 2")
    room.clock.move(seconds=21 * 60)
    page.goto(f"{room.url}/class")
    expect(page).to_have_url(f"{room.url}/door")

    come_in(page, room, phrase, shared=True)
    timed_test(desk, minutes=60)
    page.goto(f"{room.url}/drill/1")
    page.get_by_role("button", name="Begin").click()
    expect(page.get_by_role("button", name="Hand in this answer")).to_be_visible()
    room.clock.move(seconds=40 * 60)
    page.close()
    page = tablet.new_page()
    page.goto(f"{room.url}/drill/1")
    expect(page.locator(".time-left")).to_contain_text("20 min left of 60 min")


def hand_in(page: Page, room: Class) -> None:
    """Hand in the right answer to the case of a test."""
    for name, text in written(case_on(page, room)).items():
        page.locator(f"#answer-{name}").fill(text)
    page.get_by_role("button", name="Hand in this answer").click()


def timed_test(desk: Page, *, minutes: int, returning: bool = False) -> str:
    """Set a timed test of three cases and open it; its address."""
    set_drill(desk)
    change_drill(desk)
    desk.get_by_label("at the end of the drill").check()
    desk.get_by_label(re.compile("A test: nothing")).check()
    desk.get_by_label("Time for these cases, in minutes").fill(str(minutes))
    if returning:
        desk.get_by_label("Learners may leave a case and return to it later").check()
    save_drill(desk)
    return open_drill(desk)


def test_a_timed_test_from_the_first_case_to_the_late_answer(room: Class, device: Open, accessible: Check) -> None:
    """Only the case, the clock and the place; a case put back; an answer that the line delayed, and the decision."""
    desk = device().new_page()
    sign_in(desk, room)
    code = make_class(desk)
    drill = timed_test(desk, minutes=10, returning=True)
    phone = device()
    page = phone.new_page()
    page.set_viewport_size({"width": 360, "height": 740})
    page.goto(f"{room.url}/door")
    page.get_by_label("The code that your preceptor gave you").fill(code)
    page.get_by_label("A name to go by in the class").fill("Ada")
    page.get_by_role("button", name="Join", exact=True).click()
    arrived(page, "The come-back phrase of Ada")
    page.goto(f"{room.url}/drill/1")
    expect(page.locator("main")).to_contain_text("You have 10 minutes.")
    page.get_by_role("button", name="Begin").click()
    expect(page.locator(".place-in")).to_contain_text("1 of 3")
    expect(page.locator("header nav")).to_have_count(0)
    expect(page.locator(".time-left")).to_contain_text("10 min left of 10 min")
    accessible(page)
    button = page.get_by_role("button", name="Hand in this answer").bounding_box()
    assert button is not None
    assert button["y"] + button["height"] < 740, "the answer is handed in without scrolling"
    page.get_by_role("button", name="Return to this one").click()
    expect(page.locator(".place-in")).to_contain_text("2 of 3")
    accessible(page)
    page.goto(f"{room.url}/reference")
    expect(page).to_have_url(f"{room.url}/drill/1")
    hand_in(page, room)
    expect(page.locator(".place-in")).to_contain_text("3 of 3")
    page.get_by_role("link", name="Case 1").click()
    expect(page.locator(".place-in")).to_contain_text("1 of 3")
    page.get_by_role("link", name="Finish").click()
    expect(page.locator(".lead")).to_have_text("1 of 3 handed in, 1 put back. What is not handed in is not right.")
    accessible(page)
    page.get_by_role("link", name="Go on with the test").click()
    expect(page.locator("form.answer")).to_be_visible()

    # Three seconds before the end the line goes; it comes back half a minute later.
    room.clock.move(seconds=570)
    page.reload()
    expect(page.locator(".time-left")).to_contain_text("under a minute")
    page.wait_for_load_state("networkidle")
    phone.set_offline(True)
    hand_in(page, room)
    expect(page.locator(".sending")).to_contain_text("Kept on this device")
    room.clock.move(seconds=45)
    page.wait_for_timeout(1500)
    phone.set_offline(False)
    expect(page.locator("main")).to_contain_text("1 of 3 right: 33 %.", timeout=30_000)
    desk.goto(drill)
    desk.get_by_role("link", name="1 late", exact=True).click()
    expect(desk.locator("main")).to_contain_text("The browser says that the line held it for")
    accessible(desk)
    desk.get_by_role("button", name="Let it count").click()
    expect(desk.locator("main")).to_contain_text("Marit Osei let it count")
    page.reload()
    expect(page.locator("main")).to_contain_text("2 of 3 right: 67 %.")


def test_who_deletes_themselves_leaves_no_answer_on_the_device(room: Class, device: Open) -> None:
    """What was written without a connection is never sent afterwards, and is not kept either; Bo's is."""
    desk, page = device().new_page(), device().new_page()
    sign_in(desk, room)
    code = make_class(desk)
    page.goto(f"{room.url}/door")
    page.get_by_label("The code that your preceptor gave you").fill(code)
    page.get_by_label("A name to go by in the class").fill("Ada")
    page.get_by_role("button", name="Join", exact=True).click()
    arrived(page, "The come-back phrase of Ada")
    page.goto(f"{room.url}/class")
    held = [{"learner": one, "url": "/case/none/answer", "body": "x=1"} for one in ("other", "")]
    held[1]["learner"] = page.locator("html").get_attribute("data-learner") or ""
    page.evaluate("held => localStorage.setItem('two-meridians-outbox', JSON.stringify(held))", held)
    page.get_by_label("Delete Ada with everything kept, for good").check()
    page.get_by_role("button", name="Delete me").click()
    expect(page.locator(".done")).to_contain_text("You are deleted")
    page.wait_for_function("JSON.parse(localStorage.getItem('two-meridians-outbox')).length === 1")
    assert page.evaluate("JSON.parse(localStorage.getItem('two-meridians-outbox'))[0].learner") == "other"


def test_all_start_together(room: Class, device: Open, accessible: Check) -> None:
    desk, page = device().new_page(), device().new_page()
    sign_in(desk, room)
    code = make_class(desk)
    drill = timed_test(desk, minutes=10)
    desk.get_by_role("button", name="Close it").click()
    expect(desk.get_by_role("button", name="Open it again")).to_be_visible()
    change_drill(desk)
    desk.get_by_label(re.compile("Same start for all")).check()
    save_drill(desk)
    open_drill(desk, again=True)
    page.goto(f"{room.url}/door")
    page.get_by_label("The code that your preceptor gave you").fill(code)
    page.get_by_label("A name to go by in the class").fill("Ada")
    page.get_by_role("button", name="Join", exact=True).click()
    arrived(page, "The come-back phrase of Ada")
    page.goto(f"{room.url}/class")
    page.get_by_role("link", name="Net from gross").click()
    expect(page.locator(".lead")).to_contain_text("It begins for everyone when your preceptor starts it.")
    accessible(page)
    desk.goto(drill)
    accessible(desk)
    desk.get_by_role("button", name="Start it now for everyone").click()
    page.get_by_role("button", name="Begin").click(timeout=15_000)
    expect(page.get_by_role("button", name="Hand in this answer")).to_be_visible()
