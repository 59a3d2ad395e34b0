"""Schools in a browser: an administrator invites, hands over and removes; who is invited comes in."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass

import pytest
from flask import Flask
from playwright.sync_api import Browser, Page, expect

from quiz.app import create_app
from quiz.classroom import preceptors, schools
from quiz.classroom import sign_in as signing
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.browser.conftest import Check, arrived, in_both_themes
from tests.conftest import NOON, Clock, lots, serving
from tests.quiz.class_people import PASSWORD, make_class
from tests.quiz.class_people import Browser as People


@dataclass
class Office:
    """An installation with two schools, and the browser of the first one's administrator."""

    url: str
    store: Store
    app: Flask

    def carry(self, page: Page, who: People) -> None:
        cookie = who.client.get_cookie("two-meridians")
        assert cookie is not None
        page.context.add_cookies([{"name": "two-meridians", "value": cookie.value, "url": self.url}])


@pytest.fixture
def office(data_file: DataFile, clock: Clock, page: Page) -> Iterator[Office]:
    app = create_app(data_file, clock=clock, lots=lots(), hosts=None, beyond=True)
    with closing(Store(data_file)) as store, serving(app) as url:
        north = schools.one_or_named(store, None)
        schools.rename(store, north, "Northfield School of Optometry", by="Test", now=NOON)
        schools.make(store, "Southgate", by="Test", now=NOON)
        for name in ("Ines Vale", "Marit Osei"):
            signing.add_preceptor(store, name, PASSWORD, now=NOON, school=north.id)
        ines = preceptors.named(store, "Ines Vale")
        with store.writing():
            schools.add_person(store, north, ines, by="Test", now=NOON, administrator=True)
        preceptors.make_administrator(store, ines, now=NOON)
        marit, desk = People(app), People(app)
        marit.sign_in("Marit Osei")
        for name in ("Spring 2", "A class with a name that is as long as a name of a class can be"[:60]):
            make_class(marit, name)
        desk.sign_in("Ines Vale")
        here = Office(url, store, app)
        here.carry(page, desk)
        yield here


def checked(page: Page, accessible: Check) -> None:
    """Check a page as a telephone and as a desk have it, by day and in the dim room."""
    for width in (360, 1280):
        page.set_viewport_size({"width": width, "height": 740})
        in_both_themes(page, accessible)


def open_all(page: Page) -> None:
    page.evaluate("document.querySelectorAll('main details').forEach(one => { one.open = true; })")


def test_an_administrator_runs_a_school(office: Office, page: Page, browser: Browser, accessible: Check) -> None:
    page.goto(f"{office.url}/class")
    page.get_by_role("link", name="Northfield School of Optometry").click()
    arrived(page, "Northfield School of Optometry")
    open_all(page)
    checked(page, accessible)
    page.get_by_label("Name of the person").fill("Rosa Lind")
    page.get_by_role("button", name="Make an invitation link").click()
    arrived(page, "Invitation for Rosa Lind")
    checked(page, accessible)
    link = page.locator(".told").inner_text()

    context = browser.new_context()
    guest = context.new_page()
    guest.goto(link)
    arrived(guest, "Northfield School of Optometry")
    checked(guest, accessible)
    guest.get_by_label("Password 10 characters or more").fill("short")
    guest.get_by_label("The password once more").fill("short")
    guest.get_by_role("button", name="Come in").click()
    expect(guest.locator(".problem")).to_contain_text("give at least 10")
    accessible(guest)
    guest.get_by_label("Password 10 characters or more").fill(PASSWORD)
    guest.get_by_label("The password once more").fill(PASSWORD)
    guest.get_by_role("button", name="Come in").click()
    arrived(guest, "Your classes")
    guest.goto(link)
    arrived(guest, "No invitation")
    accessible(guest)

    page.get_by_role("link", name="Done").click()
    arrived(page, "Northfield School of Optometry")
    page.locator("summary", has_text="Hand a class over").click()
    page.get_by_label("Class", exact=True).select_option("Spring 2, Marit Osei")
    page.get_by_label("New owner").select_option("Rosa Lind")
    page.get_by_role("button", name="Hand it over").click()
    expect(page.locator("#classes li", has_text="Spring 2")).to_contain_text("Rosa Lind, Marit Osei (co-teacher)")
    guest.goto(f"{office.url}/class")
    expect(guest.locator("main")).to_contain_text("Spring 2")

    page.locator("summary", has_text="Marit Osei").click()
    marit = page.locator("details", has=page.locator("summary", has_text="Marit Osei"))
    marit.get_by_label("Remove Marit Osei from").check()
    marit.get_by_role("button", name="Remove", exact=True).click()
    expect(page.locator(".problem")).to_contain_text("say who takes them")
    accessible(page)
    marit.get_by_label("Their classes go to").select_option("Ines Vale")
    marit.get_by_label("Remove Marit Osei from").check()
    marit.get_by_role("button", name="Remove", exact=True).click()
    expect(page.locator("#changes")).to_contain_text("Ines Vale removed Marit Osei from the school")
    expect(page.locator("#people")).not_to_contain_text("Marit Osei")
    context.close()


def test_the_installation_has_its_schools(office: Office, page: Page, accessible: Check) -> None:
    page.goto(f"{office.url}/class")
    page.get_by_role("link", name="Schools of this server").click()
    arrived(page, "Schools of this server")
    page.get_by_label("What the school is called").fill("Westbrook")
    page.get_by_role("button", name="Add the school").click()
    westbrook = page.locator("section", has=page.get_by_role("heading", name="Westbrook"))
    expect(westbrook).to_contain_text("It has no administrator yet.")
    open_all(page)
    checked(page, accessible)
    westbrook.get_by_label("Administrator whom you invite").fill("Tove Lund")
    westbrook.get_by_role("button", name="Make a link").click()
    arrived(page, "Invitation for Tove Lund")
    page.get_by_role("link", name="Done").click()
    arrived(page, "Schools of this server")
    page.get_by_label("What the school is called").fill("westbrook")
    page.get_by_role("button", name="Add the school").click()
    expect(page.locator(".problem")).to_contain_text("is another school here")
    accessible(page)


def test_a_class_moves_to_another_school(office: Office, page: Page, accessible: Check) -> None:
    page.goto(f"{office.url}/schools")
    open_all(page)
    checked(page, accessible)
    page.get_by_label("Spring 2, Marit Osei").check()
    page.get_by_label("Move to", exact=True).first.select_option("Southgate")
    page.get_by_role("button", name="Show what follows").first.click()
    arrived(page, "Move the class to Southgate")
    expect(page.get_by_text("Nothing has been moved yet.")).to_be_visible()
    checked(page, accessible)
    page.get_by_role("button", name="Move the class").click()
    expect(page.locator(".problem")).to_contain_text("tick the box")
    accessible(page)
    page.get_by_label("The same preceptors, who come into Southgate").check()
    page.get_by_label("Move the class to Southgate").check()
    page.get_by_role("button", name="Move the class").click()
    arrived(page, "Schools of this server")
    southgate = page.locator("section", has=page.get_by_role("heading", name="Southgate"))
    expect(southgate).to_contain_text("1 preceptor, 1 class")
    expect(page.locator("section", has=page.get_by_role("heading", name="Changes"))).to_contain_text(
        "moved the class “Spring 2” from Northfield School of Optometry to Southgate"
    )


def test_a_preceptor_finds_their_colleagues(office: Office, page: Page, accessible: Check) -> None:
    marit = People(office.app)
    marit.sign_in("Marit Osei")
    office.carry(page, marit)
    page.goto(f"{office.url}/class")
    page.get_by_role("link", name="Who else teaches here").click()
    arrived(page, "Preceptors")
    expect(page.locator("main")).to_contain_text("Ines Vale administrator")
    checked(page, accessible)
