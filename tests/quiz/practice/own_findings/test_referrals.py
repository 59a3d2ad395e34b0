"""Where findings belong that a type cannot take: the type, the numbers carried over, and what comes out there."""

from __future__ import annotations

import pytest

from quiz.practice.own_findings.referrals import Referral, referrals
from quiz.practice.own_findings.working_out import BadFindings, computing_types, inputs_for, work_out

LENS = "+3.25/-1.50x20"
USUAL = {
    "first.streak": "90",
    "first.sphere": "+2.25",
    "second.streak": "180",
    "second.sphere": "+3.00",
    "sphere": "+2.25",
    "sphere_streak": "90",
    "cylinder": "-2.50",
    "cylinder_streak": "180",
    "gross": "+2.50",
    "distance_cm": "50 cm",
    "planned_cm": "50 cm",
    "first.distance_cm": "50 cm",
    "second.distance_cm": "50 cm",
    "power": "-8.00",
    "toward_eye_mm": "12",
    "lens": "-3.00",
    "found": "+0.50",
    "vertex_mm": "12",
    "working_lens": "+2.00",
    "written": "+1.00",
    "assumed_cm": "50 cm",
    "actual_cm": "40 cm",
    "centre": "+1.00",
    "margin": "+1.50",
    "form": "minus",
}


def referral(type_id: str, name: str, typed: str, **more: str) -> Referral | None:
    """Type a text into one field, the others as usual, and return where it is said to belong."""
    names = {one.name for one in inputs_for(computing_types()[type_id])}
    texts = {key: text for key, text in (USUAL | more | {name: typed}).items() if key in names}
    with pytest.raises(BadFindings) as caught:
        work_out(computing_types()[type_id], texts)
    found = referrals(computing_types()[type_id], texts, caught.value.faults)
    return found.get(name, found.get(""))


WORKED = [
    # +3.25 − 2.00 for 50 cm is +1.25, by hand: a distance never touches the cylinder.
    ("net-sphere", "gross", LENS, "two-spheres", "+1.25 / −1.50 × 20"),
    ("two-spheres", "first.sphere", LENS, "two-spheres", "+1.25 / −1.50 × 20"),
    ("sphere-then-cyl", "sphere", LENS, "sphere-then-cyl", "+1.25 / −1.50 × 20"),
    ("net-sphere", "gross", "+2.00 @ 90, +3.50 @ 180", "two-spheres", "+1.50 / −1.50 × 180"),
    # The clinic's three lenses: +2.00 of working lens in the frame and 50 cm cancel.
    ("working-lens", "lenses", "+1.00/-0.50x90; +2.00", "frame-net", "+1.00 / −0.50 × 90"),
    # F/(1 − dF) along each meridian, by hand: −8/1.096 = −7.30, −9/1.108 = −8.12.
    ("vertex-sphere", "power", "-8.00/-1.00x180", "vertex-toric", "−7.30 / −0.82 × 180"),
    ("soft-lens-over-refraction", "found", "+8.00/-1.00x90", "vertex-toric", "+8.85 / −1.21 × 90"),
    # 40 cm less 50 cm is 2.50 − 2.00 D too little taken off: +0.50.
    ("distance-drift", "written", "+1.00/-0.75x90", "distance-drift", "+0.50 D"),
    ("transpose", "rx", "+1.00 @ 180, -0.50 @ 90", "cross-to-rx", "+1.00 / −1.50 × 180"),
    ("cross-to-rx", "powers", LENS, "rx-to-cross", "+3.25 @ 20, +1.75 @ 110"),
    ("cylinder-working", "powers", LENS, "cylinder-working", "against"),
    ("centre-margin", "centre", LENS, "rx-to-cross", "+3.25 @ 20, +1.75 @ 110"),
    ("two-spheres", "distance_cm", "", "cross-to-rx", "+3.00 / −0.75 × 90"),
    ("sphere-then-cyl", "distance_cm", "", "transpose", "−0.25 / +2.50 × 90"),
    # +1.50 D is two thirds of a metre, of which the clinic takes 1.50 off.
    ("net-sphere", "distance_cm", "+1.50", "net-sphere", "+1.00 D"),
    ("net-sphere", "distance_cm", "2 D", "net-sphere", "+0.50 D"),
    ("vertex-sphere", "toward_eye_mm", "12>14", "vertex-sphere", "−8.13 D"),
    ("toric-lens-over-refraction", "lens", "-3.00", "soft-lens-over-refraction", "−2.50 D"),
    ("whole-run", "first.log", "+2.25", "two-spheres", "+1.00 / −0.75 × 90"),
]


@pytest.mark.parametrize(("type_id", "name", "typed", "to", "answer"), WORKED)
def test_what_was_typed_is_worked_out_where_it_belongs(
    type_id: str, name: str, typed: str, to: str, answer: str
) -> None:
    more = {"turned": "10", "side": "left"} if type_id.startswith("toric") else {}
    if type_id == "whole-run":
        more = {"second.log": "+3.00"}
    found = referral(type_id, name, typed, **more)
    assert found is not None
    assert found.type_id == to
    assert work_out(computing_types()[to], found.texts).answers[0].value == answer
    assert found.says.endswith(":"), "a link follows"


@pytest.mark.parametrize(
    ("type_id", "name", "typed", "to", "missing"),
    [
        ("soft-lens-over-refraction", "lens", "-3.00/-1.25x180", "toric-lens-over-refraction", {"turned", "side"}),
        ("bench-sphere", "rx", "+2.00/-1.00x30", "bench-eye", {"start_streak"}),
        ("hand-over", "distance_cm", "", "vergence-distance", {"power"}),
    ],
)
def test_where_more_is_asked_for_its_form_opens_with_what_was_typed(
    type_id: str, name: str, typed: str, to: str, missing: set[str]
) -> None:
    found = referral(type_id, name, typed, **({"gross": "+2.00/-1.00x30"} if type_id == "hand-over" else {}))
    assert found is not None
    assert found.type_id == to
    with pytest.raises(BadFindings) as caught:
        work_out(computing_types()[to], found.texts)
    assert set(caught.value.faults) == missing


@pytest.mark.parametrize("typed", ["R +3.25/-1.50x20 67cm", "+1.00/-0.50x90 & +0.50/-0.25x30", "90: +2.00, 180: +3.50"])
def test_a_whole_line_in_one_field_goes_to_the_field_for_one_line(typed: str) -> None:
    found = referral("transpose", "rx", typed)
    assert found is not None
    assert (found.line, found.type_id) == (typed, "")


@pytest.mark.parametrize(
    ("type_id", "name", "typed"),
    [("net-sphere", "gross", "what"), ("net-sphere", "distance_cm", "-1.50"), ("transpose", "rx", "-3.25/-1.50"),
     ("axis-error", "rx", "+2.00"), ("vertex-sphere", "toward_eye_mm", "far")],
)  # fmt: skip
def test_what_cannot_be_read_leads_nowhere(type_id: str, name: str, typed: str) -> None:
    assert referral(type_id, name, typed, placed="20") is None


def test_a_sphere_without_a_fellow_for_cylinders_says_so() -> None:
    found = referral("tilted-lens", "power", LENS, tilt="10")
    assert found is not None
    assert (found.says, found.type_id) == ("A sphere only here; there is no type for a cylinder.", "")


@pytest.mark.parametrize("type_id", ["cross-to-rx", "cylinder-working"])
def test_a_cross_a_little_off_square_is_worked_with_a_warning(type_id: str) -> None:
    worked = work_out(computing_types()[type_id], {"powers": "+1.00 @ 180, -0.50 @ 84", "form": "minus"})
    assert worked.answers[-1].value == "+1.00 / −1.50 × 180"
    assert "84° apart" in worked.warnings[0]
    [says] = work_out(computing_types()[type_id], {"powers": "+1.00 @ 180, -0.50 @ 89", "form": "minus"}).warnings
    assert "89° apart" in says
    with pytest.raises(BadFindings):
        work_out(computing_types()[type_id], {"powers": "+1.00 @ 180, -0.50 @ 60", "form": "minus"})
