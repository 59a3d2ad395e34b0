"""The desk in a real browser: the days of a learner, by keyboard, and accessible in every state.

Here on a telephone by day with scripts, and on a wide screen in a dim room without any; desk_every_way.py has the rest.
"""

from __future__ import annotations

import random
import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Literal

import pytest
from playwright.sync_api import Browser, Locator, Page, ViewportSize, expect

from quiz.exports import bringing, own_data
from quiz.practice import dealing, learners
from quiz.practice.settings import LearnerSettings
from quiz.storage import projection
from quiz.storage.datafile import DataFile
from quiz.storage.store import Store
from tests.browser.conftest import Check, Served
from tests.conftest import NOON, lots, slipped, written


@dataclass(frozen=True)
class Way:
    """One way of meeting a page."""

    width: int
    theme: Literal["light", "dark"]
    scripts: bool

    def __str__(self) -> str:
        return f"{self.width}-{self.theme}-{'scripts' if self.scripts else 'plain'}"

    @property
    def size(self) -> ViewportSize:
        return {"width": self.width, "height": 740 if self.width == 360 else 800}


@pytest.fixture(params=[Way(360, "light", True), Way(1280, "dark", False)], ids=str)
def way(request: pytest.FixtureRequest) -> Way:
    return request.param  # type: ignore[no-any-return]


@pytest.fixture
def browser_context_args(browser_context_args: dict[str, Any], way: Way) -> dict[str, Any]:
    more = {"viewport": way.size, "color_scheme": way.theme, "java_script_enabled": way.scripts}
    return {**browser_context_args, **more}


@pytest.fixture
def sound(browser: Browser, served: Served, accessible: Check, way: Way) -> Iterator[Check]:
    """Check a page. axe needs timers, which a page without scripts has not: what is on it is laid out once more."""
    if way.scripts:
        yield accessible
        return
    twin = browser.new_context(viewport=way.size, color_scheme=way.theme).new_page()
    twin.route("**/*.js", lambda asked: asked.abort())
    twin.goto(f"{served.url}reference/evidence")  # style sheets are given to their own origin alone

    def check(page: Page, only: str = "") -> None:
        there = page.content().replace("noscript>", "div>").replace("<head>", f'<head><base href="{page.url}">')
        twin.set_content(there)
        accessible(twin, only)

    yield check
    twin.context.close()


def practise(store: Store, days: int, *, a_day: int = 6, wrong: float = 0.25, seed: int = 50) -> None:
    """Let a learner practise for this many days from noon on, and be right in three of four."""
    rng, chance, now = random.Random(seed), lots(seed), NOON
    who = learners.add(store, "Imre", now=now)
    with store.writing():
        projection.keep_priors(store, who.id, {})
    for _ in range(days):
        for number in range(a_day):
            at = now + 65 * number
            one = dealing.waiting(store, learners.get(store, who.id), now=at, lots=chance)
            made = [single for single in one.case.singles if not one.case.type.form_matters]
            texts = written(one.case, made[0].answer if made and rng.random() < wrong else None)
            dealing.take(store, learners.get(store, who.id), one.dealt.id, texts, None, now=at + 20)
        now += 86400


@pytest.fixture(scope="session")
def practised(tmp_path_factory: pytest.TempPathFactory) -> Callable[[int], Path]:
    """Return a data file of a learner after this many days of practice, made once."""
    made: dict[int, Path] = {}

    def after(days: int) -> Path:
        if days not in made:
            made[days] = tmp_path_factory.mktemp("practised") / f"{days}.sqlite3"
            with closing(DataFile.open(made[days])) as file, closing(Store(file)) as store:
                practise(store, days)
        return made[days]

    return after


@pytest.fixture
def data_path(request: pytest.FixtureRequest, tmp_path: Path, practised: Callable[[int], Path]) -> Path:
    """Give a new data file, or one of a learner after this many days."""
    path, days = tmp_path / "answers.sqlite3", getattr(request, "param", 0)
    if days:
        shutil.copy(practised(days), path)
    return path


after_days = partial(pytest.mark.parametrize, "data_path", indirect=True)


def to(page: Page, target: Locator) -> None:
    """Go to something with the Tab key."""
    expect(target).to_be_visible()
    for _ in range(40):
        if target.evaluate("one => one === document.activeElement"):
            return
        page.keyboard.press("Tab")
    pytest.fail(f"Tab does not lead to {target}")


def press(page: Page, target: Locator) -> None:
    to(page, target)
    page.keyboard.press("Enter")


def tick(page: Page, name: str, value: str) -> None:
    """Choose one of a group with the keys that browsers have for it."""
    option = page.locator(f"input[name={name}][value={value}]")
    to(page, page.locator(f"input[name={name}]").first)
    page.keyboard.press("Space")
    for _ in range(6):
        if option.is_checked():
            return
        page.keyboard.press("ArrowDown")
    pytest.fail(f"no key chooses {value}")


def in_sight(page: Page, selector: str) -> bool:
    """Say whether something is on the screen without scrolling, above the places at a telephone's foot."""
    box = page.locator(selector).first.bounding_box()
    size = page.viewport_size
    foot = 51 if size and size["width"] == 360 and page.locator(".places").is_visible() else 0
    return box is not None and size is not None and box["y"] + box["height"] <= size["height"] - foot


def test_the_first_day_of_a_beginner(page: Page, served: Served, sound: Check) -> None:
    """A case at once; three questions after it; then a new type is worked before it is asked."""
    page.goto(served.url)
    sound(page)
    first = served.store.open_case(served.learner.id)
    assert first is not None
    ((name, value),) = written(dealing.case_of(first)).items()
    tick(page, f"answer-{name}", value)
    press(page, page.get_by_role("button", name="Mark it"))
    expect(page.locator("#verdict")).to_be_focused()
    sound(page)
    press(page, page.locator("#go-on"))
    expect(page.get_by_role("heading", name="Three questions")).to_be_visible()
    sound(page)
    for name in ("transposing", "two_meridians"):
        tick(page, name, "no")
    press(page, page.get_by_role("button", name="Go on"))
    expect(page.locator("h1")).to_contain_text("Worked, 1 of 3")
    expect(page.locator("main dd")).to_have_count(1)  # the answer to what was asked, written out
    assert learners.settings_of(served.learner).level == "novice"
    sound(page)
    page.keyboard.press("Enter")  # the main button has the focus
    expect(page.locator("h1")).to_contain_text("Worked, 2 of 3")
    expect(page.locator("#line")).to_be_focused()
    expect(page.locator("main dd")).to_have_count(0)
    page.keyboard.type("99")
    page.keyboard.press("Enter")
    expect(page.locator(".problem")).to_contain_text("Not yet")
    sound(page)
    press(page, page.get_by_role("button", name="Show it"))
    expect(page.get_by_role("link", name="Your case")).to_be_focused()
    sound(page)
    page.keyboard.press("Enter")
    expect(page.locator("form.answer")).to_be_visible()
    assert len(served.store.answers_of(served.learner.id)) == 1, "an example is no answer"


def test_the_first_day_of_an_expert(page: Page, served: Served, sound: Check) -> None:
    """One composite case from each of eight topics, with nothing worked beforehand."""
    page.goto(served.url)
    press(page, page.locator("#dont-know"))
    press(page, page.locator("#go-on"))
    tick(page, "role", "clinician")
    for name in ("transposing", "two_meridians"):
        tick(page, name, "yes")
    press(page, page.get_by_role("button", name="Go on"))
    expect(page.locator("form.answer")).to_be_visible()
    expect(page.locator("header")).to_contain_text("1 of 8")
    settings = learners.settings_of(served.learner)
    assert (settings.role, settings.level) == ("clinician", "expert")
    sound(page)


@after_days(argvalues=[14])
def test_day_fifteen(page: Page, served: Served, sound: Check) -> None:
    """The day is one sentence, Enter starts it, and no count of things by state stands anywhere."""
    served.clock.move(days=14)
    page.goto(served.url)
    expect(page.locator("h1")).to_contain_text("minutes today")
    assert page.locator("h1").inner_text().count(".") == 1
    expect(page.locator("#go-on")).to_be_focused()
    assert in_sight(page, "#go-on")
    assert in_sight(page, ".strip a")
    sound(page)
    page.keyboard.press("Enter")
    expect(page.locator("main h1").first).to_contain_text("1 of")
    page.goto(f"{served.url}?what=topic")
    sound(page)
    press(page, page.get_by_role("button", name="Lens algebra"))
    expect(page.locator("main h1").first).to_contain_text("1 of")
    dealt = served.store.open_case(served.learner.id)
    assert dealt is not None
    assert dealt.type in {"transpose", "spherical-equivalent", "rx-to-cross", "cross-to-rx", "oblique-power"}


@after_days(argvalues=[4])
def test_before_an_exam(page: Page, served: Served, sound: Check) -> None:
    """A line a topic, in words while forecasts are few; both dates in a sentence."""
    served.clock.move(days=4)
    learners.keep_settings(served.store, served.learner.id, LearnerSettings(exam_day="2026-12-24"))
    page.goto(served.url)
    expect(page.locator(".ready")).to_contain_text("Lens algebra")
    expect(page.locator(".plate")).to_contain_text("In words only")
    assert "%" not in page.locator("main").inner_text()
    expect(page.locator(".dates")).to_contain_text("Your exam is on 24 December")
    sound(page)


@after_days(argvalues=[4])
def test_after_200_days(page: Page, served: Served, sound: Check) -> None:
    """After an absence one sentence, and a case from each topic that was practised before anything else."""
    served.clock.move(days=204)
    page.goto(served.url)
    topics = "(two|three|four|five|six|seven|eight) cases first, to check the topics that you practised"
    expect(page.locator("h1")).to_have_text(re.compile(f"^Welcome back: {topics}, then what was lost.$"))
    sound(page)
    page.keyboard.press("Enter")
    expect(page.locator("header")).to_contain_text("1 of 10")
    expect(page.locator("form.answer")).to_be_visible()


@after_days(argvalues=[4])
def test_ten_minutes_a_week(page: Page, served: Served, sound: Check) -> None:
    """A clinician's length: the week in a sentence, ten minutes, then the day on which the next are due."""
    served.clock.move(days=20)
    learners.keep_settings(served.store, served.learner.id, LearnerSettings(role="clinician", sitting="weekly"))
    page.goto(served.url)
    expect(page.locator("h1")).to_have_text(
        re.compile("^Ten minutes this week, for what you may forget before the next: .+.$")
    )
    expect(page.get_by_label("How long")).to_have_value("weekly")
    sound(page)
    page.keyboard.press("Enter")
    expect(page.locator("header")).to_contain_text("1 of ")  # a case, or the example before a new type
    served.clock.move(seconds=660)
    one = dealing.waiting(served.store, served.learner, now=served.clock.at, lots=lots(3))
    dealing.give_up(served.store, served.learner, one.dealt.id, now=served.clock.at)
    served.clock.move(days=2)
    page.goto(served.url)
    expect(page.locator("h1")).to_have_text(re.compile("^This week.s ten minutes are done; .+ due on .+day.$"))
    sound(page)
    served.clock.move(days=31)
    page.goto(served.url)
    expect(page.locator("h1")).to_have_text(re.compile("^Welcome back: "))
    expect(page.locator("main")).to_contain_text("About ten minutes in all.")


def test_mistakes_only(page: Page, served: Served, sound: Check) -> None:
    """A recurring mistake stands on the desk with the last wrong line, and is practised in two keys."""
    page.goto(served.url)
    for number in range(5):
        case = served.deal(page, "net-sphere", seed=number + 3, wanted=lambda one: one.shows("distance-left-in"))
        (text,) = slipped(case, "distance-left-in").values()
        page.keyboard.type(text)
        page.keyboard.press("Enter")
        expect(page.locator("#verdict")).to_be_visible()
    sound(page)
    page.goto(served.url)
    mistake = page.locator(".items li").first
    expect(mistake).to_contain_text("You did not subtract the working distance")
    expect(mistake.locator(".was")).to_be_visible()
    sound(page)
    press(page, mistake.get_by_role("link", name="Practise this"))
    expect(page.locator("h1")).to_contain_text("You did not subtract the working distance")
    assert "what=mistakes" in page.url
    sound(page)
    page.keyboard.press("Enter")
    expect(page.locator("form.answer")).to_be_visible()
    dealt = served.store.open_case(served.learner.id)
    assert dealt is not None
    assert dealt.must_show == "distance-left-in"


@after_days(argvalues=[4])
def test_a_mock_paper(page: Page, served: Served, sound: Check) -> None:
    """Twenty cases in 30 minutes: no mark and no working until the end, then all of them."""
    served.clock.move(days=4)
    page.goto(f"{served.url}?what=paper")
    sound(page)
    page.keyboard.press("Enter")
    expect(page.locator("header")).to_contain_text("1 of 20")
    expect(page.locator("main")).to_contain_text("30 min")
    assert page.get_by_role("button", name="Show the first line").count() == 0
    sound(page)
    press(page, page.locator("#dont-know"))
    expect(page.locator("header")).to_contain_text("2 of 20")
    chance = lots(9)
    for _ in range(2, 19):
        one = dealing.waiting(served.store, served.learner, now=served.clock.at, lots=chance)
        dealing.give_up(served.store, served.learner, one.dealt.id, now=served.clock.at)
    page.goto(served.case_url)
    expect(page.locator("header")).to_contain_text("19 of 20")
    press(page, page.locator("#dont-know"))
    expect(page.locator("header")).to_contain_text("20 of 20")
    press(page, page.locator("#dont-know"))
    expect(page.locator("main")).to_contain_text("20 cases")
    assert page.locator("main a[href*='/case/']").count() == 20
    sound(page)


@after_days(argvalues=[2])
def test_data_moved_from_one_computer_to_another(page: Page, served: Served, sound: Check, tmp_path: Path) -> None:
    """The file is looked over first; the same file adds nothing the second time."""
    path = tmp_path / "own-data.jsonl.gz"
    path.write_bytes(bringing.packed(own_data.json_lines(served.store, served.learner)))
    learners.remove(served.store, served.learner.id, now=served.clock.at)
    served.clock.move(days=2)
    page.goto(served.url)
    page.goto(f"{served.url}people")
    to(page, page.locator("#name"))
    page.keyboard.type("Bea")
    page.keyboard.press("Enter")
    expect(page.locator("form.answer")).to_be_visible()
    for expected in ("New: 12 answers", "nothing new"):
        page.goto(f"{served.url}progress/data")
        sound(page)
        press(page, page.get_by_role("link", name="Bring data in"))
        page.locator("#file").set_input_files(path)
        press(page, page.get_by_role("button", name="Look at it first"))
        expect(page.locator("main")).to_contain_text(expected)
        sound(page)
        if expected.startswith("New"):
            page.keyboard.press("Enter")
            expect(page.locator(".done")).to_contain_text("12 answers taken in")
    assert len(served.store.answers_of(served.store.learners()[-1].id)) == 12
