"""The whole examination in a browser: done rightly, with three faults, under drops, by keyboard, without scripts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest
from playwright.sync_api import Browser, Locator, Page, ViewportSize, expect

from cases.optics.lens import SphCyl
from cases.patients.drawing_patients import draw_patient
from cases.patients.examination.act_words import act_words
from cases.patients.examination.acts import Act, EndPoint, read_acts
from cases.patients.examination.world import left_at
from cases.patients.patient import Medium, Side, other
from quiz.practice.examining import examinations
from quiz.practice.examining.examinations import UnderWay
from tests.browser.conftest import Check, Served
from tests.conftest import lots

WIDE: ViewportSize = {"width": 1280, "height": 800}
NARROW: ViewportSize = {"width": 360, "height": 740}
BOTH_WIDTHS = pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])


class AtTheChair:
    """A pair of hands at the page of an examination, and eyes that find neutral as well as quarter lenses allow."""

    def __init__(self, page: Page, served: Served, *, scripts: bool = True) -> None:
        self.page, self.served, self.scripts = page, served, scripts

    def choose(self, name: str) -> AtTheChair:
        self.page.goto(f"{self.served.url}bench")
        self.page.get_by_role("link", name="The whole examination").click()
        self.page.get_by_role("button", name=f"Examine {name}").click()
        expect(self.page.locator("#exam-now")).to_be_visible()
        return self

    @property
    def stands(self) -> UnderWay:
        store, learner = self.served.store, self.served.learner
        store._asked.clear()
        return examinations.own(store, learner, self.page.url.split("/examination/")[1].split("/")[0])

    def press(self, what: str, **fields: str) -> AtTheChair:
        """Fill the fields of a form, press its button, and wait until the page shows one act more."""
        before = len(self.stands.acts)
        for name, value in fields.items():
            self.unfold(f"#exam-{name.replace('_', '-')}").fill(value)
        self.unfold(f"#do-{what}").click()
        expect(self.page.locator("#panel-log summary")).not_to_have_text(f"What you did: {before} acts")
        return self

    def unfold(self, css: str) -> Locator:
        """Return a field or a button, having opened the part of the page in which it is folded."""
        wanted = self.page.locator(css)
        if self.scripts:
            expect(self.page.locator("#exam.ready")).to_be_attached()
        if not wanted.is_visible():
            self.page.locator(f"details:has({css}) > summary").click()
        return wanted

    def look_at(self, side: Side) -> AtTheChair:
        self.page.get_by_role("navigation", name="Eye").get_by_role("link", name=side.capitalize()).click()
        expect(self.page.locator("#exam")).to_have_attribute("data-eye", side)
        return self

    def turn(self, streak: int) -> AtTheChair:
        if self.scripts:
            expect(self.page.locator("#bench.ready")).to_be_attached()
            self.page.evaluate(f"document.getElementById('bench').state.set('streak', {streak})")
        else:
            self.page.locator("#bench-streak").fill(str(streak))
            self.page.get_by_role("button", name="Look", exact=True).click()
        expect(self.page.locator("#do-end-point")).to_contain_text(f"{streak}°")
        return self

    def neutral_sphere(self, side: Side, streak: float) -> float:
        """Return the sphere that is neutral there now, to a quarter, nothing else being changed."""
        stands = self.stands
        state = stands.examined.state
        held = state.sum_of_lenses(side).sphere
        end = EndPoint(stands.minute, side, streak, replace(state, zone="centre"))
        return round(4 * (held + left_at(stands.patient, end))) / 4

    def measure(self, side: Side, axis: int) -> AtTheChair:
        for streak in (axis, axis + 90 if axis <= 90 else axis - 90):
            self.turn(streak)
            for _ in range(2):
                sphere = self.neutral_sphere(side, streak)
                if self.stands.examined.state.sum_of_lenses(side) != SphCyl(sphere):
                    self.press("lens", lens_sphere=f"{sphere:.2f}")
            self.press("end-point")
        return self.press("lean-in")

    def fog(self, side: Side) -> AtTheChair:
        """Fog the other eye of the one that is looked at, by a dioptre and a half or so."""
        return self.press("fog", fog_power=f"{round(4 * (self.stands.patient.eye(side).M + 1.75)) / 4:.2f}")

    def write(self, **fields: str) -> AtTheChair:
        for name, value in fields.items():
            self.unfold(f"#exam-{name.replace('_', '-')}").fill(value)
        return self

    def pick(self, **fields: str) -> AtTheChair:
        for name, value in fields.items():
            self.unfold(f"#exam-{name.replace('_', '-')}").select_option(value)
        return self

    def end(self) -> AtTheChair:
        self.unfold("#do-end").click()
        expect(self.page.locator("#verdict")).to_be_visible()
        return self


@pytest.fixture
def chair(page: Page, served: Served) -> AtTheChair:
    return AtTheChair(page, served)


@BOTH_WIDTHS
def test_a_right_examination(chair: AtTheChair, page: Page, accessible: Check, size: ViewportSize) -> None:
    page.set_viewport_size(size)
    chair.choose("Dev").press("room-dim").press("target-6").press("seat", seat_cm="66.7").press("tape-eye")
    expect(page.locator("#exam-told")).to_contain_text("The tape reads 67 cm.")
    accessible(page)
    chair.fog("left").measure("right", 175)
    chair.look_at("left").press("own-eye-left").measure("left", 5)
    # What was done is there after a reload, and what was typed is asked for again.
    page.reload()
    expect(page.locator(".exam-ends")).to_contain_text("Left eye neutral")
    chair.write(taken_right="1.50", taken_left="1.50", written_right="-1.75/-0.50x175", written_left="-1.50/-0.50x5")
    chair.write(distance="67").pick(vision_right="6/38", vision_left="6/30", test="letter chart")
    page.get_by_role("radio", name="dry").check()
    chair.end()
    expect(page.locator("#verdict")).to_have_text("Both eyes right within 0.25 D")
    expect(page.get_by_role("row", name="Working distance")).to_contain_text("67 cm, 1.50 D taken off")
    expect(page.get_by_text("The record has no")).to_have_count(0)
    expect(page.get_by_role("img", name="Right eye: where the mean power went")).to_be_visible()
    accessible(page)


@BOTH_WIDTHS
def test_three_faults_are_told_from_what_was_done(
    chair: AtTheChair, page: Page, accessible: Check, size: ViewportSize
) -> None:
    page.set_viewport_size(size)
    chair.choose("Dev").press("room-dim").press("target-face").press("seat", seat_cm="50")
    chair.press("sight", sight_h="15").measure("right", 175)
    accessible(page)
    chair.write(taken_right="1.50", written_right="-3.00/-0.75x175").end()
    shown = page.get_by_role("listitem")
    expect(shown.filter(has_text="You sat at 50 cm, worth 2.00 D, and took off 1.50 D.")).to_be_visible()
    expect(shown.filter(has_text="The patient looked at your face.")).to_be_visible()
    expect(shown.filter(has_text="You were 15° off the visual axis.")).to_have_count(1)
    expect(page.get_by_text("The left eye was never called neutral").first).to_be_visible()
    # What was done otherwise comes before drops, though Dev is a child.
    expect(page.get_by_role("link", name="Replay with a far target and the other eye fogged")).to_be_visible()
    page.get_by_role("link", name="Replay at 66.7 cm").click()
    expect(page.locator("#replayed")).to_contain_text("you wrote −3.00 / −0.75 × 175")
    accessible(page)
    # A replay changes nothing that was kept.
    page.goto(page.url.split("?")[0])
    expect(page.locator("#replayed")).to_have_count(0)


@BOTH_WIDTHS
def test_a_child_under_drops(chair: AtTheChair, page: Page, accessible: Check, size: ViewportSize) -> None:
    page.set_viewport_size(size)
    chair.choose("Cho").press("room-dim").press("target-6").press("seat", seat_cm="66.7")
    chair.press("near-check")
    expect(page.locator("#exam-told")).to_contain_text("Right eye: from far to near the reflex changes plainly.")
    chair.press("drops-cyclopentolate-both")
    for _ in range(3):
        chair.press("wait-4")
    chair.press("near-check")
    expect(page.locator("#exam-told")).to_contain_text("Left eye: from far to near the reflex hardly changes.")
    chair.press("call").measure("right", 90)
    chair.look_at("left").press("own-eye-left").press("call").measure("left", 90)
    chair.write(taken_right="1.50", taken_left="1.50", written_right="+2.75/-0.25x90", written_left="+2.50/-0.25x90")
    chair.write(distance="67").pick(vision_right="6/6", vision_left="6/9", test="letters matched")
    page.get_by_role("radio", name="wet").check()
    # The time of the drops is left out at first, and asked for.
    page.get_by_label("Drug").select_option("cyclopentolate")
    page.locator("#do-record").click()
    expect(page.get_by_text("Give the drug, the eye and the time")).to_be_visible()
    page.get_by_label("Given at, minutes and seconds").fill("0:20")
    chair.write(read_at="47").end()
    expect(page.locator("#verdict")).to_have_text("Both eyes right within 0.25 D")
    expect(page.get_by_role("row", name="Wet or dry")).to_contain_text("cyclopentolate both eyes at 0:20")
    expect(page.get_by_text("You wrote 6/9 for the left eye; the card has 6/6.")).to_be_visible()
    expect(page.get_by_text("You wrote the test as letters matched; the card has letter chart.")).to_be_visible()
    expect(page.get_by_text("A check from far to near hardly can.").first).to_be_visible()
    accessible(page)


def _tab_to(page: Page, css: str) -> None:
    for _ in range(160):
        if page.evaluate(f"document.activeElement?.matches({css!r}) ?? false"):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{css} is not reached by Tab")


@BOTH_WIDTHS
def test_by_keyboard_alone(chair: AtTheChair, page: Page, size: ViewportSize) -> None:
    page.set_viewport_size(size)
    page.goto(f"{chair.served.url}examination")
    _tab_to(page, "button[value=dev]")
    page.keyboard.press("Enter")
    expect(page.locator("#exam-now")).to_be_visible()
    _tab_to(page, "#bench-stage")
    for key in ("PageDown", "PageDown", "Comma"):
        page.keyboard.press(key)
    expect(page.locator("#panel-log summary")).to_contain_text("5 acts")
    assert act_words(chair.stands.acts[-1]) == "−0.50 DS, right eye"
    _tab_to(page, "#do-end-point")
    page.keyboard.press("Enter")
    expect(page.locator("#panel-log summary")).to_contain_text("6 acts")
    expect(page.locator("#do-end-point")).to_be_focused()
    assert act_words(chair.stands.acts[-1]) == "Neutral with the streak at 175°, along 85°, right eye"
    if size == NARROW:
        _tab_to(page, "#panel-record > summary")
        page.keyboard.press("Enter")
    _tab_to(page, "#exam-written-right")
    page.keyboard.type("-2.00")
    _tab_to(page, "#do-end")
    page.keyboard.press("Enter")
    expect(page.locator("#verdict")).to_contain_text("Right eye")


@pytest.fixture
def plain_page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(java_script_enabled=False, viewport=NARROW)
    yield context.new_page()
    context.close()


def test_without_scripts_every_form_does_its_act(plain_page: Page, served: Served) -> None:
    chair = AtTheChair(plain_page, served, scripts=False).choose("Gwen")
    chair.press("room-dim").press("target-6").press("frame", frame_vertex="12", frame_off_centre="4")
    chair.press("seat", seat_cm="66.7")
    expect(plain_page.locator(".bench-words")).to_be_visible()
    chair.press("fog", fog_power="-6").turn(15).press("lens", lens_sphere="-7.00").press("end-point")
    expect(plain_page.locator(".exam-ends")).to_contain_text("−7.00 DS with the streak at 15°")
    plain_page.locator("#exam-written-right").fill("minus what")
    plain_page.locator("#do-record").click()
    expect(plain_page.locator("#written-right-problem")).to_be_visible()
    chair.write(written_right="-8.50/-1.50x15", taken_right="1.50").end()
    expect(plain_page.locator("#verdict")).to_contain_text("Right eye")
    expect(plain_page.get_by_text("4 mm off centre, which adds 2.8 prism dioptres")).to_be_visible()


@pytest.mark.parametrize(
    ("referral", "soon", "heading"),
    [
        ("", "", "Not passed"),
        ("glasses in six months", "routine", "Not passed"),
        ("white reflex", "today", "Referred at once"),
    ],
)
def test_a_white_reflex_is_referred_or_the_whole_fails(
    chair: AtTheChair, page: Page, accessible: Check, referral: str, soon: str, heading: str
) -> None:
    page.goto(f"{chair.served.url}examination")
    patient = draw_patient("a white reflex", age=(1, 3), has="white reflex")
    side: Side = "right" if patient.right.unsafe else "left"
    one = examinations.begin(chair.served.store, chair.served.learner, patient, now=chair.served.clock.at, lots=lots(9))
    page.goto(f"{chair.served.url}examination/{one}/{side}")
    # The picture shows it and no word does, until it is named; there is nothing to call neutral.
    expect(page.locator("#bench.ready")).to_be_attached()
    expect(page.get_by_text("white").locator("visible=true")).to_have_count(0)
    page.locator("#do-end-point").click()
    expect(page.get_by_text("Nothing travels in this pupil")).to_be_visible()
    accessible(page)
    chair.look_at(other(side)).look_at(side)
    chair.pick(reflex_name="white").press("reflex")
    expect(page.get_by_text("The reflex is white. The pupil glows pale")).to_be_visible()
    page.get_by_role("link", name="To the referral").click()
    expect(page.locator("#exam-refer")).to_be_focused()
    expect(page.locator("#do-end-point")).to_have_count(0)
    if referral:
        # A reason alone does not say whether it can wait; for a white reflex it cannot.
        chair.write(refer=referral)
        page.locator("#do-end").click()
        expect(page.locator("#refer-problem")).to_be_visible()
        page.get_by_role("radio", name=soon, exact=True).check()
    chair.end()
    expect(page.locator("#verdict")).to_contain_text(heading)
    expect(page.get_by_text("The record has no vision.")).to_have_count(0)
    expect(page.get_by_text("not written")).to_have_count(0)


def test_on_a_telephone_one_part_is_open_and_the_eye_stays_in_view(chair: AtTheChair, page: Page) -> None:
    page.set_viewport_size(NARROW)
    chair.choose("Gwen")
    expect(page.locator("#exam.ready")).to_be_attached()
    assert page.evaluate("document.documentElement.scrollHeight") < 2000
    # Far from neutral nothing comes back that could be called neutral, and the page says why.
    expect(page.locator("#do-end-point")).to_be_disabled()
    expect(page.get_by_text("Too dark to call neutral")).to_be_visible()
    chair.press("lens", lens_sphere="-7.00")
    expect(page.locator("#do-end-point")).to_be_enabled()
    for part in ("room", "drops", "record"):
        page.locator(f"#panel-{part} > summary").click()
        expect(page.locator(":is(.exam-panels, .exam-written) > details[open]")).to_have_count(1)
        expect(page.locator("#bench-stage")).to_be_in_viewport(ratio=0.5)
    page.locator("#exam-refer").scroll_into_view_if_needed()
    box = page.locator("#bench-stage").bounding_box()
    assert box is not None
    assert (round(box["y"]), round(box["height"])) == (0, 140)


@pytest.mark.parametrize("medium", ["white reflex", "no reflex"])
def test_the_picture_has_what_the_words_say(chair: AtTheChair, page: Page, medium: Medium) -> None:
    page.goto(f"{chair.served.url}examination")
    patient = draw_patient("in the picture", age=(2, 3), has=medium)
    side: Side = "right" if patient.right.unsafe else "left"
    store, learner = chair.served.store, chair.served.learner
    one = examinations.begin(store, learner, patient, now=chair.served.clock.at, lots=lots(9))
    for eye, unsafe in ((side, True), (other(side), False)):
        page.goto(f"{chair.served.url}examination/{one}/{eye}")
        expect(page.locator("#bench.moving")).to_be_attached()
        page.wait_for_function(f"({OF_THE_PUPIL})()[3] > 0")
        red, green, blue, _ = page.evaluate(f"({OF_THE_PUPIL})()")
        if not unsafe:
            assert red > 2 * blue, (red, green, blue)
        elif medium == "white reflex":
            assert min(red, green, blue) > max(60, 0.8 * red), (red, green, blue)
        else:
            assert max(red, green, blue) < 20, (red, green, blue)


OF_THE_PUPIL = """() => {
  const canvas = document.getElementById('bench-picture');
  const ctx = canvas.getContext('2d', {alpha: false});
  return [...ctx.getImageData(canvas.width / 2 - 8, canvas.height / 2, 1, 1).data];
}"""
"""Red, green and blue in the pupil, beside the mark of the lamp."""


def test_the_hands_of_these_tests_find_neutral() -> None:
    """They use the world of the examination itself: an end point that they call leaves an eighth at most."""
    patient = draw_patient("hands", age=(50, 60))
    state = read_acts([Act(0, "room", "dim"), Act(0, "target", 6.0)]).state
    left = left_at(patient, EndPoint(0, "right", 90, state))
    held = replace(state, cells=(("right", "sphere", SphCyl(round(4 * left) / 4)),))
    assert abs(left_at(patient, EndPoint(0, "right", 90, held))) <= 0.13
