"""Which meridian first, the frame, the break, a whole run: by hand, from a published station, from the optics."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from cases.curriculum.register import case_type
from cases.errors import CaseError
from cases.optics.axes import across, axis_gap, axis_of
from cases.optics.lens import SphCyl
from cases.optics.reflex import Setting, look
from cases.procedure.lens_log import LensLog, Log
from cases.procedure.marking import mark_text
from tests.cases.drawing import angles
from tests.cases.procedure.test_lens_log import sound_logs
from tests.cases.worked import answer_of, case_of, check_never_falls_over, rx, slips_of

DISTANCES = (33.0, 40.0, 50.0, 57.0, 67.0, 80.0, 100.0)


@settings(max_examples=40, deadline=None)
@given(sound_logs(), sound_logs(), st.integers(1, 180), st.floats(20, 120), st.floats(20, 120))
def test_any_two_sound_logs_are_worked(first: Log, second: Log, streak: int, near: float, far: float) -> None:
    write = LensLog().to_json
    findings = {
        "first": {"streak": streak, "log": write(first), "distance_cm": near},
        "second": {"streak": across(streak), "log": write(second), "distance_cm": far},
        "planned_cm": near,
    }
    check_never_falls_over(case_type("whole-run"), findings)


# ---- which meridian first

powers = st.integers(-24, 24).map(lambda quarters: quarters / 4)


def both(first: float, second: float, form: str = "minus", distance_cm: float = 67) -> dict[str, Any]:
    return {
        "first": {"streak": 20, "left": first}, "second": {"streak": 110, "left": second}, "distance_cm": distance_cm,
        "form": form,
    }  # fmt: skip


@given(powers, powers, st.sampled_from(["minus", "plus"]), st.integers(30, 100))
def test_the_cylinder_in_use_can_always_cure_what_is_left(
    first: float, second: float, form: str, distance: int
) -> None:
    """Neutralise the chosen meridian with a sphere, look at the other by the optics: it shows what `then` says."""
    assume(first != second)
    findings = both(first, second, form, distance)
    truth = case_of("which-meridian-first", findings).truth
    sphere = findings[truth["begin_with"]]["left"]
    # The eye wants `first` across 20, that is along 110, and `second` along 20; the distance is in the frame already.
    eye = SphCyl.from_meridians(110, first, second)
    setting = Setting(rx=eye, in_place=SphCyl(100 / distance + sphere), distance_cm=distance)
    other = {"first": 110, "second": 20}[truth["begin_with"]]
    assert look(setting, {110: 20, 20: 110}[other]).movement == "neutral"
    assert look(setting, other).movement == truth["then"] == {"minus": "against", "plus": "with"}[form]


# (still wanted at A and at B, cylinders in use, first, slips): common practice, no published source; at 67 cm.
ORDERS: list[tuple[float, float, str, dict[str, Any], dict[str, Any]]] = [
    # Both with, A the slower: the more plus meridian.
    (3.0, 0.5, "minus", {"begin_with": "first", "then": "against"}, {
        "look-to-distance-from-neutral/speed-reversed": {"begin_with": "second", "then": "against"},
        "first-meridian/first-meridian-muddled": {"begin_with": "second", "then": "with"},
        "sphere-acts-on-both/with-and-against-swapped": {"begin_with": "first", "then": "with"},
        "sphere-acts-on-both/other-meridian-thought-untouched": {"begin_with": "first", "then": "with"},
    }),
    # Both against, A the slower: B is the less minus, and so the more plus.
    (-3.0, -0.5, "minus", {"begin_with": "second", "then": "against"}, {
        "look-to-distance-from-neutral/speed-reversed": {"begin_with": "first", "then": "against"},
        "first-meridian/first-meridian-muddled": {"begin_with": "first", "then": "with"},
        "first-meridian/slowest-first": {"begin_with": "first", "then": "with"},
        "sphere-acts-on-both/with-and-against-swapped": {"begin_with": "second", "then": "with"},
    }),
    # One with, one against, plus cylinders: the against one first.
    (0.5, -3.0, "plus", {"begin_with": "second", "then": "with"}, {
        "first-meridian/first-meridian-muddled": {"begin_with": "first", "then": "against"},
        "sphere-acts-on-both/with-and-against-swapped": {"begin_with": "second", "then": "against"},
    }),
]  # fmt: skip


@pytest.mark.parametrize(("first", "second", "form", "answer", "slips"), ORDERS)
def test_which_meridian_first_by_hand(
    first: float, second: float, form: str, answer: dict[str, Any], slips: dict[str, Any]
) -> None:
    case = case_of("which-meridian-first", both(first, second, form))
    assert answer_of(case) == answer
    assert slips_of(case) == slips


def test_a_sphere_has_no_first_meridian() -> None:
    with pytest.raises(CaseError, match="no cylinder is wanted"):
        _ = case_of("which-meridian-first", both(1, 1)).truth


# ---- the other one was done first

# Common practice, no published source: a minus cylinder cures against, a plus cylinder with.
SECONDS = [
    ("minus", "against", "cylinder", 110), ("minus", "with", "sphere-plus", 20), ("plus", "with", "cylinder", 110),
    ("plus", "against", "sphere-minus", 20),
]  # fmt: skip


@pytest.mark.parametrize(("form", "seen", "then", "axis"), SECONDS)
def test_the_second_streak(form: str, seen: str, then: str, axis: float) -> None:
    findings = {"sphere": 2, "sphere_streak": 20, "seen": seen, "seen_streak": 110, "form": form}
    case = case_of("second-streak", findings)
    assert answer_of(case) == {"next": then, "axis": axis}
    slips = slips_of(case)
    assert slips["place-axis/axis-at-the-power"] == {"next": then, "axis": across(axis)}
    sphere = {"with": "sphere-plus", "against": "sphere-minus"}
    if then == "cylinder":
        assert slips["cylinder-can-cure/sphere-gone-on-with"] == {"next": sphere[seen], "axis": 20}
        assert len(slips) == 2
    else:
        assert slips["cylinder-can-cure/cylinder-that-cannot-cure"] == {"next": "cylinder", "axis": 110}
        other = sphere[{"with": "against", "against": "with"}[seen]]
        assert slips["movement-to-lens/with-and-against-swapped"] == {"next": other, "axis": 20}


@given(powers, powers, angles, st.sampled_from(["minus", "plus"]))
def test_what_is_advised_ends_in_the_eyes_own_lens(first: float, second: float, streak: float, form: str) -> None:
    """Follow the advice to the end: sphere and a cylinder of the sign in use, at the axis named, make the gross."""
    assume(first != second)
    gross = SphCyl.from_meridians(across(streak), first, second)
    seen = "with" if second > first else "against"
    found = {"sphere": first, "sphere_streak": streak, "seen": seen, "seen_streak": across(streak), "form": form}
    truth = case_of("second-streak", found).truth
    sphere = first if truth["next"] == "cylinder" else second
    cylinder = (second - first) if truth["next"] == "cylinder" else (first - second)
    assert (cylinder < 0) == (form == "minus")
    assert SphCyl(sphere, cylinder, truth["axis"]).equals(gross)


# ---- everything in the frame

FRAME = {"lenses": [rx(2), rx(-1), rx(0, -0.75, 20)], "working_lens": 2, "distance_cm": 50, "form": "minus"}


def test_the_frame_by_hand() -> None:
    # +2.00 −1.00 = +1.00; less 2.00 is −1.00; the cylinder stays.
    case = case_of("frame-net", FRAME)
    assert answer_of(case) == rx(-1, -0.75, 20)
    assert slips_of(case) == {
        "add-lenses/distance-taken-twice": rx(-3, -0.75, 20),
        "add-lenses/cylinder-into-sphere": rx(-1.75, -0.75, 20),
        "collect-cylinder/cylinder-dropped": rx(-1, 0, 20),
        "distance-in-dioptres/metres-not-inverted": rx(0.5, -0.75, 20),
        "distance-in-dioptres/always-one-fifty": rx(-0.5, -0.75, 20),
        "take-off-distance/distance-left-in": rx(1, -0.75, 20),
        "take-off-distance/distance-added": rx(3, -0.75, 20),
        "take-off-distance/off-cylinder-as-well": rx(-1, -2.75, 20),
        "take-off-distance/off-cylinder-instead": rx(1, -2.75, 20),
    }


def test_the_other_form_and_a_working_lens_that_does_not_fit() -> None:
    case = case_of("frame-net", {**FRAME, "form": "plus", "distance_cm": 40})
    # +1.00 less 2.50 is −1.50; −1.50/−0.75×20 turned.
    assert answer_of(case) == rx(-2.25, 0.75, 110)
    slips = slips_of(case)
    assert slips["take-off-distance/working-lens-for-distance"] == rx(-1.75, 0.75, 110)
    assert slips["turn-sphere/sphere-not-readded"] == rx(-1.5, 0.75, 110)
    assert slips["turn-axis/axis-not-turned"] == rx(-2.25, 0.75, 20)


def test_two_cylinders_at_one_axis() -> None:
    case = case_of("frame-net", {**FRAME, "lenses": [*FRAME["lenses"], rx(0, -1, 20)]})  # type: ignore[misc]
    assert answer_of(case) == rx(-1, -1.75, 20)
    assert slips_of(case)["collect-cylinder/one-cylinder-counted"] == rx(-1, -1, 20)


def test_a_published_mock_station_as_a_frame() -> None:
    """+2.25 DS with −2.50 DC × 180 in the frame at two thirds of a metre: net +0.75/−2.50×180 (22/8)."""
    lenses = [rx(0.75), rx(1.5), rx(0, -2.5, 180)]
    case = case_of("frame-net", {"lenses": lenses, "working_lens": 1.5, "distance_cm": 66.667})
    assert case.truth["prescription"].equals(SphCyl(0.75, -2.5, 180))


@pytest.mark.parametrize(
    ("change", "because"),
    [({"working_lens": 1.5}, "one of the spheres"), ({"lenses": [rx(2), rx(0, -1, 20), rx(0, -1, 60)]}, "crossed-sum")],
)
def test_frames_that_are_refused(change: dict[str, Any], because: str) -> None:
    with pytest.raises(CaseError, match=because):
        _ = case_of("frame-net", {**FRAME, **change}).truth


# ---- the axis from the break


@given(angles, st.integers(2, 40), st.sampled_from([-1, 1]), st.sampled_from([-3.0, -1.0, 1.0, 3.0]))
def test_the_reflex_points_to_the_axis_by_the_optics(axis: float, turn: int, side: int, cylinder: float) -> None:
    """With the other meridian neutral, `retinoscope.skew` of a streak beside the axis is just the way to it."""
    streak = axis_of(axis + side * turn)
    setting = Setting(rx=SphCyl(0, cylinder, axis), in_place=SphCyl(2), distance_cm=50)
    shown = look(setting, streak)
    reflex = axis_of(streak + shown.skew)
    found = {"streak": streak, "reflex": reflex, "seen": shown.movement}
    truth = case_of("axis-from-break", found).truth
    assert shown.movement == ("with" if cylinder > 0 else "against")
    assert axis_gap(truth["axis"], axis) < 1e-6
    assert truth["turn"] == ("down" if side > 0 else "up")


def test_the_break_by_hand() -> None:
    # From 80 anticlockwise to 95.
    case = case_of("axis-from-break", {"streak": 80, "reflex": 95, "seen": "with"})
    assert answer_of(case) == {"turn": "up", "axis": 95}
    assert slips_of(case) == {
        "read-scale/scale-mirrored": {"turn": "down", "axis": 85},
        "read-scale/scale-from-vertical": {"turn": "down", "axis": 175},
        "follow-reflex/break-unseen": {"turn": "leave", "axis": 80},
        "follow-reflex/away-from-reflex": {"turn": "down", "axis": 65},
        "follow-reflex/half-way-to-reflex": {"turn": "up", "axis": 87.5},
        "place-axis/axis-at-the-power": {"turn": "up", "axis": 5},
    }


def test_the_break_past_180_and_without_a_break() -> None:
    case = case_of("axis-from-break", {"streak": 175, "reflex": 10, "seen": "against"})
    assert answer_of(case) == {"turn": "up", "axis": 10}
    assert slips_of(case)["turn-on-dial/through-the-numbers"] == {"turn": "down", "axis": 10}
    level = case_of("axis-from-break", {"streak": 70, "reflex": 70})
    assert answer_of(level) == {"turn": "leave", "axis": 70}
    with pytest.raises(CaseError, match="cannot be judged"):
        _ = case_of("axis-from-break", {"streak": 20, "reflex": 109}).truth


# ---- a whole run


def run_of(first: str, second: str, **changes: Any) -> dict[str, Any]:
    kind = LensLog()
    findings: dict[str, Any] = {
        "first": {"streak": 90, "log": kind.to_json(kind.read(first)), "distance_cm": 66.667},
        "second": {"streak": 180, "log": kind.to_json(kind.read(second)), "distance_cm": 66.667},
        "planned_cm": 66.667,
    }
    for name, value in changes.items():
        place, _, part = name.partition("__")
        if part:
            findings[place][part] = value
        else:
            findings[place] = value
    return findings


def test_a_published_mock_station_as_a_whole_run() -> None:
    """Meridian 180 neutral +2.25, meridian 90 neutral +3.00 at two thirds of a metre: +1.50/−0.75×90 (8/5)."""
    case = case_of("whole-run", run_of("+2.00 with; +2.50 against", "+2.50 with; +3.00 neutral; +3.50 against"))
    assert case.truth["prescription"].equals(SphCyl(1.5, -0.75, 90))
    assert case.truth["mean"] == 1.125
    assert case.truth["flags"] == ()
    assert mark_text(case, "+1.50 -0.75 x 90; +1.12; none").verdict == "right"


def test_drift_and_a_glance_by_hand() -> None:
    # Second meridian from 50 cm: +3.50 less 2.00 is +1.50; the line in which the pupil shrank does not count.
    second = "+1.00 with; +2.00 against (pupil shrank); +3.00 with; +3.50 neutral; +4.00 against"
    case = case_of("whole-run", run_of("+2.00 with; +2.50 against", second, second__distance_cm=50))
    right = rx(1.5, -0.75, 90)
    assert answer_of(case) == {"prescription": right, "mean": 1.125, "flags": ["drift", "glance"]}
    slips = slips_of(case)
    # Taken at its word the line ends the log: half-way from +1.00 to +2.00, +1.50 less 2.00 is −0.50.
    assert slips["leave-out-unsteady/unsteady-line-counted"] == {
        "prescription": rx(0.75, -1.25, 180), "mean": 0.125, "flags": ["drift"],
    }  # fmt: skip
    # One and a half off both: +0.75 and +2.00.
    assert slips["distance-in-dioptres/drift-unheeded"] == {
        "prescription": rx(2, -1.25, 90), "mean": 1.375, "flags": ["glance"],
    }  # fmt: skip
    assert slips["flag-run/drift-not-flagged"] == {"prescription": right, "mean": 1.125, "flags": ["glance"]}
    assert slips["flag-run/glance-not-flagged"] == {"prescription": right, "mean": 1.125, "flags": ["drift"]}
    # A step late: +2.50 and +4.00, net +1.00 and +2.00; a step early: +2.00 and +3.00, net +0.50 and +1.00.
    assert slips["centre-end-point/first-against-taken"]["prescription"] == rx(2, -1, 90)
    assert slips["centre-end-point/last-with-taken"]["prescription"] == rx(1, -0.5, 90)
    assert slips["take-off-distance/distance-added"]["prescription"] == rx(5.5, -1.75, 90)
    assert slips["take-off-distance/off-one-meridian-only"]["prescription"] == rx(3.5, -2.75, 90)
    assert slips["halve-cylinder/whole-cylinder-added"]["mean"] == 0.75


def test_streaks_that_do_not_cross_are_refused() -> None:
    with pytest.raises(CaseError, match="right angles"):
        _ = case_of("whole-run", run_of("+1.00 neutral", "+2.00 neutral", second__streak=100)).truth
