"""Film strips of the reflex, five places of a sweep each, and the bench of README: `python -m tests.film FOLDER`.

They are for looking at: what a strip must show stands in its name.
"""

from __future__ import annotations

import argparse
import base64
import tempfile
from contextlib import closing
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from quiz.app import create_app
from quiz.storage.datafile import DataFile
from tests.browser.conftest import chromium
from tests.conftest import lots, serving

STRIPS = {
    "with": "sphere=0.5&eye_sphere=0",
    "with-far": "sphere=0.5&eye_sphere=2",
    "against": "sphere=2.5&eye_sphere=0",
    "against-far": "sphere=5.5&eye_sphere=0",
    "neutral": "sphere=1.5&eye_sphere=0",
    "skew": "sphere=2&eye_sphere=2&eye_cylinder=-2&eye_axis=30",
    "margin": "sphere=1.5&eye_sphere=0&pupil_mm=8&margin=-1.5",
    "scissors": "sphere=1.25&eye_sphere=0&coma=0.5&pupil_mm=7",
    "cone": "sphere=1.5&eye_sphere=1&cone=4&pupil_mm=7",
    "haze": "sphere=0.5&eye_sphere=0&haze=0.6",
    "spot": "sphere=0.5&eye_sphere=0&filament=spot",
    "line-on-the-face": "sphere=0.5&eye_sphere=0&sleeve=1.5",
    "off-axis": "sphere=1&eye_sphere=0&off_h=15",
}
README_BENCH = "sphere=1.5&eye_sphere=1&eye_cylinder=-1&eye_axis=20&cylinder=-0.5&axis=20&streak=110"

DRAW = """async () => {
  const { Drawing, fiveStills } = await import('/static/js/bench-drawing.js');
  const strip = document.createElement('canvas');
  const hand = new Drawing(document.createElement('canvas'));
  hand.zoom = 2;
  fiveStills(strip, hand, document.getElementById('bench').state);
  return strip.toDataURL('image/png').split(',')[1];
}"""


def take(page: Page, url: str, folder: Path) -> None:
    """Take every strip, all of them on one sheet, and the bench at two sizes."""
    sheet = []
    for name, query in STRIPS.items():
        # Of a name that stands twice in an address the first counts.
        page.goto(f"{url}/bench?{query}&eye_cylinder=0&streak=90")
        page.wait_for_selector("#bench.ready")
        strip = page.evaluate(DRAW)
        (folder / f"{name}.png").write_bytes(base64.b64decode(strip))
        sheet.append(
            f"<p style='margin:0;font:14px sans-serif'>{name}<br><img width=1000 src='data:image/png;base64,{strip}'>"
        )
    page.goto("about:blank")
    page.set_content("".join(sheet))
    page.screenshot(path=folder / "film.png", full_page=True)
    for name, width, height in (("bench", 1280, 800), ("bench-phone", 360, 740)):
        page.set_viewport_size({"width": width, "height": height})
        page.goto(f"{url}/bench?{README_BENCH}")
        page.wait_for_selector("#bench.ready")
        page.evaluate("document.getElementById('bench').state.sweepTo(2)")
        page.wait_for_timeout(500)
        page.screenshot(path=folder / f"{name}.png")


def main() -> None:
    """Take the pictures and write them to a folder."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("folder", type=Path)
    folder = asked.parse_args().folder
    folder.mkdir(parents=True, exist_ok=True)
    with (
        tempfile.TemporaryDirectory() as place,
        closing(DataFile.open(Path(place) / "film.db")) as file,
        serving(create_app(file, lots=lots())) as url,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path=chromium(playwright), args=["--no-sandbox"])
        take(browser.new_page(), url, folder)
        browser.close()


if __name__ == "__main__":
    main()
