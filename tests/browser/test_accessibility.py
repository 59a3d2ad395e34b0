"""axe-core on every page in every state, both themes, 320 px; and what axe cannot see."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Error, Page, expect

from quiz.practice import learners
from quiz.practice.settings import LearnerSettings
from tests.browser.conftest import Check, Served, in_both_themes_wide_and_narrow, on_one_document
from tests.conftest import slipped, written
from tests.late import late

State = Callable[[Page, Served], None]


def waiting(type_id: str) -> State:
    def state(page: Page, served: Served) -> None:
        served.deal(page, type_id)

    return state


def unreadable(page: Page, served: Served) -> None:
    served.deal(page, "two-spheres")
    page.keyboard.type("-25")
    page.keyboard.press("Enter")
    expect(page.locator(".problem")).to_be_visible()


def lines_shown(page: Page, served: Served) -> None:
    served.deal(page, "two-spheres")
    page.locator("button[name=lines]").click()
    expect(page.locator("#lines")).to_be_visible()
    page.locator("main summary", has_text="Why it came").click()


def marked(type_id: str, slip: str | None, *, seed: int = 3) -> State:
    def state(page: Page, served: Served) -> None:
        case = served.deal(page, type_id, seed=seed)
        for name, text in (slipped(case, slip) if slip else written(case)).items():
            page.locator(f"#answer-{name}").fill(text)
        page.keyboard.press("Enter")
        expect(page.locator("#verdict")).to_be_visible()

    return state


def sitting(page: Page, served: Served) -> None:
    marked("net-sphere", "distance-left-in")(page, served)
    page.goto(served.case_url)
    page.get_by_role("button", name="Finish here").click()
    expect(page.locator("#verdict")).to_have_text("Your results")


def at(url: str) -> State:
    def state(page: Page, served: Served) -> None:
        page.goto(served.url)
        page.goto(served.url + url)
        for one in page.locator("details").all():
            one.evaluate("one => { one.open = true; }")

    return state


def recall_shown(page: Page, served: Served) -> None:
    page.goto(served.url)
    page.goto(served.url + "recall/distance")
    page.locator("#typed").fill("what I said")
    page.get_by_role("button", name="Compare it with the answer").click()
    expect(page.get_by_role("button", name="Next")).to_be_visible()


def bad_settings(page: Page, served: Served) -> None:
    at("settings")(page, served)
    page.locator("#distance_cm").fill("far")
    page.locator("#norm-dark-near-allowance").fill("9")
    page.get_by_role("button", name="Save settings").click()
    expect(page.locator(".problem")).to_have_count(2)
    expect(page.locator("#distance_cm")).to_be_focused()


STATES: dict[str, State] = {
    "first": waiting("two-spheres"),
    "boxes": waiting("record-audit"),
    "choices": waiting("predict-movement"),
    "unreadable": unreadable,
    "lines": lines_shown,
    "right": marked("two-spheres", None),
    "slip": marked("two-spheres", "distance-left-in"),
    "twins": marked("two-spheres", "sweep-for-streak", seed=5),
    "two fields": marked("streak-axis", "sweep-for-streak"),
    "sitting": sitting,
    "settings": at("settings"),
    "settings in error": bad_settings,
    "reference": at("reference"),
    "slips by name": at("reference/slips"),
    "claims by strength": at("reference/evidence"),
    "recall": at("recall"),
    "recall prompt": at("recall/distance"),
    "recall shown": recall_shown,
    "people": at("people"),
    "not found": at("nowhere"),
}


@pytest.mark.parametrize("state", STATES)
def test_every_state_in_both_themes_wide_and_narrow(page: Page, served: Served, accessible: Check, state: str) -> None:
    STATES[state](page, served)
    in_both_themes_wide_and_narrow(page, accessible)


@pytest.mark.parametrize(("theme", "scheme", "dark"), [("dark", "light", True), ("light", "dark", False)])
def test_a_theme_that_was_set_prevails_over_the_computers(
    page: Page, served: Served, accessible: Check, theme: str, scheme: str, dark: bool
) -> None:
    page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    page.goto(served.url)
    learners.keep_settings(served.store, served.learner.id, LearnerSettings(theme=theme))
    page.goto(served.url)
    colour = page.evaluate("getComputedStyle(document.body).backgroundColor")
    red, green, blue = map(int, re.findall(r"\d+", colour)[:3])
    assert (red + green + blue < 120) is dark
    assert blue <= red, "neither theme is blue"
    accessible(page)


def test_the_dark_theme_has_no_bright_and_no_blue_surface(page: Page, served: Served) -> None:
    """For eyes adapted to a dim room: long wavelengths, and no ground or edge brighter than the words."""
    page.emulate_media(color_scheme="dark")
    marked("two-spheres", "distance-left-in")(page, served)
    page.goto(served.url)
    colours = page.evaluate(
        """() => [...document.querySelectorAll('*')].filter(one => one.checkVisibility()).flatMap(one => {
          const style = getComputedStyle(one); return [style.color, style.backgroundColor, style.borderTopColor]; })"""
    )
    seen = {tuple(map(float, re.findall(r"[\d.]+", one))) for one in colours}
    for red, green, blue, *alpha in seen:
        if alpha != [0.0]:
            assert red >= green >= blue, (red, green, blue)
    grounds = page.evaluate(
        """() => [...document.querySelectorAll('body, button, input, .button')].map(one =>
          getComputedStyle(one).backgroundColor)"""
    )
    for ground in grounds:
        red, green, blue, *alpha = map(float, re.findall(r"[\d.]+", ground))
        assert alpha == [0.0] or red + green + blue < 160, ground


def test_a_slip_is_told_in_words_and_lines_not_by_colour_alone(page: Page, served: Served) -> None:
    marked("two-spheres", "distance-left-in")(page, served)
    here = page.locator(".slipped-here")
    expect(here).to_have_count(1)
    expect(here).to_contain_text("Your line:")
    assert here.locator("span").evaluate("one => getComputedStyle(one).textDecorationStyle") == "dashed"
    row = page.locator(".lines > .here")
    assert row.evaluate("one => getComputedStyle(one, '::after').width") == "5px", "and the margin's rule is thicker"
    assert page.locator("svg .mine").first.get_attribute("stroke-dasharray"), "and the learner's lens is dashed"
    for figure in page.locator("svg[role=img]").all():
        assert figure.locator("title").text_content()
        assert figure.locator("desc").text_content()


def test_no_field_is_named_by_a_placeholder_alone(page: Page, served: Served) -> None:
    for url in ("", "settings", "people", "recall/distance"):
        page.goto(served.url + url)
        assert page.locator("[placeholder]").count() == 0
        for field in page.locator("input:visible, select:visible").all():
            assert field.evaluate("one => one.labels.length") > 0


def test_the_whole_page_can_be_walked_by_tab_and_the_focus_is_seen(page: Page, served: Served) -> None:
    served.deal(page, "two-spheres")
    seen = set()
    for _ in range(30):
        page.keyboard.press("Tab")
        seen.add(page.evaluate("document.activeElement.outerHTML.slice(0, 60)"))
        outline = page.evaluate(
            "(one => one === document.body ? 'ok' : getComputedStyle(one).outlineStyle)(document.activeElement)"
        )
        assert outline in ("ok", "solid")
    for what in ("To the page", "Mark it", "Hint: the first", "Finish here"):
        assert page.get_by_text(what).count()
    assert any("skip" in one for one in seen)
    assert any("main-action" in one for one in seen)
    assert any("summary" in one for one in seen)


def test_high_contrast_and_less_motion_are_heeded(page: Page, served: Served, accessible: Check) -> None:
    page.emulate_media(forced_colors="active", reduced_motion="reduce")
    marked("two-spheres", "distance-left-in")(page, served)
    accessible(page)
    moving = page.evaluate(
        """() => [...document.querySelectorAll('*')].filter(one => {
          const style = getComputedStyle(one);
          return style.animationName !== 'none' || parseFloat(style.transitionDuration) > 0; }).length"""
    )
    assert moving == 0


def test_one_live_region(page: Page, served: Served) -> None:
    served.deal(page, "streak-axis")
    assert page.locator("[role=status], [aria-live], [role=alert], output").count() == 1


def test_a_page_that_was_replaced_while_it_was_checked_is_checked_anew(page: Page, served: Served) -> None:
    """Once CI met a page in the midst of going: what is read must be of one page, and a fault of that page counts."""
    page.goto(f"{served.url}people")
    leave = "new Promise(() => location.assign('/settings'))"  # the document goes before it is kept
    titles = []

    def read() -> str:
        titles.append(page.title())
        if len(titles) == 1:
            page.evaluate(leave)
        elif len(titles) == 2:
            page.goto(f"{served.url}reference")
        return page.title()

    assert on_one_document(page, read).startswith("Reference")
    assert [one.split(" ·")[0] for one in titles[1:]] == ["Settings", "Reference"]
    with pytest.raises(Error, match="nothing is here"):
        on_one_document(page, lambda: page.evaluate("(() => { throw new Error('nothing is here'); })()"))
    late.early.clear()  # it left on purpose
