"""Browser tests: the Chromium to use, the app served in this process, and the accessibility check."""

from __future__ import annotations

import json
import os
import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, TypeVar

import pytest
from axe_playwright_python.base import AXE_FILE_PATH
from flask import request
from playwright.sync_api import Browser, Error, Page, Playwright, expect

from cases.curriculum.register import all_types
from cases.procedure.case_type import Case
from quiz.app import create_app
from quiz.practice.worked_examples import PARTS
from quiz.storage import desk_queries
from quiz.storage.datafile import DataFile
from quiz.storage.store import Learner, Store
from tests.conftest import Clock, deal, lots, serving
from tests.late import late

expect.set_options(timeout=20_000)  # a page of a busy machine may take its time; what is wrong stays wrong
QUIET = (
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-quic",
    "--disable-sync",
    "--no-first-run",
)
HOW = "set QUIZ_CHROMIUM to one, or `apt-get install -y chromium`, or `python -m playwright install chromium`"
AXE_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


class NoChromium(RuntimeError):
    """There is no Chromium to test with."""


def chromium(playwright: Playwright) -> str:
    """Find a Chromium: the one named in $QUIZ_CHROMIUM, playwright's own build, one on the PATH.

    Raises
    ------
    NoChromium
        When there is none: browser tests never skip.
    """
    named = os.environ.get("QUIZ_CHROMIUM")
    if named:
        if not Path(named).is_file():
            raise NoChromium(f"QUIZ_CHROMIUM is {named}, which is not there: {HOW}")
        return named
    if Path(playwright.chromium.executable_path).is_file():
        return playwright.chromium.executable_path
    for name in ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable"):
        found = shutil.which(name)
        if found:
            return found
    raise NoChromium(f"no Chromium was found: {HOW}")


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any], playwright: Playwright) -> dict[str, Any]:
    sandbox = () if os.geteuid() else ("--no-sandbox",)
    args = [*browser_type_launch_args.get("args", ()), *QUIET, *sandbox]
    return {**browser_type_launch_args, "executable_path": chromium(playwright), "args": args}


@pytest.fixture(autouse=True)
def waited_for() -> Iterator[None]:
    """With `--late`, fail a test that did not wait for what it pressed."""
    yield
    late.judge()


@dataclass
class Served:
    """The app at an address, with the data file and the clock beneath it."""

    url: str
    store: Store
    clock: Clock
    requested: list[str]
    """What the app was asked for."""

    @property
    def case_url(self) -> str:
        """Where the case that waits is."""
        return f"{self.url}practise"

    @property
    def learner(self) -> Learner:
        return self.store.learners()[0]

    def know_worked_examples(self) -> None:
        """Let the learner be through the worked examples of every type: a case comes at once."""
        with self.store.writing():
            for type_id in all_types():
                desk_queries.keep_worked(self.store, self.learner.id, type_id, PARTS, now=self.clock.at)

    def open_case(self, page: Page) -> None:
        """Open the case that waits, past the first questions and past a prompt that comes beside it."""
        page.goto(self.case_url)
        for asks, way_past in (("/first-questions", "Skip the questions"), ("/recall/prompt/", "Not now")):
            if asks in page.url:
                page.get_by_role("button", name=way_past).click()
                expect(page).not_to_have_url(re.compile(asks))
                page.goto(self.case_url)

    def deal(self, page: Page, type_id: str, **more: Any) -> Case:
        """Make a certain case the one that waits, and open it, ready to be typed into."""
        self.open_case(page)
        self.clock.move(seconds=1)
        self.know_worked_examples()
        case = deal(self.store, self.learner, type_id, now=self.clock.at, **more)
        self.open_case(page)
        # A busy browser gives the focus only with its first picture, after all is loaded: keys until then go nowhere.
        for field in page.locator("main [autofocus]").all():
            expect(field).to_be_focused()
        return case


def arrived(page: Page, heading: str | re.Pattern[str]) -> None:
    """Wait until a page with this heading is there."""
    expect(page.locator("h1")).to_have_text(heading)


def drawn(page: Page) -> None:
    """Wait until what was changed has been drawn."""
    page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")


@pytest.fixture
def served(data_file: DataFile, clock: Clock) -> Iterator[Served]:
    app, requested = create_app(data_file, clock=clock, lots=lots()), list[str]()
    app.before_request(lambda: requested.append(request.path))
    with closing(Store(data_file)) as store, serving(app) as url:
        yield Served(f"{url}/", store, clock, requested)


@pytest.fixture
def page(page: Page) -> Iterator[Page]:
    """Open a page on which no script may fail and nothing may be asked of another host."""
    troubles: list[str] = []
    page.on("pageerror", lambda error: troubles.append(str(error)))
    page.on("console", lambda said: troubles.append(said.text) if "Content Security Policy" in said.text else None)
    page.on("request", lambda asked: troubles.append(asked.url) if "//127.0.0.1:" not in asked.url else None)
    yield page
    assert troubles == []


Found = TypeVar("Found")


class Check(Protocol):
    """Fails where axe, or a check of ours, finds a fault on a page; of axe's rules only one where it is named."""

    def __call__(self, page: Page, only: str = "") -> None: ...


@pytest.fixture(scope="session")
def accessible() -> Check:
    """Run axe-core on a page by `evaluate`, since the policy lets no script of others in; and our own checks.

    The page is read once it has loaded. Which page that is a test has to see to: after a click it waits for something
    that only the new page has, or the page before would be checked in its place (`--late` finds where it does not).
    """
    script = AXE_FILE_PATH.read_text("utf-8")

    def check(page: Page, only: str = "") -> None:
        rules = {"type": "rule", "values": [only]} if only else {"type": "tag", "values": AXE_TAGS}
        options = json.dumps({"runOnly": rules, "resultTypes": ["violations"]})
        found, too_small, sideways = on_one_document(
            page,
            lambda: (
                page.evaluate("'axe' in window") or page.evaluate(f"(() => {{ {script} }})()"),
                page.evaluate(f"axe.run(document, {options})"),
                page.evaluate(TOO_SMALL),
                page.evaluate(SIDEWAYS),
            )[1:],
        )
        told = [
            f"{one['id']}: {node['html'][:160]} {node['failureSummary']}"
            for one in found["violations"]
            for node in one["nodes"]
        ]
        assert told == []
        assert too_small == [], "a target under 44 px"
        assert sideways is False, "the page scrolls sideways"

    return check


REPLACED_AT_MOST = 5


def on_one_document(page: Page, read: Callable[[], Found]) -> Found:
    """Read a page that has loaded; read again where another page took its place meanwhile."""
    for _ in range(REPLACED_AT_MOST):
        document = shown(page)
        try:
            found = read()
        except Error:
            if shown(page) == document:
                raise
        else:
            if shown(page) == document:
                return found
    raise AssertionError(f"a page that does not stay: {page.url}")


def shown(page: Page) -> float:
    """Wait until a page has loaded; return when its document was asked for, which it shares with no other."""
    for _ in range(REPLACED_AT_MOST):
        page.wait_for_load_state("load")
        with suppress(Error):  # it was replaced just now
            return float(page.evaluate("performance.timeOrigin"))
    raise AssertionError(f"a page that does not stay: {page.url}")


def in_both_themes_wide_and_narrow(page: Page, accessible: Check) -> None:
    """Check a page at two widths and in two themes, in one load of it: opening it costs more than a check."""
    for width in (1280, 320):
        page.set_viewport_size({"width": width, "height": 740})
        in_both_themes(page, accessible)


def in_both_themes(page: Page, accessible: Check) -> None:
    """Check all of a page by day, and its colours in the dim room too: a theme changes nothing else."""
    for theme, rule in (("light", ""), ("dark", "color-contrast")):
        page.emulate_media(color_scheme=theme)  # type: ignore[arg-type]
        accessible(page, rule)


TOO_SMALL = """() => [...document.querySelectorAll('a, button, summary, input, select, label.choice')]
  .filter(one => one.checkVisibility() && !one.closest('.skip') && !(one.matches('input') && one.closest('label')))
  .filter(one => !(one.matches('a') && getComputedStyle(one).display === 'inline'))
  .filter(one => one.getBoundingClientRect().height < 43.5)
  .map(one => one.outerHTML.slice(0, 120))"""
SIDEWAYS = "() => document.documentElement.scrollWidth > document.documentElement.clientWidth"


@pytest.fixture
def still_page(browser: Browser) -> Iterator[Page]:
    """Open a page for someone who asked for less motion."""
    context = browser.new_context(reduced_motion="reduce")
    yield context.new_page()
    context.close()


@pytest.fixture
def plain_page(browser: Browser) -> Iterator[Page]:
    """Open a page without scripts."""
    context = browser.new_context(java_script_enabled=False)
    yield context.new_page()
    context.close()
