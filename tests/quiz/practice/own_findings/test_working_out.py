"""Work one out: every computing type by the form of its own findings, against the case itself and worked examples."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.curriculum.register import all_types
from cases.procedure.case_type import draw
from cases.procedure.choices import Choice, Marks
from cases.procedure.settings import Settings
from quiz.practice.own_findings.working_out import BadFindings, Worked, computing_types, inputs_for, texts_of, work_out

TWO_SPHERES = {
    "first.streak": "90",
    "first.sphere": "+2.25",
    "second.streak": "180",
    "second.sphere": "+3.00",
    "distance_cm": "67",
    "form": "minus",
}


def worked(type_id: str, texts: dict[str, str]) -> Worked:
    return work_out(computing_types()[type_id], texts)


def faults(type_id: str, texts: dict[str, str]) -> dict[str, str]:
    with pytest.raises(BadFindings) as caught:
        worked(type_id, texts)
    return caught.value.faults


# --- worked examples ---------------------------------------------------------------------------------------------


def test_a_published_pair_of_spheres_comes_out_in_both_forms() -> None:
    """A published mock examination station: 180 neutral at +2.25, 90 at +3.00, two thirds of a metre.

    Its answer, worked by hand: +1.50/−0.75×90, which is +0.75/+0.75×180.
    """
    (answer,) = worked("two-spheres", TWO_SPHERES).answers
    assert answer.value == "+1.50 / −0.75 × 90"
    assert answer.other_form == "+0.75 / +0.75 × 180"
    (answer,) = worked("two-spheres", TWO_SPHERES | {"form": "plus"}).answers
    assert answer.value == "+0.75 / +0.75 × 180"
    assert answer.other_form == "+1.50 / −0.75 × 90"


def test_a_published_sphere_and_cylinder_comes_out() -> None:
    """A published mock examination station: streak 90 +2.25 DS, then streak 180 −2.50 DC → +0.75/−2.50×180."""
    texts = {
        "sphere": "+2.25",
        "sphere_streak": "90",
        "cylinder": "-2.50",
        "cylinder_streak": "180",
        "distance_cm": "67",
    }
    (answer,) = worked("sphere-then-cyl", texts).answers
    assert answer.value == "+0.75 / −2.50 × 180"


def test_a_sum_of_crossed_lenses_comes_out() -> None:
    """By power vectors (Thibos 1997): (−3.00/−1.00×180) + (+0.50/−0.75×45) = −2.75/−1.25×18."""
    (answer,) = worked("crossed-sum", {"first": "-3.00/-1.00x180", "second": "+0.50/-0.75x45"}).answers
    assert answer.value == "−2.75 / −1.25 × 18"


def test_a_sphere_has_no_other_form() -> None:
    (answer,) = worked("two-spheres", TWO_SPHERES | {"second.sphere": "+2.25"}).answers
    assert (answer.value, answer.other_form) == ("+0.75 DS", "")


# --- every type --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("type_id", list(computing_types()))
def test_a_type_is_worked_out_from_its_own_findings_as_they_are_written(type_id: str) -> None:
    """Through the form's texts and back the answer is the case's own, within what computed findings lose in them."""
    one = computing_types()[type_id]
    for level in ("novice", "expert"):
        for form in ("minus", "plus"):
            for seed in range(4):
                case = draw(one, seed, Settings(level=level, form=form))
                found = work_out(one, texts_of(one, case.findings))
                assert one.close(found.case.truth, case.truth), case.findings
                assert found.case.run.lines
                assert len(found.answers) == len(one.asks)


@pytest.mark.parametrize("type_id", list(computing_types()))
def test_a_form_has_a_blank_for_every_finding(type_id: str) -> None:
    one = computing_types()[type_id]
    blanks = inputs_for(one)
    names = [blank.name for blank in blanks]
    assert len(set(names)) == len(names)
    assert {name.split(".")[0] for name in names} == {field.name for field in one.findings.fields}
    for blank in blanks:
        assert blank.label
        assert blank.hint or blank.options


def test_eighths_and_streaks_keep_what_they_are_through_the_form() -> None:
    """+0.875 less 1.50 for 67 cm is −0.625, by hand; a streak is no axis."""
    (answer,) = worked("net-sphere", {"gross": "+0.875", "distance_cm": "67"}).answers
    assert answer.value == "−0.625 D"
    with pytest.raises(BadFindings, match="speaks of an axis"):
        worked("two-spheres", TWO_SPHERES | {"first.streak": "x 90"})


def test_what_is_left_out_is_never_computed() -> None:
    left = set(all_types()) - set(computing_types())
    for type_id in left:
        asks = all_types()[type_id].asks
        assert all(not hasattr(ask.kind, "unit") or isinstance(ask.kind, Choice | Marks) for ask in asks), type_id
    assert {"odd-reflex", "record-audit"} <= left
    assert len(computing_types()) > 50


texts_at_random = st.one_of(
    st.sampled_from(
        ("0", "90", "180", "67", "67 cm", "5 cm", "1000 cm", "+40.00", "-40.00", "+0.12", "plano", "1; 2; 3")
    ),
    st.sampled_from(("+1.00 -1.50 x 90", "-39 / -20 x 1", "+1.00 @ 180, -0.50 @ 90", "0.01", "-150", "30 mm", "none")),
    st.text(max_size=12),
)


@given(st.sampled_from(list(computing_types())), st.data())
@settings(max_examples=400, deadline=None)
def test_whatever_is_typed_is_worked_out_or_refused_in_a_sentence(type_id: str, data: st.DataObject) -> None:
    one = computing_types()[type_id]
    texts = {
        blank.name: data.draw(st.sampled_from([id_ for id_, _ in blank.options]) if blank.options else texts_at_random)
        for blank in inputs_for(one)
    }
    with suppress(BadFindings):
        found = work_out(one, texts)
        assert all(answer.value for answer in found.answers)


# --- faults and warnings -----------------------------------------------------------------------------------------


def test_every_blank_that_cannot_be_read_is_named() -> None:
    said = faults("two-spheres", {"first.streak": "0", "first.sphere": "-25", "distance_cm": "far"})
    assert set(said) == {"first.streak", "first.sphere", "second.streak", "second.sphere", "distance_cm"}
    assert "write 180" in said["first.streak"]
    assert "may be" in said["first.sphere"]
    assert said["second.sphere"].startswith("nothing was written")


@pytest.mark.parametrize("cm", ["15", "200 cm"])
def test_an_unusual_distance_is_warned_of_and_worked_out(cm: str) -> None:
    found = worked("two-spheres", TWO_SPHERES | {"distance_cm": cm})
    assert any("outside 20 to 150 cm" in warning for warning in found.warnings)
    assert found.answers[0].value
    assert worked("two-spheres", TWO_SPHERES | {"distance_cm": "20"}).warnings == ()
    assert worked("two-spheres", TWO_SPHERES | {"distance_cm": "150"}).warnings == ()


def test_a_chart_may_be_as_far_as_it_is() -> None:
    texts = {"chart_height_cm": "70", "chart_path_cm": "6 m", "distance_cm": "67"}
    assert worked("sighting-height", texts).warnings == ()


def test_powers_beyond_thirty_are_warned_of_and_worked_out() -> None:
    found = worked("two-spheres", TWO_SPHERES | {"second.sphere": "+31.00"})
    assert "Second streak and its sphere, sphere that neutralised: +31.00 D is beyond ±30 D" in found.warnings[0]
    assert found.answers[0].value == "+29.50 / −28.75 × 90"
    assert any("beyond" in one for one in worked("transpose", {"rx": "-31.00 -1.00 x 90"}).warnings)
    result = worked("vertex-sphere", {"power": "-29.00", "toward_eye_mm": "-12"})
    assert any("which few eyes need" in one for one in result.warnings)
    assert any(
        "beyond" in one
        for one in worked(
            "working-lens", {"lenses": "+31.00; +1.50", "working_lens": "+1.50", "distance_cm": "67"}
        ).warnings
    )


@pytest.mark.parametrize(("second", "expected"), [("175", "180"), ("8", "180"), ("165", "180")])
def test_streaks_nearly_at_right_angles_are_squared_with_a_warning(second: str, expected: str) -> None:
    found = worked("two-spheres", TWO_SPHERES | {"second.streak": second})
    assert f"the second is taken at {expected}" in found.warnings[0]
    assert found.answers[0].value == "+1.50 / −0.75 × 90"


def test_streaks_a_degree_off_are_taken_as_they_are_and_said_so() -> None:
    found = worked("two-spheres", TWO_SPHERES | {"second.streak": "1"})
    assert found.warnings == ("The two streaks are 89° apart and are taken to be at right angles.",)


def test_streaks_that_cannot_be_principal_are_refused_with_what_would_be_right() -> None:
    said = faults("two-spheres", TWO_SPHERES | {"second.streak": "130"})
    assert list(said) == [""]
    assert "across 90 lies 180" in said[""]


def test_what_has_no_answer_is_said_in_a_sentence() -> None:
    """A lens of +40 moved 25 mm towards the eye has its focus there: 1 − 0.025 × 40 = 0."""
    said = faults("vertex-sphere", {"power": "+40.00", "toward_eye_mm": "25"})
    assert "no finite equivalent" in said[""]


def test_a_text_without_end_is_refused() -> None:
    assert (
        "600 are the most"
        in faults("working-lens", {"lenses": "1;" * 400, "working_lens": "1", "distance_cm": "67"})["lenses"]
    )


def test_what_is_left_empty_takes_the_type_s_own_value() -> None:
    texts = {name: text for name, text in TWO_SPHERES.items() if name != "form"}
    assert worked("two-spheres", texts).answers[0].value == "+1.50 / −0.75 × 90"
    assert worked("dark-near", {"gross": "+1.25", "allowance": ""}).answers[0].value == "0.00 D"
