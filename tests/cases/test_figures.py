"""The drawings: sound SVG, true angles, words that match the picture, and lettering that never collides."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations
from typing import Literal
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.errors import OutOfRange
from cases.figures import Anchor, Box, Figure, Pen, text_box, text_width, toward
from cases.figures_distance import distance_ruler, far_point, near_card
from cases.figures_lenses import power_cross, trial_frame
from cases.figures_odd import OddReflex, odd_reflex
from cases.figures_planes import toric_rotation, vertex
from cases.figures_pupil import NeutralStreak, streak_in_pupil, two_streaks
from cases.figures_reflex import Breadth, Look, Movement, lean_in, movement, zones
from cases.figures_sighting import sighting_plan, sighting_side
from cases.lens import SphCyl, axis_gap, axis_of

ANCHORS: dict[str, Anchor] = {"start": "start", "middle": "middle", "end": "end"}
SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Drawing:
    """A figure read back from its SVG."""

    root: ET.Element

    @classmethod
    def of(cls, figure: Figure) -> Drawing:
        return cls(ET.fromstring(figure.svg))  # noqa: S314 our own text

    def words(self) -> list[str]:
        return [element.text or "" for element in self.root.iter(SVG + "text")]

    def boxes(self) -> list[tuple[str, Box]]:
        found = []
        for element in self.root.iter(SVG + "text"):
            anchor = ANCHORS[element.get("text-anchor", "")]
            words, size = element.text or "", float(element.get("font-size", ""))
            box = text_box(float(element.get("x", "")), float(element.get("y", "")), words, size, anchor)
            found.append((words, box))
        return found

    def lines(self, kind: str, weight: str | None = None) -> list[tuple[float, float, float, float]]:
        """Straight lines of one class, or one class and weight, as x1, y1, x2, y2."""
        return [
            (float(e.get("x1", "")), float(e.get("y1", "")), float(e.get("x2", "")), float(e.get("y2", "")))
            for e in self.root.iter(SVG + "line")
            if e.get("class") == kind and weight in (None, e.get("stroke-width"))
        ]

    def angles(self, kind: str, weight: str | None = None) -> list[float]:
        """Directions of the lines of one class, anticlockwise from the right as one faces the page."""
        return [axis_of(math.degrees(math.atan2(y1 - y2, x2 - x1))) for x1, y1, x2, y2 in self.lines(kind, weight)]


def sound(figure: Figure) -> Drawing:
    """Check what must hold of every figure, and return it read back."""
    drawing = Drawing.of(figure)
    root = drawing.root
    names = root.get("aria-labelledby", "").split()
    parts = {e.get("id"): e.text for e in (*root.iter(SVG + "title"), *root.iter(SVG + "desc"))}
    assert root.get("role") == "img"
    assert [parts[name] for name in names] == [figure.title, figure.description]
    for element in root.iter():
        assert element.tag != SVG + "style"
        assert "style" not in element.attrib
        assert not [name for name in element.attrib if name.startswith("on")]
        for paint in ("fill", "stroke"):
            assert element.get(paint, "none") in ("none", "currentColor")
        if element.tag == SVG + "text":
            assert float(element.get("font-size", "0")) >= 13
            assert element.get("fill") == "currentColor"
            assert element.get("stroke-opacity") is None
    wide, tall = (float(n) for n in root.get("viewBox", "").split()[2:])
    assert wide == 320
    boxes = drawing.boxes()
    for words, box in boxes:
        assert box.left >= 0, words
        assert box.right <= wide, words
        assert box.top >= 0, words
        assert box.bottom <= tall, words
    for (a, one), (b, other) in combinations(boxes, 2):
        assert not one.overlaps(other), f"{a!r} runs into {b!r}"
    for name in ("x1", "x2", "cx", "x"):
        assert all(-1 <= float(e.get(name, "0")) <= wide + 1 for e in root.iter())
    for name in ("y1", "y2", "cy", "y"):
        assert all(-1 <= float(e.get(name, "0")) <= tall + 1 for e in root.iter())
    return drawing


powers = st.integers(-80, 80).map(lambda quarters: quarters / 4)
cylinders = st.one_of(st.integers(-24, -1), st.integers(1, 24)).map(lambda quarters: quarters / 4)
angles = st.integers(1, 180).map(float)
spheres = st.builds(SphCyl, powers)
torics = st.builds(SphCyl, powers, cylinders, angles)
lenses = st.one_of(spheres, torics)


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


# ---- movement

movements = st.sampled_from(["with", "against", "neutral"])
looks = st.builds(
    Look, st.sampled_from([None, "slow", "fast"]), st.sampled_from([None, "narrow", "wide"]),
    st.sampled_from([None, "dim", "bright"]),
)  # fmt: skip
OPPOSITE = {
    "to the right": "to the left", "up and to the right": "down and to the left", "upward": "downward",
    "down and to the right": "up and to the left", "up and to the left": "down and to the right",
}  # fmt: skip


def run(line: tuple[float, float, float, float]) -> tuple[float, float]:
    """Return the way an arrow points, x to the right and y upward."""
    return line[2] - line[0], line[1] - line[3]


def names_the_answer(figure: Figure) -> bool:
    return bool(re.search(r"\b(with|against|neutral)\b", figure.svg, re.IGNORECASE))


@given(movements, angles, looks, st.booleans(), st.sampled_from(["", "A"]))
def test_the_reflex_goes_the_way_of_the_streak_or_the_other_way(
    seen: Movement, streak: float, look: Look, say: bool, name: str
) -> None:
    figure = movement(seen, uid="f", streak=streak, look=look, say=say, name=name)
    drawing = sound(figure)
    # Two open arrows at the ends of the streak and one in the key; a filled one in the pupil and one in the key.
    (sx, sy), *_ = (run(line) for line in drawing.lines("arrow", "2"))
    filled = drawing.lines("arrow", "2.4")
    assert axis_gap(math.degrees(math.atan2(sy, sx)), streak + 90) < 0.5
    assert sx > 0 or (sy > 0 and abs(sx) < sy)
    if seen == "neutral":
        assert not filled
        assert "no reflex is seen to travel" in figure.description
    else:
        rx, ry = run(filled[0])
        cosine = (sx * rx + sy * ry) / math.hypot(sx, sy) / math.hypot(rx, ry)
        assert cosine == pytest.approx(1 if seen == "with" else -1, abs=0.01)
        streak_way = re.search(r"and travels ([a-z ]+)\.", figure.description)
        reflex_way = re.search(r"the reflex travels ([a-z ]+?)(?=[:.]| while)", figure.description)
        assert streak_way
        assert reflex_way
        assert reflex_way[1] == (streak_way[1] if seen == "with" else OPPOSITE[streak_way[1]])
    assert names_the_answer(figure) == say
    for cue in look.words():
        assert cue in figure.description
        assert cue in ", ".join(drawing.words())


def test_a_hidden_movement_is_described_by_what_travels_where() -> None:
    figure = movement("against", uid="f", streak=90, say=False)
    assert "the reflex travels to the left while the streak travels to the right" in figure.description


@given(st.sampled_from(["with", "against"]), angles, st.integers(-84, 84))
def test_a_turned_reflex_lies_at_its_own_angle_and_moves_across_itself(
    seen: Movement, streak: float, skew: int
) -> None:
    turned = axis_of(streak + skew)
    figure = movement(seen, uid="f", streak=streak, reflex_at=turned)
    drawing = sound(figure)
    assert all(axis_gap(hatch, turned) < 1 for hatch in drawing.angles("hatch"))
    streak_way, reflex_way = run(drawing.lines("arrow", "2")[0]), run(drawing.lines("arrow", "2.4")[0])
    assert axis_gap(math.degrees(math.atan2(reflex_way[1], reflex_way[0])), turned + 90) < 1.5
    along = streak_way[0] * reflex_way[0] + streak_way[1] * reflex_way[1]
    assert (along > 0) == (seen == "with")
    assert (f"stands turned, along {turned:.0f}" in figure.description) == (skew != 0)


def test_a_reflex_across_the_streak_is_refused() -> None:
    with pytest.raises(OutOfRange, match="at most 85 degrees"):
        movement("with", uid="f", streak=90, reflex_at=180)


def test_speed_width_and_brightness_are_drawn_as_well_as_written() -> None:
    def drawn(look: Look) -> tuple[float, float, int]:
        drawing = Drawing.of(movement("with", uid="f", look=look))
        arrow = run(drawing.lines("arrow", "2.4")[0])[0]
        across = [line[0] for line in drawing.lines("ink", "1.6")[4:]]
        return arrow, max(across) - min(across), len(drawing.lines("hatch"))

    slow, plain, fast = (drawn(Look(speed=s))[0] for s in ("slow", None, "fast"))
    assert slow < plain < fast
    narrow, usual, wide = (drawn(Look(width=w))[1] for w in ("narrow", None, "wide"))
    assert narrow < usual < wide
    dim, middling, bright = (drawn(Look(brightness=b))[2] for b in ("dim", None, "bright"))
    assert dim < middling < bright


# ---- leaning in, zones, odd reflexes

widths = st.sampled_from([None, "narrow", "wide"])


@given(angles, angles, widths, widths)
def test_on_leaning_in_each_band_has_its_width(
    one: float, two: float, wide: Breadth | None, other: Breadth | None
) -> None:
    figure = lean_in((one, wide), (two, other), uid="f")
    assert f"streak at {one:.0f}" in sound(figure).words()
    assert ("equally wide" in figure.description) == (wide == other)
    assert all(width in figure.description for width in (wide, other) if width)


@given(movements, movements, angles, st.booleans())
def test_the_zones_of_a_wide_pupil_move_on_their_own(
    centre: Movement, margin: Movement, streak: float, say: bool
) -> None:
    figure = zones(centre, margin, uid="f", streak=streak, say=say)
    drawing = sound(figure)
    streak_way, filled = run(drawing.lines("arrow", "2")[0]), drawing.lines("arrow", "2.4")
    moving = [centre] * (centre != "neutral") + [margin, margin] * (margin != "neutral")
    assert len(filled) == len(moving) + bool(moving)
    for line, seen in zip(filled, moving, strict=False):
        way = run(line)
        assert (way[0] * streak_way[0] + way[1] * streak_way[1] > 0) == (seen == "with")
    assert names_the_answer(figure) == say
    if say:
        assert [f"centre: {centre}", f"margin: {margin}"] == drawing.words()[-2:]


ODD: dict[OddReflex, str] = {
    "scissors": "two bands", "oil-drop": "round lit core", "dark-shadow": "dark patch", "dim": "faintly lit",
    "white": "white", "unequal": "only faintly", "fluctuating": "two moments",
}  # fmt: skip


@pytest.mark.parametrize(("kind", "sight"), ODD.items())
def test_an_odd_reflex_is_described_without_being_named(kind: OddReflex, sight: str) -> None:
    figure, named = odd_reflex(kind, uid="f"), odd_reflex(kind, uid="f", name_it=True)
    sound(figure)
    assert sight in figure.description.lower()
    assert figure.title == "An unusual reflex" != named.title
    assert (figure.description, Drawing.of(figure).words()) == (named.description, Drawing.of(named).words())
    if kind in ("scissors", "oil-drop", "dark-shadow", "fluctuating"):
        assert kind.split("-")[-1] not in re.sub("ring of shadow", "", figure.svg.lower())


# ---- distances and lines of sight

distances = st.integers(100, 1500).map(lambda mm: mm / 10)


def cm(distance: float) -> str:
    return f"{distance:g} cm"


@given(distances, st.none() | distances, st.none() | lenses)
def test_working_distances_are_drawn_to_one_scale(actual: float, assumed: float | None, lens: SphCyl | None) -> None:
    figure = distance_ruler(actual_cm=actual, assumed_cm=assumed, lens=lens, uid="f")
    drawing = sound(figure)
    assert cm(actual) in figure.description
    level = {kind: [x2 - x1 for x1, y1, x2, y2 in drawing.lines(kind) if y1 == y2] for kind in ("ink", "mine")}
    if assumed is None:
        assert cm(actual) in drawing.words()
        assert level == {"ink": [pytest.approx(246)], "mine": []}
    else:
        assert cm(assumed) in figure.description
        assert {f"actual {cm(actual)}", f"assumed {cm(assumed)}"} <= set(drawing.words())
        assert level["ink"][0] * assumed == pytest.approx(level["mine"][0] * actual, rel=0.01, abs=10)


@given(distances)
def test_the_far_point_is_at_the_sight_hole(neutral: float) -> None:
    figure = far_point(neutral_cm=neutral, uid="f")
    assert cm(neutral) in sound(figure).words()
    assert cm(neutral) in figure.description


@given(distances, distances)
def test_the_card_and_the_sight_hole_stand_at_their_distances(target: float, scope: float) -> None:
    figure = near_card(target_cm=target, scope_cm=scope, uid="f")
    assert {f"target {cm(target)}", f"sight hole {cm(scope)}"} <= set(sound(figure).words())
    where = "level with" if target == scope else "behind" if scope > target else "in front of"
    assert f"{where} the card" in figure.description


@pytest.mark.parametrize("wrong", [0, -5, math.nan])
@pytest.mark.parametrize(
    "draw",
    [
        lambda wrong: distance_ruler(actual_cm=wrong, uid="f"),
        lambda wrong: distance_ruler(actual_cm=67, assumed_cm=wrong, uid="f"),
        lambda wrong: far_point(neutral_cm=wrong, uid="f"),
        lambda wrong: near_card(target_cm=wrong, scope_cm=40, uid="f"),
    ],
)
def test_a_distance_that_is_none_is_refused(draw: Callable[[float], Figure], wrong: float) -> None:
    with pytest.raises(OutOfRange, match="above 0"):
        draw(wrong)


@given(distances, distances, st.none() | st.floats(0.1, 60))
def test_the_sighting_angle_is_written_only_when_given(offset: float, distance: float, angle: float | None) -> None:
    figure = sighting_plan(offset_cm=offset, distance_cm=distance, angle=angle, uid="f")
    words = sound(figure).words()
    assert {cm(offset), cm(distance), "not to scale"} <= set(words)
    assert ("?" in words) == (angle is None) == ("asked" in figure.description)
    assert angle is None or f"{angle:.1f}°" in words


@given(distances, distances, distances, st.none() | distances)
def test_the_sighting_height_is_written_only_when_given(
    chart: float, path: float, distance: float, height: float | None
) -> None:
    figure = sighting_side(chart_height_cm=chart, chart_path_cm=path, distance_cm=distance, height_cm=height, uid="f")
    words = sound(figure).words()
    assert {cm(chart), f"{cm(path)} by the mirror", cm(distance)} <= set(words)
    assert ("?" in words) == (height is None) == ("asked" in figure.description)
    assert all(cm(one) in figure.description for one in (chart, path, distance, height) if one)


# ---- lenses that move


@given(lenses, st.sampled_from([12.0, 4.5, -2.0]), st.none() | lenses)
def test_a_moved_lens_goes_the_right_way(lens: SphCyl, move: float, acts_as: SphCyl | None) -> None:
    figure = vertex(lens, toward_eye_mm=move, acts_as=acts_as, uid="f")
    drawing = sound(figure)
    # The eye is on the left.
    assert (run(drawing.lines("arrow")[0])[0] < 0) == (move > 0)
    assert f"{abs(move):g} mm {'toward' if move > 0 else 'away from'} the eye" in figure.description
    assert ("?" in drawing.words()) == (acts_as is None)


@given(st.integers(1, 60), st.sampled_from(["left", "right"]))
def test_the_mark_of_a_toric_lens_turns_to_its_side(turned: int, side: Literal["left", "right"]) -> None:
    figure = toric_rotation(turned, side, uid="f")
    (x1, y1, x2, y2), *_ = sound(figure).lines("ink", "4")
    assert (x2 < 160) == (side == "left")
    # Measured from straight down, where 6 o'clock is.
    assert math.degrees(math.atan2(abs(x2 - x1), y2 - y1)) == pytest.approx(turned, abs=0.6)
    assert f"{turned} degrees to the examiner's {side}" in figure.description


def test_moves_and_turns_that_are_none_or_too_many_are_refused() -> None:
    with pytest.raises(OutOfRange, match="more or less than 0"):
        vertex(SphCyl(1), toward_eye_mm=0, uid="f")
    with pytest.raises(OutOfRange, match="0 to 90"):
        toric_rotation(120, "left", uid="f")
