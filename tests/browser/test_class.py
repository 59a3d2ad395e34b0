"""A class through browsers: a drill set and opened, three learners, one of them offline for a while, results, paper."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from time import time
from unittest.mock import patch

import pytest
from flask import Flask
from playwright.sync_api import Browser, BrowserContext, Page, expect

from cases.procedure.case_type import Case
from cases.worksheet import CAUTION
from quiz.app import create_app
from quiz.classroom import drills, preceptors, roster
from quiz.classroom import sign_in as signing
from quiz.practice import dealing
from quiz.storage import class_queries
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.browser.conftest import SIDEWAYS, Check, arrived
from tests.conftest import NOON, Clock, drawn_otherwise, lots, serving, slipped, written
from tests.quiz import class_people
from tests.quiz.class_people import Browser as People

NAME, PASSWORD = "Marit Osei", "a streak at ninety"


@dataclass
class Class:
    """A class being served, and what lies beneath it."""

    url: str
    store: Store
    clock: Clock
    app: Flask

    def carry(self, page: Page, who: People) -> None:
        """Let a browser be signed in as someone who came in without scripts, which is far quicker."""
        cookie = who.client.get_cookie("two-meridians")
        assert cookie is not None
        page.context.add_cookies([{"name": "two-meridians", "value": cookie.value, "url": self.url}])

    def opened(self, *, cases: int | None = 3, **more: object) -> tuple[People, str, str]:
        """Make a class with an open drill, without scripts; the preceptor, the code, the drill's address."""
        desk = People(self.app)
        desk.sign_in(NAME, PASSWORD)
        number, code = class_people.make_class(desk)
        plan = {"type": ["net-sphere"], "cases": cases or "", "title": "Net from gross", "pass_mark": "60", **more}
        return desk, code, f"{self.url}{class_people.set_drill(desk, number, **plan)}"  # type: ignore[arg-type]

    def ready(self, page: Page, **more: object) -> tuple[str, str]:
        """Make such a class and open the drill's page as its preceptor; the code, the drill's address."""
        desk, code, drill = self.opened(**more)  # type: ignore[arg-type]
        self.carry(page, desk)
        page.goto(drill)
        return code, drill

    def joined(self, page: Page, code: str, name: str) -> People:
        """Let a learner join without scripts, and open their first page."""
        who = class_people.learner(self.app, code, name)
        self.carry(page, who)
        page.goto(self.url)
        return who


@pytest.fixture
def room(data_file: DataFile, clock: Clock) -> Iterator[Class]:
    app = create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)
    with closing(Store(data_file)) as store, serving(app) as url:
        signing.add_preceptor(store, NAME, PASSWORD, now=NOON)
        yield Class(url, store, clock, app)


Open = Callable[[], BrowserContext]


@pytest.fixture
def device(browser: Browser) -> Iterator[Open]:
    """Give a device of its own to everyone: its own cookies and its own storage."""
    opened: list[BrowserContext] = []

    def one() -> BrowserContext:
        opened.append(browser.new_context())
        return opened[-1]

    yield one
    for context in opened:
        context.close()


def sign_in(page: Page, room: Class) -> None:
    page.goto(f"{room.url}/door")
    page.get_by_label("Your name").fill(NAME)
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.locator("h1")).to_have_text("Your classes")


def make_class(page: Page) -> str:
    page.get_by_label("What the class is called").fill("Spring 2")
    page.get_by_role("button", name="Make the class").click()
    arrived(page, "Spring 2")
    return page.locator(".told").inner_text()


def close_joining(page: Page) -> None:
    page.get_by_role("button", name="Close joining").click()
    expect(page.locator("main")).to_contain_text("Nobody can join now")


def set_drill(page: Page, *, cases: int = 3) -> None:
    page.get_by_role("link", name="Set a drill").click()
    arrived(page, "A new drill")
    page.locator("summary", has_text="Working distance").first.click()
    page.get_by_label("Gross to net, one sphere").check()
    page.get_by_label("Cases", exact=True).fill(str(cases))
    page.get_by_label("Title").fill("Net from gross")
    page.get_by_label("Pass mark, in per cent").fill("60")
    page.get_by_role("button", name="Set the drill").first.click()
    expect(page.locator("h1")).to_have_text("Net from gross")


def change_drill(page: Page) -> None:
    """Open the form of a drill from its page."""
    page.get_by_role("link", name="Change it").click()
    arrived(page, "Change the drill")


def save_drill(page: Page, title: str = "Net from gross") -> None:
    """Save the form of a drill, and come back to its page."""
    page.get_by_role("button", name="Save changes").first.click()
    arrived(page, title)


def open_drill(page: Page, *, again: bool = False) -> str:
    """Open a drill on its page; its address."""
    page.get_by_role("button", name="Open it again" if again else "Open it", exact=True).click()
    expect(page.get_by_role("button", name="Close it")).to_be_visible()
    return page.url


def join(page: Page, room: Class, code: str, name: str) -> str:
    page.goto(room.url)
    expect(page).to_have_url(f"{room.url}/door")
    page.get_by_label("The code that your preceptor gave you").fill(code.lower())
    page.get_by_label("A name to go by in the class").fill(name)
    page.get_by_role("button", name="Join").click()
    expect(page.locator("h1")).to_have_text(f"The come-back phrase of {name}")
    phrase = page.locator(".told").inner_text()
    page.get_by_role("link", name="Go on practising").click()
    expect(page.locator("h1")).not_to_contain_text("phrase")
    return phrase


def begin(page: Page) -> None:
    page.get_by_role("link", name="Net from gross").click()
    expect(page.locator("main")).not_to_contain_text("right:")  # nothing has been answered: no score
    page.get_by_role("button", name="Begin").click()
    expect(page.locator("h1")).to_contain_text("of the drill")


def case_on(page: Page, room: Class) -> Case:
    dealt = room.store.dealt(page.locator("form.answer").get_attribute("data-case") or "")
    assert dealt is not None
    return dealing.case_of(dealt)


def give(page: Page, room: Class, slip: str | None = None) -> None:
    case = case_on(page, room)
    room.clock.move(seconds=10)
    for name, text in (slipped(case, slip) if slip else written(case)).items():
        page.locator(f"#answer-{name}").fill(text)
    page.get_by_role("button", name="Mark it").click()


def marked(page: Page, heading: str) -> None:
    expect(page.locator("#verdict")).to_have_text(heading)
    page.locator("#go-on").click()
    expect(page).not_to_have_url(re.compile("/case/"))


def test_a_drill_for_three_one_of_whom_goes_offline_and_back(room: Class, device: Open) -> None:
    desk = device().new_page()
    sign_in(desk, room)
    code = make_class(desk)
    above = desk.url
    set_drill(desk)
    expect(desk.locator("main")).to_contain_text("Draft: no learner sees it.")
    desk.get_by_role("link", name="Try it").click()
    expect(desk.locator("h1")).to_contain_text("nothing is kept")
    desk.get_by_role("link", name="Net from gross").click()
    drill = open_drill(desk)

    devices = [device() for _ in range(3)]
    ada, bo, cy = (one.new_page() for one in devices)
    for page, name in ((ada, "Ada"), (bo, "Bo"), (cy, "Cy")):
        join(page, room, code, name)

    # Ada: all right. Each learner has the same cases.
    begin(ada)
    first = case_on(ada, room).findings
    for _ in range(3):
        give(ada, room)
        marked(ada, "Right")
    expect(ada.locator("main")).to_contain_text("3 of 3 right: 100 %.")
    expect(ada.locator("main")).to_contain_text("That reaches the pass mark of 60 %.")

    # Bo: one slip; the network goes before the second answer and comes back after it.
    begin(bo)
    assert case_on(bo, room).findings == first
    give(bo, room, "distance-left-in")
    marked(bo, "One step slipped")
    expect(bo.locator("h1")).to_contain_text("Case 2 of 3")
    bo.wait_for_load_state("networkidle")
    devices[1].set_offline(True)
    give(bo, room)
    expect(bo.locator(".sending")).to_contain_text("Kept on this device: there is no connection now.")
    assert len(room.store.answers_of(2)) == 1
    bo.get_by_role("button", name="Mark it").click()
    devices[1].set_offline(False)
    marked(bo, "Right")
    expect(bo.locator("h1")).to_contain_text("Case 3 of 3")
    assert len(room.store.answers_of(2)) == 2, "sent once, whatever was pressed"
    assert bo.evaluate("localStorage.getItem('two-meridians-outbox')") == "[]"
    give(bo, room)
    marked(bo, "Right")
    expect(bo.locator("main")).to_contain_text("2 of 3 right: 67 %.")

    # The preceptor: right to the number, and every number leads to its answers.
    desk.goto(drill)
    rows = [row.locator("th, td").all_inner_texts() for row in desk.locator("tbody tr").all()]
    assert [[" ".join(cell.split()) for cell in row] for row in rows] == [
        ["Ada", "Ada, answers: 3", "3", "100 %", "10 s", "finished, passed"],
        ["Bo", "Bo, answers: 3", "2", "67 %", "10 s", "finished, passed"],
    ]
    expect(desk.locator("main")).to_contain_text("Not begun: Cy.")
    desk.get_by_role("link", name="Results by type, by step and by slip").click()
    expect(desk.locator("main")).to_contain_text("6 answers of 2 learners, 5 right. Not begun: Cy.")
    slips = desk.get_by_role("region", name="The commonest slips").locator("tbody tr")
    expect(slips).to_have_count(1)
    expect(slips).to_contain_text("Did not subtract the working distance")
    grid = desk.get_by_role("region", name="Learners by type").locator("tbody tr")
    expect(grid.nth(0)).to_contain_text("3/3")
    expect(grid.nth(1)).to_contain_text("2/3")
    desk.get_by_role("link", name="missed 1").click()
    expect(desk.locator("tbody tr")).to_have_count(1)
    expect(desk.locator("tbody tr")).to_contain_text("Bo")
    desk.locator("tbody th a").click()
    expect(desk.locator("#verdict")).to_have_text("One step slipped")
    desk.goto(above)
    expect(desk.locator("main")).to_contain_text("1 of 3 have not begun: Cy.")

    # On paper: the drill's own cases, and their answers in the key.
    kept = class_queries.drill_of_id(room.store, 1)
    assert kept is not None
    cases = [drills.case_at(kept, place) for place in range(3)]
    desk.goto(f"{drill}/sheet?key=yes")
    assert desk.locator("section.case").count() == 3
    for number, case in enumerate(cases):
        paper = desk.locator("section.case").nth(number)
        expect(paper.locator(".answer")).to_have_text(f"{case.type.asks[0].label}: {written(case)['power']}")
        for line in case.run.lines:
            expect(paper).to_contain_text(line.says)
    size = desk.locator("h1").evaluate("one => getComputedStyle(one).fontSize")
    assert size == "20px", "its own style is let through"
    desk.goto(f"{drill}/sheet")
    expect(desk.locator("body")).to_contain_text(CAUTION)
    assert desk.locator(".answer, ol.working").count() == 0


def digest(page: Page) -> str:
    return page.locator(".about strong").inner_text()


def test_learners_sheet_key_and_results_agree_when_a_types_drawing_changes(room: Class, device: Open) -> None:
    """Issue 13, point 1: Ada and the sheet before an update that draws the type otherwise, Bo and the key after it."""
    desk, ada, bo = (device().new_page() for _ in range(3))
    code, drill = room.ready(desk)
    desk.get_by_role("link", name="Worksheet", exact=True).click()
    expect(desk).to_have_url(re.compile("/sheet$"))
    sheet, facts = digest(desk), desk.locator("section.case p").all_inner_texts()
    for page, name in ((ada, "Ada"), (bo, "Bo")):
        room.joined(page, code, name)
    begin(ada)
    give(ada, room)
    marked(ada, "Right")
    expect(ada.locator("h1")).to_contain_text("Case 2 of 3")
    with drawn_otherwise("net-sphere"):
        for page in (ada, bo):
            if page is bo:
                begin(bo)
            for number in (2, 3) if page is ada else (1, 2, 3):
                expect(page.locator("h1")).to_contain_text(f"Case {number} of 3")
                give(page, room)
                marked(page, "Right")
            expect(page.locator("main")).to_contain_text("3 of 3 right: 100 %.")
        desk.goto(drill)
        expect(desk.locator("main")).to_contain_text(f"check code of its cases: {sheet}")
        desk.get_by_role("link", name="Worksheet with key").click()
        expect(desk.locator(".answer").first).to_be_visible()
        assert digest(desk) == sheet
        answers = desk.locator(".answer").all_inner_texts()
        # Empty ones are lines to write on.
        printed = desk.locator("section.case p:not(.answer)").all_inner_texts()
        assert [one for one in printed if one.strip()] == [
            one for one in facts if one.strip() and not one.rstrip().endswith(":")
        ]
        for learner in (1, 2):
            given = [one.given["power"] for one in room.store.answers_of(learner)]
            assert [one.rsplit(": ", 1)[1] for one in answers] == given
        desk.goto(f"{drill}/sheet?key=yes&digest=0000-0000")
        expect(desk.locator("main")).to_contain_text(f"Check code 0000-0000 was given, and these cases have {sheet}")
        desk.goto(drill)
        desk.get_by_role("link", name="Results by type, by step and by slip").click()
        expect(desk.locator("main")).to_contain_text("6 answers of 2 learners, 6 right.")


def test_an_answer_kept_on_a_shared_tablet_is_sent_for_its_writer_alone(room: Class, device: Open) -> None:
    _, code, _ = room.opened(opened=False)
    tablet = device()
    page = tablet.new_page()
    phrase = join(page, room, code, "Ada")
    page.goto(room.url)
    url = page.locator("form.answer").get_attribute("action")
    kept = {"learner": page.locator("html").get_attribute("data-learner"), "url": url}
    case = case_on(page, room)
    body = "&".join(f"answer-{name}={text}".replace("+", "%2B") for name, text in written(case).items())
    keep = "kept => localStorage.setItem('two-meridians-outbox', JSON.stringify([kept]))"
    page.evaluate(keep, {**kept, "body": body})
    page.evaluate("() => fetch('/door/leave', {method: 'POST'})")
    page.wait_for_timeout(300)
    join(page, room, code, "Bo")
    page.wait_for_timeout(500)
    assert room.store.answers_of(1) == []
    assert page.evaluate("JSON.parse(localStorage.getItem('two-meridians-outbox')).length") == 1
    page.evaluate("() => fetch('/door/leave', {method: 'POST'})")
    page.goto(f"{room.url}/door")
    page.get_by_label("Your come-back phrase").fill(phrase)
    page.get_by_role("button", name="Come back").click()
    expect(page.locator(".sending")).to_have_text("An answer that was kept on this device has been sent.")
    assert len(room.store.answers_of(1)) == 1
    assert room.store.answers_of(2) == []


def test_marks_at_the_end_are_told_at_the_end(room: Class, device: Open) -> None:
    _, code, _ = room.opened(cases=2, feedback="end")
    page = device().new_page()
    room.joined(page, code, "Ada")
    begin(page)
    expect(page.locator("button[name=lines]")).to_have_count(0)
    give(page, room, "distance-left-in")
    expect(page.locator("h1")).to_have_text("Case 2 of 2 of the drill “Net from gross”")
    case = room.store.answers_of(1)[0].dealt
    page.goto(f"{room.url}/case/{case}")
    expect(page.locator("h1")).to_have_text("Case 2 of 2 of the drill “Net from gross”")
    give(page, room)
    expect(page.locator("main")).to_contain_text("1 of 2 right: 50 %.")
    expect(page.locator("main")).to_contain_text("That is under the pass mark of 60 %.")
    page.goto(f"{room.url}/case/{case}")
    expect(page.locator("#verdict")).to_have_text("One step slipped")


def row_of(page: Page, name: str) -> str:
    row = page.locator("tbody tr").filter(has=page.locator("th", has_text=name))
    return " ".join(row.inner_text().split()).replace(" ,", ",")


def test_a_drill_of_minutes_ends_at_its_time_whoever_answers_later(
    room: Class, device: Open, accessible: Check
) -> None:
    """Ada answers in time and once more after it; Bo leaves a case on the table, and it costs him nothing."""
    desk = device().new_page()
    code, drill = room.ready(desk, opened=False)
    change_drill(desk)
    desk.get_by_label("or minutes").fill("5")
    desk.get_by_role("button", name="Save changes").first.click()
    expect(desk.locator(".problem")).to_contain_text("give the least number of cases, or no pass mark")
    expect(desk.get_by_label("Fewest cases the score is out of (only for a drill of minutes)")).to_be_focused()
    desk.get_by_label("Fewest cases the score is out of (only for a drill of minutes)").fill("2")
    save_drill(desk)
    open_drill(desk)
    ada, bo = device().new_page(), device().new_page()
    for page, name in ((ada, "Ada"), (bo, "Bo")):
        room.joined(page, code, name)
        page.get_by_role("link", name="Net from gross").click()
        expect(page.locator("main")).to_contain_text("The score is of 2 cases at least")
        page.get_by_role("button", name="Begin").click()
        expect(page.locator("form.answer")).to_be_visible()
    expect(ada.locator(".time-left")).to_contain_text("Time left: 4 min")  # of five: it runs by itself
    expect(ada.locator("#time-over")).to_be_hidden()
    give(ada, room)
    marked(ada, "Right")
    for _ in range(2):
        give(bo, room)
        marked(bo, "Right")
    expect(ada.locator("h1")).to_contain_text("Case 2 of the drill")
    expect(bo.locator("h1")).to_contain_text("Case 3 of the drill")

    room.clock.move(seconds=311)
    give(ada, room)
    expect(ada.locator(".problem")).to_contain_text("it is saved, and not counted in the drill")
    accessible(ada)
    ada.locator("#go-on").click()
    expect(ada.locator("main")).to_contain_text("1 of 2 right: 50 %. You answered 1.")
    expect(ada.locator("main")).to_contain_text("One answer came after the time and is not counted.")
    expect(ada.locator("main")).to_contain_text("That is under the pass mark of 60 %.")
    bo.goto(f"{room.url}/drill/1")
    expect(bo.locator("main")).to_contain_text("2 of 2 right: 100 %.")
    expect(bo.locator("main")).to_contain_text("That reaches the pass mark of 60 %.")

    desk.goto(drill)
    assert row_of(desk, "Ada").endswith("1 1 50 % 10 s finished, not passed, 1 late by Ada, not counted")
    assert row_of(desk, "Bo").endswith("2 2 100 % 15 s finished, passed")
    accessible(desk)
    desk.get_by_role("link", name="1 late by Ada").click()
    expect(desk.locator("tbody tr")).to_have_count(1)
    desk.goto(drill)
    desk.get_by_role("link", name="Results by type").click()
    expect(desk.locator("main")).to_contain_text("3 answers of 2 learners, 3 right.")
    expect(desk.locator("main")).to_contain_text("1 late after the time of the drill")
    ada.goto(f"{room.url}/progress/data")
    with ada.expect_download() as sent:
        ada.get_by_role("link", name="Answers as CSV").first.click()
    assert [line.rsplit(",", 1)[1] for line in sent.value.path().read_text("utf-8-sig").splitlines()] == [
        "late",
        "",
        "yes",
    ]


def test_the_clock_of_a_drill_says_when_the_time_is_over(room: Class, device: Open, accessible: Check) -> None:
    page = device().new_page()
    _, code, _ = room.opened(cases=None, minutes="2", pass_mark="")
    room.joined(page, code, "Ada")
    begin(page)
    room.clock.move(seconds=58)
    page.reload()
    expect(page.locator("#said")).to_have_text(re.compile(r"(1 min 0|5\d) s left\."), timeout=10_000)
    room.clock.move(seconds=59)
    page.reload()
    expect(page.locator("#time-over")).to_be_visible(timeout=10_000)
    accessible(page)
    room.clock.move(seconds=11)  # eight past the end: the link comes when no answer can be on its way any more
    page.reload()
    room.clock.move(seconds=5)
    page.get_by_role("link", name="See your score").click()
    expect(page.locator("main")).to_contain_text("0 right in 2 minutes. You answered 0.")


def test_whoever_deletes_themselves_and_joins_again_is_seen_to_have(
    room: Class, device: Open, accessible: Check
) -> None:
    desk = device().new_page()
    code, drill = room.ready(desk, opened=False)
    above = drill.partition("/drill/")[0]
    ada, bo = device().new_page(), device().new_page()
    for page, name in ((ada, "Ada"), (bo, "Bo")):
        room.joined(page, code, name)
    open_drill(desk)
    for page in (ada, bo):
        page.goto(room.url)
        begin(page)
        give(page, room, "distance-left-in")
        marked(page, "One step slipped")
        expect(page.locator("form.answer")).to_be_visible()
    room.clock.move(seconds=3600)
    ada.goto(f"{room.url}/class")
    expect(ada.locator("main")).to_contain_text("your preceptor still sees that a learner deleted their answers")
    ada.get_by_label("Delete Ada with 1 answer, for good").check()
    ada.get_by_role("button", name="Delete me").click()
    expect(ada.locator("main")).to_contain_text("your preceptor sees that a learner deleted their answers, and the day")
    room.clock.move(seconds=60)
    room.joined(ada, code, "Ada B")
    begin(ada)
    give(ada, room)
    marked(ada, "Right")

    desk.goto(drill)
    expect(desk.locator("main")).to_contain_text("Answers of a learner were deleted by their owner on ")
    assert "joined after it opened, on " in row_of(desk, "Ada B")
    assert "joined after" not in row_of(desk, "Bo")
    accessible(desk)

    # Once more, in a drill that counts: who joined after it opened waits to be let in.
    desk.get_by_role("button", name="Copy it").click()
    arrived(desk, "Change the drill")
    desk.get_by_label("Graded").check()
    desk.get_by_label("Title").fill("For the record")
    save_drill(desk, "For the record")
    counting = desk.url
    desk.get_by_role("button", name="Open it").click()
    expect(desk.locator(".problem")).to_contain_text("nobody may join by the code while it is open")
    accessible(desk)
    desk.goto(above)
    close_joining(desk)
    desk.goto(counting)
    open_drill(desk)
    room.clock.move(seconds=60)
    desk.goto(f"{above}/people")
    desk.get_by_label("Name", exact=True).fill("Cy")
    desk.get_by_role("button", name="Add", exact=True).click()
    desk.get_by_role("region", name="People").get_by_label("Cy").check()
    desk.get_by_role("button", name="Print sign-in cards").click()
    expect(desk.locator(".slip")).to_have_count(1)
    cy = device().new_page()
    cy.goto(f"{room.url}/back/{desk.locator('.slip-phrase').inner_text().lower()}")
    cy.get_by_role("button", name="Yes, I am Cy").click()
    expect(cy).not_to_have_url(re.compile("/back/"))
    desk.goto(counting)
    cy.goto(f"{room.url}/class")
    expect(cy.locator("main")).to_contain_text("it counts, and opened before you joined")
    cy.get_by_role("link", name="For the record").click()
    expect(cy.locator("main")).to_contain_text("Ask your preceptor to let you in.")
    accessible(cy)
    desk.reload()
    accessible(desk)
    desk.get_by_role("button", name="Let Cy in").click()
    expect(desk.locator("main")).to_contain_text("Cy (joined after it opened, on ")
    cy.reload()
    cy.get_by_role("button", name="Begin").click()
    expect(cy.locator("h1")).to_contain_text("For the record")

    # The drill that is proposed for one learner's slips names nobody, and goes with them.
    for _ in range(2):
        give(bo, room, "distance-left-in")
        marked(bo, "One step slipped")
    desk.goto(above)
    desk.locator("tbody").get_by_role("link", name="Bo", exact=True).click()
    desk.get_by_role("link", name="Set a drill for Bo").click()
    expect(desk.get_by_label("Title")).not_to_have_value("")
    desk.get_by_role("button", name="Set the drill").first.click()
    expect(desk.locator("h1")).not_to_contain_text("Bo")
    desk.goto(above)
    expect(desk.get_by_role("region", name="Drills")).to_contain_text("for Bo")
    desk.get_by_role("link", name="Roster, sign-in cards and groups").click()
    arrived(desk, "People of Spring 2")
    accessible(desk)
    desk.get_by_label("Bo").check()
    desk.get_by_label("Cy").check()
    desk.locator("summary").filter(has_text="Groups, extra time").click()
    desk.get_by_role("button", name="Remove those ticked").click()
    expect(desk.locator("h1")).to_have_text("Remove 2 learners?")
    desk.get_by_role("button", name="Remove", exact=True).click()
    expect(desk.locator(".problem")).to_contain_text("nothing was removed")
    accessible(desk)
    desk.get_by_label("Remove these 2 with 3 answers, for good").check()
    desk.get_by_role("button", name="Remove", exact=True).click()
    expect(desk.get_by_role("region", name="People")).to_contain_text("Ada B")
    expect(desk.locator("main")).not_to_contain_text("Bo")


def test_one_browser_has_one_persons_rights(room: Class, device: Open, accessible: Check) -> None:
    """A learner joins at the desk where the preceptor is signed in; then the preceptor signs in over the learner."""
    shared = device().new_page()
    sign_in(shared, room)
    code = make_class(shared)
    above = shared.url
    shared.goto(f"{room.url}/door")
    expect(shared.locator("main")).to_contain_text(f"{NAME} is signed in on this device as a preceptor.")
    accessible(shared)
    shared.get_by_label("The code that your preceptor gave you").fill(code)
    shared.get_by_label("A name to go by in the class").fill("Ada")
    shared.get_by_role("button", name="Join").click()
    expect(shared.locator(".done")).to_contain_text(f"You have joined. {NAME} is signed out on this device.")
    phrase = shared.locator(".told").inner_text()
    shared.goto(above)
    expect(shared).to_have_url(f"{room.url}/door")
    shared.goto(f"{room.url}/class")
    expect(shared.locator("h1")).to_have_text("Ada in Spring 2")

    sign_in(shared, room)
    shared.goto(room.url)
    expect(shared).to_have_url(f"{room.url}/class")
    expect(shared.locator("h1")).to_have_text("Your classes")

    shared.goto(f"{room.url}/back/{phrase.lower()}")
    shared.get_by_role("button", name="Yes, I am Ada").click()
    expect(shared).not_to_have_url(re.compile("/back/"))
    shared.goto(above)
    expect(shared).to_have_url(f"{room.url}/door")
    with patch("time.time", lambda: time() - 3):
        shared.goto(f"{room.url}/class")
        expect(shared.locator("h1")).to_have_text("Ada in Spring 2")


PAGES = (
    "/class",
    "/class/1",
    "/class/1/drill/new",
    "/class/1/drill/new?learner=1",
    "/class/1/drill/1",
    "/class/1/drill/1/edit",
    "/class/1/drill/1/try/1",
    "/class/1/results",
    "/class/1/results?by=step",
    "/class/1/people",
    "/class/1/people/file",
    "/class/1/people?show=not-begun",
    "/class/1/keeping",
    "/class/1/keeping/retention",
    "/class/1/drill/1/extensions",
    "/class/1/drill/1/late",
    "/class/1/learner/1",
    "/class/1/learner/1?unsure=yes",
    "/class/1/answers",
    "/class/1/group/1",
    "/class/1/drill/1/scores",
    "/class/1/drill/1/report",
    "/class/1/compare?before=1&after=1",
    "/preceptors",
    "/class/1/answers?missed=yes&step=none",
    "/class/1/examinations",
    "/class/1/examinations/1",
)


@pytest.fixture
def peopled(room: Class, device: Open) -> tuple[Page, Page, str]:
    """Give a preceptor's page and a learner's, of a class in which something was answered."""
    desk, page = device().new_page(), device().new_page()
    code, _ = room.ready(desk)
    ada = room.joined(page, code, "Ada")
    ada.post("/drill/1/begin")
    _, case = class_people.waiting_in(ada.get("/drill/1"), room.store)
    class_people.answer(ada, room.store, "/drill/1", slipped(case, "distance-left-in"))
    one, who = class_queries.class_of_id(room.store, 1), class_queries.preceptor_named(room.store, NAME)
    assert one is not None
    assert who is not None
    roster.make_group(room.store, one, "Monday", [1], now=NOON)
    preceptors.make_administrator(room.store, who, now=NOON)
    desk.goto(f"{room.url}/class/1/examinations")
    desk.get_by_label("Patient 1").select_option("vignette dev")
    desk.get_by_label("Patient 2").select_option("drawn infant")
    desk.get_by_role("button", name="Set these patients").click()
    expect(desk).to_have_url(re.compile("/examinations/1$"))
    page.goto(f"{room.url}/examination")
    page.get_by_role("button", name="Examine Dev, 12 years").click()
    page.locator("#do-end").click()
    expect(page.locator("#verdict")).to_be_visible()
    return desk, page, code


def accessible_everywhere(page: Page, accessible: Check) -> None:
    """Check a page narrow and wide, and its colours in the dim room too, in one load of it."""
    for width in (320, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        accessible(page)
    page.emulate_media(color_scheme="dark")
    accessible(page, "color-contrast")
    page.emulate_media(color_scheme="light")


@pytest.mark.parametrize("half", [0, 1])
def test_every_page_of_a_class_is_accessible(
    room: Class, peopled: tuple[Page, Page, str], accessible: Check, half: int
) -> None:
    desk, _, _ = peopled
    for url in PAGES[half::2]:
        desk.goto(room.url + url)
        for details in desk.locator("main details").all()[:2]:
            details.evaluate("one => { one.open = true; }")
        accessible_everywhere(desk, accessible)


def test_every_state_of_a_class_is_accessible(room: Class, peopled: tuple[Page, Page, str], accessible: Check) -> None:
    desk, page, code = peopled

    def check(one: Page) -> None:
        accessible_everywhere(one, accessible)

    desk.goto(f"{room.url}/class/1/drill/new")
    desk.get_by_label("Cases", exact=True).fill("many")
    desk.get_by_role("button", name="Set the drill").first.click()
    expect(desk.locator(".problem")).to_have_text(
        [
            "Please correct: no type of case is chosen: tick a family or at least one type",
            "Please correct: cases “many”: give a whole number",
        ]
    )
    expect(desk.locator("input[name=family]").first).to_be_focused()
    check(desk)
    desk.goto(f"{room.url}/class/1/keeping")
    desk.get_by_role("button", name="Remove the class").click()
    expect(desk.locator(".problem")).to_be_visible()
    check(desk)
    for url in ("/", "/drill/1", "/class", "/door", "/examination"):
        page.goto(room.url + url)
        check(page)
    page.goto(f"{room.url}/door")
    page.get_by_role("button", name="Join under the name above").click()
    expect(page.locator(".problem")).to_be_visible()
    check(page)
    page.goto(f"{room.url}/class")
    page.get_by_role("button", name="New come-back phrase").click()
    phrase = page.locator(".told").inner_text()
    check(page)
    page.goto(f"{room.url}/back/{phrase.lower()}")
    check(page)
    assert code not in page.url


def test_results_on_a_phone_keep_within_it_and_the_names_in_sight(room: Class, device: Open) -> None:
    desk = device().new_page()
    title = "Reading movement, Sighting, fixation, examiner, Judgement and checking, at last"
    code, drill = room.ready(desk, cases=1, title=title)
    above = drill.partition("/drill/")[0]
    ada = class_people.learner(room.app, code, "Ada")
    ada.post("/drill/1/begin")
    class_people.answer(ada, room.store, "/drill/1")
    desk.set_viewport_size({"width": 360, "height": 740})
    desk.goto(f"{above}/results")
    assert not desk.evaluate(SIDEWAYS)
    table = desk.get_by_role("region", name="Learners by type")
    # As wide as a class that practised everything would make it.
    table.locator("td").last.evaluate("cell => { cell.style.minWidth = '1500px'; }")
    table.evaluate("region => { region.scrollLeft = 700; }")
    name = table.get_by_role("link", name="Ada", exact=True).bounding_box()
    assert name is not None
    assert 0 <= name["x"] < 100


def test_the_longest_name_in_one_word_keeps_within_every_page(room: Class, device: Open) -> None:
    desk, phone = device().new_page(), device().new_page()
    code, _ = room.ready(desk)
    number = 1
    room.joined(phone, code, "W" * 60)
    wide = []
    for page, paths in (
        (phone, ("", "/progress", "/class/mine", "/settings")),
        (desk, ("/class", f"/class/{number}", f"/class/{number}/learner/1", f"/class/{number}/results")),
    ):
        for width in (360, 1280):
            page.set_viewport_size({"width": width, "height": 740})
            for path in paths:
                page.goto(room.url + path)
                wide += [(width, path)] if page.evaluate(SIDEWAYS) else []
    assert wide == []


def test_questions_are_taken_to_another_platform(room: Class, device: Open, accessible: Check) -> None:
    """From the drill's page: each format is downloaded, and what one cannot mark is said beside the links."""
    page = device().new_page()
    room.ready(page, type=["net-sphere", "rx-to-cross"], cases=4)
    accessible(page)
    page.get_by_text("For a platform").click()
    for link, ending in (("QTI 2.1 package", ".zip"), ("QTI 3.0 package", ".zip"), ("Moodle XML", ".xml")):
        with page.expect_download() as arrived:
            page.get_by_role("link", name=link).click()
        assert arrived.value.suggested_filename.endswith(ending)
        assert arrived.value.path().stat().st_size > 1_000
    expect(page.get_by_text("Moodle XML: Case")).to_contain_text("left out: the app marks two powers together")
