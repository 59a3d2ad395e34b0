"""The end-point, leaning, and how a reflex looks: by hand, and against the optics of reflex.py."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.curriculum.register import case_type
from cases.errors import CaseError
from cases.optics import light
from cases.optics.appearance import seen_in
from cases.optics.lens import SphCyl
from cases.optics.reflex import Setting, look
from cases.procedure.case_type import draw
from cases.procedure.lens_log import LensLog
from cases.procedure.marking import mark_text
from tests.cases.procedure.test_lens_log import sound_logs
from tests.cases.seeds import settings_of
from tests.cases.worked import answer_of, case_of, check_never_falls_over, slips_of

DISTANCES = (33.0, 40.0, 50.0, 57.0, 67.0, 80.0, 100.0)


@given(sound_logs())
def test_any_sound_log_is_worked(log: Any) -> None:
    check_never_falls_over(case_type("bracket-end-point"), {"log": LensLog().to_json(log)})


# ---- the end-point


def log_of(text: str) -> list[dict[str, Any]]:
    return LensLog().to_json(LensLog().read(text))


# By hand: common practice, no published source. (log, end-point, slips)
LOGS: list[tuple[str, float, Mapping[str, float]]] = [
    (
        "+1.00 with; +3.00 against; +1.50 with; +2.00 against",
        1.75,
        {"first-against-taken": 2, "last-with-taken": 1.5},
    ),
    (
        "+1.50 with; +2.00 against; +3.00 against; +1.00 with",
        1.75,
        {"first-against-taken": 2, "last-with-taken": 1.5, "last-tried": 2},
    ),
    (
        "+1.00 with; +1.75 neutral; +3.00 against",
        1.75,
        {"first-against-taken": 3, "last-with-taken": 1, "neutral-passed-over": 2},
    ),
    (
        "+1.50 with; +2.25 neutral; +1.75 neutral; +2.50 against",
        2,
        {"first-against-taken": 2.5, "last-with-taken": 1.5, "first-neutral-taken": 1.75},
    ),
]


@pytest.mark.parametrize(("text", "end_point", "slips"), LOGS)
def test_end_points_and_their_slips_by_hand(text: str, end_point: float, slips: Mapping[str, float]) -> None:
    case = case_of("bracket-end-point", {"log": log_of(text)})
    assert answer_of(case) == {"sphere": end_point}
    assert {name.split("/")[1]: answer["sphere"] for name, answer in slips_of(case).items()} == slips


def test_one_step_early_or_late_shows_in_every_case_drawn() -> None:
    for seed in range(200):
        case = draw(case_type("bracket-end-point"), seed, settings_of(seed))
        slips = slips_of(case)
        for slip in ("first-against-taken", "last-with-taken"):
            assert abs(slips[f"centre-end-point/{slip}"]["sphere"] - case.truth["sphere"]) >= 0.25


# ---- leaning


@given(
    st.sampled_from(["with", "against", "neutral"]), st.sampled_from(["in", "back"]), st.integers(5, 20),
    st.integers(40, 100), st.integers(-20, 20),
)  # fmt: skip
def test_leaning_agrees_with_the_optics(seen: str, lean: str, by: int, distance: int, quarters: int) -> None:
    """An eye made neutral at one distance, looked at from another by `retinoscope.look`."""
    found = {"in_place": quarters / 4, "distance_cm": distance, "lean": lean, "by_cm": by, "seen": seen}
    truth = case_of("lean-test", found).truth
    to = distance + (by if lean == "back" else -by)
    if to < 20:
        return
    eye = SphCyl(quarters / 4 - 100 / distance)
    shown = look(Setting(rx=eye, in_place=SphCyl(quarters / 4), distance_cm=to), 90)
    assert truth["shift"] == pytest.approx(shown.residual)
    assert truth["expected"] == shown.movement
    # More plus must bring what is expected towards what is seen, and less plus likewise.
    if truth["lens"] != "keep":
        need = {"plus": 1, "minus": -1}[truth["lens"]]
        ranks = {"against": -1, "neutral": 0, "with": 1}
        assert (ranks[seen] - ranks[truth["expected"]]) * need > 0
    else:
        assert seen == truth["expected"]


def test_slips_of_leaning_by_hand() -> None:
    # 50 to 40 cm: 2.00 to 2.50, so +0.50 is wanted at neutral: with. Against is seen: too much plus.
    found = {"in_place": -3, "distance_cm": 50, "lean": "in", "by_cm": 10, "seen": "against"}
    case = case_of("lean-test", found)
    assert answer_of(case) == {"shift": 0.5, "expected": "with", "lens": "minus"}
    assert slips_of(case) == {
        "compare-distances/drift-by-centimetres": {"shift": 0.1, "expected": "neutral", "lens": "minus"},
        "foretell-lean/leaned-wrong-way": {"shift": 0.5, "expected": "against", "lens": "keep"},
        "foretell-lean/neutral-expected-to-stay": {"shift": 0.5, "expected": "neutral", "lens": "minus"},
        "foretell-lean/lenses-in-place-forgotten": {"shift": 0.5, "expected": "against", "lens": "keep"},
        "lean-to-lens/with-and-against-swapped": {"shift": 0.5, "expected": "with", "lens": "plus"},
    }
    confirmed = case_of("lean-test", {**found, "seen": "with"})
    assert answer_of(confirmed)["lens"] == "keep"
    assert slips_of(confirmed)["lean-to-lens/lean-not-allowed-for"]["lens"] == "plus"


def test_a_lean_into_the_eye_is_refused() -> None:
    found = {"in_place": 0, "distance_cm": 50, "lean": "in", "by_cm": 48, "seen": "with"}
    with pytest.raises(CaseError, match="lean by less"):
        _ = case_of("lean-test", found).truth


# ---- how far from neutral


@given(st.permutations([0.4, -0.9, 2.5]), st.integers(40, 100))
def test_the_order_is_that_of_the_speeds(left: list[float], distance: int) -> None:
    """Speed from `retinoscope.look`: the fastest reflex is the nearest."""
    found = dict(zip("abc", left, strict=True))
    truth = case_of("near-or-far", {**found, "distance_cm": distance}).truth
    speeds = {
        name: look(Setting(rx=SphCyl(power), in_place=SphCyl(100 / distance), distance_cm=distance), 90).speed_ratio
        for name, power in found.items()
    }
    assert list(truth["order"]) == sorted(speeds, key=lambda name: -speeds[name])
    assert truth["step"].split("-")[0] == ("plus" if found["a"] > 0 else "minus")


def test_slips_of_the_order_by_hand() -> None:
    # At 67 cm: A 0.50 off is fast; C 1.50 off as fast as the streak, narrow; B 5.00 off very slow, wider again.
    case = case_of("near-or-far", {"a": -0.5, "b": 5, "c": 1.5, "distance_cm": 67})
    assert answer_of(case) == {"order": ["a", "c", "b"], "step": "minus-small"}
    assert slips_of(case) == {
        "look-to-distance-from-neutral/speed-reversed": {"order": ["b", "c", "a"], "step": "minus-large"},
        "look-to-distance-from-neutral/width-alone": {"order": ["a", "b", "c"], "step": "minus-small"},
        "look-to-distance-from-neutral/against-as-farther": {"order": ["c", "b", "a"], "step": "minus-small"},
        "step-size/large-step-near-neutral": {"order": ["a", "c", "b"], "step": "minus-large"},
        "movement-to-lens/with-and-against-swapped": {"order": ["a", "c", "b"], "step": "plus-small"},
    }
    far = slips_of(case_of("near-or-far", {"a": 5, "b": 0.5, "c": 1.5, "distance_cm": 67}))
    assert far["step-size/small-step-far-off"]["step"] == "plus-small"


def test_an_order_is_typed_by_letters_or_numbers() -> None:
    case = case_of("near-or-far", {"a": -0.5, "b": 5, "c": 1.5, "distance_cm": 67})
    for text in ("1 3 2; 3", "a, c, b; minus-small", "order=1 3 2; step=3"):
        assert mark_text(case, text.replace("; ", ";")).verdict == "right", text


@pytest.mark.parametrize(("left", "because"), [((1, 1, 2), "different distances"), ((0.05, 1, 2), "neutral already")])
def test_reflexes_that_cannot_be_ordered_are_refused(left: tuple[float, float, float], because: str) -> None:
    with pytest.raises(CaseError, match=because):
        _ = case_of("near-or-far", {**dict(zip("abc", left, strict=True)), "distance_cm": 67}).truth


# ---- a dull reflex

# A dull reflex calls for large lenses or a shorter distance (a continuing-education answer on high errors; common
# practice); an absent or white one is referred at once (Childhood Eye Cancer Trust page for optometrists; NICE NG12).
ACTIONS = [
    ("bright", (), "accept"), ("dull", (), "search"), ("dull", ("large-plus",), "search"),
    ("dull", ("large-plus", "large-minus"), "search"), ("dull", ("large-plus", "large-minus", "moved-in"), "refer"),
    ("white", (), "refer"), ("absent", (), "refer"), ("absent", ("large-plus", "large-minus"), "refer"),
]  # fmt: skip


@pytest.mark.parametrize(("light", "tried", "action"), ACTIONS)
def test_what_a_dull_reflex_calls_for(light: str, tried: tuple[str, ...], action: str) -> None:
    found = {"light": light, "tried": list(tried), "distance_cm": 67, "vision": "6/60"}
    assert answer_of(case_of("dull-reflex", found)) == {"action": action}


@pytest.mark.parametrize(
    ("light", "tried", "slips"),
    [
        ("dull", (), {
            "neutral-or-dull/dull-taken-for-neutral": "accept", "act-on-dull/quarter-steps-when-dull": "quarters",
            "act-on-dull/referred-before-looking": "refer", "act-on-dull/dull-left-unmeasured": "leave",
        }),
        ("dull", ("large-plus", "large-minus", "moved-in"), {
            "neutral-or-dull/dull-taken-for-neutral": "accept", "act-on-dull/kept-trying": "search",
            "act-on-dull/dull-left-unmeasured": "leave",
        }),
        ("bright", (), {"neutral-or-dull/neutral-doubted": "search", "act-on-dull/past-neutral": "quarters"}),
        ("white", (), {"neutral-or-dull/absent-taken-for-large-error": "search"}),
        ("absent", (), {"neutral-or-dull/absent-taken-for-large-error": "search"}),
    ],
)  # fmt: skip
def test_slips_of_a_dull_reflex(light: str, tried: tuple[str, ...], slips: Mapping[str, str]) -> None:
    found = {"light": light, "tried": list(tried), "distance_cm": 67, "vision": "6/60"}
    case = case_of("dull-reflex", found)
    assert {name: answer["action"] for name, answer in slips_of(case).items()} == slips


def test_a_large_error_is_dull_by_the_optics_too() -> None:
    """The errors meant, ±6 to ±15 D, are drawn rather dull, and slower than a third of the streak's speed."""
    for error in (-15, -6 - 1.5, 6, 15):
        setting = Setting(rx=SphCyl(error), in_place=SphCyl(0), distance_cm=67)
        assert look(setting, 90).speed_ratio < 1 / 3
        assert seen_in(setting, 90).brightness < 0.6
        bright = Setting(rx=SphCyl(error), in_place=SphCyl(error + 100 / 67), distance_cm=67)
        assert light.seen(setting, 90).peak_mm2 < light.seen(bright, 90).peak_mm2 / 5
