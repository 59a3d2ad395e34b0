"""The moving picture in a case about movement and beside its mark: paused until asked for, stills without motion."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from tests.browser.conftest import Check, Served, drawn
from tests.browser.test_look import BROUGHT, MOST_BYTES

BUTTON = ".moving-picture [data-moving]"
RED = """() => [...document.querySelectorAll('.moving-picture canvas')].map((one) => one.getContext('2d')
  .getImageData(0, 0, one.width, one.height).data.reduce((sum, value) => sum + value, 0))"""


def missed(page: Page, served: Served) -> None:
    """Miss a case of the next lens, so that the mark shows both lenses in place."""
    case = served.deal(page, "next-lens", wanted=lambda one: one.findings["movement"] == "with")
    wrong = {"plus": "add minus (or take plus away)", "minus": "add plus (or take minus away)"}[case.truth["lens"]]
    page.get_by_label(wrong).check()
    page.get_by_role("button", name="Mark it").click()
    expect(page.locator("#verdict")).to_be_visible()


def bytes_brought(page: Page) -> int:
    return sum(dict(page.evaluate(BROUGHT)).values())


def test_it_stands_still_in_a_case_until_asked_for_and_can_be_paused(
    page: Page, served: Served, accessible: Check
) -> None:
    served.deal(page, "near-or-far")
    light = bytes_brought(page)
    assert light < MOST_BYTES
    expect(page.locator(".moving-picture canvas")).to_have_count(0)
    assert not [one for one in served.requested if "moving-picture" in one or "reflex.js" in one]
    accessible(page)
    page.locator(BUTTON).focus()
    page.keyboard.press("Enter")
    expect(page.locator(".moving-picture canvas")).to_have_count(3)
    expect(page.get_by_role("button", name="Pause", exact=True)).to_be_focused()
    drawn(page)
    first = page.evaluate(RED)
    page.wait_for_function(f"(before) => JSON.stringify(({RED})()) !== before", arg=str(first).replace(" ", ""))
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Show it moving", exact=True)).to_be_focused()
    drawn(page)
    still = page.evaluate(RED)
    page.wait_for_timeout(200)
    assert page.evaluate(RED) == still
    accessible(page)
    assert bytes_brought(page) - light < 80_000, "what draws comes on request"


def test_a_case_that_asks_for_a_prediction_has_none_and_its_mark_has(page: Page, served: Served) -> None:
    case = served.deal(page, "predict-movement")
    expect(page.locator(".moving-picture")).to_have_count(0)
    other = {"with": "against", "against": "with", "neutral": "with"}
    for name in ("along", "across"):
        page.locator(f"input[name=answer-{name}][value={other[case.truth[name]]}]").check()
    page.get_by_role("button", name="Mark it").click()
    expect(page.locator(".moving-picture .moving-name")).to_have_text(["Along the axis", "Across the axis"])


def test_beside_a_miss_your_lens_and_the_right_one_are_in_place(page: Page, served: Served, accessible: Check) -> None:
    missed(page, served)
    expect(page.locator(".moving-name")).to_have_text(["Your answer in place", "The right answer in place"])
    expect(page.locator(".moving-words").first).to_contain_text("In the pupil the reflex travels")
    expect(page.locator(".moving-picture figure")).to_have_count(2)
    page.locator(BUTTON).click()
    expect(page.locator(".moving-picture canvas")).to_have_count(2)
    assert "In the pupil" in str(page.locator(".moving-picture canvas").first.get_attribute("aria-label"))
    accessible(page)
    page.emulate_media(media="print")
    expect(page.locator(".moving-picture canvas").first).to_be_hidden()
    expect(page.locator(".moving-picture figure").first).to_be_visible()


def test_without_motion_five_stills_stand_in(still_page: Page, served: Served, accessible: Check) -> None:
    served.deal(still_page, "lean-test")
    button = still_page.get_by_role("button", name="Show five stills")
    button.click()
    expect(still_page.locator(".moving-picture canvas")).to_have_count(1)
    before = still_page.evaluate(RED)
    still_page.wait_for_timeout(200)
    assert still_page.evaluate(RED) == before
    accessible(still_page)
    button.click()
    expect(still_page.locator(".moving-picture canvas")).to_be_hidden()


def test_without_scripts_the_still_is_all(plain_page: Page, served: Served) -> None:
    served.deal(plain_page, "next-lens")
    expect(plain_page.locator(".plate figure")).to_be_visible()
    expect(plain_page.locator(".moving-picture button")).to_be_hidden()
