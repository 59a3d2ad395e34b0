"""Marking compares lenses, names the slip behind a wrong answer, and says why a text could not be read."""

from __future__ import annotations

from itertools import islice

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.curriculum.register import all_types, case_type
from cases.notation.prescription import write_prescription
from cases.optics.lens import SphCyl
from cases.procedure import quantities
from cases.procedure.case_type import Case, draw
from cases.procedure.chain import SlipRef
from cases.procedure.explaining import FACT, LIKELY, PRIORS, Beforehand
from cases.procedure.kinds import Lens
from cases.procedure.marking import mark, mark_fields, mark_text
from cases.procedure.settings import Settings

FINDINGS = {"first": {"streak": 70, "sphere": 1.0}, "second": {"streak": 160, "sphere": 3.0}, "distance_cm": 50}
# meridian 160: +1.00 − 2.00 = −1.00; meridian 70: +3.00 − 2.00 = +1.00; so +1.00/−2.00×70


def two_spheres(form: str = "minus") -> Case:
    return case_type("two-spheres").case_from_json({**FINDINGS, "form": form})


drawn = st.builds(
    lambda seed, level, form: draw(case_type("two-spheres"), seed, Settings(level=level, form=form)),
    st.integers(0, 400),
    st.sampled_from(("novice", "competent", "expert")),
    st.sampled_from(("minus", "plus")),
)
quarters = st.integers(-40, 40).map(lambda steps: steps / 4)
lenses = st.builds(SphCyl, quarters, quarters, st.integers(1, 180).map(float))


@pytest.mark.parametrize(
    ("form", "answer", "verdict"),
    [
        ("minus", "+1.00/-2.00x70", "right"),
        ("minus", "-1.00/+2.00x160", "equivalent"),
        ("plus", "-1.00/+2.00x160", "right"),
        ("plus", "1 -2 70", "equivalent"),
        ("minus", "+1.12/-2.00x70", "near"),
        ("minus", "+1.00/-2.00x73", "near"),
        ("minus", "+3.00/-2.00x70", "slip"),
        ("minus", "+1.25/-2.00x70", "wrong"),
        ("minus", "+1.50/-2.50x80", "wrong"),
        ("minus", "+1.00/-2.00x0", "unreadable"),
        ("minus", "", "unreadable"),
        ("minus", "-25", "unreadable"),
    ],
)
def test_verdicts(form: str, answer: str, verdict: str) -> None:
    assert mark_text(two_spheres(form), answer).verdict == verdict


def test_an_unreadable_answer_says_why() -> None:
    assert "write 180" in str(mark_text(two_spheres(), "+1.00/-2.00x0").unreadable)


def test_a_size_is_marked_as_a_size() -> None:
    """Asked how large a cylinder is, −0.50 is sent back with the reason, and a wrong size is too large, never plus."""
    findings = {"dry": {"sphere": 1}, "wet": {"sphere": 1.5, "cylinder": -0.5, "axis": 90}}
    case = case_type("wet-dry").case_from_json(findings)
    asks = {ask.name: ask.kind for ask in case.type.asks}
    assert asks["change"].write(case.truth["change"]) == "0.50 D"
    assert asks["change"].hint == "a size, such as 0.50"
    assert asks["change"].differs(3.875, 0.5) == "3.375 D too large"
    texts = {"latent": "+0.25", "change": "−0.50", "verdict": "expected"}
    sent_back = mark_fields(case, texts).unreadable
    assert sent_back is not None
    assert "a size has no minus" in str(sent_back)
    assert sent_back.ask == "change"
    for text in ("0.50", "+0.50", "0.5 D"):
        read = mark_fields(case, texts | {"change": text}).read_as
        assert read is not None
        assert read["change"] == 0.5


@pytest.mark.parametrize(
    ("given", "truth", "words"),
    [(3.375, 0, "3.375 D too plus"), (0, 3.375, "3.375 D too minus"), (0.125, 0, "0.125 D too plus")],
)
def test_a_difference_is_written_as_powers_are(given: float, truth: float, words: str) -> None:
    """An eighth in full here as everywhere."""
    assert quantities.POWER.differs(given, truth) == words
    assert Lens().differs(SphCyl(given), SphCyl(truth)) == f"{words} on the whole"


@pytest.mark.parametrize(
    ("given", "truth", "words"),
    [
        (
            SphCyl(2.25, 3.5, 101),
            SphCyl(2.25, -3.5, 101),
            "the cylinder plus at an axis where the other sign is right",
        ),
        (
            SphCyl(4.75, 2.25, 158),
            SphCyl(4.75, -2.5, 158),
            "the cylinder plus at an axis where the other sign is right, 0.25 D too little of it",
        ),
        (
            SphCyl(-1.25, -3.5, 11),
            SphCyl(2.25, 3.5, 11),
            "the cylinder minus at an axis where the other sign is right, the sphere 3.50 D too minus",
        ),
        # The same lens in the other form has its axis elsewhere, and is compared as a lens.
        (SphCyl(-1.25, 3.5, 11), SphCyl(2.25, -3.5, 101), "the same lens"),
        (SphCyl(-1.25, 3.5, 101), SphCyl(2.25, -3.5, 101), "the cylinder plus"),
        (SphCyl(2.25, -3.5, 11), SphCyl(2.25, -3.5, 101), "the axis 90° out"),
    ],
)
def test_a_cylinder_of_the_wrong_sign_is_not_called_an_axis_out(given: SphCyl, truth: SphCyl, words: str) -> None:
    assert Lens().differs(given, truth).startswith(words)
    assert ("axis 90°" in Lens().differs(given, truth)) == (words == "the axis 90° out")


@pytest.mark.parametrize("written", ["-3.37", "-3.375", "-3.38", "−3,38 D"])
@pytest.mark.parametrize(("gross", "verdict"), [(-1.875, "right"), (-1.75, "near"), (-2.0, "near"), (-3.25, "slip")])
def test_an_eighth_is_credited_alike_cut_rounded_or_in_full(written: str, gross: float, verdict: str) -> None:
    """Less 1.50 for 67 cm: −3.375; −3.25 and −3.50, 0.125 D from it; −4.75, where leaving the distance in gives −3.25.

    Phoropters and trial lenses are marked .37 or .38 for three eighths: common practice, no published source.
    """
    case = case_type("net-sphere").case_from_json({"gross": gross, "distance_cm": 67})
    assert mark_text(case, written).verdict == verdict


@pytest.mark.parametrize("written", ["+1.12/-2.12x70", "+1.125/-2.125x70", "+1.13/-2.13x70", "+1.12/-2.13x70"])
def test_the_eighths_of_a_lens_are_credited_alike_cut_rounded_or_in_full(written: str) -> None:
    """The truth is +1.00 / −2.00 × 70, by hand above; each power is an eighth away."""
    assert mark_text(two_spheres(), written).verdict == "near"


@pytest.mark.parametrize("written", ["-0.88@160, +1.13@70", "-0.87@160, +1.12@70", "-0.875@160, +1.125@70"])
def test_the_eighths_of_a_power_cross_are_credited_alike_cut_rounded_or_in_full(written: str) -> None:
    """+1.00 / −2.00 × 70 has +1.00 along 70 and −1.00 along 160."""
    case = case_type("rx-to-cross").case_from_json({"rx": {"sphere": 1, "cylinder": -2, "axis": 70}})
    assert mark_text(case, written).verdict == "near"


def test_no_size_that_is_asked_for_is_written_with_a_sign() -> None:
    """A power whose label asks for a size, a strength or a blur is of the kind that has no sign."""
    named = [
        (one.id, ask)
        for one in all_types().values()
        for ask in one.asks
        if ask.kind.id in ("power", "size") and any(word in ask.label.lower() for word in ("size", "strength", "blur"))
    ]
    assert {type_id for type_id, _ in named} >= {"difference-cause", "expected-vision", "wet-dry", "result-difference"}
    assert all(ask.kind.id == "size" for _, ask in named)


def test_the_difference_is_answer_minus_truth_as_a_lens() -> None:
    document = mark_text(two_spheres(), "+3.00/-2.00x70").to_json()
    assert document["difference"] == {"sphere": 2, "cylinder": 0, "axis": 180, "M": 2, "J0": 0, "J45": 0}
    assert document["slips"] == [[{"step": "take-off-distance", "slip": "distance-left-in"}]]


def test_a_pair_of_slips_is_found_when_no_single_one_explains() -> None:
    """Distance (now 40 cm) left in and the axis 90° out: +3.00/−2.00×160."""
    case = case_type("two-spheres").case_from_json({**FINDINGS, "distance_cm": 40})
    explanations = mark_text(case, "+3.00/-2.00x160").explanations
    pairs = [{ref.slip for ref in one.slips} for one in explanations]
    assert {"distance-left-in", "axis-at-the-power"} in pairs
    assert {"distance-left-in", "sweep-for-streak"} in pairs


def test_a_pen_slip_is_no_misconception() -> None:
    """A sphere 0.25 D out beside the right cylinder and axis: arithmetic, and not two slips."""
    found = mark_text(two_spheres(), "+1.25/-2.00x70")
    assert (found.verdict, found.named) == ("wrong", ())
    assert found.weighed[0].kind == "arithmetic"
    document = found.to_json()
    assert document["slips"] == []
    assert set(document["explanations"][0]) == {"kind", "slips", "probability"}
    assert document["explanations"][0]["kind"] == "arithmetic"


def test_a_slip_that_is_one_number_out_is_likely_and_no_fact() -> None:
    """Always 1.50 for 2.00 D, at 50 cm: 0.50 D out, which arithmetic gives too."""
    case = case_type("net-sphere").case_from_json({"gross": 1.0, "distance_cm": 50})
    found = mark_text(case, "-0.50")
    assert [ref.slip for one in found.explanations for ref in one.slips] == ["always-one-fifty"]
    assert found.verdict == "wrong"
    assert LIKELY <= found.probability < FACT
    assert "arithmetic" in [one.kind for one in found.weighed]


def test_a_wrong_way_with_two_names_is_no_likelier_than_with_one() -> None:
    """+5.50 D moved 16 mm nearer is +6.03 D; the wrong way, which a plus lens gives two names, +5.06 D: 1.00 D out."""
    case = case_type("vertex-sphere").case_from_json({"power": 5.5, "toward_eye_mm": 16})
    names = {"moved-wrong-way", "plus-moved-like-minus"}
    (answer, same) = (one.answer for one in case.singles if one.slips[0].slip in names)
    assert answer == same
    found = mark(case, answer)
    assert {ref.slip for one in found.named for ref in one.slips} == names
    assert found.verdict == "wrong"
    assert LIKELY <= found.probability < FACT


def test_what_is_known_of_a_learner_weighs() -> None:
    case = case_type("net-sphere").case_from_json({"gross": 1.0, "distance_cm": 50})
    slip = SlipRef("distance-in-dioptres", "always-one-fifty")
    often = mark_text(case, "-0.50", Beforehand(rates={slip: 0.25}))
    seldom = mark_text(case, "-0.50", Beforehand(doubts={"distance-in-dioptres": 0.1}))
    assert (often.verdict, seldom.verdict) == ("slip", "wrong")
    assert (len(often.named), seldom.named) == (1, ())


def test_what_is_known_is_held_to_its_bounds() -> None:
    slip = SlipRef("distance-in-dioptres", "always-one-fifty")
    sure = Beforehand(rates={slip: 1.0}, doubts={slip.step: 9.0})
    never = Beforehand(rates={slip: 0.0})
    assert (sure.rate(slip), never.rate(slip)) == (PRIORS.most_slip, PRIORS.least_slip)


@pytest.mark.parametrize(
    ("answer", "kind"),
    [
        ("+0.75/-2.00x70", "arithmetic"),
        ("+1.00/-2.00x80", "arithmetic"),
        ("+1.00/-2.00x7", "typing"),
        ("+1.00/-2.50x70", "arithmetic"),
        ("+7.00/-6.25x33", "none"),
    ],
)
def test_the_likeliest_of_what_people_do(answer: str, kind: str) -> None:
    """The truth is +1.00 / −2.00 × 70."""
    assert mark_text(two_spheres(), answer).weighed[0].kind == kind


def test_a_number_of_the_other_form_is_seen_as_one_number() -> None:
    """+1.00 / −2.00 × 70 is −1.00 / +2.00 × 160; there the cylinder alone is 0.50 D out."""
    found = mark_text(two_spheres(), "-1.00/+2.50x160")
    assert found.weighed[0].kind == "arithmetic"


@given(drawn, lenses)
def test_probabilities_come_to_one_at_most_and_are_in_order(case: Case, answer: SphCyl) -> None:
    found = [one.probability for one in mark(case, {"prescription": answer}).weighed]
    assert sum(found) <= 1 + 1e-9
    assert found == sorted(found, reverse=True)


def test_twins_are_both_named() -> None:
    found = mark_text(two_spheres(), "+1.00/-2.00x160")
    assert found.twins
    assert {one.slips[0].slip for one in found.explanations} == {"axis-at-the-power", "sweep-for-streak"}


@pytest.mark.parametrize(
    ("text", "verdict"),
    [
        ("160; 70", "right"), ("meridian=160; axis=70", "right"), ("axis=70; meridian=160", "right"),
        ("160", "unreadable"), ("160; 70; 3", "unreadable"), ("70; 160", "slip"),
    ],
)  # fmt: skip
def test_several_parts_in_one_text(text: str, verdict: str) -> None:
    assert mark_text(case_type("streak-axis").case_from_json({"streak": 70}), text).verdict == verdict


@given(drawn, lenses)
def test_marking_is_form_blind(case: Case, answer: SphCyl) -> None:
    one = mark(case, {"prescription": answer})
    other = mark(case, {"prescription": answer.transposed()})
    as_one = {"equivalent": "right"}
    assert as_one.get(one.verdict, one.verdict) == as_one.get(other.verdict, other.verdict)
    assert [e.slips for e in one.explanations] == [e.slips for e in other.explanations]


@settings(max_examples=25)
@given(drawn)
def test_the_truth_is_right_and_every_slip_is_named(case: Case) -> None:
    assert mark(case, case.truth).verdict == "right"
    for one in case.singles:
        found = mark(case, one.answer)
        assert found.verdict in ("slip", "wrong")
        if found.verdict == "wrong":  # arithmetic explains it too, and then it is no fact
            assert found.probability < FACT
        assert one.slips in [explanation.slips for explanation in found.weighed]
        others = [other.slips[0] for other in found.explanations if other.slips != one.slips]
        assert all(case.type.are_twins(other, one.slips[0]) for other in others)


@settings(max_examples=25)
@given(drawn)
def test_pairs_of_slips_are_explained(case: Case) -> None:
    for pair in islice(case.doubles, 0, None, 17):
        found = mark(case, pair.answer)
        if found.named and found.named[0].kind == "pair":
            assert pair.slips in [explanation.slips for explanation in found.named]
            assert found.verdict == "wrong", "a pair is never a fact"


@given(drawn)
def test_what_is_written_is_read_back_as_right(case: Case) -> None:
    for form in ("minus", "plus"):
        text = write_prescription(case.truth["prescription"], form)
        assert mark_text(case, text).verdict in ("right", "equivalent")


def test_an_empty_answer_is_told_how_it_is_written() -> None:
    case = draw(case_type("net-sphere"), 1)
    assert str(mark_text(case, " ").unreadable) == "nothing was written: give a power, such as +1.25 or −0.50"
