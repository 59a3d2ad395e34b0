"""The look, as a browser has it: the typeface, the four places, the dim room's light, what a page weighs."""

from __future__ import annotations

import base64
from collections.abc import Callable

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import Served
from tests.browser.test_accessibility import marked

MOST_BYTES = 120_000
"""Of a page with everything that it brings, uncompressed; the Bench and the Accuracy log excepted."""
MOST_LIGHT = 0.025
"""Mean relative luminance of a screen in the dim room. Ours: a page of paper has .86."""


def test_the_typeface_is_fetched_and_used(page: Page, served: Served) -> None:
    """Blocked by a policy or missing, it would leave no trace but another face in its place."""
    fetched: list[tuple[str, int]] = []
    page.on("response", lambda one: fetched.append((one.url, one.status)) if "/fonts/" in one.url else None)
    page.goto(served.url)
    page.evaluate("document.fonts.ready")
    assert [(url.rsplit("/", 1)[1], status) for url, status in fetched] == [("tm-serif.woff2", 200)]
    assert page.evaluate("""document.fonts.check('600 16px "TM Serif"', '−×°±½@')""")
    loaded = page.evaluate("[...document.fonts].filter(one => one.status === 'loaded').map(one => one.family)")
    assert "TM Serif" in {one.strip('"') for one in loaded}
    width = """family => { const pen = document.createElement('canvas').getContext('2d');
      pen.font = `400 100px ${family}`; return pen.measureText('−0.75 / +1.25 × 180').width; }"""
    assert page.evaluate(width, '"TM Serif"') != page.evaluate(width, "serif"), "it is not the machine's own"
    # Greek is fetched where it stands and nowhere else.
    with page.expect_response(lambda one: "tm-serif-greek" in one.url):
        page.evaluate("document.querySelector('h1').textContent = 'Δ'")


STUDENT = ["Today", "Bench", "Progress", "Look up"]
BEHIND = ["Class and drills", "Log", "Settings", "Own data", "Who is practising"]


@pytest.mark.parametrize("scripts", [True, False])
@pytest.mark.parametrize("width", [360, 1280])
def test_four_places_and_the_rest_behind_the_name(browser: Browser, served: Served, scripts: bool, width: int) -> None:
    """On a telephone the four are at the foot, under the thumb."""
    context = browser.new_context(java_script_enabled=scripts, viewport={"width": width, "height": 740})
    page = context.new_page()
    page.goto(f"{served.url}progress")
    places = page.get_by_role("navigation", name="Places")
    assert places.get_by_role("link").all_inner_texts() == STUDENT
    expect(places.get_by_role("link", name="Progress")).to_have_attribute("aria-current", "page")
    box, head = places.locator("ul").bounding_box(), page.locator(".top").bounding_box()
    assert box is not None
    assert head is not None
    assert head["height"] <= 54, "one line"
    if width == 360:
        assert (round(box["y"] + box["height"]), round(box["width"])) == (740, 360)
        assert all(one.bounding_box()["height"] >= 48 for one in places.get_by_role("link").all())  # type: ignore[index]
    else:
        assert box["y"] < 10
    settings = page.get_by_role("link", name="Settings", exact=True)
    expect(settings).to_be_hidden()
    page.locator(".me summary").focus()
    page.keyboard.press("Enter")
    assert page.get_by_role("navigation", name="More").get_by_role("link").all_inner_texts() == BEHIND
    settings.focus()
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{served.url}settings")
    context.close()


@pytest.mark.parametrize("address", ["recall", "reference", "work-one-out", "accuracy", "class", "people", "settings"])
def test_old_addresses_stay(page: Page, served: Served, address: str) -> None:
    page.goto(served.url)
    reply = page.goto(f"{served.url}{address}")
    assert reply is not None
    assert reply.status == 200
    assert page.url == f"{served.url}{address}"


MEAN_LIGHT = """async png => {
  const bytes = Uint8Array.from(atob(png), one => one.charCodeAt(0));
  const image = await createImageBitmap(new Blob([bytes], { type: 'image/png' }));
  const canvas = new OffscreenCanvas(image.width, image.height), pen = canvas.getContext('2d');
  pen.drawImage(image, 0, 0);
  const { data } = pen.getImageData(0, 0, image.width, image.height);
  const linear = Float64Array.from({ length: 256 },
    (_, at) => at / 255 <= 0.04045 ? at / 255 / 12.92 : ((at / 255 + 0.055) / 1.055) ** 2.4);
  let sum = 0;
  for (let at = 0; at < data.length; at += 4)
    sum += 0.2126 * linear[data[at]] + 0.7152 * linear[data[at + 1]] + 0.0722 * linear[data[at + 2]];
  return sum / (data.length / 4); }"""


def test_the_dim_room_gives_little_light(page: Page, served: Served, browser: Browser) -> None:
    """Eyes that are adapted to a dim room stay so: the mean of each screen, as it is seen."""
    page.emulate_media(color_scheme="dark")
    meter = browser.new_context().new_page()

    def light() -> float:
        return float(meter.evaluate(MEAN_LIGHT, base64.b64encode(page.screenshot()).decode()))

    for width, height in ((1280, 800), (360, 740)):
        page.set_viewport_size({"width": width, "height": height})
        marked("two-spheres", "distance-left-in")(page, served)
        assert 0.002 < light() < MOST_LIGHT
        for url in ("", "progress", "look-up", "settings"):
            page.goto(served.url + url)
            assert 0.002 < light() < MOST_LIGHT, url
    page.emulate_media(color_scheme="light")
    assert light() > 0.5, "and the meter tells paper from a dim room"
    meter.context.close()


def test_the_arrow_of_a_slip_grows_once_and_again_with_why(page: Page, served: Served) -> None:
    """Where less motion is wanted it is there at once."""
    marked("two-spheres", "distance-left-in")(page, served)
    arrow = page.locator(".marked .fig path.go").first
    name = "one => getComputedStyle(one).animationName"
    assert arrow.evaluate(name) == "grow"
    page.locator(".here .why summary").first.focus()
    page.keyboard.press("Enter")
    assert arrow.evaluate(name) == "grow-again"
    page.emulate_media(reduced_motion="reduce")
    assert arrow.evaluate(name) == "none"


def at(url: str) -> Callable[[Page, Served], None]:
    def opened(page: Page, served: Served) -> None:
        page.goto(served.url + url)

    return opened


READ = (
    *("progress", "look-up", "work-one-out", "work-one-out/two-spheres", "recall", "recall/distance"),
    *(
        "reference",
        "reference/slips",
        "reference/types",
        "reference/terms",
        "reference/evidence",
        "reference/evidence/common-practice",
        "settings",
        "people",
        "class",
        "accuracy",
        "bench",
    ),
)
WEIGHED: dict[str, Callable[[Page, Served], object]] = {
    "case": lambda page, served: served.deal(page, "two-spheres"),
    "mark": marked("two-spheres", "distance-left-in"),
    "twins": marked("two-spheres", "sweep-for-streak", seed=5),
} | {url: at(url) for url in READ}
EXCEPTED = {"bench", "accuracy"}


BROUGHT = """() => [...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]
  .map(one => [one.name, one.decodedBodySize])"""


def test_every_page_weighs_less_than_120_kb_with_its_typeface(page: Page, served: Served) -> None:
    heavy = {}
    for name, opened in WEIGHED.items():
        opened(page, served)
        page.evaluate("document.fonts.ready")
        brought = dict(page.evaluate(BROUGHT))
        assert any("tm-serif.woff2" in url for url in brought), name
        if sum(brought.values()) > MOST_BYTES:
            heavy[name] = sum(brought.values())
    assert {name: size for name, size in heavy.items() if name not in EXCEPTED} == {}
