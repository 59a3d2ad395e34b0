"""Moving pictures of cases: what they show can be seen, and an answer in place looks as the optics have it."""

from __future__ import annotations

import pytest

from cases.curriculum.bench.bench_neutral import TOO_DULL_TO_START
from cases.curriculum.bench_stage import require_plain
from cases.curriculum.bench_types import moving_types, showing, stage_of, staged, views_in_case, views_in_mark, wanting
from cases.curriculum.register import case_type
from cases.errors import CaseError
from cases.optics import light
from cases.optics.appearance import seen_in
from cases.optics.reflex import movement, residual
from cases.procedure.case_type import draw
from tests.cases.seeds import settings_of
from tests.cases.worked import case_of

ABOUT_MOVEMENT = sorted({*moving_types(), *staged()})
UNSEEN_ON_PURPOSE = {"dull-reflex", "odd-reflex"}
"""Types that ask what to do where no movement can be seen, or where what is seen is odd."""
SEEDS = {"which-meridian-first": (*range(9), 54), "reflex": (*range(9), 91)}
"""Seeds at which a type has been caught."""


@pytest.mark.parametrize("type_id", ABOUT_MOVEMENT)
def test_a_movement_that_a_case_asks_for_can_be_seen(type_id: str) -> None:
    """Or the case says what to do where it cannot: a law over all types about movement."""
    stage = stage_of(type_id)
    for seed in SEEDS.get(type_id, range(9)):
        case = draw(case_type(type_id), seed, settings_of(seed))
        if stage is not None and "lenses" in stage.free:
            assert TOO_DULL_TO_START in case.type.found(case.findings)
            continue
        if type_id in UNSEEN_ON_PURPOSE:
            continue
        for view in views_in_mark(type_id, case.findings, None, case.truth):
            setting, streak = view.bench.setting, view.bench.streak
            wanted = movement(setting, streak)
            assert wanted == "neither" or light.shows(setting, streak, wanted) or _of_the_edge(view.bench.margin), seed


def _of_the_edge(margin: float) -> bool:
    """Say whether a neutral centre has an edge that moves, which is what is to be seen there."""
    return margin != 0


@pytest.mark.parametrize("distance_cm", [33, 50, 67, 100])
def test_the_bounds_of_sight_are_those_of_the_sweep(distance_cm: float) -> None:
    vergence = 100 / distance_cm
    for left in (-(1.5 + 2 * vergence), min(1.5 + 4.5 * vergence, 12.0)):
        require_plain(distance_cm, left)
        assert light.shows(wanting(left, distance_cm).setting, 90, "with" if left > 0 else "against")
    with pytest.raises(CaseError):
        require_plain(distance_cm, -(1.6 + 2 * vergence))


@pytest.mark.parametrize(("type_id", "names"), [("near-or-far", 3), ("which-meridian-first", 2)])
def test_a_reflex_is_described_in_one_way_in_the_question_and_beside_its_picture(type_id: str, names: int) -> None:
    """And it moves as fast as it is said to, unless the picture says that its beam makes it slower."""
    for seed in range(12):
        case = draw(case_type(type_id), seed, settings_of(seed))
        asked = " ".join(case.type.found(case.findings)).lower()
        views = views_in_mark(type_id, case.findings, None, case.truth)
        assert len(views) == names
        for view in views:
            assert view.words[0].lower() in asked, seed
            if len(view.words) == 1:
                shown = seen_in(view.bench.setting, view.bench.streak)
                assert shown.movement == view.words[0].split(",")[0].lower()
                assert shown.speed_words in view.words[0], seed
            else:
                assert "slower" in view.words[1]


def test_straddled_bands_are_as_wide_as_they_are_said_to_be() -> None:
    """And the axis goes to the side that the rule of the case names; at the right axis both are equally wide."""
    widths = {"narrow": (0, 0.5), "ordinary": (0.45, 0.7), "wide": (2 / 3, 1.01)}
    for seed in range(24):
        case = draw(case_type("axis-straddling"), seed, settings_of(seed))
        views = views_in_case("axis-straddling", case.findings)
        shares = [light.band_seen(one.bench.setting, one.bench.streak).share for one in views]
        for place, share in zip(("first", "second"), shares, strict=True):
            low, high = widths[case.findings[place]["band"]]
            assert low <= share <= high, (seed, place, share)
        wrong = {"up": "down", "down": "up", "leave": "up"}[case.truth["turn"]]
        yours, right = views_in_mark("axis-straddling", case.findings, {**case.truth, "turn": wrong}, case.truth)
        off, on = (abs(one.bench.setting.rx.axis - one.bench.axis) % 180 for one in (yours, right))
        assert min(on, 180 - on) == pytest.approx(0, abs=0.01)
        assert min(off, 180 - off) > 2


def test_the_second_streak_shows_what_it_is_said_to_and_its_lens_makes_it_neutral() -> None:
    for seed in range(12):
        case = draw(case_type("second-streak"), seed, settings_of(seed))
        (view,) = views_in_case("second-streak", case.findings)
        assert movement(view.bench.setting, view.bench.streak) == case.findings["seen"]
        first = case.findings["sphere_streak"]
        assert residual(view.bench.setting, first) == pytest.approx(0, abs=1e-9)
        _, right = views_in_mark("second-streak", case.findings, case.truth, case.truth)
        if case.truth["next"] == "cylinder":
            assert abs(residual(right.bench.setting, right.bench.streak)) < 1e-9
        else:
            assert residual(right.bench.setting, case.findings["seen_streak"]) == pytest.approx(0, abs=1e-9)


def test_an_odd_reflex_that_the_instrument_can_show_moves() -> None:
    """An opacity and a white fundus are beyond it; the words of the case stand beside the others."""
    shown = set()
    for seed in range(60):
        case = draw(case_type("odd-reflex"), seed, settings_of(seed))
        views = views_in_case("odd-reflex", case.findings)
        assert all(one.words[0] in " ".join(case.type.found(case.findings)) for one in views)
        shown |= {case.findings["reflex"]} if views else set()
    assert shown == {"scissors", "oil-drop", "dim", "unequal", "fluctuating"}


def test_a_picture_never_gives_an_open_case_away() -> None:
    for type_id in ("predict-movement", "reflex", "bench-movement", "bench-sphere", "bracket-end-point", "whole-run"):
        case = draw(case_type(type_id), 3, settings_of(3))
        assert views_in_case(type_id, case.findings) == ()
    assert views_in_case("net-sphere", {}) == views_in_mark("net-sphere", {}, None, {}) == ()


@pytest.mark.parametrize("beam", ["parallel", "converging"])
@pytest.mark.parametrize("seen", ["with", "against", "neutral"])
def test_a_movement_is_shown_as_it_is_named(seen: str, beam: str) -> None:
    bench = showing(seen, beam, streak=30)
    assert movement(bench.setting, 30) == seen
    assert light.shows(bench.setting, 30, seen)


def test_an_answer_in_place_leaves_what_it_is_out_by() -> None:
    """By hand: +1.50 D at 50 cm is neutral with +3.50; an answer of +2.50 puts in +4.50, 1.00 D too much."""
    case = case_of("bench-sphere", {"rx": 1.5, "distance_cm": 50})
    yours, right = views_in_mark("bench-sphere", case.findings, {"power": 2.5}, case.truth)
    assert residual(yours.bench.setting, yours.bench.streak) == pytest.approx(-1)
    assert residual(right.bench.setting, right.bench.streak) == pytest.approx(0)
    assert (yours.name, right.name) == ("Your answer in place", "The right answer in place")


def test_a_turned_axis_is_shown_where_it_leaves_the_most() -> None:
    """By hand: +1.00/−2.00 × 90 answered at 180 leaves 2.00 D in either meridian."""
    eye = {"sphere": 1.0, "cylinder": -2.0, "axis": 90}
    case = case_of("bench-eye", {"rx": eye, "start_streak": 70, "distance_cm": 50})
    given = {"prescription": case_type("bench-eye").asks[0].kind.read("+1.00 -2.00 x 180")}
    yours, right = views_in_mark("bench-eye", case.findings, given, case.truth)
    assert abs(residual(yours.bench.setting, yours.bench.streak)) == pytest.approx(2)
    assert residual(right.bench.setting, right.bench.streak) == pytest.approx(0)
