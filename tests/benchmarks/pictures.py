"""The pictures of the README, taken from the demonstration: `python -m tests.benchmarks.pictures [FOLDER]`.

Fills an invented class, serves it, and takes each screen with the Chromium that the browser tests use. The same class
comes out every time, so that a picture changes only when the screen did.
"""

from __future__ import annotations

import random
import re
import sys
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from playwright.sync_api import Page, ViewportSize, sync_playwright

from quiz import demo
from quiz.app import create_app
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.browser.conftest import QUIET, chromium, drawn
from tests.conftest import NOON, Clock, deal, lots, serving, slipped

FOLDER = Path(".pictures")
WIDE: ViewportSize = {"width": 1100, "height": 760}
NARROW: ViewportSize = {"width": 390, "height": 760}
say = print


@contextmanager
def served(folder: Path) -> Iterator[tuple[str, Store, str]]:
    """Serve the demonstration; yields its address, its data and the preceptor's password."""
    with closing(DataFile.open(folder / "demo.sqlite3")) as file, closing(Store(file)) as store:
        filled = demo.fill(store, now=NOON, rng=random.Random(2), said=lambda _: None)
        app = create_app(file, clock=Clock(), lots=lots())
        with serving(app) as url:
            yield url, store, filled.password


def take(page: Page, url: str, store: Store, password: str) -> Iterator[str]:
    """Bring up screen after screen; yields the name of each."""
    alone = next(one for one in store.learners() if one.name == demo.ALONE)
    case = deal(store, alone, "two-spheres", now=NOON)
    page.goto(f"{url}/practise")
    yield "practise"
    for name, text in slipped(case, "distance-left-in").items():
        page.locator(f"#answer-{name}").fill(text)
    page.keyboard.press("Enter")
    page.locator("#verdict").wait_for()
    yield "mark"
    for address, name in (("/progress", "progress"), ("/bench", "bench"), ("/accuracy", "accuracy")):
        # Where motion is not wanted the bench keeps its drawing in place of the eye.
        page.emulate_media(reduced_motion="no-preference" if name == "bench" else "reduce")
        page.goto(url + address)
        if name == "bench":
            page.wait_for_selector("#bench.ready")
            page.evaluate("document.getElementById('bench').state.sweepTo(2)")
            drawn(page)
        yield name
    page.goto(f"{url}/door")
    page.locator("input[name=preceptor]").fill(demo.PRECEPTOR)
    page.locator("input[name=password]").fill(password)
    page.keyboard.press("Enter")
    page.wait_for_url("**/class")
    page.get_by_role("link", name=re.compile(re.escape(demo.CLASS))).first.click()
    page.goto(f"{page.url}/results")
    yield "results"


def main(arguments: Sequence[str] | None = None) -> int:
    """Take them all."""
    given = sys.argv[1:] if arguments is None else arguments
    folder = Path(given[0]) if given else FOLDER
    folder.mkdir(exist_ok=True)
    with (
        TemporaryDirectory(prefix="pictures-") as temporary,
        served(Path(temporary)) as (url, store, password),
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path=chromium(playwright), args=[*QUIET, "--no-sandbox"])
        page = browser.new_page(viewport=WIDE, color_scheme="light", reduced_motion="reduce")
        for name in take(page, url, store, password):
            path = folder / f"{name}.png"
            page.screenshot(path=path)
            say(f"{path}  {path.stat().st_size / 1000:.0f} kB")
        page.set_viewport_size(NARROW)
        page.emulate_media(color_scheme="dark")
        page.goto(f"{url}/practise")
        page.screenshot(path=folder / "practise-dark.png")
        browser.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
