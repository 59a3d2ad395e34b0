"""A server that answers late, and a watch that names each line of a browser test which did not wait for its page.

On a quick machine a test may read a page, or the data file, before what it pressed has had its effect, and pass all
the same, until one day it does not. With `--late SECONDS` each page, script and style sheet comes that much later, a
click does not wait for the page that it leads to, and what a test does while an answer is on its way fails it, with its
file and line. `--slow-cpu TIMES` makes the browser this many times slower, which brings its steps into another order.
"""

from __future__ import annotations

import asyncio
import functools
import re
import threading
import time
import traceback
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from playwright.sync_api import Browser, BrowserContext, Keyboard, Locator, Mouse, Page, Request, expect
from playwright.sync_api._generated import LocatorAssertions, PageAssertions

from quiz.storage.store import Store
from quiz.web.front import gateway

HERE = Path(__file__).parent
AT_ONCE = 24
"""Threads of the server, each of which may be waiting."""
NO_PAGE = re.compile(r"\.(?:woff2|png|svg|ico|webmanifest)$")
READINGS = re.compile(r"/(?:read|read-as|started)$")
"""Asked for while one types, or again and again: what is read of them is waited for where it is tested."""
STARTS_S = 0.05
"""Seconds in which what was pressed has sent its request."""
GIVEN_UP_S, PATIENCE_S = 20, 90
DATA = "the data file was read"

WAITING = (
    (Locator, "bounding_box evaluate get_attribute inner_html inner_text input_value is_checked text_content"),
    (LocatorAssertions, " ".join(one for one in dir(LocatorAssertions) if one.startswith(("to_", "not_to_")))),
    (PageAssertions, " ".join(one for one in dir(PageAssertions) if one.startswith(("to_", "not_to_")))),
)
"""What waits until there is something to read. It has read the page before when the answer is still on its way."""
AT_ONCE_READ = (
    (Locator, "all all_inner_texts all_text_contents count evaluate_all is_hidden is_visible"),
    (Page, "close content emulate_media evaluate go_back go_forward goto pdf reload set_viewport_size title"),
)
"""What reads the page as it is, and what leaves it."""
ACTS = (
    (Locator, "check clear click dblclick fill focus press press_sequentially select_option set_input_files uncheck"),
    (Keyboard, "down press type"),
    (Mouse, "click down up"),
)
SENDING, SENDS = {"click", "dblclick", "up"}, re.compile(r"Enter|Space|\+")
"""What may send a form or follow a link: methods, and keys that are pressed."""
WAITS_BY_ITSELF = {Locator.click, Locator.press}
"""These wait for the page that they lead to, most of the time."""


class Late:
    """How late the server answers, how slow the browser is, and what a test did too early."""

    def __init__(self) -> None:
        self.seconds, self.slower = 0.0, 1.0
        self.early: list[str] = []
        self._awaited: dict[Request, Page] = {}

    def answering(self, app: Flask) -> Any:
        """Return an app that takes up late what is asked of it; this app where nothing is to be late."""
        if not self.seconds:
            return app

        def answer(environ: dict[str, Any], start: Any) -> Iterable[bytes]:
            if not NO_PAGE.search(environ["PATH_INFO"]):
                time.sleep(self.seconds)
            return app(environ, start)

        return answer

    def install(self) -> None:
        """Watch all that tests do with pages from now on."""
        _wrap(Browser, "new_context", self._context)
        expect.set_options(timeout=1000 * PATIENCE_S)
        if not self.seconds:
            return
        # One thread for quick pages would let each wait for all before it.
        gateway.QUICK, gateway.LONG_AT_ONCE = frozenset(), AT_ONCE
        for watch, methods in ((self._waiting, WAITING), (self._reading, AT_ONCE_READ), (self._acting, ACTS)):
            for kind, names in methods:
                for name in names.split():
                    _wrap(kind, name, watch)
        url = vars(Page)["url"].fget
        Page.url = property(lambda page: self._reading(url, page))  # type: ignore[assignment,method-assign]
        for name in ("_found", "change", "add"):
            _wrap(Store, name, self._storing)

    def _context(self, make: Callable[..., BrowserContext], *given: Any, **more: Any) -> BrowserContext:
        context = make(*given, **more)
        context.set_default_timeout(1000 * PATIENCE_S)
        context.on("page", self._watch)
        if self.slower > 1:
            new_page = context.new_page

            def slow_page() -> Page:
                page = new_page()
                context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": self.slower})
                return page

            context.new_page = slow_page  # type: ignore[method-assign]
        return context

    def _watch(self, page: Page) -> None:
        page.on("request", lambda asked: self._sent(page, asked))
        page.on("requestfinished", self._came)
        page.on("requestfailed", self._came)

    def _sent(self, page: Page, asked: Request) -> None:
        path = asked.url.partition("?")[0]
        if asked.is_navigation_request() or (asked.resource_type == "fetch" and not READINGS.search(path)):
            self._awaited[asked] = page

    def _came(self, asked: Request) -> None:
        self._awaited.pop(asked, None)

    def _awaiting(self) -> set[Request]:
        self._awaited = {asked: page for asked, page in self._awaited.items() if not page.is_closed()}
        return set(self._awaited)

    def _too_early(self, what: str, asked: set[Request]) -> None:
        """Note which line it was, and wait, so that the next one is judged by itself."""
        here = ", ".join(
            f"{one.filename.removeprefix(f'{HERE}/')}:{one.lineno}"
            for one in traceback.extract_stack()
            if one.filename.startswith(str(HERE)) and one.filename != __file__
        )
        said = f"{here}: {what} before the answer of {', '.join(sorted(one.url for one in asked))}"
        if said not in self.early:
            self.early.append(said)
        if what == DATA:
            return  # perhaps in the midst of writing, which would keep the server waiting
        until = time.monotonic() + GIVEN_UP_S
        while time.monotonic() < until and (left := asked & self._awaiting()):
            self._awaited[left.pop()].wait_for_timeout(20)

    def _reading(self, read: Callable[..., Any], *given: Any, **more: Any) -> Any:
        if before := self._awaiting():
            self._too_early(getattr(read, "__name__", ""), before)
        return read(*given, **more)

    def _waiting(self, read: Callable[..., Any], *given: Any, **more: Any) -> Any:
        before = self._awaiting()
        result = read(*given, **more)
        if early := before & self._awaiting():
            self._too_early(read.__name__, early)
            result = read(*given, **more)
        return result

    def _acting(self, act: Callable[..., Any], *given: Any, **more: Any) -> Any:
        before = self._awaiting()
        if act in WAITS_BY_ITSELF:
            more.setdefault("no_wait_after", True)
        result = act(*given, **more)
        if early := before & self._awaiting():
            self._too_early(act.__name__, early)
        if act.__name__ in SENDING or any(SENDS.search(str(one)) for one in given[1:]):
            given[0]._sync(asyncio.sleep(STARTS_S))
        return result

    def _storing(self, ask: Callable[..., Any], *given: Any, **more: Any) -> Any:
        if threading.current_thread() is threading.main_thread() and (before := self._awaiting()):
            self._too_early(DATA, before)
        return ask(*given, **more)

    def judge(self) -> None:
        """Fail where the test that ends did anything too early."""
        early, self.early, self._awaited = self.early, [], {}
        if early:
            pytest.fail("not waited for:\n" + "\n".join(early), pytrace=False)


def _wrap(kind: type, name: str, around: Callable[..., Any]) -> None:
    before = getattr(kind, name)
    setattr(kind, name, functools.wraps(before)(lambda *given, **more: around(before, *given, **more)))


late = Late()
