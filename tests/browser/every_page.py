"""Every page there is, found by following links in a full data file: enlarged, narrow, in forced colours, by keyboard.

The tests of each area look at its states; here no page can be forgotten, since a new one is found by its link.
"""

from __future__ import annotations

import gzip
import io
import random
import re
import zipfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from quiz import demo
from quiz.app import create_app
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.browser.conftest import SIDEWAYS, Check
from tests.conftest import NOON, Clock, lots, serving
from tests.leaks import leaks

FILES = re.compile(r"\.(csv|xml|zip|jsonl|json|gz|ics)$|/sheet$|/export")
FEWEST = 22
FEWEST_FILES = 4
MOST_STOPS = 160
"""Longer tables of links are walked to here."""


@dataclass
class Full:
    """The demonstration as it is served, and every page of it by its address."""

    context: BrowserContext
    pages: list[str]
    files: list[str]
    """One address of every kind of file that the pages offer."""


@pytest.fixture(scope="module")
def full(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Full]:
    """Serve a small demonstration, sign its preceptor in, and follow every link once."""
    path = tmp_path_factory.mktemp("full") / "demo.sqlite3"
    with pytest.MonkeyPatch.context() as patch, closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        patch.setattr(demo, "TREES", demo.TREES[:3])
        patch.setattr(demo, "SITTINGS", 3)
        password = demo.fill(store, now=NOON, rng=random.Random(2), said=lambda _: None).password
        app = create_app(file, clock=Clock(), lots=lots())
        with serving(app) as url:
            context = browser.new_context(reduced_motion="reduce")
            page = context.new_page()
            page.goto(f"{url}/door")
            page.locator("input[name=preceptor]").fill(demo.PRECEPTOR)
            page.locator("input[name=password]").fill(password)
            page.keyboard.press("Enter")
            page.wait_for_url("**/class")
            files: dict[str, str] = {}
            yield Full(context, list(followed(page, files)), list(files.values()))
            context.close()


def followed(page: Page, files: dict[str, str]) -> Iterator[str]:
    """Yield one address of every kind of page: numbers and names in addresses make no other kind.

    files: filled with one address of every kind of file met on the way, by its kind.
    """
    waiting = [page.url.replace("/class", part) for part in ("/", "/class", "/people", "/door")]
    kinds = set()
    while waiting:
        url = waiting.pop(0)
        kind = re.sub(r"/(\d+|case/[\w-]+|answer/[\w-]+|work/[\w-]+|recall/[\w-]+)(?=/|$|\?)", "/N", url.split("#")[0])
        kind = re.sub(r"\?.*", "?", kind)
        if FILES.search(url.split("?")[0]):
            files.setdefault(kind, url)
            continue
        if kind in kinds:
            continue
        kinds.add(kind)
        page.goto(url)
        yield page.url
        here = page.evaluate("[...document.querySelectorAll('a[href]')].map(one => one.href)")
        waiting += [one for one in here if one.startswith(url[: url.index("/", 8)])]


def open_all(page: Page, url: str) -> None:
    page.goto(url)
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")


def test_every_page_is_found(full: Full) -> None:
    names = {re.sub(r"\d+", "N", url.split("/", 3)[3]).split("?")[0] for url in full.pages}
    assert len(names) >= FEWEST, sorted(names)
    known = {
        "",
        "bench",
        "progress",
        "accuracy",
        "reference/slips",
        "reference/types",
        "reference/terms",
        "reference/evidence",
        "class/N/results",
        "class/N/drill/N",
    }
    assert known <= names, names


def texts_in(name: str, body: bytes) -> Iterator[str]:
    """Yield the texts of a file that was saved: of an archive all members, of markup what stands between tags."""
    if name.endswith(".zip"):
        with zipfile.ZipFile(io.BytesIO(body)) as archive:
            for member in archive.namelist():
                yield from texts_in(member, archive.read(member))
    elif name.endswith(".gz"):
        yield from texts_in(name.removesuffix(".gz"), gzip.decompress(body))
    elif not name.endswith(".png"):
        yield re.sub(r"<[^>]*>", " ", body.decode("utf-8"))


def test_no_page_and_no_file_says_from_memory_or_names_a_file_of_ours(full: Full) -> None:
    """A rule of this project: what a claim rests on is told as sure as it is, in a learner's words."""
    page = full.context.new_page()
    wrong = []
    for url in full.pages:
        open_all(page, url)
        wrong += [f"{url}: {one}" for one in leaks([page.locator("body").inner_text()])]
    page.close()
    for url in full.files:
        answer = full.context.request.get(url)
        assert answer.ok, url
        name = "files.zip" if answer.headers["content-type"] == "application/zip" else url.split("?")[0]
        wrong += [f"{url}: {one}" for one in leaks(texts_in(name, answer.body()))]
    assert wrong == []
    assert len(full.files) >= FEWEST_FILES, full.files


def test_twice_as_large_nothing_is_cut_off_or_scrolls_sideways(full: Full) -> None:
    """Zoomed to 200 % a window of 1280 px is 640 px wide, and 400 % makes it 320 px (WCAG 2.2, 1.4.4 and 1.4.10)."""
    page = full.context.new_page()
    wrong = []
    for url in full.pages:
        open_all(page, url)
        for width in (640, 320):
            page.set_viewport_size({"width": width, "height": 600})
            if page.evaluate(SIDEWAYS):
                wrong.append(f"{width} px: {url}")
        page.set_viewport_size({"width": 1280, "height": 800})
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        if page.evaluate(SIDEWAYS):
            wrong.append(f"letters twice as large: {url}")
    page.close()
    assert wrong == []


def test_on_a_telephone_the_head_of_every_page_is_two_rows_at_most(full: Full) -> None:
    """A row is what a finger needs, 44 px, and a little air: the case is to be seen without scrolling."""
    page = full.context.new_page()
    page.set_viewport_size({"width": 360, "height": 740})
    tall = []
    for url in full.pages:
        page.goto(url)
        height = page.locator("header.top").bounding_box()["height"]  # type: ignore[index]
        if height > 2 * 44 + 14:
            tall.append(f"{height:.0f} px: {url}")
    page.close()
    assert tall == []


def test_in_forced_colours_every_page_passes_and_lines_of_figures_are_seen(full: Full, accessible: Check) -> None:
    page = full.context.new_page()
    page.emulate_media(forced_colors="active", color_scheme="dark")
    for url in full.pages:
        open_all(page, url)
        accessible(page)
        ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
        unseen = page.evaluate(
            """ground => [...document.querySelectorAll('svg line, svg path, svg circle, svg text')]
              .filter(one => one.checkVisibility() && !one.closest('defs'))
              .filter(one => { const style = getComputedStyle(one);
                const inks = [style.stroke, style.fill].filter(ink => ink !== 'none');
                return inks.length && inks.every(ink => ink === ground); })
              .filter(one => !one.closest('.pupil, [data-ground]'))
              .map(one => one.outerHTML.slice(0, 100))""",
            ground,
        )
        assert unseen == [], url
    page.close()


STOPS = """() => { const seen = new Set();
  return [...document.querySelectorAll('a[href], button, input, select, textarea, summary, [tabindex="0"]')]
    .filter(one => one.checkVisibility() && !one.disabled && one.type !== 'hidden' && one.tabIndex >= 0)
    .filter(one => one.type !== 'radio' || (!seen.has(one.name) && seen.add(one.name)))
    .length; }"""
HERE = """() => { const one = document.activeElement;
  if (!one || one === document.body) return null;
  window.stops ??= new Map();
  if (!window.stops.has(one)) window.stops.set(one, window.stops.size);
  const style = getComputedStyle(one), box = one.getBoundingClientRect();
  const rims = [one, one.parentElement, one.closest('label')].filter(Boolean).map(each => getComputedStyle(each));
  return { number: window.stops.get(one), what: one.outerHTML.slice(0, 100),
    rim: rims.some(each => each.outlineStyle !== 'none' && parseFloat(each.outlineWidth) > 0),
    inside: box.bottom > 0 && box.top < innerHeight }; }"""


def test_the_keyboard_comes_to_everything_and_is_seen_there(full: Full) -> None:
    """Tab goes round the whole page, stays nowhere, and what it stands on has a rim and is in view (2.1.1, 2.4.7)."""
    page = full.context.new_page()
    page.set_viewport_size({"width": 1000, "height": 700})
    for url in full.pages:
        page.goto(url)
        wanted = page.evaluate(STOPS)
        page.evaluate("document.activeElement?.blur(); window.scrollTo(0, 0)")
        visited: set[int] = set()
        # A field for a day is walked through part by part, so there are more steps than stops.
        for _ in range(min(2 * wanted, MOST_STOPS)):
            if len(visited) >= wanted:
                break
            page.keyboard.press("Tab")
            here = page.evaluate(HERE)
            if here is None:
                continue
            visited.add(here["number"])
            assert here["rim"], f"{url}: no rim round {here['what']}"
            assert here["inside"], f"{url}: out of view: {here['what']}"
        assert len(visited) >= min(wanted, MOST_STOPS), f"{url}: {len(visited)} of {wanted} stops"
    page.close()


def test_every_page_prints_with_its_heading_and_asks_nothing_of_another_host(full: Full) -> None:
    page = full.context.new_page()
    elsewhere: list[str] = []
    page.on("request", lambda asked: elsewhere.append(asked.url) if "//127.0.0.1:" not in asked.url else None)
    page.on("console", lambda said: elsewhere.append(said.text) if "Content Security Policy" in said.text else None)
    page.on("pageerror", lambda error: elsewhere.append(str(error)))
    page.emulate_media(media="print")
    for url in full.pages:
        page.goto(url)
        assert page.locator("h1").count() == 1, url
        assert not page.evaluate(SIDEWAYS), url
    page.close()
    assert elsewhere == []
