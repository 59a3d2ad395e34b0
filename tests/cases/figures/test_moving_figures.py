"""Drawings of what moves and where people stand: directions, scales, and answers that stay hidden when asked."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.errors import OutOfRange
from cases.figures.distances import distance_ruler, far_point, near_card
from cases.figures.lens_planes import toric_rotation, vertex
from cases.figures.lines_of_sight import sighting_plan, sighting_side
from cases.figures.pupil_reflex import Breadth, DrawnLook, Movement, lean_in, movement, zones
from cases.figures.unusual_reflexes import OddReflex, odd_reflex
from cases.optics.axes import axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.procedure.figure import Figure
from tests.cases.drawing import Drawing, angles, lenses, sound

# ---- movement

movements = st.sampled_from(["with", "against", "neutral"])
looks = st.builds(
    DrawnLook, st.sampled_from([None, "slow", "fast"]), st.sampled_from([None, "narrow", "wide"]),
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
    seen: Movement, streak: float, look: DrawnLook, say: bool, name: str
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
    assert (f"is turned and lies along {turned:.0f}" in figure.description) == (skew != 0)


def test_a_reflex_across_the_streak_is_refused() -> None:
    with pytest.raises(OutOfRange, match="at most 85 degrees"):
        movement("with", uid="f", streak=90, reflex_at=180)


def test_speed_width_and_brightness_are_drawn_as_well_as_written() -> None:
    def drawn(look: DrawnLook) -> tuple[float, float, int]:
        drawing = Drawing.of(movement("with", uid="f", look=look))
        arrow = run(drawing.lines("arrow", "2.4")[0])[0]
        across = [line[0] for line in drawing.lines("ink", "1.6")[4:]]
        return arrow, max(across) - min(across), len(drawing.lines("hatch"))

    slow, plain, fast = (drawn(DrawnLook(speed=s))[0] for s in ("slow", None, "fast"))
    assert slow < plain < fast
    narrow, usual, wide = (drawn(DrawnLook(width=w))[1] for w in ("narrow", None, "wide"))
    assert narrow < usual < wide
    dim, middling, bright = (drawn(DrawnLook(brightness=b))[2] for b in ("dim", None, "bright"))
    assert dim < middling < bright
    # A share of the pupil's width is drawn as that share, so far as the pupil reaches: its radius is 58.
    for share in (0.1, 0.3, 0.6):
        assert drawn(DrawnLook(share=share))[1] == pytest.approx(2 * 58 * share, abs=1)
    assert drawn(DrawnLook(share=0.75))[1] > drawn(DrawnLook(width="wide"))[1]


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
    "absent": "stays dark",
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
