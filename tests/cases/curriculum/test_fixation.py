"""Fixation and the two other eyes: demands by definition, the usual add of a presbyope, each slip by hand."""

from __future__ import annotations

import pytest

from cases.curriculum.register import case_type
from cases.errors import OutOfRange
from cases.optics.lens import SphCyl
from cases.optics.reflex import Setting, movement
from cases.optics.vergence import working_vergence
from cases.procedure.case_type import draw
from cases.procedure.settings import Settings
from tests.cases.seeds import settings_of
from tests.cases.worked import answer_of, case_of, rx, slip_answer, slips_of

# ---- the patient looked near

# (fixation in m, demand in D): definition 1/d, group G of the collected checks (published question or rule, value
# computed): 6 m leaves 0.17 D of demand, 4 m 0.25 D.
DEMANDS = [(6, 0.1667), (4, 0.25), (3, 0.3333), (0.4, 2.5)]


@pytest.mark.parametrize(("metres", "demand"), DEMANDS)
def test_an_emmetrope_who_looks_near_comes_out_as_much_too_minus(metres: float, demand: float) -> None:
    case = case_of("fixation-near", {"rx": rx(0), "fixation_cm": 100 * metres})
    assert case.truth["prescription"].sphere == pytest.approx(-demand, abs=0.0005)


def test_slips_of_looking_near_worked_by_hand() -> None:
    # At 50 cm 2.00 is asked for and with a lag of 0.50 1.50 is answered: +1.00 comes out −0.50, the cylinder as it was.
    findings = {"rx": rx(1, -0.75, 20), "fixation_cm": 50, "lag": 0.5}
    case = case_of("fixation-near", findings)
    assert answer_of(case) == rx(-0.5, -0.75, 20)
    assert slips_of(case) == {
        "distance-in-dioptres/metres-not-inverted": rx(1, -0.75, 20),  # 0.50 asked for, nothing answered
        "accommodative-response/lag-added-to-demand": rx(-1.5, -0.75, 20),
        "accommodative-response/lag-left-out": rx(-1, -0.75, 20),
        "shift-for-accommodation/accommodation-adds-plus": rx(2.5, -0.75, 20),
        "shift-for-accommodation/accommodation-in-one-meridian": rx(1, -2.25, 20),
        "shift-for-accommodation/fixation-left-out": rx(1, -0.75, 20),
    }


# ---- what to look at


def test_which_target_suits_which_eye() -> None:
    """Common practice, no published source; an image lies as far behind a plane mirror as its object before it."""
    room = {"mirror_cm": 300, "switch_cm": 400, "distance_cm": 67}
    free = case_of("fixation-target", room | {"drops": "none"})
    assert answer_of(free) == {"target": "own-eyes", "demand": pytest.approx(0.167, abs=0.001)}
    assert slip_answer(free, "mirror-not-doubled") == {"target": "switch", "demand": 0.25}
    assert slip_answer(free, "light-without-cycloplegia") == {
        "target": "light",
        "demand": pytest.approx(1.493, abs=0.001),
    }
    assert slip_answer(free, "metres-not-inverted") == {"target": "own-eyes", "demand": 6}
    wet = case_of("fixation-target", room | {"drops": "working"})
    assert answer_of(wet) == {"target": "light", "demand": pytest.approx(1.493, abs=0.001)}
    assert slip_answer(wet, "far-target-under-cycloplegia")["target"] == "own-eyes"
    near_mirror = case_of("fixation-target", room | {"drops": "none", "mirror_cm": 150})
    assert near_mirror.truth["target"] == "switch"
    assert not any(name.endswith("mirror-not-doubled") for name in slips_of(near_mirror))


def test_no_room_is_drawn_in_which_two_targets_are_equally_far() -> None:
    """A plane mirror doubles the distance: at 250 cm one's own eyes are 500 cm away, as far as a switch there.

    Anyone who takes the image to lie at the mirror has two equal targets where the mirror hangs beside the switch.
    """
    for seed in range(600):
        room = draw(case_type("fixation-target"), seed, settings_of(seed)).findings
        assert room["switch_cm"] not in (2 * room["mirror_cm"], room["mirror_cm"]), seed


def test_own_findings_with_two_targets_equally_far_are_refused_with_the_reason() -> None:
    room = {"mirror_cm": 250, "switch_cm": 500, "distance_cm": 67}
    with pytest.raises(OutOfRange, match="as far as the switch, so that either target is right"):
        _ = case_of("fixation-target", room | {"drops": "none"}).truth
    # Under drops neither is the target, so that nothing is in doubt.
    assert case_of("fixation-target", room | {"drops": "working"}).truth["target"] == "light"


def test_each_target_is_right_in_some_drawn_room() -> None:
    drawn = [draw(case_type("fixation-target"), seed, settings_of(seed)) for seed in range(60)]
    assert {case.truth["target"] for case in drawn} == {"own-eyes", "switch", "light"}


def test_prompts_with_drops_carry_the_caution() -> None:
    case = case_of("fixation-target", {"drops": "working", "mirror_cm": 300, "switch_cm": 400, "distance_cm": 67})
    assert any("product information and local rules prevail" in line for line in case.type.found(case.findings))


# ---- the other eye


@pytest.mark.parametrize(("eye", "lens", "distance"), [(1, 3.5, 67), (-2, -1, 67), (3, 3, 50), (0, 1, 100), (2, 1, 40)])
def test_the_movement_of_the_other_eye_is_that_of_the_reflex(eye: float, lens: float, distance: float) -> None:
    case = case_of("other-eye-fogged", {"eye": eye, "lens": lens, "distance_cm": distance})
    assert case.truth["fog"] == lens - eye
    setting = Setting(rx=SphCyl(eye), in_place=SphCyl(lens), distance_cm=distance)
    assert case.truth["movement"] == movement(setting, 90)


def test_slips_of_the_other_eye_worked_by_hand() -> None:
    # +2.50 before an eye of +1.50: fogged by 1.00. At 67 cm neutral wants 1.50, so 0.50 is still to add: with.
    case = case_of("other-eye-fogged", {"eye": 1.5, "lens": 2.5, "distance_cm": 67})
    assert answer_of(case) == {"fog": 1, "state": "enough", "movement": "with"}
    assert slips_of(case) == {
        "find-fog/fog-reversed": {"fog": -1, "state": "none", "movement": "with"},
        "find-fog/lens-as-fog": {"fog": 2.5, "state": "enough", "movement": "against"},
        "power-left/distance-ignored-in-movement": {"fog": 1, "state": "enough", "movement": "against"},
        "power-to-movement/with-and-against-swapped": {"fog": 1, "state": "enough", "movement": "against"},
    }
    little = case_of("other-eye-fogged", {"eye": 1.5, "lens": 2, "distance_cm": 67})
    assert little.truth["state"] == "little"
    assert slip_answer(little, "any-fog-enough")["state"] == "enough"


def test_how_much_fog_is_the_clinics() -> None:
    assert (
        case_of("other-eye-fogged", {"eye": 0, "lens": 1, "distance_cm": 67, "least": 1.5}).truth["state"] == "little"
    )
    drawn = draw(case_type("other-eye-fogged"), 1, Settings(norms={"fog-least": 1.5}))
    assert drawn.findings["least"] == 1.5


# ---- the examiner's own eye


def test_a_presbyope_wants_the_usual_add() -> None:
    """About +1.50 at two thirds of a metre: common practice, no published source."""
    case = case_of("examiner-blur", {"amplitude": 0, "distance_cm": 67})
    assert answer_of(case) == {"lacking": 1.5, "view": "plus"}
    assert case_of("examiner-blur", {"amplitude": 0, "distance_cm": 50}).truth["lacking"] == 2


def test_an_uncorrected_myope_whose_far_point_is_the_pupil_needs_nothing() -> None:
    for amplitude in (0, 6):
        findings = {"amplitude": amplitude, "uncorrected": -1.5, "distance_cm": 67}
        assert answer_of(case_of("examiner-blur", findings)) == {"lacking": -amplitude / 2, "view": "sharp"}
    nearer = case_of("examiner-blur", {"amplitude": 6, "uncorrected": -3, "distance_cm": 67})
    assert answer_of(nearer) == {"lacking": -1.5, "view": "minus"}


def test_what_the_examiner_has_to_spare_does_not_jump_where_nothing_is_asked_for() -> None:
    """At 40 cm 2.50 D is asked for; half of 4.00 D is held. By hand 2.50 − 2.25 − 2.00 = −1.75, then −2.00.

    From there on the eye is too strong for the distance, and the view changes with the number.
    """
    spare = {}
    for uncorrected in (-2.0, -2.25, -2.5, -2.75):
        findings = {"amplitude": 4, "uncorrected": uncorrected, "distance_cm": 40, "held": "half"}
        spare[uncorrected] = answer_of(case_of("examiner-blur", findings))
    assert spare == {
        -2.0: {"lacking": -1.5, "view": "sharp"},
        -2.25: {"lacking": -1.75, "view": "sharp"},
        -2.5: {"lacking": -2.0, "view": "sharp"},
        -2.75: {"lacking": -0.25, "view": "minus"},
    }


def test_the_number_for_the_view_jumps_only_where_the_view_changes() -> None:
    """A hundredth of a dioptre more or less is never worth more than a hundredth in one and the same view."""
    before = None
    for hundredth in range(-300, 300):
        findings = {"amplitude": 4, "uncorrected": hundredth / 100, "distance_cm": 50, "held": "half"}
        now = answer_of(case_of("examiner-blur", findings))
        if before is not None and before["view"] == now["view"]:
            assert abs(now["lacking"] - before["lacking"]) <= 0.0101, hundredth
        before = now


def test_slips_of_the_examiner_worked_by_hand() -> None:
    # At 50 cm 2.00 is asked for, 0.50 is uncorrected: 2.50. Half of an amplitude of 3.00 is 1.50, so 1.00 is lacking.
    case = case_of("examiner-blur", {"amplitude": 3, "uncorrected": 0.5, "distance_cm": 50})
    assert answer_of(case) == {"lacking": 1, "view": "plus"}
    assert {name: answer["lacking"] for name, answer in slips_of(case).items()} == {
        "distance-in-dioptres/metres-not-inverted": -0.5,
        "distance-in-dioptres/always-one-fifty": 0.5,
        "own-error/own-error-reversed": 0,
        "own-error/own-error-left-out": 0.5,
        "usable-accommodation/whole-amplitude-held": -0.5,
        "lacking-at-sight-hole/own-accommodation-left-out": 2.5,
    }
    spare = case_of("examiner-blur", {"amplitude": 4, "uncorrected": 0, "distance_cm": 67})
    assert answer_of(spare) == {"lacking": -0.5, "view": "sharp"}
    assert slip_answer(spare, "spare-as-lack") == {"lacking": -0.5, "view": "plus"}


def test_the_share_of_the_amplitude_is_a_setting() -> None:
    drawn = draw(case_type("examiner-blur"), 1, Settings(norms={"usable-amplitude-share": 1.0}))
    assert drawn.findings["held"] == "whole"
    whole = case_of("examiner-blur", {"amplitude": 1, "distance_cm": 67, "held": "whole"})
    assert whole.truth["lacking"] == pytest.approx(working_vergence(67) - 1)
