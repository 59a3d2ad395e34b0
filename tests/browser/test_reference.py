"""Reference on a telephone: from its list of parts to the claims by strength, and back."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from tests.browser.conftest import SIDEWAYS, Served


def test_the_claims_by_strength_are_reached_and_read_on_a_telephone(page: Page, served: Served) -> None:
    """360 px: what rests on a study names it and its finding, what rests on none says so; nothing runs off the side."""
    page.set_viewport_size({"width": 360, "height": 740})
    page.goto(f"{served.url}reference")
    page.locator("ul.contents").get_by_role("link", name="How sure each claim is").click()
    page.get_by_role("link", name="Every claim by the strength of its sources").click()
    expect(page).to_have_url(f"{served.url}reference/evidence")
    expect(page.get_by_role("heading", level=1)).to_have_text("How sure each claim is")

    page.get_by_role("link", name="Trials and cohorts").click()
    studies = page.locator("#trial-or-cohort")
    kauser = studies.locator("dt", has_text="Kauser et al. 2020")
    expect(kauser).to_be_visible()
    expect(kauser.locator("+ dd")).to_contain_text("101 children at 50 cm")
    expect(kauser.locator("+ dd")).to_contain_text("The abstract was read.")
    allowance = studies.locator("li", has_text="Near retinoscopy in the dark: allowance taken off")
    expect(allowance).to_contain_text("Kauser et al. 2020")

    page.get_by_role("main").get_by_role("link", name="How sure each claim is").click()
    page.get_by_role("link", name="Common practice", exact=True).click()
    expect(page.locator("main")).to_contain_text("No published source was read for it")
    custom = page.locator("#common-practice")
    expect(custom.locator("li", has_text="Did not subtract the working distance")).to_be_visible()
    expect(custom.locator(".source")).to_have_count(0)

    assert not page.evaluate(SIDEWAYS)
    page.get_by_role("main").get_by_role("link", name="How sure each claim is").click()
    page.get_by_role("main").get_by_role("link", name="Reference").click()
    expect(page).to_have_url(f"{served.url}reference#evidence")


def test_a_term_is_reached_from_the_reference_and_from_a_case_and_has_its_figure(page: Page, served: Served) -> None:
    page.set_viewport_size({"width": 360, "height": 740})
    page.goto(f"{served.url}reference")
    page.locator("ul.contents").get_by_role("link", name="Terms", exact=True).click()
    page.get_by_role("link", name="Working distance", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Working distance")
    expect(page.locator("main")).to_contain_text("from the patient's pupil to your sight hole")
    expect(page.locator("figure svg")).to_be_visible()
    assert not page.evaluate(SIDEWAYS)

    served.deal(page, "net-sphere")
    page.get_by_text("Terms used here").click()
    page.get_by_role("link", name="Net result", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Net result")
