"""The desk in a real browser: the days of a learner, wide and narrow, by keyboard, and accessible in every state."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from quiz.exports import bringing, own_data
from quiz.practice import dealing, learners
from quiz.practice.settings import LearnerSettings
from quiz.storage import projection
from tests.browser.conftest import Check, Served
from tests.conftest import lots, slipped, written

SIZES = [(360, 740), (1280, 800)]
narrow_and_wide = pytest.mark.parametrize("size", SIZES, ids=["360", "1280"])


def sized(page: Page, size: tuple[int, int]) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})


def practised(served: Served, days: int, *, a_day: int = 6, wrong: float = 0.25, seed: int = 50) -> None:
    """Let a learner practise for so many days and be right in three of four."""
    served.know_worked_examples()
    rng, chance = random.Random(seed), lots(seed)
    with served.store.writing():
        projection.keep_priors(served.store, served.learner.id, {})
    for _ in range(days):
        for _ in range(a_day):
            served.clock.move(seconds=45)
            one = dealing.waiting(served.store, served.learner, now=served.clock.at, lots=chance)
            made = [single for single in one.case.singles if not one.case.type.form_matters]
            texts = written(one.case, made[0].answer if made and rng.random() < wrong else None)
            served.clock.move(seconds=20)
            dealing.take(served.store, served.learner, one.dealt.id, texts, None, now=served.clock.at)
        served.clock.move(days=1)


def in_sight(page: Page, selector: str) -> bool:
    """Say whether something is on the screen without scrolling, above the places at a telephone's foot."""
    box = page.locator(selector).first.bounding_box()
    height = page.viewport_size["height"] if page.viewport_size else 0
    return box is not None and box["y"] + box["height"] <= height


@narrow_and_wide
def test_the_first_day_of_a_beginner(page: Page, served: Served, accessible: Check, size: tuple[int, int]) -> None:
    """A case at once; three questions after it; then a new type is worked before it is asked. By keyboard."""
    sized(page, size)
    page.goto(served.url)
    expect(page.locator("form.answer")).to_be_visible()
    first = served.store.open_case(served.learner.id)
    assert first is not None
    (text,) = written(dealing.case_of(first)).values()
    page.locator("form.answer input[type=text]").fill(text)
    page.keyboard.press("Enter")
    expect(page.locator("#verdict")).to_be_focused()
    page.locator("#go-on").press("Enter")
    expect(page.get_by_role("heading", name="Three questions")).to_be_visible()
    accessible(page)
    for name in ("transposing", "two_meridians"):
        page.locator(f"input[name={name}][value=no]").check()
    page.get_by_role("button", name="Go on").press("Enter")
    expect(page.locator("h1")).to_contain_text("Worked, 1 of 3")
    assert learners.settings_of(served.learner).level == "novice"
    accessible(page)
    page.keyboard.press("Enter")  # the main button has the focus
    expect(page.locator("h1")).to_contain_text("Worked, 2 of 3")
    expect(page.locator("#line")).to_be_focused()
    page.keyboard.type("99")
    page.keyboard.press("Enter")
    expect(page.locator(".problem")).to_contain_text("Not yet")
    accessible(page)
    page.get_by_role("button", name="Show it").press("Enter")
    expect(page.get_by_role("link", name="Your case")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("form.answer")).to_be_visible()
    assert len(served.store.answers_of(served.learner.id)) == 1, "an example is no answer"


@narrow_and_wide
def test_the_first_day_of_an_expert(page: Page, served: Served, accessible: Check, size: tuple[int, int]) -> None:
    """One composite case from each of eight topics, with nothing worked beforehand."""
    sized(page, size)
    page.goto(served.url)
    page.locator("#dont-know").click()
    page.locator("#go-on").click()
    page.locator("input[name=role][value=clinician]").check()
    for name in ("transposing", "two_meridians"):
        page.locator(f"input[name={name}][value=yes]").check()
    page.get_by_role("button", name="Go on").click()
    expect(page.locator("form.answer")).to_be_visible()
    expect(page.locator("header")).to_contain_text("1 of 8")
    settings = learners.settings_of(served.learner)
    assert (settings.role, settings.level) == ("clinician", "expert")
    accessible(page)


@narrow_and_wide
def test_day_fifteen(page: Page, served: Served, accessible: Check, size: tuple[int, int]) -> None:
    """The day is one sentence, Enter starts it, and no count of things by state stands anywhere."""
    sized(page, size)
    page.goto(served.url)
    practised(served, 14)
    page.goto(served.url)
    expect(page.locator("h1")).to_contain_text("likely to slip")
    assert page.locator("h1").inner_text().count(".") == 1
    expect(page.locator("#go-on")).to_be_focused()
    assert in_sight(page, "#go-on")
    assert in_sight(page, ".strip a")
    accessible(page)
    page.keyboard.press("Enter")
    expect(page.locator("form.answer, form[action*='bench']").first).to_be_visible()
    page.goto(f"{served.url}?what=topic")
    accessible(page)
    page.get_by_role("button", name="Lens algebra").click()
    expect(page.locator("form.answer")).to_be_visible()


@narrow_and_wide
def test_before_an_exam(page: Page, served: Served, accessible: Check, size: tuple[int, int]) -> None:
    """A line a topic, in words while forecasts are few; both dates in a sentence."""
    sized(page, size)
    page.goto(served.url)
    practised(served, 4)
    learners.keep_settings(served.store, served.learner.id, LearnerSettings(exam_day="2026-12-24"))
    page.goto(served.url)
    expect(page.locator(".ready")).to_contain_text("Lens algebra")
    expect(page.locator(".plate")).to_contain_text("In words only")
    assert "%" not in page.locator("main").inner_text()
    expect(page.locator(".dates")).to_contain_text("Your exam is on 24 December")
    accessible(page)


@narrow_and_wide
def test_after_200_days(page: Page, served: Served, accessible: Check, size: tuple[int, int]) -> None:
    """After an absence eight cases find what has gone."""
    sized(page, size)
    page.goto(served.url)
    practised(served, 5)
    served.clock.move(days=200)
    page.goto(served.url)
    expect(page.locator("h1")).to_have_text("Welcome back. Eight cases find what has gone.")
    accessible(page)
    page.keyboard.press("Enter")
    expect(page.locator("header")).to_contain_text("1 of 8")


@narrow_and_wide
def test_mistakes_only(page: Page, served: Served, accessible: Check, size: tuple[int, int]) -> None:
    """A recurring mistake stands on the desk with the last wrong line, and is practised in two keys."""
    sized(page, size)
    page.goto(served.url)
    for number in range(5):
        case = served.deal(page, "net-sphere", seed=number + 3, wanted=lambda one: one.shows("distance-left-in"))
        (text,) = slipped(case, "distance-left-in").values()
        page.locator("#answer-power").fill(text)
        page.keyboard.press("Enter")
        expect(page.locator("#verdict")).to_be_visible()
    page.goto(served.url)
    mistake = page.locator(".items li").first
    expect(mistake).to_contain_text("You left the working distance in")
    expect(mistake.locator(".was")).to_be_visible()
    accessible(page)
    mistake.get_by_role("link", name="Practise this").click()
    assert "what=mistakes" in page.url
    accessible(page)
    page.keyboard.press("Enter")
    expect(page.locator("form.answer")).to_be_visible()
    dealt = served.store.open_case(served.learner.id)
    assert dealt is not None
    assert dealt.must_show == "distance-left-in"


@narrow_and_wide
def test_a_mock_paper(page: Page, served: Served, accessible: Check, size: tuple[int, int]) -> None:
    """Twenty cases in 30 minutes: no mark and no working until the end, then all of them."""
    sized(page, size)
    page.goto(served.url)
    practised(served, 1)
    page.goto(f"{served.url}?what=paper")
    accessible(page)
    page.keyboard.press("Enter")
    expect(page.locator("header")).to_contain_text("1 of 20")
    expect(page.locator("main")).to_contain_text("30 min")
    assert page.get_by_role("button", name="Show the first line").count() == 0
    accessible(page)
    for number in range(2, 20):
        page.locator("#dont-know").click()
        expect(page.locator("header")).to_contain_text(f"{number} of 20")
    page.locator("#dont-know").click()
    page.locator("#dont-know").click()
    expect(page.locator("main")).to_contain_text("20 cases")
    assert page.locator("main a[href*='/case/']").count() == 20
    accessible(page)


@narrow_and_wide
def test_data_moved_from_one_computer_to_another(
    page: Page, served: Served, accessible: Check, size: tuple[int, int], tmp_path: Path
) -> None:
    """The file is looked over first; the same file adds nothing the second time."""
    sized(page, size)
    page.goto(served.url)
    practised(served, 2)
    path = tmp_path / "own-data.jsonl.gz"
    path.write_bytes(bringing.packed(own_data.json_lines(served.store, served.learner)))
    learners.remove(served.store, served.learner.id, now=served.clock.at)
    page.goto(f"{served.url}people")
    page.locator("#name").fill("Bea")
    page.get_by_role("button", name="Add and practise").click()
    for expected in ("New: 12 answers", "nothing new"):
        page.goto(f"{served.url}progress/data")
        accessible(page)
        page.get_by_role("link", name="Bring data in").click()
        page.locator("#file").set_input_files(path)
        page.get_by_role("button", name="Look at it first").click()
        expect(page.locator("main")).to_contain_text(expected)
        accessible(page)
        if expected.startswith("New"):
            page.keyboard.press("Enter")
            expect(page.locator(".done")).to_contain_text("12 answers taken in")
    assert len(served.store.answers_of(served.store.learners()[-1].id)) == 12
