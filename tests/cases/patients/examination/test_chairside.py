"""Ten invented patients, what is seen at the chair, the eye at the bench, and one cause put right."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from cases.curriculum.bench_stage import SLEEVE, seen
from cases.curriculum.examination_stage import LEAN_CM, bench_of, lean_in_words
from cases.figures.error_ledger import LedgerBar, ledger_figure
from cases.optics.lens import SphCyl
from cases.optics.reflex import residual
from cases.patients.examination.act_words import act_words
from cases.patients.examination.acts import Act, State, minute_after, read_acts
from cases.patients.examination.card import card_of, vision_of
from cases.patients.examination.chairside import drops_words, gaze_words, near_check_words, referral_of
from cases.patients.examination.findings import causes, from_numbers_alone
from cases.patients.examination.ledger import TermId
from cases.patients.examination.left_out import observations
from cases.patients.examination.putting_right import put_right
from cases.patients.examination.replay import replayed
from cases.patients.examination.vignettes import (
    NO_CHART,
    VIGNETTES,
    UnknownVignette,
    patient_of_vignette,
    starting_acts,
)
from cases.patients.examination.world import Examiner, accommodation, setting_of
from cases.patients.mixture import mixed_patient
from cases.patients.patient import SIDES, Patient, Side
from tests.cases.patients.examination.scripts import Script, patient_of, whole

TEN = [one.id for one in VIGNETTES]


def test_there_are_ten_and_none_is_a_real_person() -> None:
    assert len(set(TEN)) == 10
    assert all(card_of(patient_of_vignette(one)).invented for one in TEN)


@pytest.mark.parametrize("vignette", VIGNETTES, ids=TEN)
def test_a_vignette_has_the_refraction_that_it_says(vignette: object) -> None:
    patient = patient_of_vignette(vignette.id)  # type: ignore[attr-defined]
    for side in SIDES:
        assert patient.eye(side).rx.equals(getattr(vignette, side), 0.01)
    assert patient == patient_of_vignette(vignette.id)  # type: ignore[attr-defined]
    read_acts(starting_acts(patient))


def test_a_vignette_of_no_name_is_refused() -> None:
    with pytest.raises(UnknownVignette, match="none of the ten"):
        patient_of_vignette("nobody")


def test_ben_reads_minus_while_his_left_eye_is_not_fogged() -> None:
    """The design's own figure: 1.75 − 3.97 at a far target, near −2.25 in the mean; here the target is 6 m away."""
    ben = patient_of_vignette("ben")
    found = ben.right.M - accommodation(ben, "right", State(room="dim", target=6.0), 1)
    assert -2.6 <= found <= -2.0


def test_eve_loses_her_astigmatism_from_15_degrees() -> None:
    eve = patient_of_vignette("eve")
    setting = setting_of(eve, "right", State(room="dim", target=6.0, sight=(15.0, 0.0)), 1)
    along = [residual(setting, streak) for streak in (180.0, 90.0)]
    assert abs(along[0] - along[1]) < 0.13


def test_the_bench_leaves_what_the_world_leaves() -> None:
    """The picture and the ledger are one eye: what is still missing is the same, streak by streak."""
    for number in range(40):
        patient = mixed_patient(f"bench {number}")
        acts = [
            Act(0, "room", "dim"),
            Act(0, "target", "face" if number % 3 else 6.0),
            Act(0, "seat", 50.0 + number),
            Act(0, "sight", (float(number % 7), 2.0)),
            Act(0, "frame", (14.0 + number % 4, float(number % 5), 0.0)),
            Act(0, "lens", ("sphere", SphCyl(number / 4 - 5)), "right"),
            Act(0, "lens", ("cylinder", SphCyl(0, -0.75, 30)), "right"),
            Act(0, "lens", ("working", SphCyl(1.5)), "right"),
            Act(0, "lens", ("fog", SphCyl(2)), "left"),
        ]
        state = read_acts(acts).state
        setting = setting_of(patient, "right", state, 0.2)
        bench = bench_of(patient, "right", state, 0.2, streak=70, sleeve=-1.5)
        # The page has the periphery of this eye beside the bench's own numbers.
        seen = bench.setting.__class__(
            **{**vars(bench.setting), "oblique_per_deg2": patient.right.peripheral_j2, "cone": None}
        )
        for streak in (10.0, 70.0, 125.0):
            assert residual(seen, streak) == pytest.approx(residual(setting, streak), abs=1e-6)
        assert (bench.sphere, bench.cylinder, bench.axis) == (number / 4 - 5, -0.75, 30)


def test_what_checks_show_follows_the_eye() -> None:
    child = patient_of(SphCyl(2), age=7)
    dry, wet = read_acts([]), read_acts([Act(0, "drops", "cyclopentolate")])
    assert "changes plainly" in near_check_words(child, "right", dry, 1)
    assert "hardly changes" in near_check_words(child, "right", wet, 45)
    assert "is wide" in near_check_words(child, "right", wet, 45)
    assert gaze_words(child, State(target=6.0), 1) == "looks at the target, 6 m away"
    old = patient_of(SphCyl(0), age=60)
    neutral = State(target=6.0, distance_cm=67, cells=(("right", "sphere", SphCyl(1.5)), ("left", "fog", SphCyl(1))))
    assert lean_in_words(old, "right", neutral, 90, 1) == "On leaning in, the reflex moves with."


@pytest.mark.parametrize("name", TEN)
def test_leaning_in_shows_what_a_sweep_from_there_shows(name: str) -> None:
    """The check and the picture are one seeing: with the same lens and gaze, from 12 cm nearer."""
    patient, ways = patient_of_vignette(name), {"the same way": "moves with", "the opposite way": "moves against"}
    ways["opposite ways"] = "opposite ways"
    for side in SIDES:
        for sphere in (-4.0, -1.0, 0.5, 1.5, 3.0):
            there = State(target=6.0, distance_cm=67, cells=((side, "sphere", SphCyl(sphere)),))
            nearer = replace(there, distance_cm=67 - LEAN_CM)
            words = " ".join(seen(bench_of(patient, side, nearer, 1, streak=180, sleeve=SLEEVE))).split("At the edge")[
                0
            ]
            said = next((ways[way] for way in ways if way in words), "")
            leaning = lean_in_words(patient, side, there, 180, 1)
            if "There is no red reflex" not in leaning:
                assert (said in leaning) if said else leaning.endswith("no movement can be told."), (sphere, words)


def test_leaning_in_shows_nothing_without_a_reflex() -> None:
    eye = replace(patient_of(SphCyl(0)).right, media=("no reflex",))
    patient = replace(patient_of(SphCyl(0)), right=eye)
    assert lean_in_words(patient, "right", State(), 90, 1) == "On leaning in, nothing is seen to move."


@pytest.mark.parametrize(("rx", "line"), [(SphCyl(-1), "6/15"), (SphCyl(-2), "6/38"), (SphCyl(0), "6/6")])
def test_vision_by_blur_as_in_a_published_table(rx: SphCyl, line: str) -> None:
    """Unaided vision of 6,000 refractions (patients.md section 5): 1.00 D 20/50, 2.00 D 20/150; within two lines."""
    patient = patient_of(rx, age=30)
    seen = vision_of(patient, "right")
    lines = [5, 6, 7.5, 9, 12, 15, 19, 24, 30, 38, 48, 60]
    found = float(seen.removeprefix("6/"))
    assert abs(lines.index(found) - lines.index(float(line.removeprefix("6/")))) <= 2


def test_every_act_has_words_and_a_time() -> None:
    acts = [
        Act(0, "target", "off"), Act(0, "seat", 67.0), Act(0, "sight", (-5.0, 3.0)), Act(0, "wait", 0.0834),
        Act(0, "lens", ("sphere", SphCyl(0)), "left"), Act(0, "frame", (16.0, 10.0, 0.0)), Act(0, "take off", -1.5),
        Act(0, "end point", 90.0, "right"), Act(0, "call"), Act(0, "own glass", "on"),
    ]  # fmt: skip
    words = [act_words(one) for one in acts]
    assert words[3] == "Waited 5 s"
    assert words[2] == "Looked from 5° to your left and 3° above"
    assert words[7] == "Neutral with the streak at 90°, along 180°, right eye"
    assert all(one[0].isupper() for one in words)
    assert minute_after([Act(2, "wait", 15.0)]) == 17


def _spoilt(patient: Patient, term: TermId) -> Script:
    script = Script(patient).set_up()
    match term:
        case "distance":
            script.do("seat", 50.0)
        case "accommodation":
            script.do("target", "face")
        case "off-axis":
            script.do("sight", (12.0, 0.0))
        case "zone":
            script.do("zone", "whole")
        case "plane":
            script.do("frame", (18.0, 0.0, 0.0))
    script.fog("left")
    for streak in (20.0, 110.0) if term == "axis" else (180.0, 90.0):
        script.neutralise("right", streak)
    return script.take().record("right")


@pytest.mark.parametrize("term", ["distance", "accommodation", "off-axis", "zone", "axis", "plane"])
def test_a_cause_put_right_is_gone(term: TermId) -> None:
    patient = patient_of(SphCyl(-5, -1, 180), age=25)
    patient = patient.__class__(
        **{**vars(patient), "right": patient.right.__class__(**{**vars(patient.right), "c40_um": 0.05})}
    )
    script = _spoilt(patient, term)
    before = script.ledger("right")
    assert before.term(term).lens.strongest > 0.1
    mended = put_right(patient, script.examined, before, term)
    assert mended is not None
    after = replayed(patient, script.examined, mended.acts, "right")
    assert after.term(term).lens.strongest < 0.12 if term == "accommodation" else after.term(term).lens.strongest < 0.01
    assert after.open_d < 0.01


@pytest.mark.parametrize(
    ("target", "fogged", "drops_min", "words"),
    [
        ("face", False, None, "with a far target and the other eye fogged"),
        (6.0, False, None, "with a far target and the other eye fogged"),
        (6.0, True, None, "forty minutes after drops"),
        (6.0, True, 5.0, "forty minutes after drops"),
    ],
)
def test_a_child_is_given_a_far_target_and_fog_before_drops(
    target: object, fogged: bool, drops_min: float | None, words: str
) -> None:
    """Drops are for what target and fog leave: common practice, no published source."""
    script = Script(patient_of(SphCyl(2.5, -0.5, 180), age=7, latent=1.05)).set_up().do("target", target)
    if drops_min is not None:
        script.do("drops", "cyclopentolate").wait(drops_min)
    script.measure("right", fog=fogged).take().record("right")
    mended = put_right(script.patient, script.examined, script.ledger("right"), "accommodation")
    assert mended is not None
    assert mended.words.startswith(words)


def test_accommodation_that_changed_between_the_meridians_is_said_to() -> None:
    script = Script(patient_of(SphCyl(0), age=20)).set_up().fog("left").neutralise("right", 180)
    script.do("target", "face").neutralise("right", 90).take().record("right")
    said = causes(script.patient, script.examined, script.ledger("right"), "accommodation")
    assert any("leaves a cylinder that the eye does not have" in one for one in said)


def test_what_another_act_would_not_mend_has_no_replay() -> None:
    script = _spoilt(patient_of(SphCyl(-2)), "distance")
    for term in ("rounding", "slips", "end-point"):
        assert put_right(script.patient, script.examined, script.ledger("right"), term) is None


def test_the_bars_of_a_ledger_sum_to_what_was_written() -> None:
    bars = (LedgerBar("sat at 50 cm", 0.5), LedgerBar("left", -0.13))
    figure = ledger_figure(bars, right_d=-1.75, written_d=-1.25, uid="x", title="Right eye")
    told = figure.description
    assert "sat at 50 cm +0.50; left −0.13; smaller causes together +0.13; in all +0.50 D" in told
    rects = [part.split('"') for part in figure.svg.split("<rect")[1:]]
    widths = [float(one[7]) for one in rects]
    scale = widths[0] / 0.5
    assert np.allclose(widths, [0.5 * scale, 0.13 * scale, 0.13 * scale], atol=0.1)
    assert math.isclose(sum(one.mean_d for one in bars) + 0.13, 0.5)


def test_what_stands_in_the_pupil_is_a_reason_to_refer() -> None:
    clear = patient_of(SphCyl(1), age=40)
    assert referral_of(clear) == ""
    clouded = replace(clear, right=replace(clear.right, media=("nuclear opacity",)))
    assert referral_of(clouded) == "by the local protocol: nuclear opacity"
    assert "unequal eyes" in referral_of(patient_of(SphCyl(1), SphCyl(3), age=5))
    assert "unequal" in referral_of(patient_of_vignette("ben"))
    white = replace(clear, left=replace(clear.left, media=("white reflex",)))
    assert referral_of(white).startswith("at once")


def test_leaning_in_from_neutral_never_moves_against() -> None:
    """Nearer, 100/cm is more and plus is still missing: with, or nothing to be told, also where the edge is myopic."""
    for k in range(60):
        patient = patient_of_vignette("eve") if k == 0 else mixed_patient(f"lean {k}", within=(15, 80))
        if any(patient.eye(side).media for side in SIDES):
            continue
        script = Script(patient).set_up().fog("left").neutralise("right", 180)
        said = lean_in_words(patient, "right", script.examined.state, 180, script.minute)
        assert "against" not in said, (k, said)


def test_a_high_myope_is_never_said_to_move_with() -> None:
    """−8.50 D at 50 cm has its far point between eye and sight hole: against, or too dull to tell."""
    gwen = patient_of_vignette("gwen")
    for power in (0.25, -1.0, -2.0, -3.0, -4.0, -6.0):
        acts = [Act(0, "room", "dim"), Act(0, "target", 6.0), Act(0, "seat", 50.0)]
        state = read_acts([*acts, Act(0, "lens", ("sphere", SphCyl(power)), "right")]).state
        told = " ".join(seen(bench_of(gwen, "right", state, 1, streak=180, sleeve=-1.5)))
        assert "same way" not in told, power


def test_every_drop_has_a_time_of_its_own() -> None:
    acts = [Act(0, "drops", "tropicamide"), Act(50, "drops", "cyclopentolate", "right")]
    right, left = drops_words(patient_of(SphCyl(1), age=0.75), read_acts(acts).state, 52)
    assert right.startswith("Right eye: tropicamide at 0:00 (52 min ago), cyclopentolate at 50:00 (2 min ago); pupil")
    assert "cyclopentolate" not in left


def test_drops_again_and_again_and_without_asking_are_said() -> None:
    baby = patient_of(SphCyl(1), age=0.75)
    acts = [Act(0, "drops", "tropicamide"), Act(50, "drops", "tropicamide"), Act(50, "drops", "cyclopentolate")]
    found = {one.id: one.says for one in observations(baby, read_acts(acts), Examiner())}
    assert "3 times" in found["drops-repeated"]
    assert "not-asked" in found
    asked = read_acts([Act(0, "asked"), Act(1, "drops", "tropicamide")])
    assert not {"drops-repeated", "not-asked"} & {one.id for one in observations(baby, asked, Examiner())}


def test_one_meridian_alone_is_said() -> None:
    script = Script(patient_of(SphCyl(1, -1, 180))).set_up().fog("left").neutralise("right", 180).take()
    script.do("write", SphCyl(1), "right")
    assert "one-meridian" in {one.id for one in observations(script.patient, script.examined, Examiner())}


def test_numbers_alone_allow_accommodation_that_changed_and_no_cause_that_does_not_fit() -> None:
    script = Script(patient_of(SphCyl(0), age=20)).set_up().fog("left").neutralise("right", 180)
    script.do("target", "face").neutralise("right", 90).take().record("right")
    found = from_numbers_alone(script.ledger("right"))
    assert any("accommodation" in one for one in found)
    plus = replace(script.ledger("right"), written=SphCyl(2, -1, 180), truth=SphCyl(0))
    # +1.50 in the mean with 1.00 D of cylinder is no one slip.
    assert from_numbers_alone(plus) == ()


def test_a_card_says_how_a_small_child_looks() -> None:
    child = patient_of(SphCyl(1), age=1)
    assert card_of(child).vision_words == f"{NO_CHART}; each eye fixes and follows a light; minds neither being covered"
    worse = replace(child, right=replace(child.right, best_logmar=child.left.best_logmar + 0.4))
    assert "minds when the left eye is covered" in card_of(worse).vision_words


def test_a_strong_lens_is_written_with_its_distance() -> None:
    script = whole(patient_of(SphCyl(-6)))
    assert observations(script.patient, script.examined, Examiner()) == ()
    script.acts = [one for one in script.acts if one.value != "lens distance"]
    assert {one.id for one in observations(script.patient, script.examined, Examiner())} == {"no-lens-distance"}


def test_a_card_has_the_spectacles_that_are_worn() -> None:
    worn = next(one for k in range(99) if (one := mixed_patient(f"worn {k}", within=(20, 60))).right.habitual_rx)
    assert card_of(worn).spectacles.startswith("right ")
    assert "old; with them right 6/" in card_of(worn).spectacles
    # Spectacles that are nearly right give what the best lens gives.
    eye = worn.right
    assert vision_of(worn, "right", eye.lens) == vision_of(replace(worn, right=replace(eye, M=0, J0=0, J45=0)), "right")
    assert card_of(patient_of_vignette("eve")).spectacles == ""


def test_a_small_child_looks_at_a_toy() -> None:
    child = patient_of(SphCyl(1), age=2)
    assert gaze_words(child, State(target=3.0), 1) == "looks at a toy, 3 m away"


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ((), ("right",), "You called neutral before giving the drops, so they could not affect this reading."),
        ((), (), "No drops were used in a child. Local rules and a licensed person decide on them."),
        (("left",), (), "Only the other eye had drops."),
    ],
)
def test_what_is_said_of_drops_is_what_was_done(before: tuple[Side, ...], after: tuple[Side, ...], said: str) -> None:
    script = Script(patient_of(SphCyl(3), age=6, latent=1.0)).set_up()
    for side in before:
        script.do("drops", "cyclopentolate", side).wait(40)
    script.measure("right", fog=not before)
    for side in after:
        script.do("drops", "cyclopentolate", side).wait(40)
    script.take().record("right")
    found = causes(script.patient, script.examined, script.ledger("right"), "accommodation")
    assert [one for one in found if "drops" in one] == [said]
