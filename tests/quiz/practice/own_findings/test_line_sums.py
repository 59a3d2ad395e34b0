"""What follows from one line, checked against power matrices worked by numpy here, apart from the code."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from cases.notation.finding_line import read_finding_line
from cases.notation.prescription import read_power, read_prescription
from quiz.practice.own_findings.line_sums import line_result

Matrix = NDArray[np.float64]


def matrix(sphere: float, cylinder: float = 0.0, axis: float = 180.0) -> Matrix:
    """Power matrix by Long's formula (Long WF, Am J Optom Physiol Opt 1976;53:459)."""
    t = np.radians(axis)
    normal = np.array([np.sin(t), -np.cos(t)])
    return sphere * np.eye(2) + cylinder * np.outer(normal, normal)


def moved(power: Matrix, mm: float) -> Matrix:
    """Effective power after a move of `mm` towards the eye: F (I + d F)^-1 for d in m away from the light's source."""
    return power @ np.linalg.inv(np.eye(2) - mm / 1000 * power)


def vergence(cm: float) -> Matrix:
    return matrix(100 / cm)


LINES = [
    ("R +3.25/-1.50x20 50cm", "Net", matrix(3.25, -1.5, 20) - vergence(50)),
    ("L -2.75/-0.50x165 50 cm", "Net", matrix(-2.75, -0.5, 165) - vergence(50)),
    ("+1.75/+2.25x35 40cm plus", "Net", matrix(1.75, 2.25, 35) - vergence(40)),
    ("+2.50 50 cm", "Net", matrix(2.5) - vergence(50)),
    ("-1.25 40cm", "Net", matrix(-1.25) - vergence(40)),
    # A streak at 90 measures the meridian at 180.
    ("streak 90: +2.00, streak 180: +3.50, 50 cm", "Net", np.diag([2.0, 3.5]) - vergence(50)),
    ("streak 180: +2.00, streak 90: +3.50, 50 cm", "Net", np.diag([3.5, 2.0]) - vergence(50)),
    ("+2.00 @ 90, +3.50 @ 180, 50cm", "Net", np.diag([3.5, 2.0]) - vergence(50)),
    ("streak 90: sph +1.00, streak 180: cyl -1.50, 50cm", "Net", matrix(1.0, -1.5, 180) - vergence(50)),
    ("+2.00/-0.50x180 +2.00 WL included", "Net", matrix(2.0, -0.5, 180) - matrix(2.0)),
    ("+2.00/-0.50x70 +2.00 WL besides", "Net", matrix(2.0, -0.5, 70)),
    ("-8.50/-1.50x15 12>14mm", "At 14 mm from the cornea", moved(matrix(-8.5, -1.5, 15), -2)),
    ("-8.50/-1.50x15 12 > 0 mm", "At the cornea", moved(matrix(-8.5, -1.5, 15), 12)),
    ("+12.00/-2.00x90 14mm to 12mm", "At 12 mm from the cornea", moved(matrix(12, -2, 90), 2)),
    ("-10.00 vertex 12", "At the cornea", moved(matrix(-10), 12)),
    (
        "-3.00/-1.00x180 over-refraction +0.50/-0.25x90",
        "Correction needed",
        matrix(-2.5, -1, 180) + matrix(0, -0.25, 90),
    ),
    ("-3.00/-1.00x30 over-ret +2.00/-0.50x75 50cm", "Correction needed", matrix(-3, -1, 30) + matrix(0, -0.5, 75)),
    ("+1.00/-0.50x90 & +0.50/-0.25x30", "Together", matrix(1, -0.5, 90) + matrix(0.5, -0.25, 30)),
    ("CL -3.00 over-refraction +0.50", "Contact lens needed", matrix(-3) + moved(matrix(0.5), 12)),
    ("contact lens -6.00 over-refraction -4.50", "Contact lens needed", matrix(-6) + moved(matrix(-4.5), 12)),
    ("-1.25/-0.75x5", "The same in the other cylinder form", matrix(-1.25, -0.75, 5)),
]


@pytest.mark.parametrize(("text", "label", "expected"), LINES)
def test_a_real_sum_agrees_with_power_matrices(text: str, label: str, expected: Matrix) -> None:
    [line] = read_finding_line(text)
    result = line_result(line)
    value = {one.label: one.value for one in result.sums}[label]
    lens = read_prescription(value) if "×" in value or "DS" in value else None
    got = matrix(lens.sphere, lens.cylinder, lens.axis) if lens else matrix(read_power(value))
    # Powers are written to the hundredth and contact lenses to the quarter, axes to the degree.
    limit = 0.13 if label == "Contact lens needed" else 0.02 + abs(lens.cylinder if lens else 0) * 0.02
    assert np.abs(got - expected).max() <= limit, (value, expected)
    assert not result.warnings


def test_every_sum_can_be_worked_from_its_link() -> None:
    from quiz.practice.own_findings.working_out import computing_types, work_out

    for text, _, _ in LINES:
        for one in line_result(read_finding_line(text)[0]).sums:
            worked = work_out(computing_types()[one.type_id], one.texts)
            assert (
                one.value.split("; ")[0] in {worked.answers[0].value, worked.answers[0].value + " DS"}
                or one.label == "Net"
            )


def test_the_clinic_value_of_67_cm_is_said_beside_the_exact_one() -> None:
    result = line_result(read_finding_line("+2.50 67 cm")[0])
    assert (result.sums[0].value, result.sums[0].beside) == ("+1.00 DS", "exactly +1.01 DS")


def test_a_lens_without_a_distance_says_that_nothing_was_taken_off() -> None:
    assert "Nothing was taken off" in line_result(read_finding_line("R +3.25/-1.50x20")[0]).missing
    assert not line_result(read_finding_line("R +3.25/-1.50x20 net")[0]).missing


def test_a_toric_contact_lens_is_sent_to_the_type_that_knows_its_turn() -> None:
    result = line_result(read_finding_line("CL -3.00/-1.25x180 over-refraction +0.50")[0])
    assert not result.sums
    assert result.referral is not None
    assert result.referral.type_id == "toric-lens-over-refraction"
    assert result.referral.texts == {"lens": "−3.00 / −1.25 × 180", "found": "+0.50 DS"}


def test_a_cylinder_over_a_spherical_contact_lens_is_sent_to_the_cornea_first() -> None:
    result = line_result(read_finding_line("CL -3.00 over-refraction +0.50/-0.75x90")[0])
    assert result.referral is not None
    assert result.referral.type_id == "vertex-toric"
    assert result.referral.texts == {"rx": "+0.50 / −0.75 × 90", "toward_eye_mm": "12"}


@pytest.mark.parametrize(
    ("text", "net"),
    [
        ("+2.00 @ 90, +3.50 @ 175, 50cm", "+1.50 / −1.50 × 180"),
        ("streak 90: +2.00, streak 5: +3.50, 50cm", "+1.50 / −1.50 × 90"),
    ],
)
def test_two_directions_a_little_off_square_are_worked_with_one_warning(text: str, net: str) -> None:
    result = line_result(read_finding_line(text)[0])
    assert result.sums[0].value == net
    assert ["the second is taken at 180" in one for one in result.warnings] == [True]
