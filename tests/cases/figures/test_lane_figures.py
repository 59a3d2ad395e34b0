"""Lanes and rays: what the arrows show, held against power matrices and vergence computed here."""

from __future__ import annotations

import math
import random
import re

import numpy as np
import pytest

from cases.errors import OutOfRange
from cases.figures.lanes import Lane, lanes_figure, lanes_of, pattern
from cases.figures.rays import at_sight_hole, meets_cm, rays_figure
from cases.optics.lens import SphCyl


def along(lens: SphCyl, meridian: float) -> float:
    """Return the power along a meridian by the power matrix. Source: `long-1976`, F = uᵀPu."""
    axis, turn = math.radians(lens.axis), math.radians(meridian)
    u = np.array([math.cos(turn), math.sin(turn)])
    across = np.array([-math.sin(axis), math.cos(axis)])
    return float(u @ (lens.sphere * np.eye(2) + lens.cylinder * np.outer(across, across)) @ u)


@pytest.mark.parametrize("seed", range(20))
def test_lanes_are_the_powers_of_both_lenses(seed: int) -> None:
    chance = random.Random(seed)
    axis = chance.randint(1, 180)
    right = SphCyl(chance.randint(-20, 20) / 4, -chance.randint(1, 12) / 4, axis)
    other = axis if chance.random() < 0.5 else (axis + 90 - 1) % 180 + 1
    given = SphCyl(chance.randint(-20, 20) / 4, -chance.randint(1, 12) / 4, other)
    lanes = lanes_of(right, given)
    assert len(lanes) == 2
    for one in lanes:
        meridian = float(one.name.removesuffix("°"))
        assert one.right == pytest.approx(along(right, meridian), abs=1e-9)
        assert one.given == pytest.approx(along(given, meridian), abs=1e-9)
    described = lanes_figure(lanes, uid="lanes").description
    assert all(f"Along {one.name} " in described for one in lanes)


RIGHT = SphCyl(0.50, -1.25, 180)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (
            SphCyl(2.00, -1.25, 180),
            "Both meridians are 1.50 D too plus: the sphere is out, not the cylinder or the axis.",
        ),
        (
            SphCyl(0.50, -1.25, 90),
            "The meridians have changed places: the two powers are right, where they act is not.",
        ),
        (SphCyl(-0.75, 1.25, 90), ""),  # the same lens in plus cylinder
        (SphCyl(0.50, -1.00, 180), "Only the power along 90° is out: 0.25 D too plus."),
        (SphCyl(0.75, -1.75, 180), "The spherical equivalent is right; the cylinder is 0.50 D too strong."),
        (SphCyl(1.50, -1.75, 180), "Both meridians are out, by different amounts: 1.00 and 0.50 D."),
        (SphCyl(0.50, 0.0, 180), "Only the power along 90° is out: 1.25 D too plus."),
    ],
)
def test_the_pattern_names_the_kind_of_error(given: SphCyl, says: str) -> None:
    """Worked by hand: +0.50 / −1.25 × 180 is +0.50 along 180 and −0.75 along 90."""
    assert pattern(lanes_of(RIGHT, given)) == says


def test_lenses_whose_meridians_differ_share_no_lanes() -> None:
    assert lanes_of(RIGHT, SphCyl(0.50, -1.25, 170)) == ()
    assert [one.name for one in lanes_of(SphCyl(1.0), SphCyl(2.0))] == [""]
    with pytest.raises(OutOfRange):
        lanes_figure((), uid="none")


@pytest.mark.parametrize("given", [-9.5, -0.625, -0.5, -0.25, 0.0, 0.25, 4.0, 14.25])
def test_nothing_is_drawn_outside_and_values_do_not_overlap(given: float) -> None:
    figure = lanes_figure((Lane("180°", 0.5, given), Lane("90°", -0.5, -0.5)), uid="lanes")
    xs = [float(one) for one in re.findall(r' x[12]?="(-?[\d.]+)"', figure.svg)]
    assert 0 <= min(xs) <= max(xs) <= 352
    values = re.findall(r'class="(?:number|mine) halo" x="([\d.]+)" y="32" [^>]*text-anchor="(\w+)"', figure.svg)
    if len(values) == 2:
        (one, anchor), (other, opposite) = sorted(values, key=lambda each: float(each[0]))
        assert (anchor, opposite) == ("end", "start") or float(other) - float(one) > 40


@pytest.mark.parametrize(
    ("given", "shape"),
    [
        (SphCyl(2.00, -1.25, 180), "side by side"),
        (SphCyl(0.50, -1.25, 90), "crossed, each where the other began"),
        (SphCyl(0.75, -1.75, 180), "another slope"),
        (SphCyl(0.50, -1.00, 180), "one end shared"),
    ],
)
def test_the_shape_of_the_joins_tells_the_error_without_words(given: SphCyl, shape: str) -> None:
    """A join runs from a lens's bar in one lane to its bar in the other: a reader names the error by it."""
    svg = lanes_figure(lanes_of(RIGHT, given), uid="lanes").svg
    joins = re.findall(r'<line x1="([\d.]+)" y1="[\d.]+" x2="([\d.]+)" y2="[\d.]+" [^>]*stroke-width="1.2"', svg)
    (a, b), (c, d) = (tuple(map(float, one)) for one in joins)
    parallel, shared, swapped = abs((b - a) - (d - c)) < 0.3, abs(a - c) < 0.3, abs(a - d) < 0.3 and abs(b - c) < 0.3
    found = {
        "side by side": parallel,
        "crossed, each where the other began": swapped,
        "one end shared": shared,
        "another slope": not (parallel or shared or swapped),
    }
    assert [name for name, holds in found.items() if holds] == [shape]


def test_light_meets_where_its_vergence_says() -> None:
    """1.50 D is two thirds of a metre, 2.50 D 40 cm: a distance is one over its dioptres."""
    assert meets_cm(1.5) == pytest.approx(200 / 3)
    assert meets_cm(-2.5) == pytest.approx(-40)
    assert at_sight_hole(1.5, 67)
    assert not at_sight_hole(1.5, 40)
    assert not at_sight_hole(-1.5, 67)
    with pytest.raises(OutOfRange):
        rays_figure(0, distance_cm=67, uid="rays")


@pytest.mark.parametrize(
    ("out", "distance", "says"),
    [
        (1.5, 67, "meets at your sight hole, 67 cm away (broken): it is 1.50 D too plus"),
        (1.0, 40, "meets 100 cm away (broken): it is 1.00 D too plus"),
        (3.0, 67, "meets 33.3 cm away (broken): it is 3.00 D too plus"),
        (-1.5, 67, "still spreads, as if from 66.7 cm behind the lens (broken): it is 1.50 D too minus"),
    ],
)
def test_rays_say_where_the_dioptres_went(out: float, distance: float, says: str) -> None:
    figure = rays_figure(out, distance_cm=distance, uid="rays")
    assert says in figure.description
    assert figure.title == f"Where the {abs(out):.2f} D went"
    assert 'stroke-dasharray="7 5"' in figure.svg
    assert 'stroke-dasharray="0.1 4"' in figure.svg
