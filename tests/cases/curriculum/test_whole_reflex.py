"""The whole reflex: exactly what cases/optics/reflex.py says, and each slip by hand."""

from __future__ import annotations

import json
import math
import subprocess
import sys

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cases.curriculum.movement.whole_reflex import IN_STREAK_SPEEDS
from cases.curriculum.register import case_type
from cases.errors import CaseError
from cases.optics.lens import SphCyl
from cases.optics.reflex import Setting, look
from cases.procedure.case_type import draw
from cases.procedure.documents import case_document
from cases.procedure.marking import mark_text
from tests.cases.drawing import sound
from tests.cases.seeds import settings_of
from tests.cases.worked import answer_of, case_of, rx, slips_of

quarters = st.integers(-40, 40).map(lambda number: number / 4)
lenses = st.builds(SphCyl, quarters, quarters, st.integers(1, 180).map(float))


@settings(max_examples=300)
@given(lenses, lenses, st.integers(20, 150), st.integers(1, 180))
@example(SphCyl(1), SphCyl(3), 50, 90)
@example(SphCyl(1), SphCyl(2.875), 50, 90)
@example(SphCyl(0, -4, 180), SphCyl(-0.0), 50, 45)
def test_the_chain_gives_what_the_optics_give(eye: SphCyl, in_place: SphCyl, distance: int, streak: int) -> None:
    """The chain goes by the sine-squared law, `look` by power matrices: two routes to one reflex."""
    findings = {"rx": eye, "in_place": in_place, "distance_cm": float(distance), "streak": float(streak)}
    truth = case_type("reflex").case(findings).truth
    shown = look(Setting(rx=eye, in_place=in_place, distance_cm=distance), streak)
    assert truth["movement"] == shown.movement
    assert truth["residual"] == pytest.approx(shown.residual, abs=1e-9)
    assert truth["speed_ratio"] == shown.speed_ratio
    assert truth["skew"] == shown.skew


def test_a_low_myope_by_hand() -> None:
    """−1.00 DS at 50 cm wants +1.00: with, twice the streak's speed, along the streak."""
    case = case_of("reflex", {"rx": rx(-1), "in_place": rx(0), "distance_cm": 50, "streak": 90})
    assert answer_of(case) == {"movement": "with", "residual": 1, "speed_ratio": 2, "skew": 0}


def test_skew_by_hand() -> None:
    """By tan ψ = (e₁/e₂) tan φ (cases/optics/README.md), e₁ = +3 along 180, e₂ = +1, streak at 45: ψ = 71.57."""
    case = case_of("reflex", {"rx": rx(1, -2, 180), "in_place": rx(0), "distance_cm": 50, "streak": 45})
    answer = answer_of(case)
    assert answer["residual"] == 2
    assert answer["skew"] == pytest.approx(math.degrees(math.atan(3)) - 45, abs=0.001)
    assert answer["speed_ratio"] == pytest.approx(2 / math.sqrt(5), abs=0.001)


def test_neutral_is_infinitely_fast_and_null_in_json() -> None:
    case = case_of("reflex", {"rx": rx(1), "in_place": rx(3), "distance_cm": 50, "streak": 90})
    assert answer_of(case) == {"movement": "neutral", "residual": 0, "speed_ratio": None, "skew": 0}
    assert "NaN" not in json.dumps(case_document(case), allow_nan=False)
    assert mark_text(case, "neutral; 0; infinite; 0").verdict == "right"


def test_the_contract_on_the_command_line() -> None:
    findings = {"rx": rx(-3, -1.5, 90), "in_place": rx(0), "distance_cm": 67, "streak": 90}
    command = [sys.executable, "-m", "cases", "work", "reflex", "--findings", json.dumps(findings), "--json"]
    answer = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)["answer"]
    shown = look(Setting(rx=SphCyl(-3, -1.5, 90), in_place=SphCyl(0), distance_cm=67), 90)
    assert list(answer) == ["movement", "residual", "speed_ratio", "skew"]
    assert answer["movement"] == shown.movement == "against"
    for name in ("residual", "speed_ratio", "skew"):
        assert answer[name] == pytest.approx(getattr(shown, name), abs=0.0005)


def test_slips_by_hand_on_a_principal_meridian() -> None:
    # Streak 90, meridian 180: the eye has −1.00 − 2.00 = −3.00 there, and −3.00 + 2.00 − 1.00 = −2.00 is left.
    case = case_of("reflex", {"rx": rx(-1, -2, 90), "in_place": rx(1), "distance_cm": 50, "streak": 90})
    right = {"movement": "against", "residual": -2, "speed_ratio": 1, "skew": 0}
    assert answer_of(case) == right
    assert slips_of(case) == {
        "read-meridian/sweep-for-streak": {"movement": "neutral", "residual": 0, "speed_ratio": None, "skew": 0},
        "eye-in-meridians/cylinder-ignored-in-meridian": {
            "movement": "neutral", "residual": 0, "speed_ratio": None, "skew": 0,
        },
        "power-left/distance-ignored-in-movement": {
            "movement": "against", "residual": -4, "speed_ratio": 0.5, "skew": 0,
        },
        "power-left/lenses-in-place-forgotten": {"movement": "against", "residual": -1, "speed_ratio": 2, "skew": 0},
        "power-to-movement/with-and-against-swapped": {**right, "movement": "with"},
        # speed-inverted gives 2.00/2.00 = 1 as well: that case would be thrown back.
        "reflex-speed/speed-inverted": right,
        "reflex-speed/distance-left-out-of-speed": {**right, "speed_ratio": 0.5},
    }  # fmt: skip


def test_slips_by_hand_off_the_principal_meridians() -> None:
    # Left +3.00 along 180, +1.00 along 90; streak 60, tan ψ = 3 tan 60, ψ = 79.11: +2.50 left, 0.866 along the streak.
    case = case_of("reflex", {"rx": rx(1, -2, 180), "in_place": rx(0), "distance_cm": 50, "streak": 60})
    slips = slips_of(case)
    assert answer_of(case)["residual"] == pytest.approx(2.5)
    assert answer_of(case)["skew"] == pytest.approx(19.107, abs=0.001)
    assert slips["pull-along-streak/skew-left-out"]["skew"] == 0
    assert slips["pull-along-streak/skew-left-out"]["speed_ratio"] == pytest.approx(0.8)
    assert slips["pull-along-streak/skew-reversed"]["skew"] == pytest.approx(-19.107, abs=0.001)
    # Meridian 150 lies 30 from the axis: a third of −2.00 instead of a quarter.
    assert slips["eye-in-meridians/linear-fraction"]["residual"] == pytest.approx(2.333, abs=0.001)


def test_figures_are_sound() -> None:
    for seed in range(30):
        case = draw(case_type("reflex"), seed, settings_of(seed))
        figure = case.type.figure(case.findings, "f")
        assert figure
        sound(figure)


# ---- the kind of a speed


@pytest.mark.parametrize(
    ("text", "value"), [("0.5", 0.5), ("3", 3), ("infinite", math.inf), ("∞", math.inf), ("0,75", 0.75)]
)
def test_speeds_are_read(text: str, value: float) -> None:
    assert IN_STREAK_SPEEDS.read(text) == value
    assert IN_STREAK_SPEEDS.read(IN_STREAK_SPEEDS.write(value)) == value
    assert IN_STREAK_SPEEDS.from_json(IN_STREAK_SPEEDS.to_json(value)) == value


@pytest.mark.parametrize("text", ["-1", "fast", "", "2 D"])
def test_what_is_no_speed_is_refused(text: str) -> None:
    with pytest.raises(CaseError):
        IN_STREAK_SPEEDS.read(text)


def test_speeds_are_compared_as_shares() -> None:
    kind = IN_STREAK_SPEEDS
    assert kind.same(0.52, 0.5)
    assert kind.close(0.56, 0.5)
    assert not kind.close(0.6, 0.5)
    assert kind.close(6.5, 6)
    assert not kind.close(math.inf, 6)
    assert not kind.close(6, math.inf)
    assert kind.same(math.inf, math.inf)
