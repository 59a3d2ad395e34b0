"""Thirty-two things that can go wrong, each as a script: its term with the size expected, and no other.

Sizes come from optics (100/cm, 2C·sin δ, effective power, the tilt of a thin lens) and from published response, dark
focus and time course, named beside each. Three have no dioptres: the log holds the observation.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from cases.optics.lens import SphCyl
from cases.optics.reflex import movement
from cases.patients.drawing_patients import draw_patient
from cases.patients.examination.acts import TAPE_OFFSETS_CM, Act
from cases.patients.examination.findings import causes, failed
from cases.patients.examination.ledger import Ledger, TermId
from cases.patients.examination.left_out import observations
from cases.patients.examination.world import Examiner, accommodation, gaze, setting_of
from cases.patients.patient import SIDES, Medium, Patient, written
from cases.patients.readings import ADULT, with_blur
from tests.cases.patients.examination.scripts import TWO_THIRDS_CM, Script, patient_of, whole

EYE = SphCyl(-2, -1, 180)
OLD = patient_of(EYE, SphCyl(-1.5, -0.5, 180))
"""60 years: nothing is accommodated, so what shows is geometry."""
YOUNG = {"age": 20.0}
ROUNDED: TermId = "rounding"


def only(found: Ledger, *expected: TermId) -> None:
    """Hold a ledger to these terms: all else is within what rounding hides."""
    assert found.open_d < 0.01
    assert {one.id for one in found.shown} - {ROUNDED} == set(expected)


def says(script: Script, found: Ledger, term: TermId, words: str) -> None:
    assert any(words in one for one in causes(script.patient, script.examined, found, term))


def test_a_right_examination_has_no_term() -> None:
    script = whole(OLD)
    for side in SIDES:
        only(script.ledger(side))
    assert script.examined.record.written["right"] == EYE
    assert observations(OLD, script.examined, Examiner()) == ()
    assert failed(OLD, script.examined) is None


def seated(cm: float) -> Script:
    script = Script(OLD).set_up().do("seat", cm)
    return script.measure("right").measure("left").take().record()


def test_1_nearer_than_was_taken_off() -> None:
    script = seated(50)
    for found in (script.ledger("right"), script.ledger("left")):
        only(found, "distance")
        assert found.term("distance").lens.equals(SphCyl(0.5), 0.01)
        says(script, found, "distance", "You sat at 50 cm, worth 2.00 D, and took off 1.50 D.")


def test_2_farther_than_was_taken_off() -> None:
    for found in map(seated(100).ledger, SIDES):
        only(found, "distance")
        assert found.error.equals(SphCyl(-0.5), 0.01)


def test_3_drifted_between_the_eyes() -> None:
    script = Script(OLD).set_up().measure("right").do("seat", 57.0).measure("left").take().record()
    only(script.ledger("right"))
    only(script.ledger("left"), "distance")
    assert script.ledger("left").term("distance").mean_d == pytest.approx(0.26, abs=0.01)


def test_4_drifted_between_the_meridians() -> None:
    script = Script(OLD).set_up().fog("left").neutralise("right", 180).do("seat", 57.0).neutralise("right", 90)
    script.take().record("right")
    found = script.ledger("right")
    only(found, "distance")
    lens = found.term("distance").lens
    assert -lens.cylinder == pytest.approx(100 / 57 - 1.5, abs=0.01)
    assert lens.axis in (90, 180)


@pytest.mark.parametrize(("cm", "left_in"), [(TWO_THIRDS_CM, 1.5), (50.0, 2.0)])
def test_5_the_distance_left_in(cm: float, left_in: float) -> None:
    script = Script(OLD).set_up().do("seat", cm).measure("right").measure("left").record()
    for found in (script.ledger("right"), script.ledger("left")):
        only(found, "distance")
        assert found.error.equals(SphCyl(left_in), 0.01)
        says(script, found, "distance", "Nothing was taken off")


def test_6_taken_off_twice() -> None:
    script = Script(OLD).set_up().do("lens", ("working", SphCyl(1.5)), "right").measure("right").take()
    script.do("write", script.found("right", off=1.5), "right")
    found = script.ledger("right")
    only(found, "distance")
    assert found.error.equals(SphCyl(-1.5), 0.01)
    says(script, found, "distance", "twice")


@pytest.mark.parametrize(("place", "size"), [("ear", 0.16), ("brow", -0.12)])
def test_7_the_tape_held_to_the_wrong_place(place: str, size: float) -> None:
    read = TWO_THIRDS_CM + TAPE_OFFSETS_CM[place]
    script = Script(OLD).set_up().do("tape", place).measure("right").take(100 / read).record("right")
    found = script.ledger("right")
    only(found, "distance")
    assert found.term("distance").mean_d == pytest.approx(size, abs=0.01)
    assert 0.1 <= abs(size) <= 0.2
    says(script, found, "distance", f"The tape was held at the {place}")


def test_8_looked_at_the_face() -> None:
    """A young emmetrope at 50 cm: 0.10 + 0.83 × 2 (Rouse 1984 and Candy 2012, lag about a third of a dioptre)."""
    script = Script(patient_of(SphCyl(0), age=20)).set_up().do("target", "face").do("seat", 50.0)
    found = script.measure("right", fog=False).take(2).record("right").ledger("right")
    only(found, "accommodation")
    assert found.term("accommodation").mean_d == pytest.approx(-1.8, abs=0.05)
    says(script, found, "accommodation", "looked at your face")


def test_9_a_near_target_taken_for_far() -> None:
    script = Script(patient_of(SphCyl(0), age=20, response_lead_d=0.0)).set_up().do("target", 3.0)
    found = script.measure("right", fog=False).take().record("right").ledger("right")
    only(found, "accommodation")
    assert -0.33 <= found.term("accommodation").mean_d <= -0.25
    says(script, found, "accommodation", "only 3 m away")


def test_10_no_target_in_the_dark() -> None:
    """The dark focus lies at 0.5 to 1.1 D by day."""
    script = Script(patient_of(SphCyl(0), age=20)).set_up().do("room", "dark").do("target", "off")
    found = script.measure("right").take().record("right").ledger("right")
    only(found, "accommodation")
    assert -1.1 <= found.term("accommodation").mean_d <= -0.5
    says(script, found, "accommodation", "no target in the dark")


def test_11_the_other_eye_not_fogged() -> None:
    patient = patient_of(SphCyl(1.75), SphCyl(4.5), age=20, response_lead_d=0.0)
    script = Script(patient).set_up().do("target", 1e6).measure("right", fog=False).take().record("right")
    found = script.ledger("right")
    only(found, "accommodation")
    assert found.term("accommodation").mean_d == pytest.approx(-0.83 * 4.5, abs=0.01)
    says(script, found, "accommodation", "not fogged")


def test_11_fogged_too_little() -> None:
    """+2.00 before an eye of +4.50 leaves it 2.50 D of plus to make up: what was put in is said."""
    patient = patient_of(SphCyl(1.75), SphCyl(4.5), age=20, response_lead_d=0.0)
    script = Script(patient).set_up().do("target", 1e6).do("lens", ("sphere", SphCyl(2)), "left")
    found = script.measure("right", fog=False).take().record("right").ledger("right")
    only(found, "accommodation")
    assert found.term("accommodation").mean_d == pytest.approx(-0.83 * 2.5, abs=0.01)
    says(script, found, "accommodation", "The left eye needs +4.50 D and had +2.00 D: that fogs it too little")


def test_12_fogged_by_its_own_myopia() -> None:
    script = Script(patient_of(SphCyl(0), SphCyl(-3), age=20)).set_up().do("lens", ("sphere", SphCyl(1.5)), "left")
    found = script.measure("right", fog=False).take().record("right").ledger("right")
    says(script, found, "accommodation", "most of it by its own myopia")


def test_12_fogged_too_much() -> None:
    script = Script(patient_of(SphCyl(0), age=20)).set_up().fog("left", 4.0).measure("right", fog=False)
    found = script.take().record("right").ledger("right")
    only(found, "accommodation")
    assert found.term("accommodation").mean_d == pytest.approx(-0.75, abs=0.01)
    says(script, found, "accommodation", "more than 3 D")


def test_13_the_first_eyes_lens_taken_out() -> None:
    patient = patient_of(SphCyl(3), SphCyl(1), age=20, response_lead_d=0.0)
    script = Script(patient).set_up().do("target", 1e6).measure("right").clear("right", "sphere")
    script.measure("left", fog=False).take().record()
    only(script.ledger("right"))
    only(script.ledger("left"), "accommodation")
    assert script.ledger("left").term("accommodation").mean_d == pytest.approx(-0.83 * 3, abs=0.01)


CHILD = patient_of(SphCyl(2.5, -0.5, 180), age=7, latent=1.05)


def test_14_dry_in_a_child() -> None:
    """Latent plus 0.27 + 0.31·M at this age (Chan & Edwards 1994: wet = 1.45 dry + 0.39); the cylinder stays right."""
    script = Script(CHILD).set_up().measure("right").take().record("right")
    found = script.ledger("right")
    only(found, "accommodation")
    assert -1.5 <= found.term("accommodation").mean_d <= -0.3
    assert found.term("accommodation").lens.cylinder == 0
    says(script, found, "accommodation", "No drops were used in a child")


def with_drops(minutes: float, *, near_check: bool = True, side: str | None = None, patient: Patient = CHILD) -> Script:
    script = Script(patient).set_up().do("asked").do("drops", "cyclopentolate", None if side is None else "right")
    script.wait(minutes - 1)
    if near_check:
        script.do("near check", None, "right").do("near check", None, "left")
    return script


def test_15_too_soon_after_drops() -> None:
    """C = 1 − e^(−10/12.5) = 0.55, so that 0.45 of the latent part is left, and less each minute."""
    script = with_drops(10)
    found = script.measure("right").take().record("right").ledger("right")
    only(found, "accommodation")
    left = 1 - 0.55 * (1 - 0.25 / CHILD.amplitude_d)
    assert found.term("accommodation").mean_d == pytest.approx(-1.05 * 0.6 * left, abs=0.03)
    says(script, found, "accommodation", "had not yet worked")
    state = script.examined.state
    climb = [accommodation(CHILD, "right", state, minute) for minute in (10, 15, 30, 45)]
    assert climb == sorted(climb, reverse=True)


def test_16_the_pupil_taken_as_proof() -> None:
    script = with_drops(45, near_check=False, patient=OLD).do("pupil noted").measure("right").take().record("right")
    only(script.ledger("right"))
    found = observations(OLD, script.examined, Examiner())
    assert [one.id for one in found] == ["pupil-as-proof"]
    assert " D" not in found[0].says


def test_17_drops_in_one_eye() -> None:
    script = with_drops(45, side="right")
    script.measure("right").measure("left").take().record()
    right, left = (script.ledger(side).term("accommodation").mean_d for side in SIDES)
    assert left == pytest.approx(-1.05 * 0.6, abs=0.01)
    assert right == pytest.approx(0, abs=0.05)
    says(script, script.ledger("left"), "accommodation", "Only the other eye had drops")


def test_18_the_whole_pupil_judged() -> None:
    patient = replace(OLD, right=replace(OLD.right, c40_um=0.047))
    script = Script(patient).set_up().do("zone", "whole").measure("right").take().record("right")
    found = script.ledger("right")
    only(found, "zone")
    assert -0.7 <= found.term("zone").mean_d <= -0.15
    says(script, found, "zone", "whole pupil")


def aside(patient: Patient, h: float) -> Script:
    script = Script(patient).set_up().fog("left").do("sight", (h, 0.0))
    return script.neutralise("right", 180).neutralise("right", 90).do("lean in", None, "right").take().record("right")


def test_19_fifteen_degrees_to_the_side() -> None:
    """0.0026 D/deg² × 15² = 0.585 D (Liu & Thibos 2017: 0.06 D at 4.8°), and a weak with-the-rule cylinder turns."""
    patient = patient_of(SphCyl(0.5, -0.5, 180))
    found = aside(patient, 15).ledger("right")
    only(found, "off-axis")
    assert found.term("off-axis").lens.equals(SphCyl(0, -0.585, 90), 0.01)
    assert found.term("off-axis").mean_d == pytest.approx(-0.29, abs=0.01)
    assert found.right_sum.cylinder == 0


def test_20_the_right_eye_by_the_left_eye() -> None:
    script = Script(OLD).set_up().fog("left").do("own eye", "left").neutralise("right", 180).neutralise("right", 90)
    found = script.do("lean in", None, "right").take().record("right").ledger("right")
    only(found, "off-axis")
    assert found.term("off-axis").lens.equals(SphCyl(0, -0.08, 90), 0.01)
    says(script, found, "off-axis", "with your left eye")


def test_21_a_child_turned_away() -> None:
    patient = patient_of(SphCyl(1), age=3, fixation_holds_s=7.0)
    script = Script(patient).set_up().fog("left")
    # Wait until the gaze is away for both end points.
    while not all(gaze(patient, script.examined.state, script.minute + by).away for by in (0.2, 0.4)):
        script.wait(0.05)
    script.neutralise("right", 180).neutralise("right", 90).do("lean in", None, "right").take().record("right")
    found = script.ledger("right")
    only(found, "off-axis", "accommodation")
    assert found.term("off-axis").lens.equals(SphCyl(0, -1.04, 90), 0.01)
    # The near drive at half a metre, 0.10 + 0.83 × D, feeds on the lens that makes it neutral: D = 2 − 1.5 + A, so that
    # A = 0.515 / 0.17 in the meridian without the tilt; in the other the 1.04 D of it take all that this age has.
    lens = found.term("accommodation").lens
    assert max(lens.sphere, lens.sphere + lens.cylinder) == pytest.approx(-0.515 / 0.17, abs=0.01)
    assert min(lens.sphere, lens.sphere + lens.cylinder) == pytest.approx(-patient.amplitude_d, abs=0.01)
    says(script, found, "off-axis", "gaze had left the target")


@pytest.mark.parametrize("short_by", [0.25, -0.25, 0.5])
def test_22_stopped_a_step_early_or_late(short_by: float) -> None:
    found = Script(OLD).set_up().measure("right", short_by=short_by).take().record("right").ledger("right")
    only(found, "end-point")
    assert found.term("end-point").lens.equals(SphCyl(-short_by), 0.01)


def test_22_one_meridian_stopped_early() -> None:
    script = Script(OLD).set_up().fog("left").neutralise("right", 180, short_by=0.25).neutralise("right", 90)
    found = script.do("lean in", None, "right").take().record("right").ledger("right")
    only(found, "end-point")
    assert -found.term("end-point").lens.cylinder == pytest.approx(0.25, abs=0.01)


def test_23_no_lean_in() -> None:
    script = whole(OLD)
    script.acts = [one for one in script.acts if one.what != "lean in"]
    only(script.ledger("right"))
    found = observations(OLD, script.examined, Examiner())
    assert {one.id for one in found} == {"no-lean-in"}
    assert all(" D" not in one.says for one in found)


def test_24_a_converging_sleeve_turns_the_movement() -> None:
    script = Script(OLD).set_up().fog("left").do("sleeve", "converging")
    there, turned = (
        setting_of(OLD, "right", replace(script.examined.state, converging=one), 1) for one in (False, True)
    )
    assert {movement(there, 90), movement(turned, 90)} == {"with", "against"}
    script.neutralise("right", 180, short_by=-3).neutralise("right", 90, short_by=-3).take().record("right")
    found = script.ledger("right")
    only(found, "end-point")
    assert found.term("end-point").mean_d == pytest.approx(3, abs=0.01)
    says(script, found, "end-point", "converging")


def test_25_a_dim_far_reflex_taken_for_neutral() -> None:
    script = Script(patient_of(SphCyl(-8.5))).set_up().fog("left")
    script.do("end point", 180.0, "right").do("end point", 90.0, "right").take().do("write", SphCyl(-1.5), "right")
    found = script.ledger("right")
    only(found, "end-point")
    assert found.term("end-point").mean_d == pytest.approx(8.5 - 1.5, abs=0.01)
    says(script, found, "end-point", "dim")
    # Written plano, the distance is left in as well.
    script.acts = [replace(one, value=SphCyl(0)) if one.what == "write" else one for one in script.acts]
    script.acts = [one for one in script.acts if one.what != "take off"]
    only(script.ledger("right"), "end-point", "distance")


@pytest.mark.parametrize(("cylinder", "left"), [(1.0, 0.35), (2.0, 0.69)])
def test_26_the_axis_ten_degrees_off(cylinder: float, left: float) -> None:
    """2C·sin δ of crossed cylinder, to a hundredth."""
    patient = patient_of(SphCyl(-1, -cylinder, 180))
    script = Script(patient).set_up().measure("right", axis=10).take().record("right")
    found = script.ledger("right")
    only(found, "axis")
    assert -found.term("axis").lens.cylinder == pytest.approx(left, abs=0.011)
    assert found.term("axis").mean_d == pytest.approx(0, abs=1e-9)
    says(script, found, "axis", "10° off")


def misread(lens: SphCyl) -> tuple[Script, Ledger]:
    script = whole(OLD)
    script.acts = [
        replace(one, value=lens) if one.what == "write" and one.side == "right" else one for one in script.acts
    ]
    return script, script.ledger("right")


def test_27_the_axis_across() -> None:
    script, found = misread(SphCyl(-2, -1, 90))
    only(found, "slips")
    assert -found.term("slips").lens.cylinder == pytest.approx(2, abs=0.01)
    says(script, found, "slips", "across where it belongs")


def test_28_the_second_sphere_as_the_cylinder() -> None:
    script, found = misread(SphCyl(-2, -3, 180))
    only(found, "slips")
    assert found.term("slips").lens.equals(SphCyl(0, -2, 180), 0.01)
    says(script, found, "slips", "second sphere")


def test_28_minus_cylinders_after_the_weaker_meridian() -> None:
    """Neutral along 90 (−3.00 net) first leaves with movement along 180, which no minus cylinder ends: C is left."""
    script = Script(OLD).set_up().fog("left").neutralise("right", 180)
    setting = setting_of(OLD, "right", script.examined.state, script.minute)
    assert movement(setting, 90) == "with"
    script.do("end point", 90.0, "right").do("lean in", None, "right").take().record("right")
    found = script.ledger("right")
    only(found, "end-point")
    assert -found.term("end-point").lens.cylinder == pytest.approx(-EYE.cylinder, abs=0.01)
    assert found.right_sum.cylinder == 0


def test_a_right_cylinder_is_not_said_to_be_the_second_sphere() -> None:
    """A right record of 0.00 / −0.50 has 0.50 in its second meridian too: the sphere alone is wrong here."""
    script = whole(patient_of(SphCyl(0, -0.5, 180)))
    script.acts = [
        replace(one, value=SphCyl(-0.5, -0.5, 180)) if one.what == "write" and one.side == "right" else one
        for one in script.acts
    ]
    found = script.ledger("right")
    assert not any("second sphere" in one for one in causes(script.patient, script.examined, found, "slips"))


def test_29_a_lens_forgotten() -> None:
    script = Script(OLD).set_up().do("lens", ("extra", SphCyl(0.75)), "right").measure("right").take()
    right = script.found("right")
    script.do("write", SphCyl(right.sphere - 0.75, right.cylinder, right.axis), "right")
    found = script.ledger("right")
    only(found, "slips")
    assert found.term("slips").lens.equals(SphCyl(-0.75), 0.01)
    says(script, found, "slips", "+0.75")


def test_30_a_lens_far_from_the_eye() -> None:
    """−8.50 D at 16 mm acts at 12 mm as −8.22 D: F/(1 − xF). The gross lens there is 1.50 D weaker."""
    script = Script(patient_of(SphCyl(-8.22 - 1.5))).set_up().do("frame", (16.0, 0.0, 0.0)).measure("right")
    found = script.take().record("right").ledger("right")
    only(found, "plane")
    assert found.term("plane").mean_d == pytest.approx(-0.28, abs=0.01)


def test_30_a_tilted_frame_and_a_decentred_lens() -> None:
    """At 15° a thin lens of index 1.5 acts as F·1.0223 with a cylinder of F·0.0718 (sin²/2n, tan²)."""
    script = Script(patient_of(SphCyl(5))).set_up().do("frame", (12.0, 15.0, 4.0)).measure("right")
    found = script.take().record("right").ledger("right")
    only(found, "tilt")
    sphere = script.examined.ends_of("right")[0].state.sum_of_lenses("right").sphere
    assert found.term("tilt").mean_d / sphere == pytest.approx(-(0.0223 + 0.0359), abs=0.004)
    (seen,) = observations(script.patient, script.examined, Examiner())
    # Prentice's rule: 4 mm off centre of the lens that was in last.
    last = script.examined.ends_of("right")[-1].state.sum_of_lenses("right").sphere
    assert seen.id == "decentred"
    assert f"adds {0.4 * last:.1f} prism dioptres" in seen.says


def test_31_an_examiner_out_of_focus() -> None:
    """Presbyopic without a glass: 1.50 D of blur at 67 cm, and 1 + 0.5 × 1.5 = 1.75 times the scatter; no bias."""
    script = whole(OLD)
    only(script.ledger("right"))
    old = Examiner(age_y=60, corrected=False)
    assert [one.id for one in observations(OLD, script.examined, old)] == ["examiner-out-of-focus"]
    assert with_blur(ADULT, old.blur_d(TWO_THIRDS_CM)).mean_d / ADULT.mean_d == pytest.approx(1.75, abs=0.001)
    assert old.neutral_zone_d(TWO_THIRDS_CM) == pytest.approx(0.5, abs=0.01)


def test_32_eyes_swapped_and_a_wrong_sign() -> None:
    script, found = misread(SphCyl(-1.5, -0.5, 180))
    only(found, "slips")
    says(script, found, "slips", "swapped")
    script, found = misread(SphCyl(2, -1, 180))
    says(script, found, "slips", "wrong sign")
    script, found = misread(SphCyl(-2, 1, 180))
    says(script, found, "slips", "forms are mixed")


def test_32_what_the_record_leaves_out() -> None:
    script = whole(OLD)
    script.acts = [one for one in script.acts if one.what != "note"]
    script.acts.insert(0, Act(0, "drops", "tropicamide"))
    found = {one.id for one in observations(OLD, script.examined, Examiner())}
    assert {"no-distance", "no-vision", "no-drops-noted"} <= found


@pytest.mark.parametrize("medium", ["white reflex", "no reflex"])
def test_32_only_an_unsafe_reflex_that_is_not_referred_fails_the_whole(medium: Medium) -> None:
    unsafe = replace(OLD, left=replace(OLD.left, media=(medium,)))
    script = whole(unsafe)
    assert "Refer at once" in (failed(unsafe, script.examined) or "")
    script.do("refer", "white reflex").do("how soon", "routine")
    assert "You referred it for another day" in (failed(unsafe, script.examined) or "")
    assert failed(unsafe, script.do("how soon", "today").examined) is None
    assert {one.id for one in observations(unsafe, script.examined, Examiner())} == {"before-referring"}
    at_once = Script(unsafe).do("refer", "white reflex, left eye").do("how soon", "today")
    assert failed(unsafe, at_once.examined) is None
    assert observations(unsafe, at_once.examined, Examiner()) == ()
    _, wrong = misread(SphCyl(5, -3, 45))
    assert wrong.error.strongest > 5
    assert failed(OLD, misread(SphCyl(5, -3, 45))[0].examined) is None


def test_it_is_so_for_drawn_patients_too() -> None:
    """A right examination of drawn people, drops where they accommodate: the record is the eye to a quarter and 5°."""
    for k in range(25):
        patient = replace(draw_patient(f"right {k}", age=(25, 80)), fixation_holds_s=1e12)
        if patient.nystagmus or patient.right.media:
            continue
        script = Script(patient).set_up().do("drops", "atropine").wait(120).do("near check")
        script.do("frame", (patient.right.vertex_mm, 0.0, 0.0)).measure("right", axis=patient.right.lens.axis)
        found = script.take().record("right").ledger("right")
        assert found.open_d < 0.01
        assert (found.error).strongest < 0.3
        assert written(found.truth).spherical_equivalent == pytest.approx(found.written.spherical_equivalent, abs=0.26)


def test_each_of_the_thirty_two_has_a_test() -> None:
    there = {name.split("_")[1] for name in globals() if name.startswith("test_") and name.split("_")[1].isdigit()}
    assert there == {str(number) for number in range(1, 33)}
    assert math.isclose(TWO_THIRDS_CM * 1.5, 100)
