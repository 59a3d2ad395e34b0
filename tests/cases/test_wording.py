"""What the found lines and the preceptor's words say holds in every type that uses them."""

from __future__ import annotations

from typing import Any

import pytest

from cases.curriculum import skills
from cases.curriculum.register import case_type

AT = {"distance_cm": 67}


@pytest.mark.parametrize(
    ("type_id", "findings", "lines"),
    [
        (
            "two-spheres",
            {"first": {"streak": 90, "sphere": 0}, "second": {"streak": 180, "sphere": 1.0}, **AT},
            ("Streak at 90: neutral with no lens in place.", "Streak at 180: neutral with +1.00 DS alone in place."),
        ),
        (
            "centre-margin",
            {"centre": 0, "margin": 1.0, **AT},
            (
                "The pupil is wide under drops. With no lens in place its central 3 to 4 mm are neutral in every "
                "meridian.",
                "With +1.00 DS alone in place its margin is neutral.",
            ),
        ),
        ("net-sphere", {"gross": 0, **AT}, ("Every meridian is neutral with no lens in place.",)),
        (
            "net-sphere",
            {"gross": 0.5, **AT},
            ("Every meridian is neutral with +0.50 D, the only lens in place.",),
        ),
        (
            "sphere-then-cyl",
            {"sphere": 0, "sphere_streak": 90, "cylinder": -1, "cylinder_streak": 180, **AT},
            (
                "Streak at 90: neutral with no lens in place.",
                "With no sphere in, streak at 180: neutral with −1.00 DC added.",
            ),
        ),
    ],
)
def test_nobody_is_told_of_a_lens_of_no_power(type_id: str, findings: dict[str, Any], lines: tuple[str, ...]) -> None:
    case = case_type(type_id).case_from_json(findings)
    assert case.type.found(case.findings)[: len(lines)] == lines


def test_a_streak_is_spoken_of_only_where_it_lies_along_the_axis() -> None:
    """The slip is met in types without a streak, and in one whose streak is not on the axis yet."""
    assert "streak" not in skills.AXIS_AT_POWER.tells
    case = case_type("streak-axis").case_from_json({"streak": 70})
    said = [line.says for line in case.run.lines if line.step == skills.PLACE_AXIS.id]
    assert said == ["A cylinder acts across its axis, so the axis lies along your streak, at 70."]
    for one in case.singles:
        for line in one.run.lines:
            # A streak that was misread lies, for the person who misread it, where it was read.
            on_it = line.known.get("axis") == line.known["streak"]
            assert ("along your streak" in line.says) == on_it, one.slips
