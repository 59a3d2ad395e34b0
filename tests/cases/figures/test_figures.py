"""Still drawings: sound SVG, true angles, words that match the picture, and lettering that never collides."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.errors import OutOfRange
from cases.figures.lenses import axis_words, power_cross, trial_frame
from cases.figures.lines_of_sight import sighting_side
from cases.figures.pen import Pen, text_width, toward
from cases.figures.pupil_reflex import movement, zones
from cases.figures.streak_in_pupil import NeutralStreak, streak_in_pupil, two_streaks
from cases.figures.unusual_reflexes import odd_reflex
from cases.optics.axes import axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.procedure.figure import Figure
from tests.cases.drawing import SVG, Drawing, angles, cylinders, lenses, powers, sound, torics

# ---- the pen


# Advance widths of DejaVu Sans 2.37 in ems, as Chromium measured them on a canvas; a wide common face.
DEJAVU = {
    "+1.00": 3.064, "−0.50": 3.064, "at 180": 3.231, "streak at 125": 6.680, "+1.00 / −2.50 × 175": 10.483,
    "neutral in place:": 8.153, "−12.25 DC × 90": 8.232, "@%—WMO": 5.589,
}  # fmt: skip


@pytest.mark.parametrize(("words", "ems"), DEJAVU.items())
def test_the_estimate_of_a_label_is_never_narrower_than_a_wide_face(words: str, ems: float) -> None:
    assert ems * 16 <= text_width(words, 16) <= 1.25 * ems * 16


@pytest.mark.parametrize(
    ("angle", "where"), [(90, (0, -10)), (180, (-10, 0)), (45, (7.07, -7.07)), (135, (-7.07, -7.07)), (360, (10, 0))]
)
def test_angles_run_anticlockwise_from_the_examiners_right(angle: float, where: tuple[float, float]) -> None:
    # ISO 8429: graduated dial as the examiner faces the patient; the page's y runs downward.
    assert toward(angle, 10) == pytest.approx(where, abs=0.01)


@given(title=st.text(max_size=40), words=st.text(max_size=40))
def test_any_text_comes_out_as_sound_xml(title: str, words: str) -> None:
    pen = Pen()
    pen.text(10, 20, words)
    root = ET.fromstring(pen.figure(uid="f", title=title, description=words, height=40).svg)  # noqa: S314
    kept = re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]", "", title).replace("\r\n", "\n").replace("\r", "\n")
    assert (root.findtext(SVG + "title") or "") == kept


def test_markup_in_a_name_is_shown_not_obeyed() -> None:
    figure = power_cross(SphCyl(1, -1, 90), SphCyl(2, -1, 90), uid="f", names=('<b a="', "&'"))
    assert '<b a="' in sound(figure).words()
    assert "<b" not in figure.svg


@pytest.mark.parametrize("uid", ["", "1a", 'a"', "a b", "é"])
def test_an_id_that_html_or_a_selector_would_stumble_on_is_refused(uid: str) -> None:
    with pytest.raises(OutOfRange, match="figure id"):
        streak_in_pupil(90, uid=uid)


@pytest.mark.parametrize(
    "draw",
    [
        lambda uid: power_cross(SphCyl(1, -2, 33), SphCyl(1, -2, 57), uid=uid),
        lambda uid: trial_frame([SphCyl(1.5), SphCyl(0, -1, 20)], uid=uid, distance_cm=67),
        lambda uid: streak_in_pupil(20, uid=uid, sweep=True),
        lambda uid: two_streaks(NeutralStreak(20, 1), NeutralStreak(110, 2), uid=uid),
        lambda uid: movement("against", uid=uid, streak=20, reflex_at=33),
        lambda uid: zones("with", "against", uid=uid),
        lambda uid: odd_reflex("scissors", uid=uid),
        lambda uid: sighting_side(chart_height_cm=60, chart_path_cm=600, distance_cm=67, uid=uid),
    ],
)
def test_the_same_facts_give_the_same_drawing_and_only_the_ids_follow_the_uid(draw: Callable[[str], Figure]) -> None:
    assert draw("one") == draw("one")
    assert draw("one").svg.replace('"one-', '"two-').replace(" one-", " two-") == draw("two").svg


# ---- power cross


@given(torics)
def test_both_arms_stand_at_their_meridians_and_carry_the_power_along_them(lens: SphCyl) -> None:
    drawing = sound(power_cross(lens, uid="f"))
    drawn = drawing.angles("truth")
    assert len(drawn) == 2
    for arm, turn in zip(drawn, (lens.axis, lens.axis + 90), strict=True):
        assert axis_gap(arm, turn) < 0.5
    boxes = drawing.boxes()
    for (words, box), (below, under) in zip(boxes[::2], boxes[1::2], strict=True):
        middle = ((box.left + box.right) / 2, (box.top + under.bottom) / 2)
        x1, y1, x2, y2 = drawing.lines("truth")[0]
        centre = ((x1 + x2) / 2, (y1 + y2) / 2)
        seen = math.degrees(math.atan2(centre[1] - middle[1], middle[0] - centre[0]))
        meridian = float(below.removeprefix("at "))
        assert axis_gap(seen, meridian) < 6
        assert float(words.replace("−", "-")) == pytest.approx(lens.power_at(meridian), abs=0.006)


@given(lenses, lenses)
def test_two_crosses_never_run_into_each_other(right: SphCyl, mine: SphCyl) -> None:
    figure = power_cross(right, mine, uid="f")
    drawing = sound(figure)
    for kind, lens in (("truth", right), ("mine", mine)):
        toric = lens.cylinder != 0
        # The key below has one sample of each line; a sphere is a circle and has no arm.
        assert len(drawing.lines(kind)) == (3 if toric else 1)
        circles = [e for e in drawing.root.iter(SVG + "circle") if e.get("class") == kind]
        assert len(circles) == (0 if toric else 1)
    assert all(
        ("dasharray" in ET.tostring(e, "unicode")) == (e.get("class") == "mine")
        for e in drawing.root.iter(SVG + "line")
    )


@given(lenses, lenses)
def test_no_arm_runs_through_a_label(right: SphCyl, mine: SphCyl) -> None:
    drawing = sound(power_cross(right, mine, uid="f"))
    for kind in ("truth", "mine"):
        for x1, y1, x2, y2 in drawing.lines(kind)[:2]:
            for step in range(41):
                x, y = x1 + (x2 - x1) * step / 40, y1 + (y2 - y1) * step / 40
                assert not [w for w, b in drawing.boxes() if b.left < x < b.right and b.top < y < b.bottom]


def test_the_words_of_a_cross_carry_its_powers() -> None:
    # Meridian 180 neutral +2.25, meridian 90 neutral +3.00 at two thirds of a metre: net +1.50 / −0.75 × 90.
    figure = power_cross(SphCyl(1.5, -0.75, 90), SphCyl(3, -0.75, 90), uid="f")
    assert figure.description == (
        "True, solid: +1.50 D along the 90 meridian and +0.75 D along the 180 meridian. "
        "Yours, dashed: +3.00 D along the 90 meridian and +2.25 D along the 180 meridian."
    )


@given(torics, st.integers(-89, 89), st.booleans())
def test_the_arc_of_an_axis_lies_between_the_two_axes(right: SphCyl, turn: int, other_form: bool) -> None:
    """Laid out by hand: from the first axis by the turn, on one circle, in the upper half, with its degrees."""
    given = SphCyl(right.sphere, right.cylinder, (right.axis + turn - 1) % 180 + 1)
    form = ("minus" if right.cylinder > 0 else "plus") if other_form else ("plus" if right.cylinder > 0 else "minus")
    drawing = sound(power_cross(right, given.in_form(form), uid="f", arc=True))
    arcs = [one for one in drawing.root.iter(SVG + "path") if one.get("class") == "go"]
    if not turn:
        assert arcs == []
        return
    assert f"{abs(turn)}°" in drawing.words()
    x0, y0, _, x1, y1 = arc_of(arcs[0])
    (a, b, c, d), *_ = drawing.lines("truth")
    centre = ((a + c) / 2, (b + d) / 2)
    ends = [math.degrees(math.atan2(centre[1] - y, x - centre[0])) for x, y in ((x0, y0), (x1, y1))]
    assert axis_gap(ends[0], right.axis) < 0.5
    assert axis_gap(ends[1], given.axis) < 0.5
    assert min(y0, y1) <= centre[1] + 0.1


def arc_of(path: ET.Element) -> tuple[float, float, int, float, float]:
    """Read "M x yA r r 0 0 sweep x y"."""
    start, rest = str(path.get("d")).removeprefix("M").split("A")
    x0, y0 = map(float, start.split())
    *_, sweep, x1, y1 = rest.split()
    return x0, y0, int(sweep), float(x1), float(y1)


def test_an_axis_out_is_put_into_words() -> None:
    right, yours = SphCyl(0.5, -1.25, 35), SphCyl(-0.75, 1.25, 145)
    assert axis_words(right, yours) == "The axis is 20° out: 55 where 35 is right."
    assert axis_words(right, SphCyl(1)) == ""


def test_a_sphere_is_said_to_be_the_same_in_every_meridian() -> None:
    figure = power_cross(SphCyl(-2.25), uid="f")
    assert sound(figure).words() == ["−2.25, the same in every meridian"]
    assert "−2.25 D, the same in every meridian" in figure.description


@given(torics, angles)
def test_an_asked_meridian_is_marked_without_its_power(lens: SphCyl, meridian: float) -> None:
    figure = power_cross(lens, uid="f", asked_meridian=meridian)
    drawing = sound(figure)
    assert drawing.words().count("?") == 1
    assert axis_gap(drawing.angles("faint")[0], meridian) < 0.5


def test_a_name_too_long_for_an_arm_is_refused() -> None:
    with pytest.raises(OutOfRange, match="at most 8"):
        power_cross(SphCyl(1), SphCyl(2), uid="f", names=("subjective", "yours"))


# ---- the streak in the pupil


@given(angles, st.booleans(), st.booleans(), st.booleans())
def test_the_streak_lies_at_its_angle(streak: float, tell: bool, sweep: bool, reflex: bool) -> None:
    figure = streak_in_pupil(streak, uid="f", tell_angle=tell, sweep=sweep, reflex=reflex)
    drawing = sound(figure)
    marks = drawing.angles("ink", "2.4")
    assert len(marks) == 2
    assert all(axis_gap(mark, streak) < 1 for mark in marks)
    across = drawing.angles("arrow")
    assert len(across) == (2 if sweep else 0)
    assert all(axis_gap(arrow, streak + 90) < 0.5 for arrow in across)
    assert f"along {streak:.0f}," in figure.description
    assert (f"streak at {streak:.0f}" in drawing.words()) == tell
    assert ("swept" in figure.description) == sweep


def test_a_streak_at_45_rises_to_the_examiners_right() -> None:
    drawing = Drawing.of(streak_in_pupil(45, uid="f"))
    lit = [e.get("d", "") for e in drawing.root.iter(SVG + "path") if e.get("class") == "lit"]
    corners = [tuple(map(float, pair.split())) for pair in re.findall(r"-?[\d.]+ -?[\d.]+(?=[LZ])", lit[0])]
    middle = [sum(values) / len(values) for values in zip(*corners, strict=True)]
    assert middle[0] > 160
    assert middle[1] < 140
    assert "rising to the right" in streak_in_pupil(45, uid="f").description
    assert "rising to the left" in streak_in_pupil(135, uid="f").description


def test_the_dial_is_lettered_as_the_trade_letters_it() -> None:
    where = dict(Drawing.of(streak_in_pupil(20, uid="f", tell_angle=False)).boxes())
    assert sorted(where, key=float) == ["45", "90", "135", "180"]
    assert where["180"].right < where["135"].right < where["90"].left < where["45"].left
    assert where["90"].bottom < where["45"].top < where["180"].top


@pytest.mark.parametrize("streak", [0, -5, 181, math.nan])
def test_a_streak_off_the_dial_is_refused(streak: float) -> None:
    with pytest.raises(OutOfRange, match="1 to 180"):
        streak_in_pupil(streak, uid="f")


# ---- two streaks


@given(angles, powers, powers, st.none() | cylinders, st.booleans())
def test_each_view_shows_its_streak_and_its_lens(
    streak: float, one: float, two: float, cylinder: float | None, axis: bool
) -> None:
    other = axis_of(streak + 90)
    second = NeutralStreak(other, two, cylinder, other if axis else None)
    figure = two_streaks(NeutralStreak(streak, one), second, uid="f")
    drawing = sound(figure)
    assert {f"streak at {streak:.0f}", f"streak at {other:.0f}"} <= set(drawing.words())
    for written in (*NeutralStreak(streak, one).lines(), *second.lines()):
        assert written in drawing.words()
        assert written in figure.description


def test_the_axis_that_a_case_asks_for_is_not_written() -> None:
    asked = two_streaks(NeutralStreak(90, 2.25), NeutralStreak(180, 2.25, -2.5), uid="f")
    told = two_streaks(NeutralStreak(90, 2.25), NeutralStreak(180, 2.25, -2.5, 180), uid="f")
    assert "×" not in asked.svg
    assert "−2.50 DC × 180" in told.svg


# ---- the trial frame


@given(st.lists(lenses, max_size=6), st.booleans())
def test_the_frame_lists_every_lens(inside: list[SphCyl], seen: bool) -> None:
    notes = {0: "working lens", 1: "the spectacles worn now"}
    figure = trial_frame(inside, uid="f", notes=notes, distance_cm=66.7 if seen else None)
    drawing = sound(figure)
    for lens in inside:
        if lens.cylinder == 0:
            written = "plano" if lens.sphere == 0 else f"{lens.sphere:+.2f} DS"
        elif lens.sphere == 0:
            written = f"{lens.cylinder:+.2f} DC × {lens.axis:.0f}"
        else:
            written = f"{lens.sphere:+.2f} / {lens.cylinder:+.2f} × {lens.axis:.0f}"
        assert written.replace("-", "−") in drawing.words()
        assert written.replace("-", "−") in figure.description
    # One profile stands in a cell for each lens, and one axis mark for each cylinder.
    assert drawing.words().count("1") == (2 if inside else 0)
    marks = drawing.angles("ink", "2.2")
    cylinders_in = [lens for lens in inside if lens.cylinder]
    assert len(marks) == len(cylinders_in)
    assert all(axis_gap(mark, lens.axis) < 1 for mark, lens in zip(marks, cylinders_in, strict=True))
    assert ("66.7 cm" in drawing.words()) == ("66.7 cm" in figure.description) == seen


def test_more_lenses_than_cells_are_refused() -> None:
    with pytest.raises(OutOfRange, match="at most 6"):
        trial_frame([SphCyl(1)] * 7, uid="f")
