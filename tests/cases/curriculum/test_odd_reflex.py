"""Odd reflexes: recognised, explained and acted on, with the referral cautions held to in every case and figure."""

from __future__ import annotations

from typing import Any

import pytest

from cases.curriculum.odd_reflexes import ACTION_FOR, ACTION_WORDS, ACTIONS, BESIDE, MEANINGS, REFLEXES, SEEN, SIGHTS
from cases.curriculum.register import case_type
from cases.figures.unusual_reflexes import odd_reflex
from cases.procedure.kinds import BadFinding
from tests.cases.drawing import sound
from tests.cases.worked import answer_of, case_of, slip_answer, slips_of


def sight(name: str) -> dict[str, Any]:
    return {"reflex": SIGHTS[name].reflex, "beside": name}


@pytest.mark.parametrize(
    ("name", "meaning", "action"),
    [
        # Al-Mahrouqi 2019, Cornea 38:442: scissors as a sign of keratoconus; Goebels 2015: recognise, refer.
        ("cylinder-rising", "cornea", "note-refer"),
        ("young-cylinder-changing", "cornea", "note-refer"),
        # NICE NG12/NG127; Childhood Eye Cancer Trust: a white pupil, in photographs too, is urgent.
        ("child-always", "behind", "refer-now"),
        ("child-to-one-side", "behind", "refer-now"),
        ("child-photographs", "behind", "refer-now"),
        # Common practice, no published source.
        ("middle-plain", "aberration", "middle-only"),
        ("old-more-minus", "lens", "note-refer"),
        ("stays-after-blink", "lens", "note-refer"),
        ("slides-after-blink", "tears", "blink"),
        ("small-steps-tried", "large-error", "large-steps"),
        ("all-steps-tried", "behind", "refer-now"),
        ("evened-by-lens", "unequal-errors", "measure-on"),
        ("never-evened", "one-side", "refer-now"),
        ("looks-at-light", "accommodation", "relax"),
        ("looks-far", "accommodation", "relax"),
    ],
)
def test_what_it_may_mean_and_what_to_do(name: str, meaning: str, action: str) -> None:
    assert answer_of(case_of("odd-reflex", sight(name))) == {"meaning": meaning, "action": action}


def test_absent_white_and_grossly_unequal_reflexes_are_referred_at_once() -> None:
    """The caution that the whole project carries; red-reflex guidance, NICE NG12 and NG127."""
    for name in SIGHTS:
        case = case_of("odd-reflex", sight(name))
        if SIGHTS[name].reflex == "white" or name in ("all-steps-tried", "never-evened"):
            assert answer_of(case)["action"] == "refer-now"
            assert "referred by the local protocol at once" in case.run.lines[-1].says
            named = {one["action"] for one in slips_of(case).values()}
            assert {"write-down", "wait", "note-refer"} <= named


def test_nothing_is_ever_written_down_or_left_for_the_next_visit() -> None:
    actions = {answer_of(case_of("odd-reflex", sight(name)))["action"] for name in SIGHTS}
    assert actions == {option.id for option in ACTIONS.options} - {"write-down", "wait"}


def test_every_wrong_choice_is_the_consequence_of_a_named_step() -> None:
    dim = case_of("odd-reflex", sight("small-steps-tried"))
    assert slips_of(dim) == {
        "recognise-reflex/dull-taken-for-neutral": {"meaning": "neutral", "action": "write-down"},
        "reflex-meaning/media-blamed-too-soon": {"meaning": "lens", "action": "note-refer"},
        "reflex-action/number-forced": {"meaning": "large-error", "action": "write-down"},
        "reflex-action/referred-too-soon": {"meaning": "large-error", "action": "refer-now"},
    }
    white = case_of("odd-reflex", sight("child-always"))
    assert slip_answer(white, "white-taken-for-bright") == {"meaning": "neutral", "action": "write-down"}
    assert slip_answer(white, "white-taken-for-plain-opacity") == {"meaning": "lens", "action": "note-refer"}
    bands = case_of("odd-reflex", sight("cylinder-rising"))
    assert slip_answer(bands, "two-bands-taken-for-fluctuation") == {"meaning": "accommodation", "action": "relax"}
    assert slip_answer(bands, "wide-pupil-blamed") == {"meaning": "aberration", "action": "middle-only"}
    ring = case_of("odd-reflex", sight("young-cylinder-changing"))
    assert slip_answer(ring, "ring-taken-for-opacity") == {"meaning": "lens", "action": "note-refer"}
    moving = case_of("odd-reflex", sight("looks-far"))
    assert slip_answer(moving, "fluctuation-taken-for-two-bands") == {"meaning": "cornea", "action": "note-refer"}
    assert slip_answer(moving, "tear-film-blamed") == {"meaning": "tears", "action": "blink"}
    uneven = case_of("odd-reflex", sight("evened-by-lens"))
    assert slip_answer(uneven, "squint-blamed") == {"meaning": "one-side", "action": "refer-now"}


@pytest.mark.parametrize("name", [name for name in SIGHTS if SIGHTS[name].first_guess])
def test_going_by_the_reflex_alone_leads_to_its_first_guess(name: str) -> None:
    guess = SIGHTS[name].first_guess
    slipped = slip_answer(case_of("odd-reflex", sight(name)), "rest-of-findings-ignored")
    assert slipped == {"meaning": guess, "action": ACTION_FOR[guess]}


@pytest.mark.parametrize("name", list(SIGHTS))
def test_the_prompt_shows_the_reflex_without_naming_it(name: str) -> None:
    case = case_of("odd-reflex", sight(name))
    figure = case_type("odd-reflex").figure(case.findings, "f")
    assert figure == odd_reflex(SIGHTS[name].reflex, uid="f")  # type: ignore[arg-type]
    sound(figure)
    told = " ".join((*case.type.found(case.findings), figure.title, figure.description)).casefold()
    for word in ("scissors", "oil", "keratoconus", "leukocoria", "ectasia", "tumour"):
        assert word not in told


def test_what_goes_with_another_reflex_is_refused() -> None:
    with pytest.raises(BadFinding, match="goes with another reflex"):
        answer_of(case_of("odd-reflex", {"reflex": "white", "beside": "looks-far"}))


def test_every_choice_has_its_words() -> None:
    reflexes = {option.id for option in REFLEXES.options}
    assert set(SEEN) == reflexes == {one.reflex for one in SIGHTS.values()}
    assert set(ACTION_FOR) == {option.id for option in MEANINGS.options}
    assert set(ACTION_WORDS) == {option.id for option in ACTIONS.options}
    assert [option.id for option in BESIDE.options] == list(SIGHTS)
