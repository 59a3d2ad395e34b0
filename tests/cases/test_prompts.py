"""The recall prompts: every computed answer worked out again, the cautions held to warnings, the file's own rules."""

from __future__ import annotations

import math
import re

import pytest

from cases.errors import CaseError
from cases.notation.prescription import NotationError
from cases.optics.axes import across, axis_of
from cases.optics.lens import SphCyl, moved_power
from cases.recall import prompts
from cases.recall.prompts import BadPrompt, Prompt, TypedNumber, TypedWords, UnknownPrompt, read_prompts

COMPUTED = "computed from the definition"
DRUGS = re.compile(r"cyclopentolate|atropine|phenylephrine|tropicamide|benzalkonium|cycloplegic drop", re.IGNORECASE)
COUNTED = re.compile(
    r"\d\s*(%|per cent|mg|ml|µg|microgram|drops?\b|min|hours?)"
    r"|\b(one|two|three|four|five|ten|thirty|forty)[ -](more )?(drops?|minutes?|hours?|per cent)\b",
    re.IGNORECASE,
)
PROMPTS = prompts.all_prompts()
TYPED_NUMBERS = [one for one in PROMPTS if isinstance(one.typed, TypedNumber)]
TYPED_WORDS = [one for one in PROMPTS if isinstance(one.typed, TypedWords)]


def said(prompt: Prompt) -> str:
    return f"{prompt.question} {prompt.answer} {prompt.because}"


def numbers_in(text: str) -> set[float]:
    return {float(found.replace("−", "-")) for found in re.findall(r"[−+]?\d+(?:\.\d+)?", text)}


def by_id(prompt: Prompt) -> str:
    return prompt.id


# --- computed answers, by routes that never look at the file -------------------------------------------------------


def residual(error: float, cylinder: float = 1.0) -> SphCyl:
    """Return what is left when a cylinder of the right power stands `error` degrees off its axis."""
    return SphCyl(0, -cylinder, 30) - SphCyl(0, -cylinder, 30 + error)


def part_at(angle: float) -> float:
    """Fraction of a cylinder that acts along a meridian `angle` degrees from its axis, by the power matrix."""
    matrix, turn = SphCyl(0, 1, 20).power_matrix(), math.radians(20 + angle)
    n = (math.cos(turn), math.sin(turn))
    return float(sum(n[i] * matrix[i, j] * n[j] for i in range(2) for j in range(2)))


def wanted(*, refraction: float, metres: float, lens: float = 0.0) -> float:
    """Lens in D still wanted for neutral: plus shows with, minus shows against (plane mirror)."""
    return refraction + 1 / metres - lens


def tears(*, lens_mm: float, cornea_mm: float) -> float:
    """Power in D of the tear lens with the keratometric index 1.336."""
    return 336 / lens_mm - 336 / cornea_mm


CROSS = SphCyl.from_meridians(90, 1.0, -1.5)

# id: value computed, how far the printed figure may lie from it (half its last digit, or what its "about" covers)
NUMBERS: dict[str, tuple[float, float]] = {
    "vergence-at-50-cm": (1 / 0.50, 0.005),
    "vergence-at-67-cm": (1 / (2 / 3), 0.005),
    "vergence-at-40-cm": (1 / 0.40, 0.005),
    "vergence-at-a-metre": (1 / 1.0, 0.005),
    "vergence-at-80-cm": (1 / 0.80, 0.005),
    "vergence-at-57-cm": (1 / 0.57, 0.005),
    "vergence-at-33-cm": (1 / (1 / 3), 0.005),
    "vergence-at-25-cm": (1 / 0.25, 0.005),
    "distance-for-1-25": (100 / 1.25, 0.5),
    "minus-gross-at-50-cm": (-2.0 - 1 / 0.50, 0.005),
    "far-point-at-50-cm": (-1 / 0.50, 0.005),
    "five-cm-closer-at-67": (1 / 0.62 - 1 / 0.67, 0.005),
    "five-cm-closer-at-33": (1 / 0.28 - 1 / 0.33, 0.05),
    "between-with-and-against": ((1.50 + 2.00) / 2, 0.005),
    "horizontal-streak": (across(180), 0),
    "streak-at-45": (across(45), 0),
    "mirror-image-axis": (180 - 20, 0),
    "spherical-equivalent-in-figures": (SphCyl(2, -1, 180).power_vector()[0], 0.005),
    "sphere-after-transposing": (SphCyl(1, -2.5, 90).plus_form().sphere, 0.005),
    "cylinder-across-nought": (abs(CROSS.cylinder), 0.005),
    "sphere-left-by-axis-error": (residual(17, 2.25).spherical_equivalent, 0.005),
    "axis-room-at-one-dioptre": (math.degrees(math.asin(0.25 / 2)), 0.5),
    "tear-lens-rule": (tears(lens_mm=7.80, cornea_mm=7.85), 0.03),
    "lined-up-with-the-other-eye": (math.degrees(math.atan(6.4 / 67)), 0.05),
    "one-degree-at-67-cm": (67 * math.tan(math.radians(1)), 0.05),
    "lag-by-moving-back": (1 / 0.40 - 1 / 0.50, 0.005),
    "axis-above-180": (axis_of(125 + 90), 0),
}

FRACTION_WORDS = {"None": 0, "sixth": 1 / 6, "quarter": 1 / 4, "third": 1 / 3, "half": 1 / 2, "Three": 3 / 4, "All": 1}
FRACTION_WORDS |= {"whole": 1}
FRACTIONS: dict[str, tuple[str, float]] = {
    "power-along-the-axis": ("None", part_at(0)),
    "power-across-the-axis": ("All", part_at(90)),
    "power-30-from-the-axis": ("quarter", part_at(30)),
    "power-45-from-the-axis": ("half", part_at(45)),
    "power-60-from-the-axis": ("Three", part_at(60)),
    "axis-5-degrees-out": ("sixth", abs(residual(5).cylinder)),
    "axis-10-degrees-out": ("third", abs(residual(10).cylinder)),
    "axis-15-degrees-out": ("half", abs(residual(15).cylinder)),
    "axis-30-degrees-out": ("whole", abs(residual(30).cylinder)),
}

MOVEMENTS: dict[str, float] = {
    "lean-in-at-neutral": wanted(refraction=1.0, metres=0.57, lens=1.0 + 1 / 0.67),
    "lean-back-at-neutral": wanted(refraction=1.0, metres=0.77, lens=1.0 + 1 / 0.67),
    "emmetrope-without-a-lens": wanted(refraction=0, metres=0.67),
    "low-myope-without-a-lens": wanted(refraction=-0.5, metres=0.67),
    "higher-myope-without-a-lens": wanted(refraction=-3.0, metres=0.67),
    "sign-of-a-fogged-fellow-eye": wanted(refraction=1.25, metres=0.67, lens=1.25 + 1 / 0.67 + 0.25),
}

# id: what the answer must say, and a computation that makes it so
LAWS: dict[str, tuple[str, bool]] = {
    "distance-in-inches": ("40", abs(100 / 2.54 - 40) < 1),
    "why-close-work-is-riskier": (
        "square",
        all(math.isclose((1 / (d - 1e-6) - 1 / d) / 1e-6, 1 / d**2, rel_tol=1e-4) for d in (0.25, 0.33, 0.5, 1)),
    ),
    "drift-allowed-from-67": (
        "57 to 80 cm",
        (int(100 / (1 / 0.67 + 0.25)), int(100 / (1 / 0.67 - 0.25))) == (57, 80),
    ),
    "spherical-equivalent": (
        "Sphere plus half the cylinder",
        all(
            math.isclose(lens.sphere + lens.cylinder / 2, float(lens.power_matrix().trace()) / 2)
            for lens in (SphCyl(2, -1, 20), SphCyl(-3, 2.5, 115))
        ),
    ),
    "cylinder-from-two-spheres": (
        "difference, with signs",
        math.isclose(abs(SphCyl.from_meridians(180, 2.25, 3.0).cylinder), 3.0 - 2.25)
        and math.isclose(abs(SphCyl.from_meridians(180, 1.0, -1.5).cylinder), 1.0 - -1.5),
    ),
    "sphere-on-the-power-cross": ("the axis", SphCyl(1.5, -2, 35).power_at(35) == 1.5),
    "which-cylinder-needs-a-finer-axis": ("A strong one", residual(5, 3).strongest > residual(5, 1).strongest),
    "plus-moved-to-the-eye": ("Rise", moved_power(8, toward_eye_mm=12) > 8),
    "minus-moved-to-the-eye": ("Weaker", -8 < moved_power(-8, toward_eye_mm=12) < 0),
    "sign-of-the-tear-lens": ("Minus", tears(lens_mm=8.0, cornea_mm=7.8) < 0),
    # lens to neutral at the target's own distance = demand − response, whatever the distance
    "distance-in-lag-by-lens": (
        "Nothing",
        all(math.isclose(wanted(refraction=-(1 / d - 0.5), metres=d), 0.5) for d in (0.33, 0.4, 0.5)),
    ),
}

# figures printed in a "because": id, as printed, value computed
ASIDES: list[tuple[str, str, float]] = [
    ("vergence-at-67-cm", "1.49", 1 / 0.67),
    ("vergence-at-57-cm", "1.754", 1 / 0.57),
    ("vergence-at-33-cm", "3.03", 1 / 0.33),
    ("distance-in-inches", "39", 100 / 2.54),
    ("five-cm-closer-at-33", "0.54", 1 / 0.28 - 1 / 0.33),
    ("drift-allowed-from-67", "1.24", 1 / 0.67 - 0.25),
    ("drift-allowed-from-67", "1.74", 1 / 0.67 + 0.25),
    ("axis-10-degrees-out", "0.35", abs(residual(10).cylinder)),
    ("axis-15-degrees-out", "0.52", abs(residual(15).cylinder)),
    ("when-to-allow-for-vertex", "−3.82", moved_power(-4, toward_eye_mm=12)),
    ("plus-moved-to-the-eye", "+8.85", moved_power(8, toward_eye_mm=12)),
    ("minus-moved-to-the-eye", "−7.30", moved_power(-8, toward_eye_mm=12)),
]


def test_each_computed_answer_is_recomputed_here_and_no_other() -> None:
    tables = [set(NUMBERS), set(FRACTIONS), set(MOVEMENTS), set(LAWS)]
    assert sum(map(len, tables)) == len(set.union(*tables))
    assert set.union(*tables) == {one.id for one in PROMPTS if COMPUTED in one.source}


@pytest.mark.parametrize("prompt_id", NUMBERS)
def test_computed_number(prompt_id: str) -> None:
    value, slack = NUMBERS[prompt_id]
    typed = prompts.prompt(prompt_id).typed
    assert isinstance(typed, TypedNumber)
    assert typed.value == pytest.approx(value, abs=slack + 1e-9)


@pytest.mark.parametrize("prompt_id", FRACTIONS)
def test_computed_fraction(prompt_id: str) -> None:
    word, value = FRACTIONS[prompt_id]
    assert word in prompts.prompt(prompt_id).answer
    assert FRACTION_WORDS[word] == pytest.approx(value, abs=0.02)


@pytest.mark.parametrize("prompt_id", MOVEMENTS)
def test_computed_movement(prompt_id: str) -> None:
    assert prompts.prompt(prompt_id).answer == ("With." if MOVEMENTS[prompt_id] > 0 else "Against.")


@pytest.mark.parametrize("prompt_id", LAWS)
def test_computed_law(prompt_id: str) -> None:
    words, holds = LAWS[prompt_id]
    assert holds
    assert words in prompts.prompt(prompt_id).answer


@pytest.mark.parametrize(("prompt_id", "printed", "value"), ASIDES)
def test_figure_in_a_reason(prompt_id: str, printed: str, value: float) -> None:
    decimals = len(printed.partition(".")[2])
    assert printed in prompts.prompt(prompt_id).because
    assert float(printed.replace("−", "-")) == pytest.approx(value, abs=0.5 * 10**-decimals)


def test_mirror_twin_by_power_vectors() -> None:
    M, J0, J45 = SphCyl(0, -1, 20).power_vector()
    assert SphCyl.from_power_vector(M, J0, -J45).axis == pytest.approx(160)


# --- published figures, as the sources print them ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("prompt_id", "figure"),
    [
        ("lined-up-with-the-other-eye", 5.58),  # mean of examiners so placed: Eye 2011, 10.1038/eye.2011.79
        ("dark-near-allowance", 1.25),  # Kauser 2020, Indian J Ophthalmol 68:2458
        ("real-change-of-sphere", 0.92),  # limits −0.92 to +0.76 D: McCullough 2017, Ophthalmic Physiol Opt 37:16
        ("real-change-of-cylinder", 0.75),  # limits −0.75 to +0.59 D: the same
    ],
)
def test_published_figure_is_accepted(prompt_id: str, figure: float) -> None:
    typed = prompts.prompt(prompt_id).typed
    assert isinstance(typed, TypedNumber)
    assert abs(typed.value - figure) <= typed.within


# --- what every prompt must be -------------------------------------------------------------------------------------


def test_there_are_enough_in_sane_groups() -> None:
    assert len(PROMPTS) >= 95
    assert len({one.id for one in PROMPTS}) == len(PROMPTS)
    assert len({one.question for one in PROMPTS}) == len(PROMPTS)
    sizes = {group.id: len(prompts.prompts_in(group.id)) for group in prompts.all_groups()}
    assert sum(sizes.values()) == len(PROMPTS)
    assert all(5 <= size <= 30 for size in sizes.values()), sizes
    assert len({group.title for group in prompts.all_groups()}) == len(sizes)


@pytest.mark.parametrize("prompt", PROMPTS, ids=by_id)
def test_a_prompt_is_one_short_question_with_reason_and_source(prompt: Prompt) -> None:
    assert prompt.question.endswith("?")
    assert prompt.question.count("?") == 1
    assert len(prompt.question) <= 120
    assert len(prompt.answer) <= 100
    assert prompt.answer.endswith(".")
    assert 0 < len(prompt.because) <= 260
    assert prompt.source.strip()
    assert not re.search(r"www|\.(com|net|org)|\b(NICE|WHO|AAPOS|IAPB)\b", said(prompt)), "names belong in the source"


@pytest.mark.parametrize("prompt", [one for one in PROMPTS if len(one.answer) <= 30], ids=by_id)
def test_no_question_holds_its_own_figure(prompt: Prompt) -> None:
    assert not {abs(x) for x in numbers_in(prompt.answer)} & {abs(x) for x in numbers_in(prompt.question)}


# --- cautions ------------------------------------------------------------------------------------------------------


def test_cautions_are_where_drugs_referral_and_prescribing_are() -> None:
    assert {group.id for group in prompts.all_groups() if group.notice} == {"signs", "drops", "conduct"}
    for one in PROMPTS:
        assert one.caution == bool(one.group.notice)
        if DRUGS.search(said(one)):
            assert one.caution, one.id


@pytest.mark.parametrize("prompt", prompts.prompts_in("drops"), ids=by_id)
def test_drug_prompts_warn_and_give_no_dose(prompt: Prompt) -> None:
    assert prompt.caution
    assert prompt.because.endswith("Local rules and the current product information prevail.")
    assert not COUNTED.search(said(prompt))
    assert not re.search(r"\d", said(prompt)), "a figure beside a drug may be taken for a dose or a time"


@pytest.mark.parametrize("dose", ["0.5 % is enough", "wait 30 min", "two drops each", "1 drop", "forty minutes"])
def test_the_search_for_doses_finds_them(dose: str) -> None:
    assert COUNTED.search(dose)


@pytest.mark.parametrize("prompt", prompts.prompts_in("signs") + prompts.prompts_in("conduct"), ids=by_id)
def test_referral_and_prescribing_prompts_defer_and_print_no_threshold(prompt: Prompt) -> None:
    assert prompt.caution
    assert prompt.because.endswith("licensed practice prevail.")
    assert not re.search(r"\d", said(prompt))


# --- typed answers -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("prompt", TYPED_NUMBERS, ids=by_id)
def test_the_number_printed_is_the_number_taken(prompt: Prompt) -> None:
    typed = prompt.typed
    assert isinstance(typed, TypedNumber)
    assert typed.value in numbers_in(prompt.answer)
    written = f"{typed.value:.2f}".replace("-", "−")
    assert typed.accepts(f"{written} {typed.unit}")
    assert typed.accepts(written)
    assert not typed.accepts(f"{typed.value + typed.within + 0.02:.2f}")
    assert typed.accepts(f"{-typed.value:.2f}") == (typed.size or typed.value == 0)


@pytest.mark.parametrize("prompt", TYPED_WORDS, ids=by_id)
def test_a_word_taken_is_in_the_answer_printed(prompt: Prompt) -> None:
    typed = prompt.typed
    assert isinstance(typed, TypedWords)
    assert any(word.casefold() in prompt.answer.casefold() for word in typed.words)
    assert typed.accepts(f" The  {typed.words[0].upper()}. ")
    assert not typed.accepts("")
    assert not typed.accepts("I do not know")


def test_numbers_are_read_as_people_type_them() -> None:
    typed = prompts.prompt("distance-for-1-25").typed
    assert isinstance(typed, TypedNumber)
    assert typed.accepts("80")
    assert typed.accepts("0,8 m")
    assert not typed.accepts("60 cm")
    with pytest.raises(NotationError):
        typed.accepts("no idea")


# --- the file's own rules ------------------------------------------------------------------------------------------

GOOD = """
[sources]
s = "Somebody 1970, A Journal 1:1"
[groups.g]
title = "G"
[groups.h]
title = "H"
notice = "Local rules prevail."
[[prompt]]
id = "one"
group = "g"
question = "Which?"
answer = "That."
because = "It is."
source = ["s"]
typed = { number = 1, within = 0, unit = "D" }
[[prompt]]
id = "two"
group = "h"
question = "Which other?"
answer = "This."
because = "It is so."
source = ["s"]
"""


def test_a_good_file_is_read() -> None:
    one, two = read_prompts(GOOD)
    assert (one.source, one.typed, one.caution, one.steps) == (
        "Somebody 1970, A Journal 1:1",
        TypedNumber(1, 0, "D"),
        False,
        (),
    )
    assert (two.because, two.typed, two.caution) == ("It is so. Local rules prevail.", None, True)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('id = "two"', 'id = "one"', "twice"),
        ('id = "two"', 'id = "Two words"', "lower-case"),
        ('because = "It is so."', "", "missing or unknown: because"),
        ('because = "It is so."', 'because = "It is so."\nhint = "x"', "missing or unknown: hint"),
        ('because = "It is so."', 'because = ""', "must not be empty"),
        ('because = "It is so."\nsource = ["s"]', 'because = "x"\nsource = []', "source must not be empty"),
        ('because = "It is so."\nsource = ["s"]', 'because = "x"\nsource = ["t"]', "not in"),
        ("[sources]", '[sources]\nspare = "Nobody 1900"', "no prompt cites"),
        ('group = "h"', 'group = "i"', "unknown"),
        ('group = "h"', 'group = "g"', "must follow"),
        ('unit = "D"', 'unit = "stone"', "typed is words"),
        ("within = 0", "within = -1", "typed is words"),
        ('typed = { number = 1, within = 0, unit = "D" }', "typed.words = []", "typed is words"),
    ],
)
def test_a_bad_file_is_refused_with_its_reason(old: str, new: str, says: str) -> None:
    assert GOOD.count(old) == 1
    with pytest.raises(BadPrompt, match=says):
        read_prompts(GOOD.replace(old, new))


def test_unknown_ids_are_answered_with_the_nearest() -> None:
    with pytest.raises(UnknownPrompt, match="did you mean gross-or-net"):
        prompts.prompt("gros-or-net")
    with pytest.raises(UnknownPrompt, match="did you mean drops"):
        prompts.prompts_in("drop")
    with pytest.raises(CaseError, match="Recall screen"):
        prompts.prompt("zzz")
