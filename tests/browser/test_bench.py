"""The bench in a real browser: one optics in two languages, an eye neutralised by keys, the guided run, stills."""

from __future__ import annotations

import json
import math
import random
import re
from collections.abc import Iterator, Mapping
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from cases.curriculum.bench_guide import GUIDE
from cases.curriculum.bench_stage import SLEEVES, Bench, seen
from cases.curriculum.bench_types import staged
from cases.notation.prescription import read_power, write_power
from cases.optics.lens import SphCyl
from cases.optics.reflex import Setting, facts_json
from cases.procedure.case_type import Case
from cases.procedure.settings import Settings
from quiz.practice import learners
from quiz.practice.settings import LearnerSettings
from quiz.web.bench.views import DIALS, LIMITS, Dial
from tests.browser.conftest import Check, Served, drawn

BENCH = "document.getElementById('bench').state"


# --- one optics, twice -------------------------------------------------------------------------------------------


def any_setting(rng: random.Random) -> Setting:
    def lens() -> SphCyl:
        return SphCyl(rng.uniform(-12, 12), rng.uniform(-5, 5), rng.uniform(1, 180))

    distance = rng.uniform(25, 120)
    return Setting(
        rx=lens(),
        in_place=lens(),
        distance_cm=distance,
        pupil_mm=rng.uniform(2, 8),
        sight_hole_mm=rng.uniform(0.5, 4),
        sleeve=rng.choice((0.0, rng.uniform(-20, -0.5), rng.uniform(1.2, 10) * 100 / distance)),
        filament_mrad=rng.uniform(0.1, 5),
        margin_per_mm2=rng.uniform(-0.15, 0.15),
        off_axis_h=rng.uniform(-15, 15),
        off_axis_v=rng.uniform(-15, 15),
    )


def parted(one: Any, other: Any, where: str = "") -> Iterator[str]:
    """Yield where two documents differ by more than 1e-6, relative for numbers above 1."""
    if isinstance(one, Mapping):
        for name in one.keys() | other.keys():
            yield from parted(one.get(name), other.get(name), f"{where}.{name}")
    elif isinstance(one, list):
        assert len(one) == len(other)
        for place, (a, b) in enumerate(zip(one, other, strict=True)):
            yield from parted(a, b, f"{where}[{place}]")
    elif isinstance(one, float | int) and isinstance(other, float | int):
        if abs(one - other) > 1e-6 * max(1.0, abs(one)):
            yield f"{where}: {one} and {other}"
    elif one != other:
        yield f"{where}: {one} and {other}"


def test_the_browser_and_numpy_agree_to_a_millionth_on_500_settings(page: Page, served: Served) -> None:
    rng = random.Random(5)
    asked: list[list[object]] = []
    right: list[object] = []
    while len(asked) < 500:
        setting, streak, face = any_setting(rng), rng.uniform(0.5, 180), rng.uniform(-15, 15)
        asked.append([setting.as_json(), streak, face])
        right.append(json.loads(json.dumps(facts_json(setting, streak, face_mm=face))))
    page.goto(f"{served.url}bench")
    got = page.evaluate(
        "async (all) => { const {facts} = await import('/static/reflex.js'); return all.map((one) => facts(...one)); }",
        asked,
    )
    assert list(parted(right, got)) == []


def test_the_browser_sets_the_bench_up_as_python_does(page: Page, served: Served) -> None:
    rng = random.Random(9)
    benches = [
        Bench(
            eye=SphCyl(rng.uniform(-5, 5), rng.uniform(-3, 0), rng.uniform(1, 180)),
            sphere=rng.uniform(-5, 5),
            cylinder=rng.uniform(-3, 3),
            axis=rng.uniform(1, 180),
            streak=rng.uniform(1, 180),
            distance_cm=rng.uniform(25, 120),
            sleeve=sleeve,
            pupil_mm=rng.uniform(3, 8),
            margin=rng.uniform(-2, 2),
            off_h=rng.uniform(-15, 15),
            off_v=rng.uniform(-15, 15),
        )
        for sleeve in SLEEVES
        for _ in range(20)
    ]
    page.goto(f"{served.url}bench")
    got = page.evaluate(
        """async (all) => {
            const { settingOf } = await import('/static/js/bench-state.js');
            const instrument = JSON.parse(document.getElementById('bench').dataset.instrument);
            return all.map((one) => settingOf(one, instrument));
        }""",
        [bench.as_json() for bench in benches],
    )
    assert list(parted([bench.setting.as_json() for bench in benches], got)) == []


def test_a_hand_may_set_what_the_form_may_and_no_more(page: Page, served: Served) -> None:
    """Buttons and keys stop where the server would refuse; axes go round and have no end."""
    page.goto(f"{served.url}bench")
    dials = {one.name: one.kind for one in DIALS if isinstance(one.kind, Dial)}
    assert set(LIMITS) == set(dials) - {"axis", "streak", "eye_axis"}
    for side in (-1, 1):
        got = page.evaluate(
            """([names, by]) => {
                const { state } = document.getElementById('bench');
                for (const name of names) state.nudge(name, by);
                const { eye, ...rest } = state.bench;
                return { ...rest, eye_sphere: eye.sphere, eye_cylinder: eye.cylinder };
            }""",
            [list(LIMITS), side * 1000],
        )
        ends = {name: dials[name].low if side < 0 else dials[name].high for name in LIMITS}
        assert {name: got[name] for name in LIMITS} == ends


# --- hands -------------------------------------------------------------------------------------------------------


def press(page: Page, key: str, times: int = 1) -> None:
    for _ in range(times):
        page.keyboard.press(key)


def push(page: Page, key: str, past: str) -> None:
    """Hold an arrow key until the streak has gone as far as `past` says of its place in mm, `mm`."""
    page.keyboard.down(key)
    page.wait_for_function(f"() => {{ const mm = {BENCH}.faceMm; return {past}; }}", polling=30)
    page.keyboard.up(key)


def sweep(page: Page, there: str = "ArrowRight", back: str = "ArrowLeft") -> None:
    """Sweep well past the pupil to one side, to the other, and back."""
    was = page.evaluate(f"{BENCH}.faceMm")
    push(page, there, f"Math.abs(mm - {was}) > 0.5 || Math.abs(mm) > 15")
    side = page.evaluate(f"Math.sign({BENCH}.faceMm - {was}) || Math.sign({BENCH}.faceMm)")
    for key, way in ((there, side), (back, -side), (there, side)):
        push(page, key, f"mm * {way} > 6")


def told(page: Page) -> str:
    """Ask what is seen, as a person does who cannot see it."""
    press(page, "q")
    said = page.locator("#bench-said")
    expect(said).to_contain_text("The streak lies at")
    words = said.inner_text()
    page.evaluate("document.getElementById('bench-said').textContent = ''")
    return words


def sphere_in_place(page: Page) -> float:
    return float(page.locator("#bench-sphere").input_value().replace("−", "-"))


def neutralised(page: Page) -> float:
    """Put spheres in by keys until nothing travels, or the movement turns round; return the sphere in place."""
    before = ""
    for _ in range(80):
        words = told(page)
        way = "+" if "the same way" in words else "-"
        if "no reflex is seen to travel" in words or (before and way != before):
            return sphere_in_place(page)
        press(page, way)
        before = way
    raise AssertionError("never neutral")


def lined_up(page: Page) -> float:
    """Follow the reflex with the streak by keys until the two lie in one line; return where that is."""
    for _ in range(90):
        turned = re.search(r"turned (\w+) from the streak", told(page))
        if turned is None:
            return float(page.locator("#bench-streak").input_value())
        press(page, "y" if turned[1] == "anticlockwise" else "Shift+Y")
    raise AssertionError("never in line")


def test_an_astigmatic_eye_is_neutralised_by_keys_alone_and_its_net_marked(page: Page, served: Served) -> None:
    settings = Settings(level="novice", distance_cm=50, fixed_distance=True)
    case = served.deal(page, "bench-eye", seed=2, settings=settings)
    page.get_by_role("application").focus()
    # With one meridian near neutral the reflex of the other lies along the axis: then it is found exactly.
    lined_up(page)
    neutralised(page)
    press(page, "t", 18)
    streak = lined_up(page)
    second = neutralised(page)
    assert "no reflex is seen to travel" in told(page)
    press(page, "t", 18)
    first = neutralised(page)
    assert "no reflex is seen to travel" in told(page)
    # Streak and axis of the cylinder that neutralises lie alike: the minus cylinder goes along the less plus streak.
    axis = streak if second < first else (streak + 90) % 180 or 180
    page.keyboard.press("Tab")
    while page.evaluate("document.activeElement.name") != "answer-prescription":
        page.keyboard.press("Tab")
    page.keyboard.type(f"{max(first, second) - 2:+.2f} {-abs(first - second):+.2f} x {axis:.0f}")
    page.keyboard.press("Enter")
    expect(page.locator("#verdict")).to_contain_text("Right")
    kept = served.store.answers_of(served.learner.id)[-1]
    assert (kept.type, kept.source) == (case.type.id, "bench")
    assert kept.verdict in ("right", "near")


def test_stopping_a_step_early_is_named_and_scored_by_the_lens_left_on_the_eye(page: Page, served: Served) -> None:
    settings = Settings(level="novice", distance_cm=50, fixed_distance=True)
    case = served.deal(page, "bench-sphere", settings=settings, wanted=lambda one: one.start["ends"][0] > 0)
    page.locator("#answer-power").fill(f"{case.truth['power'] - 0.25:+.2f}")
    page.keyboard.press("Enter")
    expect(page.locator(".slip")).to_contain_text("stopped a step before neutral")
    expect(page.get_by_text("Were it worn, the eye would still want")).to_contain_text("+0.25")
    page.get_by_role("button", name="Another short look").click()
    expect(page.get_by_role("application")).to_be_visible()


def test_the_pointer_sweeps_the_streak_and_turns_it_by_the_dial(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench?streak=90")
    box = page.get_by_role("application").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 60, y, steps=3)
    assert page.evaluate(f"{BENCH}.faceMm") < -3, "to the right is minus for an upright streak"
    page.mouse.up()
    reach = 0.46 * box["width"]
    page.mouse.move(x, y - reach)
    page.mouse.down()
    page.mouse.move(x + reach * math.cos(math.radians(30)), y - reach * math.sin(math.radians(30)), steps=4)
    page.mouse.up()
    expect(page.locator("#bench-streak")).to_have_value("30")


def test_every_setting_is_reached_by_tab_and_shows_its_focus(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench")
    names = page.evaluate("[...document.querySelectorAll('#bench-form input')].map((one) => one.name)")
    reached = set()
    page.get_by_role("application").focus()
    for _ in range(120):
        page.keyboard.press("Tab")
        name, outline = page.evaluate(
            "[document.activeElement.name, getComputedStyle(document.activeElement).outlineStyle]"
        )
        if name:
            assert outline != "none"
            reached.add(name)
    assert set(names) <= reached | {"sleeve"}


def test_a_number_hidden_stays_hidden_and_a_lens_changes_all_of_them(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench?eye_sphere=1&eye_cylinder=0&distance_cm=50")
    expect(page.locator("[data-number=residual]")).to_have_text("+3.00 D")
    page.get_by_role("button", name="Sphere: a quarter more plus").first.click()
    expect(page.locator("[data-number=residual]")).to_have_text("+2.75 D")
    page.get_by_label("Hide the numbers").check()
    expect(page.locator("#bench-numbers")).to_be_hidden()


@pytest.mark.parametrize(
    ("typed", "stands"), [("1,5", "+1.50"), ("1.50", "+1.50"), ("-2.25", "−2.25"), (".125", "+0.125"), ("0", "0.00")]
)
def test_a_lens_is_typed_with_a_comma_or_either_minus(page: Page, served: Served, typed: str, stands: str) -> None:
    """1,5 must never become 15: a field of numbers drops the comma where the browser's language writes a point."""
    page.goto(f"{served.url}bench?eye_sphere=1&eye_cylinder=0&distance_cm=50")
    sphere = page.locator("#bench-sphere")
    sphere.press("ControlOrMeta+a")
    page.keyboard.type(typed)
    expect(page.locator("[data-number=residual]")).to_have_text(f"{write_power(3 - read_power(stands))} D")
    page.keyboard.press("Tab")
    expect(sphere).to_have_value(stands)
    page.goto(f"{served.url}bench?sphere={stands.replace('+', '%2B')}")
    expect(sphere).to_have_value(stands)


def test_what_was_set_outlives_a_line_of_the_working_and_an_answer_sent_back(page: Page, served: Served) -> None:
    """The eye of a case is brought to neutral once: a hint or an axis forgotten must not take the lenses away."""
    served.deal(page, "bench-eye")
    sphere, streak = page.locator("#bench-sphere"), page.locator("#bench-streak")
    page.get_by_role("button", name="Sphere: a quarter more plus").first.click()
    streak.fill("77")
    page.locator("button[name=lines]").click()
    expect(page.locator("#lines li")).to_have_count(1)
    expect(sphere).to_have_value("+0.25")
    expect(streak).to_have_value("77")
    page.locator("#answer-prescription").fill("+1.00 -1.50")
    page.get_by_role("button", name="Mark it").click()
    expect(page.locator(".problem")).to_contain_text("has no axis")
    expect(sphere).to_have_value("+0.25")
    served.deal(page, "bench-eye", seed=5)
    expect(sphere).to_have_value("0.00")


def test_an_eighth_still_to_add_is_shown_in_full_by_page_and_script(page: Page, served: Served) -> None:
    """An emmetrope at 32 cm needs 100 ÷ 32 = 3.125 D to be neutral; a lens of +0.25 leaves 2.875 D."""
    page.goto(f"{served.url}bench?eye_sphere=0&eye_cylinder=0&distance_cm=32")
    assert "+3.125 D" in page.request.get(page.url).text()
    expect(page.locator("[data-number=residual]")).to_have_text("+3.125 D")
    page.get_by_role("button", name="Sphere: a quarter more plus").first.click()
    expect(page.locator("[data-number=residual]")).to_have_text("+2.875 D")


def test_a_number_out_of_reach_is_told_and_arrows_step(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench?streak=110")
    streak = page.locator("#bench-streak")
    streak.fill("200")
    page.keyboard.press("Tab")
    expect(streak).to_have_value("110")
    expect(page.locator("#bench-said")).to_have_text("Streak lies at “200”: give 1 to 180.")
    streak.press("ArrowUp")
    expect(streak).to_have_value("111")


# --- the picture -------------------------------------------------------------------------------------------------

LIT = """([row, share]) => {
  const canvas = document.querySelector('canvas');
  const size = canvas.width, {data} = canvas.getContext('2d').getImageData(0, 0, size, size);
  const at = (4 * (Math.round(size * row) * size + Math.round(size * share)));
  return data[at];
}"""


def red_at(page: Page, mm: tuple[float, float]) -> int:
    """Return how red the picture is at a point in mm from the middle of the pupil."""
    px = page.evaluate("document.querySelector('canvas').width") / 38
    size = px * 38
    return int(page.evaluate(LIT, [0.5 - mm[1] * px / size, 0.5 + mm[0] * px / size]))


def put(page: Page, served: Served, query: str, face_mm: float) -> None:
    page.goto(f"{served.url}bench?{query}&streak=90&eye_cylinder=0")
    page.evaluate(f"{BENCH}.sweepTo({face_mm}); {BENCH}.changed()")
    drawn(page)


@pytest.mark.parametrize(("sphere", "lit", "dark"), [(0, 2, -2), (5.0, -2.2, 2.2)], ids=["with", "against"])
def test_the_picture_lights_the_side_that_the_movement_names(
    page: Page, served: Served, sphere: float, lit: float, dark: float
) -> None:
    # Three millimetres to the right of the pupil: minus along the normal of an upright streak.
    put(page, served, f"eye_sphere=1.5&sphere={sphere}&distance_cm=67", -5)
    assert red_at(page, (lit, 0)) > 2 * red_at(page, (dark, 0))


def test_at_neutral_the_whole_pupil_is_lit_and_then_dark(page: Page, served: Served) -> None:
    put(page, served, "eye_sphere=1.5&sphere=3&distance_cm=67", 0)
    assert min(red_at(page, (x, 0.9)) for x in (-2.2, 0, 2.2)) > 200
    put(page, served, "eye_sphere=1.5&sphere=3&distance_cm=67", -14)
    assert max(red_at(page, (x, 0.9)) for x in (-2.2, 0, 2.2)) < 40


def test_nothing_is_drawn_while_nothing_changes(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench")
    drawn(page)
    page.evaluate(
        "() => { window.frames_ = 0; const was = requestAnimationFrame;"
        "window.requestAnimationFrame = (f) => { window.frames_ += 1; return was(f); }; }"
    )
    page.wait_for_timeout(400)
    assert page.evaluate("window.frames_") == 0


# --- the guided run ----------------------------------------------------------------------------------------------


def felt(page: Page, goal: str) -> None:
    """Do what a part of the guided run asks, by keys."""
    match goal:
        case "neutral":
            press(page, "+", 8)
        case "reversal":
            press(page, "+", 2)
            sweep(page)
            press(page, "-", 2)
        case "aligned":
            press(page, "t", 4)
        case "both" | "leaned":
            press(page, "i", 6)
            sweep(page)
            press(page, "t", 18)
            sweep(page, "ArrowUp", "ArrowDown")
            return
    sweep(page)


def test_the_guided_run_tells_what_was_felt_once_it_has_been_and_leads_to_the_bench(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench")
    page.get_by_role("link", name="First run").click()
    for part in GUIDE:
        expect(page.locator("h1")).to_have_text(part.title)
        expect(page.locator("#bench-then")).to_have_count(0)
        page.get_by_role("application").focus()
        felt(page, part.goal)
        expect(page.locator("#bench-then")).to_have_text(part.then)
        page.locator("#go-on").click()
    expect(page.locator("h1")).to_have_text("The bench")


# --- without a moving picture ------------------------------------------------------------------------------------


@pytest.fixture
def still_page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(reduced_motion="reduce")
    yield context.new_page()
    context.close()


@pytest.fixture
def plain_page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(java_script_enabled=False)
    yield context.new_page()
    context.close()


def test_with_reduced_motion_stills_and_words_stand_in_and_the_picture_may_be_asked_for(
    still_page: Page, served: Served
) -> None:
    still_page.goto(f"{served.url}bench?eye_sphere=1&eye_cylinder=0&streak=90")
    expect(still_page.get_by_role("application")).to_be_hidden()
    expect(still_page.locator(".bench-words")).to_contain_text("travels the same way as the streak")
    still_page.get_by_role("button", name="Sphere: a quarter more plus").first.click()
    still_page.get_by_label("Sphere D", exact=True).fill("5")
    still_page.get_by_role("button", name="Look", exact=True).click()
    expect(still_page.locator(".bench-words")).to_contain_text("travels the opposite way to the streak")
    still_page.get_by_role("button", name="Show it moving").click()
    expect(still_page.get_by_role("application")).to_be_focused()


def test_without_scripts_an_eye_is_neutralised_by_looking_again_and_its_net_marked(
    plain_page: Page, served: Served
) -> None:
    settings = Settings(level="novice", distance_cm=50, fixed_distance=True)
    served.deal(plain_page, "bench-sphere", settings=settings)
    sphere = 0.0
    while True:
        words = plain_page.locator(".bench-words").inner_text()
        if "no reflex is seen to travel" in words:
            break
        sphere += 0.25 if "the same way" in words else -0.25
        plain_page.locator("#bench-sphere").fill(f"{sphere}")
        plain_page.get_by_role("button", name="Look", exact=True).click()
    plain_page.locator("#answer-power").fill(f"{sphere - 2:+.2f}")
    plain_page.get_by_role("button", name="Mark it").click()
    expect(plain_page.locator("#verdict")).to_have_text("Right")


@pytest.mark.parametrize("type_id", ["bench-movement", "bench-nearer", "bench-axis", "bench-lean"])
def test_without_scripts_a_short_look_shows_every_view_in_words(plain_page: Page, served: Served, type_id: str) -> None:
    case = served.deal(plain_page, type_id)
    words = plain_page.locator(".bench-words").all_inner_texts()
    assert len(words) == {"bench-nearer": 3, "bench-lean": 2}.get(type_id, 1)
    assert all("The streak lies at" in one for one in words)
    assert case.truth


def test_a_setting_out_of_reach_is_refused_in_words(plain_page: Page, served: Served) -> None:
    plain_page.goto(f"{served.url}bench?sphere=99&distance_cm=three")
    expect(plain_page.locator("#bench-sphere-problem")).to_contain_text("“99”: give −20 to 20 D")
    expect(plain_page.locator("#bench-distance_cm-problem")).to_contain_text("“three”: give 25 to 120 cm")
    expect(plain_page.locator("#bench-sphere")).to_have_value("99")
    expect(plain_page.locator("#bench-sphere")).to_be_focused()


# --- axe ---------------------------------------------------------------------------------------------------------


def open_state(page: Page, served: Served, state: str) -> None:
    name, _, more = state.partition(" ")
    if name == "case":
        served.deal(page, more)
    elif name == "marked":
        case: Case = served.deal(page, "bench-sphere")
        page.locator("#answer-power").fill(f"{case.truth['power'] + 0.25:+.2f}")
        page.keyboard.press("Enter")
        expect(page.locator("#verdict")).to_be_visible()
    else:
        page.goto(f"{served.url}{more}")
    page.evaluate("document.querySelector('.bench-keys')?.setAttribute('open', '')")


STATES = [
    "page bench",
    "page bench?hide=1",
    "page bench?sphere=99",
    *(f"page bench/guide/{number}" for number in range(1, len(GUIDE) + 1)),
    *(f"case {one}" for one in staged()),
    "marked",
]


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("state", STATES)
def test_axe_finds_nothing(page: Page, served: Served, accessible: Check, state: str, theme: str) -> None:
    page.goto(served.url)
    learners.keep_settings(served.store, served.learner.id, LearnerSettings(theme=theme))
    for width in (320, 1280):
        page.set_viewport_size({"width": width, "height": 700})
        open_state(page, served, state)
        accessible(page)


def test_axe_finds_nothing_in_the_stills(still_page: Page, served: Served, accessible: Check) -> None:
    still_page.set_viewport_size({"width": 320, "height": 700})
    for path in ("bench", "bench/guide/4"):
        still_page.goto(f"{served.url}{path}")
        accessible(still_page)
    served.deal(still_page, "bench-nearer")
    accessible(still_page)


def test_what_is_said_is_what_python_says(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench?eye_sphere=2&eye_cylinder=-1&eye_axis=20&streak=40")
    page.get_by_role("application").focus()
    assert told(page) == " ".join(seen(Bench(eye=SphCyl(2, -1, 20), streak=40)))
