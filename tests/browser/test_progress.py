"""Progress in a real browser: a slip that keeps coming is named, stands, is sought out, and goes; every state."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from cases.procedure.case_type import Case
from cases.procedure.choices import Choice, Marks, Order
from quiz.practice import dealing, learners, progress
from quiz.practice.settings import LearnerSettings
from quiz.storage.projection import states_of
from tests.browser.conftest import Check, Served, arrived, in_both_themes_wide_and_narrow
from tests.conftest import slipped, written

SLIP = "distance-left-in"
SAID = "You did not subtract the working distance"


def fill(page: Page, case: Case, texts: dict[str, str]) -> None:
    """Write an answer into the form, typed or chosen, and send it."""
    for ask in case.type.asks:
        text = texts[ask.name]
        match ask.kind:
            case Choice():
                page.locator(f'input[name="answer-{ask.name}"][value="{text}"]').check()
            case Marks():
                for one in text.split("; "):
                    page.locator(f'input[name="answer-{ask.name}"][value="{one}"]').check()
            case Order():
                for place, one in enumerate(text.split("; ")):
                    page.locator(f'select[name="answer-{ask.name}"]').nth(place).select_option(one)
            case _:
                page.locator(f"#answer-{ask.name}").fill(text)
    page.get_by_role("button", name="Mark it").click()
    expect(page.locator("#verdict")).to_be_visible()


def leave_it_in(page: Page, served: Served, times: int) -> None:
    for number in range(times):
        case = served.deal(page, "two-spheres", seed=30 + number)
        served.clock.move(seconds=20)
        fill(page, case, slipped(case, SLIP))


def open_progress(page: Page, served: Served) -> None:
    page.goto(f"{served.url}progress")
    for one in page.locator("main details").all():
        one.evaluate("one => { one.open = true; }")


def test_a_learner_who_keeps_leaving_the_distance_in(page: Page, served: Served) -> None:
    """Named at the first mark, standing after the second, brought only where it would show, gone when got right."""
    page.goto(served.url)
    leave_it_in(page, served, 1)
    expect(page.locator(".slip")).to_contain_text(f"{SAID}.")
    expect(page.locator(".lines > .here")).to_contain_text("Step: taking the working distance off.")
    page.goto(f"{served.url}progress")
    expect(page.locator("main")).to_contain_text("No mistake recurs.")

    leave_it_in(page, served, 2)
    page.goto(f"{served.url}progress")
    standing = page.locator(".standing")
    expect(standing.locator("h3").first).to_have_text(f"{SAID}.")
    wrong = served.store.answers_of(served.learner.id)[-1]
    done = dealing.marked(served.store, served.learner, wrong.dealt)
    assert done is not None
    made = done.mark.explanations[0].run.lines
    own = next(line.says for line in made if line.slip == SLIP)
    right = next(
        line.says for line in done.mark.case.run.lines if line.step == made[[x.slip for x in made].index(SLIP)].step
    )
    expect(standing.locator(".own-line").first).to_have_text(own)
    expect(standing.locator(".right-line").first).to_have_text(right)
    standing.get_by_role("link", name="See that case").first.click()
    expect(page.locator("#verdict")).to_have_text("One step slipped")

    # Shown three times, it rests for half a day: then cases come for it.
    served.clock.move(seconds=13 * 3600)
    sought, reasons = 0, []
    for _ in range(40):
        served.clock.move(seconds=4 * 3600)
        served.open_case(page)
        dealt = served.store.open_case(served.learner.id)
        assert dealt is not None
        case = dealing.case_of(dealt)
        state = states_of(served.store, served.learner.id).cases
        # Gone only after right answers that could have shown it, on two days.
        if not progress.standing_slips(served.store, served.learner, state, served.clock.at):
            break
        if dealt.must_show == SLIP:
            sought += 1
            assert case.shows(SLIP), "only cases in which it would show"
            page.locator("summary", has_text="Why it came").click()
            reasons.append(page.locator("details[open]").inner_text())
        fill(page, case, written(case))
    else:
        pytest.fail("the slip stood for forty cases that were right")
    assert sought >= 2, "the slip was sought out"
    assert any(f"{SAID}: three times this week." in one for one in reasons)
    page.goto(f"{served.url}progress")
    expect(page.locator("main")).to_contain_text("No mistake recurs.")
    expect(page.locator("main")).to_contain_text(f"Gone: {SAID[:1].lower()}{SAID[1:]}, last ")


def open_own_data(page: Page) -> None:
    """Find it behind the learner's name."""
    page.locator(".me summary").click()
    page.get_by_role("navigation").get_by_role("link", name="Own data").click()
    expect(page.locator("h1")).to_have_text("Own data")


def test_ones_own_data_is_taken_and_deleted(page: Page, served: Served) -> None:
    page.goto(served.url)
    leave_it_in(page, served, 2)
    page.get_by_role("link", name="Leave").click()
    expect(page).to_have_url(served.url)
    open_own_data(page)
    with page.expect_download() as got:
        page.get_by_role("link", name="Everything as JSON lines").click()
    lines = [json.loads(line) for line in got.value.path().read_text("utf-8").splitlines()]
    assert [one for line in lines if (one := line["kind"]) != "worked example"] == ["learner", "answer", "answer"]
    with page.expect_download() as got:
        page.get_by_role("link", name="Answers as CSV").click()
    assert len(got.value.path().read_text("utf-8").splitlines()) == 3
    page.get_by_role("link", name="Delete it").click()
    page.get_by_role("button", name="Delete").click()
    expect(page.locator(".problem")).to_contain_text("nothing was deleted")
    page.get_by_label("and everything above, for good").check()
    was = served.learner.id
    page.get_by_role("button", name="Delete").click()
    expect(page.locator("h1")).to_have_text("Who is practising?")
    assert served.store.learner(was) is None
    assert served.store.answers_of(was) == []


def test_a_step_is_looked_at_by_itself(page: Page, served: Served) -> None:
    page.goto(served.url)
    leave_it_in(page, served, 3)
    page.goto(f"{served.url}progress")
    page.get_by_role("link", name="Accuracy by week").click()
    page.get_by_label("Twelve weeks of").select_option("taking the working distance off")
    page.get_by_role("button", name="Show").click()
    expect(page.locator("#chart-share-desc")).to_have_text("taking the working distance off: 0 of 3 right in 1 week.")


# --- every state -------------------------------------------------------------------------------------------------


def empty(page: Page, served: Served) -> None:
    page.goto(served.url)
    open_progress(page, served)


def full(page: Page, served: Served) -> None:
    page.goto(served.url)
    leave_it_in(page, served, 3)
    for number in range(3):
        served.clock.move(days=6)
        case = served.deal(page, ("transpose", "net-sphere", "rx-to-cross")[number])
        page.get_by_label("I would write it down").check()
        fill(page, case, written(case))
    learners.keep_settings(served.store, served.learner.id, LearnerSettings(exam_day="2026-12-20"))
    open_progress(page, served)
    expect(page.locator("svg[aria-labelledby^='chart-fading']")).to_be_visible()


def detail(name: str, *charts: str) -> Callable[[Page, Served], None]:
    def opened(page: Page, served: Served) -> None:
        full(page, served)
        page.get_by_role("main").get_by_role("link", name=name).click()
        arrived(page, name)
        for one in charts:
            expect(page.locator(f"svg[aria-labelledby^='{one}']")).to_be_visible()

    return opened


def delete(page: Page, served: Served) -> None:
    full(page, served)
    open_own_data(page)
    page.get_by_role("link", name="Delete it").click()
    arrived(page, "Delete what is kept of you")


def delete_unconfirmed(page: Page, served: Served) -> None:
    delete(page, served)
    page.get_by_role("button", name="Delete").click()
    expect(page.get_by_label("and everything above, for good")).to_be_focused()


def exam_over(page: Page, served: Served) -> None:
    page.goto(served.url)
    page.goto(f"{served.url}settings")
    page.locator("#exam_day").fill("2026-01-05")
    page.get_by_role("button", name="Save settings").click()
    expect(page.locator("#exam_day")).to_be_focused()


STATES: dict[str, Callable[[Page, Served], None]] = {
    "empty": empty,
    "full": full,
    "every step": detail("Every step and type"),
    "weeks": detail("Accuracy by week", "chart-share", "chart-time"),
    "sureness": detail("Sureness against truth", "chart-sure"),
    "delete": delete,
    "delete, not confirmed": delete_unconfirmed,
    "exam over": exam_over,
}


@pytest.mark.parametrize("state", STATES)
def test_every_state_in_both_themes_wide_and_narrow(page: Page, served: Served, accessible: Check, state: str) -> None:
    STATES[state](page, served)
    in_both_themes_wide_and_narrow(page, accessible)
