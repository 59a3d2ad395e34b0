"""What the end of an examination says first: the cause that made the error, drops, and a referral that was missed."""

from __future__ import annotations

from cases.optics.lens import SphCyl
from cases.patients.examination.vignettes import patient_of_vignette
from cases.patients.patient import SIDES
from quiz.web.examination.end_views import _eye, _verdict
from tests.cases.patients.examination.scripts import Script, patient_of


def verdict(script: Script) -> tuple[str, str, str]:
    eyes = tuple(_eye(script.patient, script.examined, side) for side in SIDES)
    return _verdict(script.patient, script.examined, eyes, "")


def test_the_cause_without_which_least_is_left_is_named_first() -> None:
    """Accommodation of −0.5 D and +0.5 D left cancel each other: the streak 5° off a strong cylinder is the error."""
    script = Script(patient_of(SphCyl(-1, -3.75, 40), age=20, dark_near_d=0.5)).set_up().do("room", "dark")
    script.do("target", "off").measure("right", axis=45, short_by=-0.5).take().record("right")
    eye = _eye(script.patient, script.examined, "right")
    assert eye.causes[0].term != "axis"
    assert eye.main is not None
    assert eye.main.term == "axis"
    _, lead, _ = verdict(script)
    assert lead.startswith("The streak was 5° off a principal meridian.")
    assert "the others cancel each other" in lead


def test_small_causes_are_not_said_to_cancel_each_other() -> None:
    script = Script(patient_of(SphCyl(-2), age=40)).set_up().do("seat", 50.0)
    script.measure("right", axis=180, short_by=0.1).take(1.5).record("right")
    _, lead, _ = verdict(script)
    assert "Without it the record is right. The left eye" in lead


def test_what_working_drops_leave_is_no_fault() -> None:
    cho = patient_of_vignette("cho")
    script = Script(cho).set_up().do("asked").do("drops", "cyclopentolate").wait(45).do("near check")
    script.measure("right", axis=90, fog=False).take().record("right")
    eye = _eye(cho, script.examined, "right")
    assert eye.agrees
    heading, _, kind = verdict(script)
    assert heading == "Right eye right for what the drops show"
    assert kind == "right"


def test_a_referral_that_was_missed_is_in_the_verdict() -> None:
    finn = patient_of_vignette("finn")
    script = Script(finn).set_up().measure("right", axis=40).take().record("right")
    assert "Not referred, and should have been: a scissors reflex" in verdict(script)[1]
    assert "Not referred" not in verdict(script.do("refer", "scissors").do("how soon", "soon"))[1]
