"""Work one out in a real browser: own findings to a working, a link, a sheet of paper."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Check, Served, in_both_themes_wide_and_narrow

State = Callable[[Page, Served], None]
TWO = "work-one-out/two-spheres?first.streak=90&first.sphere=%2B2.25&second.streak={}&second.sphere={}&distance_cm={}"


def test_own_findings_are_worked_out_in_both_forms(page: Page, served: Served, accessible: Check) -> None:
    """A published mock examination station, its answer by hand: 180 +2.25, 90 +3.00, 2/3 m → +1.50/−0.75×90."""
    page.goto(f"{served.url}progress")
    page.get_by_role("navigation").get_by_role("link", name="Look up").click()
    page.get_by_role("main").get_by_role("link", name="Work one out").click()
    page.get_by_role("link", name="A sphere in each meridian", exact=True).click()
    first, second = page.get_by_role("group", name="First streak"), page.get_by_role("group", name="Second streak")
    first.get_by_label("Long direction of the streak").fill("90")
    first.get_by_label("Sphere that neutralised").fill("+2.25")
    second.get_by_label("Long direction of the streak").fill("180")
    second.get_by_label("Sphere that neutralised").fill("+3.00")
    expect(page.get_by_label("Working distance, pupil to sight hole")).to_have_value("67 cm")
    page.keyboard.press("Enter")

    expect(page.locator(".worked")).to_contain_text("+1.50 / −0.75 × 90")
    expect(page.locator(".worked")).to_contain_text("+0.75 / +0.75 × 180")
    expect(page.locator(".lines li")).to_have_count(7)
    tallest = page.locator(".lines li").evaluate_all("ones => Math.max(...ones.map(one => one.offsetHeight))")
    assert tallest < 100, "a line of the working has the width of the page"
    expect(page.get_by_text("67 cm is 1.50 D")).to_have_count(1)
    expect(page.locator("main svg[role=img]")).to_have_count(2)
    expect(page.locator("main")).to_contain_text("For training; not a prescription.")
    accessible(page)

    link = page.url
    page.goto(served.url)
    page.goto(link)
    expect(page.locator(".worked")).to_contain_text("+1.50 / −0.75 × 90")
    page.get_by_text("Change them").click()
    page.get_by_label("plus cylinder").check()
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".worked dd").first).to_have_text("+0.75 / +0.75 × 180")


def test_what_is_unlikely_is_warned_of_and_worked_out(page: Page, served: Served) -> None:
    page.goto(served.url + TWO.format("175", "%2B31.00", "15"))
    warnings = page.get_by_role("note")
    for words in ("are 85° apart", "beyond ±30 D", "outside 20 to 150 cm"):
        expect(warnings).to_contain_text(words)
    expect(page.locator(".worked")).to_be_visible()


def test_what_cannot_be_read_is_to_be_put_right_where_it_stands(page: Page, served: Served) -> None:
    page.goto(served.url + TWO.format("180", "-25", "67"))
    expect(page.locator("#blank-second-sphere")).to_be_focused()
    expect(page.locator("#blank-second-sphere-problem")).to_contain_text("may be")
    expect(page.locator("#blank-first-sphere")).to_have_value("+2.25")
    page.locator("#blank-second-sphere").fill("+3.00")
    page.keyboard.press("Enter")
    expect(page.locator(".worked")).to_contain_text("+1.50 / −0.75 × 90")


def test_on_paper_the_result_stands_without_form_and_navigation(page: Page, served: Served) -> None:
    page.goto(served.url + TWO.format("180", "%2B3.00", "67"))
    page.emulate_media(media="print")
    for what in (".worked", ".lines", "main svg[role=img] >> nth=0", ".foot .caution"):
        expect(page.locator(what).first).to_be_visible()
    for what in ("nav", "form", "button"):
        assert not page.locator(what).first.is_visible()


def test_a_list_of_boxes_may_be_left_empty(page: Page, served: Served) -> None:
    page.goto(served.url + "work-one-out/bracket-end-point")
    page.get_by_role("link", name="See an example worked out").click()
    expect(page.locator(".worked").first).to_be_visible()


def at(url: str) -> State:
    def state(page: Page, served: Served) -> None:
        page.goto(served.url)
        page.goto(served.url + url)
        for one in page.locator("details").all():
            one.evaluate("one => { one.open = true; }")

    return state


def example(type_id: str) -> State:
    def state(page: Page, served: Served) -> None:
        at(f"work-one-out/{type_id}")(page, served)
        page.get_by_role("link", name="See an example worked out").click()
        page.locator("main summary").click()

    return state


STATES: dict[str, State] = {
    "list": at("work"),
    "form": at("work-one-out/two-spheres"),
    "long form": at("work-one-out/whole-run"),
    "choices": at("work-one-out/cycloplegia-check"),
    "answer": at(TWO.format("180", "%2B3.00", "67")),
    "warned": at(TWO.format("175", "%2B31.00", "15")),
    "faulty": at(TWO.format("180", "-25", "far")),
    "refused": at(TWO.format("130", "1", "67")),
    "whole run": example("whole-run"),
    "reflex": example("reflex"),
    "rigid lens": example("rigid-lens-over-refraction"),
}


@pytest.mark.parametrize("state", STATES)
def test_every_state_in_both_themes_wide_and_narrow(page: Page, served: Served, accessible: Check, state: str) -> None:
    STATES[state](page, served)
    in_both_themes_wide_and_narrow(page, accessible)
    for field in page.locator("input:visible, select:visible").all():
        assert field.evaluate("one => one.labels.length") > 0
    assert page.locator("[placeholder]").count() == 0


@pytest.mark.parametrize("width", [360, 1280])
def test_one_line_is_worked_out_asked_back_refused_or_names_a_type(
    page: Page, served: Served, accessible: Check, width: int
) -> None:
    page.set_viewport_size({"width": width, "height": 740})
    page.goto(f"{served.url}work-one-out")
    line = page.get_by_label("Your findings in one line")
    line.fill("R +3.25/-1.50x20 67cm")
    page.keyboard.press("Enter")
    result = page.locator(".line-reading")
    expect(result.get_by_role("heading")).to_have_text("Right eye, gross +3.25 / −1.50 × 20, at 67 cm")
    net = result.locator(".sums > div").first
    expect(net).to_contain_text("+1.75 / −1.50 × 20")
    expect(net).to_contain_text("exactly +1.76 / −1.50 × 20")
    accessible(page)
    net.get_by_role("link", name=re.compile("working *: Net")).press("Enter")
    expect(page.locator(".worked")).to_contain_text("+1.75 / −1.50 × 20")

    page.goto(f"{served.url}work-one-out?line=90: +2.00, 180: +3.50 50cm")
    expect(page.locator(".asked-back")).to_contain_text("2 ways")
    expect(page.locator(".sums > div:first-child .figures")).to_have_text(["+1.50 / −1.50 × 90", "+1.50 / −1.50 × 180"])
    accessible(page)

    page.goto(f"{served.url}work-one-out?line=-3.25/-1.50")
    expect(page.get_by_text("has no axis")).to_be_visible()
    expect(page.get_by_label("Your findings in one line")).to_have_value("-3.25/-1.50")
    accessible(page)

    page.get_by_label("Your findings in one line").fill("vertex")
    page.keyboard.press("Enter")
    page.get_by_role("link", name="A sphere moved along the line of sight").first.click()
    expect(page.get_by_label("Power of the lens")).to_be_visible()


def test_a_line_its_result_and_its_working_fit_a_telephone(page: Page, served: Served) -> None:
    page.set_viewport_size({"width": 360, "height": 740})
    page.goto(f"{served.url}work-one-out?line=R %2B3.25/-1.50x20 67cm")
    box = page.get_by_role("link", name=re.compile("working *: Net")).bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= 740
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


@pytest.mark.parametrize("width", [360, 1280])
def test_favourites_and_the_last_five_are_one_tap_away_and_can_be_forgotten(
    page: Page, served: Served, accessible: Check, width: int
) -> None:
    page.set_viewport_size({"width": width, "height": 740})
    page.goto(f"{served.url}work-one-out")
    own = page.get_by_role("navigation", name="Favourites and types used last")
    expect(own).to_have_count(0)
    used = {
        "transpose?rx=%2B2.50/-1x90": "Transposing",
        "net-sphere?gross=%2B2.50&distance_cm=67": "Gross to net, one sphere",
        "spherical-equivalent?rx=%2B2.50/-1x90": "The spherical equivalent",
        "rx-to-cross?rx=%2B2.50/-1x90": "Prescription to power cross",
        "vertex-sphere?power=-8&toward_eye_mm=12": "A sphere moved along the line of sight",
        "distance-vergence?distance_cm=67": "Working distance in dioptres",
    }
    for address in used:
        page.goto(f"{served.url}work-one-out/{address}")
    page.goto(f"{served.url}work-one-out/oblique-power")  # a form alone is no use of it
    page.goto(f"{served.url}work-one-out")
    expect(own.get_by_role("link")).to_have_text([*reversed(used.values())][:5])

    own.get_by_role("link", name="Gross to net").press("Enter")
    page.get_by_role("button", name="Add to favourites").press("Enter")
    expect(page.get_by_role("button", name="Remove from favourites")).to_be_visible()
    page.goto(f"{served.url}work-one-out")
    expect(own.get_by_role("link").first).to_have_text("Gross to net, one sphere")
    expect(own.get_by_role("link", name="Gross to net")).to_have_count(1)
    box = own.get_by_role("link").last.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= 740, "seen without scrolling"
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    accessible(page)

    own.get_by_role("button", name="Forget these").click()
    expect(own).to_have_count(0)
    assert all(one["name"] != "work-types" for one in page.context.cookies())


@pytest.mark.parametrize("width", [360, 1280])
def test_what_belongs_to_another_type_is_one_tap_from_it_with_its_numbers(
    page: Page, served: Served, accessible: Check, width: int
) -> None:
    page.set_viewport_size({"width": width, "height": 740})
    page.goto(f"{served.url}work-one-out/net-sphere")
    page.get_by_label("Sphere that neutralised").fill("+3.25/-1.50x20")
    page.get_by_label("Working distance, pupil to sight hole").fill("50")
    page.keyboard.press("Enter")
    expect(page.locator(".referral")).to_contain_text("A sphere only here; for a cylinder:")
    accessible(page)
    page.keyboard.press("Tab")
    expect(page.locator(".referral").get_by_role("link", name="A sphere in each meridian")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator(".worked")).to_contain_text("+1.25 / −1.50 × 20")

    page.goto(f"{served.url}work-one-out/transpose")
    page.get_by_label("Prescription").fill("R +3.25/-1.50x20 67cm")
    page.keyboard.press("Enter")
    page.locator(".referral").get_by_role("link").click()
    expect(page.locator(".line-reading .sums > div").first).to_contain_text("+1.75 / −1.50 × 20")

    page.goto(f"{served.url}work-one-out?line=CL -3.00/-1.25x180 over-refraction %2B0.50")
    page.locator(".referral").get_by_role("link", name="Retinoscopy over a toric lens").click()
    expect(page.get_by_label("Soft toric lens as it is marked")).to_have_value("−3.00 / −1.25 × 180")

    page.goto(f"{served.url}work-one-out?line=R %2B1.00 L %2B2.00 67cm")
    page.locator(".referral").get_by_role("link", name="the day's table").click()
    expect(page.get_by_label("Found, row 1", exact=True)).to_be_visible()
