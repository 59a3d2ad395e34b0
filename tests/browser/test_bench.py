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
from cases.curriculum.bench_stage import Bench, seen
from cases.curriculum.bench_types import staged
from cases.notation.prescription import read_power, write_power
from cases.optics.lens import SphCyl
from cases.optics.reflex import Setting, facts_json
from cases.procedure.case_type import Case
from cases.procedure.settings import Settings
from quiz.web.bench.views import DIALS, LIMITS, Dial
from tests.browser.conftest import Check, Served, drawn, in_both_themes

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
        sleeve=rng.choice((0.0, rng.uniform(-20, -0.5), rng.uniform(1.2, 4) * 100 / distance)),
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
        setting, streak = any_setting(rng), rng.uniform(0.5, 180)
        asked.append([setting.as_json(), streak])
        right.append(json.loads(json.dumps(facts_json(setting, streak))))
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
            sleeve=rng.uniform(-4, 6),
            filament=filament,
            coma=rng.uniform(-0.5, 0.5),
            cone=rng.choice((0.0, 3.0)),
            haze=rng.uniform(0, 0.9),
            pupil_mm=rng.uniform(3, 8),
            margin=rng.uniform(-2, 2),
            off_h=rng.uniform(-15, 15),
            off_v=rng.uniform(-15, 15),
            target=rng.choice(("far", "near")),
        )
        for filament in ("streak", "spot")
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
    right = [json.loads(json.dumps(bench.setting.as_json())) | {"streak": bench.streak} for bench in benches]
    assert list(parted(right, [one | {"length_mrad": Setting.length_mrad} for one in got])) == []


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


def sweep(page: Page) -> None:
    """Sweep well past the pupil to one side and to the other."""
    press(page, "Home")
    press(page, "ArrowRight", 10)
    drawn(page)
    press(page, "ArrowLeft", 20)
    drawn(page)


def told(page: Page) -> str:
    """Ask what is seen, as a person does who cannot see it."""
    press(page, "q")
    said = page.locator("#bench-said")
    expect(said).to_contain_text("The streak lies at")
    words = said.inner_text()
    page.evaluate("document.getElementById('bench-said').textContent = ''")
    return words


def sphere_in_place(page: Page) -> float:
    return float(page.evaluate(f"{BENCH}.bench.sphere"))


def neutralised(page: Page) -> float:
    """Put spheres in by keys until nothing is seen to travel, or it turns round; return the sphere in place."""
    before = ""
    for _ in range(80):
        words = told(page)
        key = "PageUp" if "the same way" in words else "PageDown"
        if "No reflex is seen to travel" in words or (before and key != before):
            return sphere_in_place(page)
        press(page, key)
        before = key
    raise AssertionError("never neutral")


def streak_at(page: Page) -> float:
    return float(page.evaluate(f"{BENCH}.bench.streak"))


def turned_in(page: Page) -> str:
    """Return which way the band is seen turned from the streak: anticlockwise, clockwise or not."""
    found = re.search(r"turned (\w+) from the streak", told(page))
    return found[1] if found else ""


def lined_up(page: Page) -> float:
    """Turn the streak by keys to the middle of where the band is not seen turned; return where that is."""
    for _ in range(40):
        way = turned_in(page)
        if not way:
            break
        press(page, "Period" if way == "anticlockwise" else "Comma")
    for _ in range(20):
        if turned_in(page):
            break
        press(page, "Shift+Comma")
    for clear in range(20):
        press(page, "Shift+Period")
        if turned_in(page):
            press(page, "Shift+Comma", 1 + clear // 2)
            return streak_at(page)
    raise AssertionError("never turned")


def test_an_astigmatic_eye_is_neutralised_by_keys_alone_and_its_net_marked(page: Page, served: Served) -> None:
    settings = Settings(level="novice", distance_cm=50, fixed_distance=True)
    case = served.deal(page, "bench-eye", settings=settings, wanted=lambda one: one.findings["rx"].cylinder <= -1.5)
    page.get_by_role("application").focus()
    # The less plus meridian made neutral leaves with in the other, whose thin band shows the axis.
    first = neutralised(page)
    press(page, "x")
    second = neutralised(page)
    if second < first:
        press(page, "x")
    press(page, "PageDown", max(0, round((second - first) * 4)))
    streak = lined_up(page)
    first = neutralised(page)
    press(page, "x")
    second = neutralised(page)
    # Streak and axis of the cylinder that neutralises lie alike: the minus cylinder goes along the less plus streak.
    axis = (streak + 90) % 180 or 180
    page.keyboard.press("Tab")
    while page.evaluate("document.activeElement.name") != "answer-prescription":
        page.keyboard.press("Tab")
    page.keyboard.type(f"{max(first, second) - 2:+.2f} {-abs(first - second):+.2f} x {axis:.0f}")
    page.keyboard.press("Enter")
    expect(page.locator("#verdict")).to_contain_text("Right")
    kept = served.store.answers_of(served.learner.id)[-1]
    assert (kept.type, kept.source) == (case.type.id, "bench")
    assert kept.verdict in ("right", "near")


def pushed(page: Page, name: str, times: int = 1) -> None:
    """Press a button as a switch does: bring the focus to it, and press."""
    button = page.get_by_role("button", name=name, exact=True)
    button.focus()
    for _ in range(times):
        page.keyboard.press("Enter")


def said(page: Page) -> str:
    pushed(page, "Say what is seen")
    place = page.locator("#bench-said")
    expect(place).to_contain_text("The streak lies at")
    words = place.inner_text()
    page.evaluate("document.getElementById('bench-said').textContent = ''")
    return words


def neutralised_by_switch(page: Page) -> float:
    """Put spheres in by buttons until nothing travels, or it turns round; return the sphere in place."""
    before = ""
    for _ in range(80):
        words = said(page)
        # Dull and even is far away: the far minus of this eye is tried first, as its case says.
        name = f"Sphere: a quarter more {'plus' if 'the same way' in words else 'minus'}"
        if "No reflex is seen to travel" in words or (before and name != before):
            return sphere_in_place(page)
        pushed(page, name)
        before = name
    raise AssertionError("never neutral")


def tilt_said(page: Page) -> str:
    found = re.search(r"turned (\w+) from the streak", said(page))
    return found[1] if found else ""


def test_an_astigmatic_eye_is_neutralised_by_a_switch_that_presses_buttons_alone(page: Page, served: Served) -> None:
    """One switch scans and one presses: every act is a button, and nothing is timed. Both meridians and the axis."""
    settings = Settings(level="novice", distance_cm=50, fixed_distance=True)
    served.deal(page, "bench-eye", settings=settings, wanted=lambda one: one.findings["rx"].cylinder <= -1.5)
    page.locator(".bench-acts summary").focus()
    page.keyboard.press("Enter")
    pushed(page, "Sweep once, there and back")
    first = neutralised_by_switch(page)
    pushed(page, "Turn across")
    second = neutralised_by_switch(page)
    if second < first:
        pushed(page, "Turn across")
    # With the less plus meridian neutral, the thin band in the other shows the axis.
    pushed(page, "Sphere: a quarter more minus", max(0, round((second - first) * 4)))
    for _ in range(40):
        way = tilt_said(page)
        if not way:
            break
        pushed(page, f"Turn 5° {way}")
    clear = 0
    while not tilt_said(page) and clear < 12:
        pushed(page, "Turn 5° clockwise")
        clear += 1
    # This many turns as leave it in line, and half as many back: the middle of where no turn is seen.
    line = 0
    for _ in range(24):
        pushed(page, "Turn 5° anticlockwise")
        if not tilt_said(page):
            line += 1
        elif line:
            break
    pushed(page, "Turn 5° clockwise", 1 + line // 2)
    streak = streak_at(page)
    first = neutralised_by_switch(page)
    pushed(page, "Turn across")
    second = neutralised_by_switch(page)
    axis = (streak + 90) % 180 or 180
    page.locator("#answer-prescription").fill(f"{max(first, second) - 2:+.2f} {-abs(first - second):+.2f} x {axis:.0f}")
    pushed(page, "Mark it")
    expect(page.locator("#verdict")).to_contain_text("Right")


def test_stopping_a_step_early_is_right_and_scored_by_the_lens_left_on_the_eye(page: Page, served: Served) -> None:
    settings = Settings(level="novice", distance_cm=50, fixed_distance=True)
    case = served.deal(page, "bench-sphere", settings=settings, wanted=lambda one: one.start["ends"][0] > 0)
    page.locator("#answer-power").fill(f"{case.truth['power'] - 0.25:+.2f}")
    page.keyboard.press("Enter")
    expect(page.locator("#verdict")).to_contain_text("Right")
    expect(page.get_by_text("the eye would still need")).to_contain_text("+0.25")
    page.get_by_role("button", name="Another short look").click()
    expect(page.get_by_role("application")).to_be_visible()


def test_a_case_at_the_bench_leaves_the_one_in_practise_open_and_each_answer_counts_once(
    page: Page, served: Served
) -> None:
    """Begin a case in Practise, do one at the bench, come back: the same case is open."""
    case = served.deal(page, "net-sphere")
    practise = page.locator("form.answer").get_attribute("data-case")
    page.goto(f"{served.url}bench")
    page.get_by_role("button", name="A case: a short look").click()
    expect(page).to_have_url(f"{served.url}bench/case")
    there = served.store.open_case(served.learner.id, at_bench=True)
    assert there is not None
    page.get_by_role("link", name="Leave").click()
    page.get_by_role("link", name="Go on with the open case").click()
    assert page.locator("form.answer").get_attribute("data-case") == there.id
    page.get_by_role("button", name="I don’t know").click()
    expect(page.locator("#verdict")).to_be_visible()
    expect(page.get_by_role("button", name="Another short look")).to_have_count(1)

    served.open_case(page)
    assert page.locator("form.answer").get_attribute("data-case") == practise
    page.locator("#answer-power").fill(f"{case.truth['power']:+.2f}")
    page.keyboard.press("Enter")
    expect(page.locator("#verdict")).to_have_text("Right")
    assert [one.dealt for one in served.store.answers_of(served.learner.id)] == [there.id, practise]
    page.goto(f"{served.url}case/{there.id}")
    page.get_by_role("button", name="Another short look").click()
    expect(page.get_by_role("application")).to_be_visible()
    page.goto(f"{served.url}case/{practise}")
    expect(page.get_by_role("link", name="Next case")).to_be_visible()


def middle_of(page: Page, place: str) -> tuple[float, float]:
    box = page.locator(place).bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def bench_of(page: Page, what: str) -> float:
    return float(page.evaluate(f"{BENCH}.{what}"))


def test_a_mouse_drags_the_streak_from_where_it_is(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench?streak=90")
    x, y = middle_of(page, "#bench-stage")
    page.mouse.move(x + 150, y)
    page.mouse.down()
    assert bench_of(page, "faceMm") == 0, "a press moves nothing"
    page.mouse.move(x + 210, y, steps=3)
    page.mouse.up()
    moved = bench_of(page, "faceMm")
    assert moved < -2, "to the right is minus for an upright streak"
    page.mouse.move(x - 100, y)
    page.mouse.down()
    page.mouse.move(x - 70, y, steps=2)
    page.mouse.up()
    assert bench_of(page, "faceMm") == pytest.approx(1.5 * moved, rel=0.05)


def test_the_wheel_turns_pushes_the_sleeve_and_leans_and_the_page_stays(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench?streak=90")
    page.mouse.move(*middle_of(page, "#bench-stage"))
    page.mouse.wheel(0, 100)
    page.wait_for_function(f"{BENCH}.bench.streak === 88")
    for key, part in (("Shift", "sleeve > -1.5"), ("Alt", "distance_cm > 67")):
        page.keyboard.down(key)
        page.mouse.wheel(0, 100)
        page.keyboard.up(key)
        page.wait_for_function(f"{BENCH}.bench.{part}")
    assert page.evaluate("scrollY") == 0
    # Beside a case the page scrolls unless the eye has the focus.
    served.deal(page, "bench-eye")
    before = bench_of(page, "bench.streak")
    page.mouse.move(*middle_of(page, "#bench-stage"))
    page.mouse.wheel(0, 60)
    for _ in range(100):
        if page.evaluate("scrollY") > 0:
            break
        page.wait_for_timeout(50)
    assert page.evaluate("scrollY") > 0
    assert bench_of(page, "bench.streak") == before


@pytest.fixture
def phone(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True, device_scale_factor=2)
    yield context.new_page()
    context.close()


def fingers(page: Page, *paths: list[tuple[float, float]]) -> None:
    """Put fingers down, move each along its path in step, and lift them: real touch events."""
    session = page.context.new_cdp_session(page)

    def send(kind: str, step: int | None) -> None:
        points = [] if step is None else [{"x": p[step][0], "y": p[step][1], "id": i} for i, p in enumerate(paths)]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    send("touchStart", 0)
    for step in range(1, len(paths[0])):
        send("touchMove", step)
    send("touchEnd", None)


def test_one_finger_sweeps_and_two_turn_lean_or_push_the_sleeve(phone: Page, served: Served) -> None:
    phone.goto(f"{served.url}bench?streak=90")
    phone.wait_for_selector("#bench.ready")
    x, y = middle_of(phone, "#bench-stage")
    fingers(phone, [(x + 40 + 4 * step, y) for step in range(10)])
    swept = bench_of(phone, "faceMm")
    assert swept < -3
    px, py = middle_of(phone, "#bench-pad")
    fingers(phone, [(px - 4 * step, py) for step in range(10)])
    assert bench_of(phone, "faceMm") == pytest.approx(0, abs=0.3), "the pad sweeps as the eye does"

    def around(angle: float, reach: float) -> list[tuple[float, float]]:
        turn = math.radians(angle)
        return [(x + side * reach * math.cos(turn), y - side * reach * math.sin(turn)) for side in (1, -1)]

    def two(steps: list[tuple[float, float]]) -> None:
        both = [around(angle, reach) for angle, reach in steps]
        fingers(phone, [one[0] for one in both], [one[1] for one in both])

    two([(4.0 * step, 60) for step in range(8)])
    assert bench_of(phone, "bench.streak") == pytest.approx(118, abs=2)
    assert bench_of(phone, "bench.distance_cm") == 67, "the first gesture locks"
    two([(0, 50.0 + 5 * step) for step in range(8)])
    assert bench_of(phone, "bench.distance_cm") == pytest.approx(67 * 50 / 85, abs=1.5)
    assert bench_of(phone, "bench.streak") == pytest.approx(118, abs=2)
    before = bench_of(phone, "bench.sleeve")
    fingers(phone, [(x - 40, y + 6 * step) for step in range(8)], [(x + 40, y + 6 * step) for step in range(8)])
    assert bench_of(phone, "bench.sleeve") > before + 0.5
    assert phone.evaluate("scrollY") == 0


def test_a_lens_of_the_tray_goes_into_the_frame_and_out_again(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench?eye_cylinder=0&streak=40")
    half, quarter = (page.get_by_role("button", name=f"{one} sphere") for one in ("+0.50", "+0.25"))
    half.click()
    quarter.click()
    expect(page.locator("#bench-engraved")).to_have_text("+0.50 and +0.25")
    expect(half).to_have_attribute("aria-pressed", "true")
    half.click()
    page.get_by_role("button", name="−1.00 cylinder").click()
    expect(page.locator("#bench-engraved")).to_have_text("+0.25, −1.00 cyl")
    assert bench_of(page, "bench.axis") == 40, "a cylinder goes in along the streak"
    # Its handle turns it.
    x, y = middle_of(page, "#bench-stage")
    scale = float(page.evaluate("document.querySelector('#bench-stage').clientHeight / 36.4"))
    reach = 13.75 * scale
    for step, angle in enumerate((40, 50, 65, 80)):
        at = x + reach * math.cos(math.radians(angle)), y - reach * math.sin(math.radians(angle))
        page.mouse.move(*at)
        if not step:
            page.mouse.down()
    page.mouse.up()
    assert bench_of(page, "bench.axis") == pytest.approx(80, abs=2)
    assert bench_of(page, "faceMm") == 0


def test_leaning_in_to_half_the_distance_doubles_the_eye(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench?distance_cm=66")
    script = "async () => (new (await import('/static/js/bench-drawing.js')).Drawing(document.createElement('canvas')))"
    far, near = (
        page.evaluate(f"async () => {{ const d = await ({script})(); d.canvas.width = d.canvas.height = 400;"
                      f" return d.pxPerMm({{distance_cm: {cm}}}); }}")
        for cm in (66, 33)
    )  # fmt: skip
    assert near == pytest.approx(2 * far)


IN_VIEW = """(places) => places.filter((one) => {
  const box = document.querySelector(one).getBoundingClientRect();
  const bar = [...document.querySelectorAll('nav')].filter((nav) => getComputedStyle(nav).position === 'fixed');
  const floor = Math.min(innerHeight, ...bar.map((nav) => nav.getBoundingClientRect().top));
  return box.top < 0 || box.bottom > floor + 1 || box.left < -1 || box.right > innerWidth + 1;
})"""


def test_eye_pad_sleeve_and_tray_are_together_without_scrolling(phone: Page, served: Served) -> None:
    phone.goto(f"{served.url}bench")
    phone.wait_for_selector("#bench.ready")
    assert (
        phone.evaluate(IN_VIEW, ["#bench-stage", "#bench-pad", ".bench-slot input", ".bench-tray", ".bench-hand"]) == []
    )


SPILLS = """() => [...document.querySelectorAll('.bench-live, .bench-live *')].filter((one) => one.checkVisibility()
  && one.scrollWidth > one.clientWidth + 1 && getComputedStyle(one).overflowX === 'visible'
  && getComputedStyle(one).display !== 'inline').map((one) => one.outerHTML.slice(0, 90))"""


def test_letters_at_200_per_cent_stay_in_their_places(phone: Page, served: Served) -> None:
    phone.goto(f"{served.url}bench")
    phone.evaluate("document.documentElement.style.fontSize = '200%'")
    drawn(phone)
    assert phone.evaluate(SPILLS) == []
    assert phone.evaluate("document.documentElement.scrollWidth") == 360


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (360, 740)])
def test_each_part_of_the_guided_run_fits_one_screen(page: Page, served: Served, width: int, height: int) -> None:
    page.set_viewport_size({"width": width, "height": height})
    for number, part in enumerate(GUIDE, 1):
        page.goto(f"{served.url}bench/guide/{number}")
        page.wait_for_selector("#bench.ready")
        wanted = ["h1", "#go-on", "#guide-says", "#bench-stage", "#bench-pad"]
        wanted += [".bench-tray"] if "lenses" in part.free else []
        wanted += [".bench-slot input"] if "sleeve" in part.free else []
        wanted += [".bench-arc input"] if "streak" in part.free else []
        wanted += [".bench-tape input"] if "lean" in part.free else []
        assert page.evaluate(IN_VIEW, wanted) == [], part.title


def test_every_setting_is_reached_by_tab_and_shows_its_focus(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench")
    page.locator(".bench-more summary").click()
    names = page.evaluate("[...document.querySelectorAll('#bench-form input')].map((one) => one.name)")
    reached = set()
    page.get_by_role("application").focus()
    for _ in range(170):
        page.keyboard.press("Tab")
        name, outline = page.evaluate(
            "[document.activeElement.name, getComputedStyle(document.activeElement).outlineStyle]"
        )
        if name:
            assert outline != "none"
            reached.add(name)
    assert set(names) <= reached


def test_the_residual_is_hidden_until_asked_and_a_lens_changes_it(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench?eye_sphere=1&eye_cylinder=0&distance_cm=50")
    residual = page.locator("[data-number=residual]")
    expect(residual).to_be_hidden()
    page.locator(".bench-more summary").click()
    expect(residual).to_have_text("+3.00 D")
    page.get_by_role("button", name="Sphere: a quarter more plus").first.click()
    expect(residual).to_have_text("+2.75 D")


@pytest.mark.parametrize(
    ("typed", "stands"), [("1,5", "+1.50"), ("1.50", "+1.50"), ("-2.25", "−2.25"), (".125", "+0.125"), ("0", "0.00")]
)
def test_a_lens_is_typed_with_a_comma_or_either_minus(page: Page, served: Served, typed: str, stands: str) -> None:
    """1,5 must never become 15: a field of numbers drops the comma where the browser's language writes a point."""
    page.goto(f"{served.url}bench?eye_sphere=1&eye_cylinder=0&distance_cm=50")
    page.locator(".bench-more summary").click()
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
    page.get_by_role("button", name="+0.25 sphere").click()
    page.locator(".bench-more summary").click()
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
    page.locator(".bench-more summary").click()
    expect(page.locator("[data-number=residual]")).to_have_text("+3.125 D")
    page.get_by_role("button", name="Sphere: a quarter more plus").first.click()
    expect(page.locator("[data-number=residual]")).to_have_text("+2.875 D")


def test_a_number_out_of_reach_is_told_and_arrows_step(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench?streak=110")
    page.locator(".bench-more summary").click()
    streak = page.locator("#bench-streak")
    streak.fill("200")
    page.keyboard.press("Tab")
    expect(streak).to_have_value("110")
    expect(page.locator("#bench-said")).to_have_text("Streak lies at “200”: give 1 to 180.")
    streak.press("ArrowUp")
    expect(streak).to_have_value("111")


# --- the picture -------------------------------------------------------------------------------------------------

LIT = """([x, y]) => {
  const canvas = document.querySelector('canvas');
  const {width, height} = canvas;
  const mm = Math.min(width, height) / 36.4;
  return canvas.getContext('2d').getImageData(width / 2 + x * mm, height / 2 - y * mm, 1, 1).data[0];
}"""


def red_at(page: Page, mm: tuple[float, float]) -> int:
    """Return how red the picture is at a point in mm from the middle of the pupil, seen from 67 cm."""
    return int(page.evaluate(LIT, list(mm)))


def put(page: Page, served: Served, query: str, face_mm: float) -> None:
    page.goto(f"{served.url}bench?{query}&streak=90&eye_cylinder=0")
    page.evaluate(f"{BENCH}.sweepTo({face_mm}); {BENCH}.changed()")
    drawn(page)


@pytest.mark.parametrize(("sphere", "lit", "dark"), [(2, 2, -2), (4.0, -2.2, 2.2)], ids=["with", "against"])
def test_the_picture_lights_the_side_that_the_movement_names(
    page: Page, served: Served, sphere: float, lit: float, dark: float
) -> None:
    # To the right of the pupil: minus along the normal of an upright streak.
    put(page, served, f"eye_sphere=1.5&sphere={sphere}&distance_cm=67", -3 if sphere < 3 else -6)
    assert red_at(page, (lit, 0.9)) > 1.5 * red_at(page, (dark, 0.9))


def test_at_neutral_the_whole_pupil_is_lit_and_then_dark(page: Page, served: Served) -> None:
    put(page, served, "eye_sphere=1.5&sphere=3&distance_cm=67", 0)
    assert min(red_at(page, (x, 0.9)) for x in (-2.2, 0, 2.2)) > 200
    put(page, served, "eye_sphere=1.5&sphere=3&distance_cm=67", -14)
    assert max(red_at(page, (x, 0.9)) for x in (-2.2, 0, 2.2)) < 40


def test_the_picture_lies_where_the_field_lies(page: Page, served: Served) -> None:
    """The centroid of the painted pupil lies within 0.3 mm of that of the light: colour is not linear in light."""
    put(page, served, "eye_sphere=1.5&sphere=2&distance_cm=67", -2)
    painted = page.evaluate("""() => {
      const canvas = document.querySelector('canvas');
      const {width, height} = canvas;
      const mm = Math.min(width, height) / 36.4;
      const ctx = canvas.getContext('2d');
      let [sum, x] = [0, 0];
      for (let at = -2.7; at <= 2.7; at += 0.1) {
        const red = ctx.getImageData(width / 2 + at * mm, height / 2 - 1 * mm, 1, 1).data[0];
        sum += red; x += red * at;
      }
      return x / sum;
    }""")
    light = page.evaluate("""async () => {
      const {beam} = await import('/static/reflex.js');
      const at = beam(document.getElementById('bench').state.setting)(-2);
      let [sum, x] = [0, 0];
      for (let px = -2.7; px <= 2.7; px += 0.1) { sum += Math.sqrt(at(px, 1)); x += px * Math.sqrt(at(px, 1)); }
      return x / sum;
    }""")
    assert painted == pytest.approx(light, abs=0.3)
    assert abs(light) > 0.3


def test_nothing_lies_over_the_picture_but_the_trial_frame(page: Page, served: Served) -> None:
    """What is seen is what was drawn: a sheet for other pictures once laid a dark ground over this one."""
    page.goto(f"{served.url}bench")
    drawn(page)
    grounds = page.evaluate(
        "[...document.querySelectorAll('#bench-stage canvas')].map(one => getComputedStyle(one))"
        ".map(({ backgroundColor, height }) => [backgroundColor, height])"
    )
    stage = page.evaluate("document.getElementById('bench-stage').clientHeight")
    assert grounds == [["rgba(0, 0, 0, 0)", f"{stage}px"]] * 2


def test_nothing_is_drawn_while_nothing_changes(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench")
    drawn(page)
    page.evaluate(
        "() => { window.frames_ = 0; const was = requestAnimationFrame;"
        "window.requestAnimationFrame = (f) => { window.frames_ += 1; return was(f); }; }"
    )
    page.wait_for_timeout(400)
    assert page.evaluate("window.frames_") == 0


def test_haze_veils_the_pupil_and_takes_from_what_is_seen(page: Page, served: Served) -> None:
    """The dark side is lifted, the lit side dimmed; the word comes from what is left. At all haze nothing travels."""
    base = "eye_sphere=1.5&sphere=2&distance_cm=67"
    put(page, served, base, -3)
    clear = red_at(page, (2, 0.9)), red_at(page, (-2, 0.9))
    put(page, served, f"{base}&haze=0.8", -3)
    hazy = red_at(page, (2, 0.9)), red_at(page, (-2, 0.9))
    assert hazy[1] > clear[1] + 25, "the dark is lifted"
    assert hazy[0] < clear[0], "and the light dimmed"
    page.get_by_role("application").focus()
    assert "the same way" in told(page)
    faint = seen(Bench(eye=SphCyl(-1.5 + 0.12), haze=0.85))
    assert not any("the same way" in one and "faintly" not in one for one in faint)


# --- where you sit, and what is looked at --------------------------------------------------------------------------


def test_you_and_the_target_are_moved_by_mouse_and_keys(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench?eye_sphere=2&eye_cylinder=0&streak=90")
    box = page.locator("#seat-you").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 20, y - 30, steps=3)
    page.mouse.up()
    assert bench_of(page, "bench.off_h") > 3, "to the right of where the eye looks"
    assert bench_of(page, "bench.distance_cm") < 62
    plan = page.locator("#bench-seat")
    expect(plan).to_have_attribute("aria-label", re.compile("to the right of where the eye looks"))
    page.get_by_role("application").focus()
    before = bench_of(page, "bench.off_h")
    press(page, "Alt+ArrowLeft")
    assert bench_of(page, "bench.off_h") == before - 1
    before = bench_of(page, "bench.distance_cm")
    press(page, "Alt+ArrowDown")
    assert bench_of(page, "bench.distance_cm") == before + 1
    expect(page).to_have_url(re.compile("/bench"))
    press(page, "t")
    expect(plan).to_have_attribute("aria-label", re.compile("near, beside you"))


def test_an_eye_that_looks_near_accommodates_but_for_its_lag(page: Page, served: Served) -> None:
    """By hand: +2.00 D at 50 cm needs 4.00 D for neutral; for a target there it puts in all but 0.50 D, a usual lag."""
    page.goto(f"{served.url}bench?eye_sphere=2&eye_cylinder=0&distance_cm=50")
    page.locator(".bench-more summary").click()
    residual = page.locator("[data-number=residual]")
    expect(residual).to_have_text("+4.00 D")
    page.get_by_label("beside your sight hole").check()
    expect(residual).to_have_text("+0.50 D")
    page.goto(f"{served.url}bench?eye_sphere=2&eye_cylinder=0&distance_cm=50&target=near")
    assert "+0.50 D" in page.request.get(page.url).text()
    page.get_by_role("application").focus()
    assert "looks at a target beside your sight hole" in told(page)


# --- the guided run ----------------------------------------------------------------------------------------------


def felt(page: Page, goal: str) -> None:
    """Do what a part of the guided run asks, by keys."""
    match goal:
        case "neutral":
            press(page, "PageUp", 8)
        case "reversal":
            press(page, "PageUp", 2)
            sweep(page)
            press(page, "PageDown", 2)
        case "faded":
            press(page, "Shift+PageDown", 3)
        case "sleeved":
            press(page, "ArrowDown", 30)
        case "aligned":
            press(page, "Period", 4)
        case "both" | "leaned":
            press(page, "BracketLeft", 30)
            sweep(page)
            press(page, "x")
    sweep(page)


def test_the_guided_run_tells_what_was_felt_once_it_has_been_and_leads_to_the_bench(page: Page, served: Served) -> None:
    page.goto(f"{served.url}bench")
    page.get_by_role("link", name="First run").click()
    for part in GUIDE:
        expect(page.locator("h1")).to_contain_text(part.title)
        expect(page.locator("#bench-then")).to_have_count(0)
        page.get_by_role("application").focus()
        felt(page, part.goal)
        expect(page.locator("#bench-then")).to_have_text(part.then)
        page.locator("#go-on").click()
    expect(page.locator("h1")).to_have_text("The bench")


# --- without a moving picture ------------------------------------------------------------------------------------


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
        if "No reflex is seen to travel" in words:
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
    page.evaluate("for (const one of document.querySelectorAll('.bench details')) one.open = true")


STATES = [
    "page bench",
    "page bench?filament=spot&haze=0.5&coma=0.3&cone=3",
    "page bench?sphere=99",
    *(f"page bench/guide/{number}" for number in range(1, len(GUIDE) + 1)),
    *(f"case {one}" for one in staged()),
    "marked",
]


@pytest.mark.parametrize("state", STATES)
def test_axe_finds_nothing(page: Page, served: Served, accessible: Check, state: str) -> None:
    page.goto(served.url)
    for width in (320, 1280):
        page.set_viewport_size({"width": width, "height": 700})
        open_state(page, served, state)
        in_both_themes(page, accessible)


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
    words = told(page)
    assert words == " ".join(seen(Bench(eye=SphCyl(2, -1, 20), streak=40)))
    assert page.locator("#bench-picture").get_attribute("aria-label") == words
