"""Sighting: angles and heights against geometry and a published mean, each slip by hand, laws over seeds."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cases.curriculum.register import case_type
from cases.errors import CaseError
from cases.optics.sighting import offset_angle, sighting_height
from cases.procedure.case_type import draw
from cases.procedure.marking import mark_text
from cases.procedure.settings import Settings
from tests.cases.seeds import settings_of
from tests.cases.worked import answer_of, case_of, slip_answer, slips_of

# ---- the angle

# (offset cm, distance cm, degrees): the first three worked by the curriculum's authors from the arctangent; 1 cm at
# 57 cm is a degree: common practice, no published source.
ANGLES = [(3, 67, 2.6), (5, 67, 4.3), (10, 67, 8.5), (1, 57.3, 1.0)]


@pytest.mark.parametrize(("offset", "distance", "angle"), ANGLES)
def test_angles(offset: float, distance: float, angle: float) -> None:
    case = case_of("sighting-angle", {"offset_cm": offset, "distance_cm": distance})
    assert case.truth["angle"] == pytest.approx(angle, abs=0.05)
    assert case.truth["angle"] == pytest.approx(offset_angle(offset_cm=offset, distance_cm=distance))


def test_slips_of_an_angle_worked_by_hand() -> None:
    # 6 cm at 40 cm: 6 ÷ 40 = 0.15, whose angle is 8.53°; 40 ÷ 6 = 6.67, 81.5°; 6 ÷ 67 = 0.0896, 5.12°.
    case = case_of("sighting-angle", {"offset_cm": 6, "distance_cm": 40})
    assert answer_of(case) == {"angle": pytest.approx(8.531, abs=0.001)}
    assert {name: answer["angle"] for name, answer in slips_of(case).items()} == {
        "offset-over-distance/offset-upside-down": pytest.approx(81.469, abs=0.001),
        "offset-over-distance/two-thirds-rule-elsewhere": pytest.approx(5.117, abs=0.001),
        "ratio-to-angle/offset-as-angle": 6,
        "ratio-to-angle/ratio-as-angle": pytest.approx(0.15),
        "ratio-to-angle/percent-as-angle": pytest.approx(15),
    }


def test_near_57_cm_a_centimetre_is_a_degree_and_no_slip() -> None:
    case = case_of("sighting-angle", {"offset_cm": 6, "distance_cm": 57})
    assert "ratio-to-angle/offset-as-angle" not in slips_of(case)


def test_an_angle_is_typed_with_or_without_its_sign_of_degrees() -> None:
    case = case_of("sighting-angle", {"offset_cm": 5, "distance_cm": 67})
    for text in ("4.3", "4,3°", "4.27 degrees"):
        assert mark_text(case, text).verdict == "right"
    assert mark_text(case, "4.5").verdict == "near"
    assert mark_text(case, "5").verdict == "slip"


# ---- which eye with which eye


def test_lined_up_with_the_other_eye_is_the_published_angle() -> None:
    """Published mean 5.58°: Eye 2011, doi 10.1038/eye.2011.79; the 6.5 cm between an adult's pupils is from memory."""
    case = case_of("eye-for-eye", {"patient_eye": "right", "pupils_cm": 6.5, "distance_cm": 67})
    assert case.truth["angle"] == pytest.approx(5.58, abs=0.05)


@pytest.mark.parametrize(("eye", "move"), [("right", "your-left"), ("left", "your-right")])
def test_right_with_right_and_left_with_left(eye: str, move: str) -> None:
    """Common practice, no published source."""
    case = case_of("eye-for-eye", {"patient_eye": eye, "pupils_cm": 6.4, "distance_cm": 67})
    assert case.truth["own_eye"] == eye
    assert case.truth["move"] == move
    angle = pytest.approx(5.456, abs=0.001)
    other = {"right": "left", "left": "right"}[eye]
    assert slip_answer(case, "eye-across") == {"own_eye": other, "move": move, "angle": angle}
    assert slip_answer(case, "sides-mirrored")["move"] != move
    # Half of 6.4 cm is 3.2 cm, which at 67 cm is 2.73°.
    assert slip_answer(case, "half-pupil-distance")["angle"] == pytest.approx(2.734, abs=0.001)


# ---- heights


def test_about_8_cm_for_70_cm_at_the_end_of_6_m() -> None:
    """Common practice, no published source."""
    case = case_of("sighting-height", {"chart_height_cm": 70, "chart_path_cm": 600, "distance_cm": 200 / 3})
    assert case.truth["height_cm"] == pytest.approx(8, abs=0.5)
    assert mark_text(case, "8").verdict == "right"


def test_slips_of_a_height_worked_by_hand() -> None:
    # 60 ÷ 600 = 0.1 of the way, so 0.1 × 70 = 7 cm; to the mirror only 0.2, 14 cm; from the chart 0.9, 63 cm.
    case = case_of("sighting-height", {"chart_height_cm": 70, "chart_path_cm": 600, "distance_cm": 60})
    assert answer_of(case) == {"height_cm": 7}
    assert {name: answer["height_cm"] for name, answer in slips_of(case).items()} == {
        "share-of-path/path-halved-for-mirror": 14,
        "share-of-path/share-from-the-chart": 63,
        "height-on-line/mirror-turned-over": -7,
        "height-on-line/level-with-the-eye": 0,
    }


@given(st.floats(0, 200), st.floats(200, 1900), st.floats(20, 150))
def test_the_chain_agrees_with_the_geometry(height: float, path: float, distance: float) -> None:
    findings = {"chart_height_cm": height, "chart_path_cm": path, "distance_cm": distance}
    assert case_of("sighting-height", findings).truth["height_cm"] == pytest.approx(
        sighting_height(chart_height_cm=height, chart_path_cm=path, distance_cm=distance)
    )


def test_an_examiner_beyond_the_chart_is_refused() -> None:
    with pytest.raises(CaseError, match="shorter than the path"):
        _ = case_of("sighting-height", {"chart_height_cm": 70, "chart_path_cm": 150, "distance_cm": 160}).truth


# ---- off the line to the chart


def level(own: float, distance: float = 60, limit: float = 5) -> dict[str, float]:
    return {
        "chart_height_cm": 70,
        "chart_path_cm": 600,
        "distance_cm": distance,
        "own_height_cm": own,
        "limit": limit,
    }


def test_level_with_the_eye_one_is_off_by_the_height_of_the_chart() -> None:
    """At any distance the angle is that of the chart itself: 70 over 600 is 6.7°."""
    for distance in (33, 50, 67, 100):
        truth = case_of("sighting-level", level(0, distance)).truth
        assert truth["angle"] == pytest.approx(math.degrees(math.atan2(70, 600)))
        assert truth["inside"] == "beyond"


def test_slips_off_the_line_worked_by_hand() -> None:
    # The gaze rises atan(7/60) = 6.654° and the line to the eye atan(3/60) = 2.862°: 3.792° between them. To the mirror
    # only: atan(14/60) = 13.134°, 10.272°. Turned over: 6.654 + 2.862 = 9.517°. Own height as the offset: 2.862°.
    case = case_of("sighting-level", level(3))
    assert answer_of(case) == {"angle": pytest.approx(3.792, abs=0.001), "inside": "within"}
    expected = {
        "path-halved-for-mirror": (10.272, "beyond"),
        "mirror-turned-over": (9.517, "beyond"),
        "own-height-as-offset": (2.862, "within"),
        "offset-as-angle": None,
        "ratio-as-angle": (0.066, "within"),
        "percent-as-angle": (6.628, "beyond"),
    }
    for slip, answer in expected.items():
        if answer is None:
            assert not any(name.endswith(slip) for name in slips_of(case))
        else:
            assert slip_answer(case, slip) == {"angle": pytest.approx(answer[0], abs=0.001), "inside": answer[1]}


def test_a_limit_in_degrees_is_not_one_in_centimetres() -> None:
    # At 100 cm of 600 the gaze is 11.67 cm up, 6.654°; 6.5 cm is 3.719°: 2.935° between, and 5.13 cm square to it.
    case = case_of("sighting-level", level(6.5, distance=100))
    assert case.truth["angle"] == pytest.approx(2.935, abs=0.001)
    assert case.truth["inside"] == "within"
    assert slip_answer(case, "limit-in-centimetres")["inside"] == "beyond"


def test_the_limit_is_the_clinics() -> None:
    assert case_of("sighting-level", level(3, limit=3)).truth["inside"] == "beyond"
    drawn = draw(case_type("sighting-level"), 1, Settings(norms={"sighting-limit": 3.0}))
    assert drawn.findings["limit"] == 3.0


def test_the_angle_is_that_between_the_two_lines_and_an_upright_offset_is_near_it() -> None:
    """Source: trigonometry. Many take the offset upright over the distance; that is within the tolerance."""
    for seed in range(300):
        case = draw(case_type("sighting-level"), seed, settings_of(seed))
        f = case.findings
        gaze = math.atan2(f["chart_height_cm"], f["chart_path_cm"])
        exact = abs(math.degrees(gaze - math.atan2(f["own_height_cm"], f["distance_cm"])))
        assert case.truth["angle"] == pytest.approx(exact, abs=1e-6)
        height = f["chart_height_cm"] * f["distance_cm"] / f["chart_path_cm"]
        upright = math.degrees(math.atan2(abs(height - f["own_height_cm"]), f["distance_cm"]))
        assert case.type.asks[0].kind.close(upright, case.truth["angle"])
