"""The table of a clinic day in a real browser: typed by keyboard, saved here alone, sent to the accuracy log."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import SIDEWAYS, Check, Served


@pytest.mark.parametrize("width", [360, 1280])
def test_a_day_is_typed_by_keyboard_comes_back_and_goes_to_the_log(
    page: Page, served: Served, accessible: Check, width: int
) -> None:
    """Net by hand: +3.25 − 1.50 = +1.75, +3.00 − 1.50 = +1.50; the distance of the first row holds for the second."""
    page.set_viewport_size({"width": width, "height": 740})
    page.goto(f"{served.url}work-one-out")
    page.get_by_role("main").get_by_role("link", name="the day's table").click()
    expect(page).to_have_url(f"{served.url}day")
    page.wait_for_load_state()  # keys are the script's
    found = page.get_by_label("Found, row 1", exact=True)
    found.click()
    page.keyboard.type("+3.25/-1.50x20 67cm")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Found, row 2", exact=True)).to_be_focused()
    page.keyboard.type("+3.00/-1.00x165")
    page.keyboard.press("ArrowUp")
    expect(found).to_be_focused()
    rows = page.locator(".day tbody tr")
    expect(rows.nth(0).locator(".net output")).to_have_text("+1.75 / −1.50 × 20")
    expect(rows.nth(1).locator(".net output")).to_have_text("+1.50 / −1.00 × 165")
    expect(rows.nth(1).locator(".note output")).to_contain_text("1 L")
    expect(page.get_by_role("button", name="Send complete rows")).to_be_disabled()

    page.get_by_label("Subjective, row 1", exact=True).fill("+1.50/-1.50x20")
    page.get_by_label("Subjective, row 2", exact=True).fill("what")
    page.keyboard.press("Tab")
    expect(rows.nth(0).locator(".difference output")).to_have_text("+0.25")
    expect(rows.nth(1).locator(".note output")).to_contain_text("what")
    assert not page.evaluate(SIDEWAYS)
    accessible(page)

    page.reload()
    expect(found).to_have_value("+3.25/-1.50x20 67cm")
    expect(rows.nth(0).locator(".net output")).to_have_text("+1.75 / −1.50 × 20")
    page.get_by_role("button", name="Send complete rows").click()
    expect(page.locator("main")).to_contain_text("1 row can be taken")
    page.get_by_role("button", name="Take").click()
    expect(page.locator("main")).to_contain_text("1 eye added to the log.")

    page.get_by_role("link", name="The day's table").click()
    page.get_by_role("button", name="Clear the day").click()
    expect(found).to_have_value("")
    page.reload()
    expect(found).to_have_value("")


def test_a_table_is_gone_after_a_week_unless_it_is_to_be_kept(page: Page, served: Served) -> None:
    page.goto(f"{served.url}day")
    age = """days => { const key = Object.keys(localStorage).find(one => one.startsWith("two-meridians-day"));
        const kept = JSON.parse(localStorage.getItem(key)); kept.at -= days * 864e5;
        localStorage.setItem(key, JSON.stringify(kept)); }"""
    found = page.get_by_label("Found, row 1", exact=True)
    found.fill("+1.00 67cm")
    page.evaluate(age, 6)
    page.reload()
    expect(found).to_have_value("+1.00 67cm")
    page.get_by_label("Keep this table").check()
    page.evaluate(age, 30)
    page.reload()
    expect(found).to_have_value("+1.00 67cm")
    page.get_by_label("Keep this table").uncheck()
    page.evaluate(age, 8)
    page.reload()
    expect(found).to_have_value("")


def test_without_scripts_the_table_is_worked_out_and_a_file_goes_out_and_in(plain_page: Page, served: Served) -> None:
    plain_page.goto(f"{served.url}day")
    plain_page.get_by_label("Found, row 1", exact=True).fill("+2.00 50cm")
    plain_page.get_by_label("Subjective, row 1", exact=True).fill("plano")
    plain_page.get_by_role("button", name="Work out").click()
    expect(plain_page.locator(".day .net output").first).to_have_text("plano")
    with plain_page.expect_download() as taken:
        plain_page.get_by_role("button", name="Take a file out").click()
    plain_page.goto(f"{served.url}day")
    plain_page.get_by_label("Bring a file of this table in").set_input_files(taken.value.path())
    plain_page.get_by_role("button", name="Bring it in").click()
    expect(plain_page.get_by_label("Found, row 1", exact=True)).to_have_value("+2.00 50cm")
    expect(plain_page.locator("#complete")).to_contain_text("1 complete")
    plain_page.get_by_role("button", name="Send complete rows").click()
    expect(plain_page.locator("main")).to_contain_text("1 row can be taken")
