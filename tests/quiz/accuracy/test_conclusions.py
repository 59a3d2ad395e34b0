"""What the readings say: planted optics lead to the sentence that names them, each with its rule and its practice."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from cases.curriculum.register import all_types
from cases.optics.axes import axis_of
from cases.optics.lens import SphCyl
from cases.optics.schematic_eye import LE_GRAND, induced_astigmatism
from cases.optics.vergence import vergence
from quiz.accuracy.conclusions import PRACTICE, RULES, few, notes, p_words, quiet, readings
from quiz.accuracy.entries import Entry
from quiz.accuracy.patterns import WEIGHTS, Evidence, evidence_of
from quiz.accuracy.wording import TELL
from tests.quiz.accuracy.accuracy_logs import entry, log


def reading(evidence: Evidence, reading_id: str) -> str:
    one = next(one for one in readings(evidence) if one.id == reading_id)
    assert one.rule.startswith(RULES[reading_id])
    return f"{one.title}. {one.says} {one.suggests}"


def seen_from(angle: float, toward: dict[str, float]) -> list[Entry]:
    """Make a log of eyes seen `angle` degrees off axis, the examiner standing in the direction given for each eye.

    Directions in degrees as the examiner faces the patient: 180 to the examiner's left, 90 above. The minus cylinder
    that an eye gains has its axis across the meridian that holds the tilt (reflex from optics; Coddington trace).
    """
    cylinder = induced_astigmatism(LE_GRAND, angle)
    rows = log(patients=25, seed=3)
    return [
        entry(
            one.patient,
            one.eye,
            one.retinoscopy + SphCyl(0, cylinder, axis_of(toward[one.eye] + 90)),
            one.end_point,
        )
        for one in rows
    ]


# --- the optics of sighting --------------------------------------------------------------------------------------


@pytest.mark.parametrize("toward", [{"right": 180, "left": 180}, {"right": 180, "left": 0}, {"right": 0, "left": 180}])
def test_standing_to_the_side_reads_as_from_the_side_whichever_side_it_is(toward: dict[str, float]) -> None:
    """A horizontal tilt adds minus cylinder axis 90 in either eye: J0 of one sign in both, and nothing mirrored."""
    found = evidence_of(seen_from(11, toward))
    said = reading(found, "cylinder-level")
    assert "seen from the side" in said
    assert "axis 90" in said
    assert not found.claims("cylinder-mirrored")
    assert not found.claims("cylinder-uneven")
    assert "sighting-angle" in next(one for one in readings(found) if one.id == "cylinder-level").practice
    # Half the cylinder shows in M: a distance read out of it must carry the warning.
    assert found.claims("distance")
    assert "mend that first" in reading(found, "distance")


def test_standing_above_reads_as_from_above() -> None:
    said = reading(evidence_of(seen_from(11, {"right": 90, "left": 90})), "cylinder-level")
    assert "from above or below" in said
    assert "axis 180" in said


@pytest.mark.parametrize(
    ("right", "left", "words"),
    [(135, 45, "above and the temporal side"), (45, 135, "above and the nasal side")],
)
def test_standing_askew_alike_for_both_eyes_reads_as_mirrored(right: float, left: float, words: str) -> None:
    """The right eye's temporal side is the examiner's left: above it is 135 there, and 45 for the left eye."""
    found = evidence_of(seen_from(11, {"right": right, "left": left}))
    assert words in reading(found, "cylinder-mirrored")
    assert not found.claims("cylinder-oblique")


@pytest.mark.parametrize(("at", "words"), [(135, "above and your left"), (45, "above and your right")])
def test_one_place_askew_for_both_eyes_reads_as_that(at: float, words: str) -> None:
    found = evidence_of(seen_from(11, {"right": at, "left": at}))
    assert words in reading(found, "cylinder-oblique")
    assert not found.claims("cylinder-mirrored")


def test_a_turned_frame_is_named_with_its_degrees() -> None:
    """All axes 8° anticlockwise on eyes of 1.50 DC × 180: J45 shifts by 2 × 8° × 0.75, and the 8° come back."""
    rows = [
        entry(one, eye, SphCyl(-1, -1.5, 8 + one % 3), SphCyl(-1, -1.5, 180 if one % 3 else 1))
        for one in range(1, 16)
        for eye in ("right", "left")
    ]
    turned = sum(8 + one % 3 - (0 if one % 3 else 1) for one in range(1, 16)) / 15
    said = reading(evidence_of(rows), "cylinder-oblique")
    assert f"about {turned:.0f}° anticlockwise" in said


def test_the_other_eye_out_of_line_is_named_by_eye() -> None:
    said = reading(evidence_of(log(patients=25, J0=(-0.25, 0.05))), "cylinder-uneven")
    assert "the right eye has the more minus cylinder at axis 90" in said


def test_cylinder_taken_too_strong_is_named_beside_the_place() -> None:
    """Eyes with the rule and J0 too high: looking from above and over-reading every cylinder cannot be told apart."""
    said = reading(evidence_of(log(patients=25, J0=(0.25, 0.25))), "cylinder-level")
    assert "with the rule" in said
    assert "too strong" in said


# --- distance and fixation ---------------------------------------------------------------------------------------


def test_too_near_is_told_in_centimetres_with_an_interval() -> None:
    """57 cm where 67 was allowed for adds 100/57 − 100/67 = +0.26 D."""
    said = reading(evidence_of(log(patients=30, shift=vergence(57) - vergence(67), seed=5)), "distance")
    assert "too plus on the whole" in said
    assert "Causes that fit, in no order: a sight hole at" in said
    assert "67 cm was allowed for" in said
    assert "tape" in said
    assert "95 %:" in said


def test_too_far_names_the_other_causes() -> None:
    said = reading(evidence_of(log(patients=30, shift=-0.3)), "distance")
    assert "too minus on the whole" in said
    assert "looks at you" in said
    assert "−0.17 D" in said


def test_a_plus_shift_in_young_eyes_is_not_told_as_a_distance() -> None:
    """Up to 0.50 D more plus is held to be the young eye's own: common practice, no published source."""
    young = [replace(one, age="under-20") for one in log(patients=30, shift=0.30)]
    old = [replace(one, age="40-or-over") for one in log(patients=30, shift=0.30)]
    said = reading(evidence_of(young), "distance")
    assert "the young eye itself" in said
    assert "M alone cannot separate them" in said
    assert "young" not in reading(evidence_of(old), "distance")
    assert "young" not in reading(evidence_of(log(patients=30, shift=0.9)), "distance")


def test_a_shift_of_the_whole_distance_reads_as_left_in_throughout() -> None:
    evidence = evidence_of(log(patients=20, shift=1.49))
    assert "left in throughout" in reading(evidence, "distance")
    assert readings(evidence)[0].practice == PRACTICE["left-in"]
    assert "taken off twice" in reading(evidence_of(log(patients=20, shift=-1.49)), "distance")


def test_a_shift_that_no_usual_distance_explains_says_so() -> None:
    assert "No usual working distance" in reading(evidence_of(log(patients=20, shift=4.5)), "distance")


def test_accommodation_names_both_groups() -> None:
    rows = [
        entry(
            one,
            ret=SphCyl((-0.7 if one % 2 else 0) + 0.2 * math.sin(one)),
            age=("40-or-over", "under-20")[one % 2],
        )
        for one in range(1, 31)
    ]
    evidence = evidence_of(rows)
    said = reading(evidence, "accommodation")
    assert "by −0.69 D on the whole" in said
    one = next(one for one in readings(evidence) if one.id == "accommodation")
    assert "fixation-near" in one.practice


def test_one_forgotten_distance_is_the_first_thing_said() -> None:
    rows = log(patients=15, seed=4)
    was = rows[4]
    rows[4] = entry(was.patient, was.eye, was.end_point - SphCyl(1.5), was.end_point)
    first = readings(evidence_of(rows))[0]
    assert first.id == "left-in"
    assert "taken off twice" in first.suggests
    assert any("named as outlying" in note for note in notes(evidence_of(rows)))


# --- the honest word ---------------------------------------------------------------------------------------------


def test_a_small_log_says_that_it_is_small_and_claims_nothing() -> None:
    evidence = evidence_of(log(patients=4, shift=1))
    assert few(evidence).startswith("8 eyes of 4 patients so far: too few")
    assert readings(evidence) == ()
    assert quiet(evidence) == ""
    assert few(evidence_of([entry()])).startswith("1 eye of 1 patient so far")


def test_a_quiet_log_says_what_it_can_and_cannot_rule_out() -> None:
    evidence = evidence_of(log(patients=20, seed=2))
    assert readings(evidence) == ()
    assert "A true distance from" in quiet(evidence)
    assert few(evidence) == ""
    assert any("not independent" in note for note in notes(evidence))


def test_a_wet_end_point_is_warned_of() -> None:
    rows = [entry(one, ret=SphCyl(-0.5), end_wet=True) for one in range(1, 15)]
    assert any("no distance is read out of M" in note for note in notes(evidence_of(rows)))
    mixed = [*log(patients=12), entry(40, wet=True)]
    assert any(note.startswith("1 eye in which") for note in notes(evidence_of(mixed)))


def test_a_bias_of_the_vector_alone_is_told_as_that() -> None:
    """M and J0 scatter against one another and are both a little off: neither is clear alone, together they are."""
    rows = []
    for one in range(1, 21):
        swing = 0.4 * math.sin(9 * one)
        J0 = 0.1 - swing + 0.05 * math.cos(5 * one)
        rows.append(entry(one, ret=SphCyl.from_power_vector(0.1 + swing, J0, 0.02 * (one % 3 - 1))))
    evidence = evidence_of(rows)
    assert [one.id for one in readings(evidence)] == ["mean-vector"]
    assert "T² =" in reading(evidence, "mean-vector")


# --- every reading -----------------------------------------------------------------------------------------------


def test_every_test_has_its_rule_and_its_words() -> None:
    assert set(TELL) == set(WEIGHTS)
    assert set(RULES) == {*WEIGHTS, "left-in"}


def test_every_practice_is_a_type_that_exists() -> None:
    for types in PRACTICE.values():
        assert len(types) >= 3
        assert set(types) <= set(all_types())


def test_a_p_is_never_written_as_nought() -> None:
    assert p_words(0.0001) == "below 0.001"
    assert p_words(0.0123) == "= 0.012"
