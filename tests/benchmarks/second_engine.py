"""The app in a second engine, Firefox's Gecko: `python -m tests.benchmarks.second_engine [PATH OF FIREFOX]`.

Playwright drives no Firefox of a distribution, so this speaks Marionette, which every Firefox has: JSON over a socket.
A case is answered with scripts on, the text is read back while it is typed, every page is opened wide and narrow, and
the bench moves by a key. Exit 1 with a line for each thing that was not so. No part of the test run: it needs a second
browser of 300 MB (`apt-get install firefox-esr`).
"""

from __future__ import annotations

import json
import random
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from unittest.mock import patch

from quiz import demo
from quiz.app import create_app
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.conftest import NOON, Clock, deal, lots, serving, slipped

PAGES = ("", "bench", "work", "recall", "progress", "accuracy", "reference", "settings", "people", "door", "class")
ENTER = "\ue007"
ELEMENT = "element-6066-11e4-a52e-4f735466cecf"
"""The key under which WebDriver names an element (W3C WebDriver, section 12)."""
BARE = ("rgba(0, 0, 0, 0)", "rgb(255, 255, 255)")
say = print


class Refused(RuntimeError):
    """Firefox did not do what it was asked to."""


class Firefox:
    """One window of a Firefox, by Marionette."""

    def __init__(self, port: int) -> None:
        self.number = 0
        deadline = time.monotonic() + 60
        while True:
            try:
                self.socket = socket.create_connection(("127.0.0.1", port), 60)
                break
            except OSError:
                if time.monotonic() > deadline:
                    raise
                time.sleep(0.2)
        self.stream = self.socket.makefile("rb")
        self._read()
        self("WebDriver:NewSession", capabilities={"alwaysMatch": {"acceptInsecureCerts": False}})

    def _read(self) -> Any:
        length = b""
        while (one := self.stream.read(1)) != b":":
            length += one
        return json.loads(self.stream.read(int(length)))

    def __call__(self, command: str, **given: Any) -> Any:
        """Carry a command out."""
        self.number += 1
        body = json.dumps([0, self.number, command, given]).encode()
        self.socket.sendall(str(len(body)).encode() + b":" + body)
        _, _, error, result = self._read()
        if error:
            raise Refused(f"{command} {given}: {error.get('message')}")
        return result

    def go(self, url: str) -> None:
        """Open an address."""
        self("WebDriver:Navigate", url=url)

    def ask(self, script: str) -> Any:
        """Return what an expression comes to on the page."""
        return self("WebDriver:ExecuteScript", script=f"return ({script})", args=[])["value"]

    def keys(self, where: str, text: str) -> None:
        """Type into what a selector finds."""
        found = self("WebDriver:FindElement", using="css selector", value=where)["value"]
        self("WebDriver:ElementSendKeys", id=found[ELEMENT], text=text)

    def wait(self, script: str, *, seconds: float = 10) -> bool:
        """Wait until an expression holds."""
        deadline = time.monotonic() + seconds
        while time.monotonic() < deadline:
            if self.ask(script):
                return True
            time.sleep(0.05)
        return False


@contextmanager
def firefox(program: str, folder: Path) -> Iterator[Firefox]:
    """Run a Firefox without a window, with a profile of its own."""
    profile = folder / "profile"
    profile.mkdir()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    (profile / "user.js").write_text(f'user_pref("marionette.port", {port});\n', encoding="utf-8")
    command = [program, "--headless", "--marionette", "--no-remote", "--profile", str(profile)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as child:
        try:
            yield Firefox(port)
        finally:
            child.terminate()
            child.wait(20)


@contextmanager
def served(folder: Path) -> Iterator[tuple[str, Store]]:
    """Serve a small demonstration."""
    with (
        patch.multiple(demo, TREES=demo.TREES[:2], SITTINGS=2),
        closing(DataFile.open(folder / "demo.sqlite3")) as file,
        closing(Store(file)) as store,
    ):
        demo.fill(store, now=NOON, rng=random.Random(2), said=lambda _: None)
        with serving(create_app(file, clock=Clock(), lots=lots())) as url:
            yield f"{url}/", store


def faults(page: Firefox, url: str, store: Store) -> Iterator[str]:
    """Walk through the app and yield what is not as it should be."""
    alone = next(one for one in store.learners() if one.name == demo.ALONE)
    case = deal(store, alone, "two-spheres", now=NOON)
    page.go(url)
    ((name, text),) = slipped(case, "distance-left-in").items()
    if not page.ask(f"document.activeElement.id === 'answer-{name}'"):
        yield "the field for the answer does not have the focus"
    page.keys(f"#answer-{name}", text)
    if not page.wait(f"document.getElementById('reads-{name}').textContent.includes('read as')"):
        yield "the answer is not read back while it is typed"
    page.keys(f"#answer-{name}", ENTER)
    if not page.wait("document.getElementById('verdict')?.textContent === 'One step slipped'"):
        yield "the verdict does not come"
    if page.ask("document.querySelectorAll('svg[role=img] title').length") < 1:
        yield "the figure has no title"
    for size in ((1280, 800), (500, 800)):
        page("WebDriver:SetWindowRect", width=size[0], height=size[1])
        for one in PAGES:
            page.go(url + one)
            if page.ask("document.querySelectorAll('h1').length") != 1:
                yield f"/{one}: no heading, or several"
            if page.ask("document.documentElement.scrollWidth > document.documentElement.clientWidth"):
                yield f"/{one}: scrolls sideways at {page.ask('innerWidth')} px"
            if page.ask("[...document.styleSheets].some(one => !one.cssRules.length)"):
                yield f"/{one}: a style sheet came without rules"
            if page.ask("getComputedStyle(document.body).backgroundColor") in BARE:
                yield f"/{one}: the page has no ground of its own"
    page.go(url + "bench")
    if not page.wait("document.getElementById('bench')?.state !== undefined"):
        yield "the bench does not come to life"
        return
    streak = "document.getElementById('bench').state.bench.streak"
    before = page.ask(streak)
    page.keys("#bench-picture", "t")
    if not page.wait(f"{streak} !== {before}"):
        yield "the streak on the bench is not turned by its key"


def main(arguments: Sequence[str] | None = None) -> int:
    """Say what was found."""
    given = sys.argv[1:] if arguments is None else arguments
    program = given[0] if given else shutil.which("firefox-esr") or shutil.which("firefox")
    if program is None:
        say("no Firefox was found: name one, or `apt-get install firefox-esr`")
        return 1
    with (
        TemporaryDirectory(prefix="gecko-", ignore_cleanup_errors=True) as name,
        served(Path(name)) as (url, store),
        firefox(program, Path(name)) as page,
    ):
        say(page.ask("navigator.userAgent"))
        found = list(faults(page, url, store))
    for one in found:
        say(f"NOT SO: {one}")
    say(f"{len(PAGES)} pages at two widths, an answer, the bench: {len(found)} faults")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
