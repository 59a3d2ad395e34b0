"""What people type is read as what they mean, or asked back; what is written is read again as the same lens.

The last column of each table names where its spelling or its value comes from. PRACTICE is a fact of the trade
without a published source; OURS is a decision of this project, written in its notes on entry.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.errors import CaseError, OutOfRange
from cases.notation import prescription
from cases.notation.prescription import (
    Ambiguous,
    Incomplete,
    NotationError,
    OutOfBounds,
    Unreadable,
    read_angle,
    read_axis,
    read_distance_cm,
    read_meridian,
    read_power,
    read_powers,
    read_prescription,
    read_quantity,
    read_size,
    write_axis,
    write_distance,
    write_power,
    write_powers,
    write_prescription,
    write_size,
)
from cases.notation.tokens import LONGEST, plain_characters
from cases.optics.axes import axis_gap
from cases.optics.lens import SphCyl

PRACTICE = "common practice, no published source"
OURS = "a decision of this project"
NFOS = "NFOS optician course, Module 8 practice answers, lens {}"
ISO_AXIS = "ISO 8429, graduated dial scale (from memory); 180 in place of 0 is common practice"
ISO_PLANO = "ISO 13666, plano lens: no dioptric power (from memory)"

SAMPLE = SphCyl(1, -1.5, 90)

READERS: tuple[Callable[[str], object], ...] = (
    read_prescription,
    read_power,
    read_axis,
    read_meridian,
    read_powers,
    read_distance_cm,
    read_angle,
    read_quantity,
    lambda text: read_quantity(text, "mm"),
)


# --- prescriptions that are read

SPELLINGS = [
    ("+1.00/-1.50x90", PRACTICE),
    ("1 -1.5 90", PRACTICE),
    ("+1,00 −1,50 × 90°", PRACTICE),
    ("+100/-150x90", PRACTICE),
    ("+1.00/-150x90", OURS),
    ("+1.00 DS / -1.50 DC x 90", PRACTICE),
    ("+1.00DS/-1.50DCx90", PRACTICE),
    ("+1.00 D -1.50 D x 90", PRACTICE),
    ("+1.00 sph -1.50 cyl ax 90", PRACTICE),
    ("sph +1.00 cyl -1.50 axis 90", PRACTICE),
    ("Sph: +1.00, Cyl: -1.50, Axis: 90", PRACTICE),
    ("Sph. +1.00 cyl. -1.50 ax. 90", PRACTICE),
    ("S+1.00 C-1.50 A90", PRACTICE),
    ("axis 90 cyl -1.50 sph +1.00", OURS),
    ("-1.50 DC x 90 +1.00 DS", OURS),
    ("-1.50 DC x 90 / +1.00", OURS),
    ("+1.00 -1.50 by 90", PRACTICE),
    ("+1.00 -1.50 * 90", OURS),
    ("+1.00 -1.50 X 090", PRACTICE),
    ("+1.00 -1.50 90 ax", PRACTICE),
    ("+1.00 -1.50 90x", PRACTICE),
    ("+1.00 -1.50 90 degrees", PRACTICE),
    ("+1.00 -1.50 x vertical", PRACTICE),
    ("+1.00 (-1.50 x 90)", PRACTICE),
    ("+1.00 ⌢ -1.50 × 90", PRACTICE),
    ("1.00-1.50x90", PRACTICE),
    ("1.00 - 1.50 x 90", PRACTICE),
    ("1. -1.5 90", OURS),
    ("plus 1.00 minus 1.50 axis 90", PRACTICE),
    ("1,00, -1,50, 90", OURS),
    ("1.00, -1.50, 90", OURS),
    ("1.00,-1.50,90", OURS),
    ("1,00,-1,50,90", OURS),
    ("1;-1,5;90", OURS),
    ("+1·00 −1·50 × 90", "the raised point of older British printing; common practice, no published source"),
    ("+1.00 –1.50 × 90", "en dash; Unicode general punctuation"),
    ("+1.00 ‐1.50 × 90", "hyphen U+2010; Unicode general punctuation"),
    ("+1.00\u00a0−1.50\u202f×\u00a090", "no-break spaces; Unicode"),
    ("＋１．００／－１．５０×９０", "full-width forms; Unicode FF00 to FFEF"),
    ("+١٫٠٠ −١٫٥٠ × ٩٠", "Arabic-Indic digits and decimal separator; Unicode 0660 to 066B"),
    ("\u200f+۱٫۰۰\u200e/−۱٫۵۰ × ۹۰°", "extended Arabic-Indic digits with direction marks; Unicode 06F0 to 06F9"),
    ("+१.०० −१.५० × ९०", "Devanagari digits; Unicode 0966 to 096F"),
    ("+1.00\t-1.50\n90", OURS),
    ("  +1.00 / −1.50 × 90.  ", OURS),
]

OTHERS = [
    ("−0.50 / +1.50 × 180", SphCyl(-0.5, 1.5, 180), "plus form of the sample; simple transposition"),
    ("pl", SphCyl(0), ISO_PLANO),
    ("Plano", SphCyl(0), ISO_PLANO),
    ("plano DS", SphCyl(0), ISO_PLANO),
    ("∞", SphCyl(0), PRACTICE),
    ("0", SphCyl(0), OURS),
    ("-0.00", SphCyl(0), OURS),
    ("pl -1.50 x 90", SphCyl(0, -1.5, 90), PRACTICE),
    ("plano/-1.50x90", SphCyl(0, -1.5, 90), PRACTICE),
    ("∞/-1.50x90", SphCyl(0, -1.5, 90), PRACTICE),
    ("-1.50 x 90 plano", SphCyl(0, -1.5, 90), OURS),
    ("-1.50 DC x 90", SphCyl(0, -1.5, 90), PRACTICE),
    ("+1.00 DS", SphCyl(1), PRACTICE),
    ("-4 D", SphCyl(-4), PRACTICE),
    ("+2.25 SPH", SphCyl(2.25), PRACTICE),
    ("+1.00 / 0.00", SphCyl(1), OURS),
    ("+1.00 0 x 45", SphCyl(1, 0, 45), OURS),
    (".5 -.25 5", SphCyl(0.5, -0.25, 5), PRACTICE),
    ("-,5 -,25 x 5", SphCyl(-0.5, -0.25, 5), PRACTICE),
    ("+1.49 -0.35 x 140", SphCyl(1.49, -0.35, 140), "exact answers of worked examples are not in lens steps"),
    ("-025/-050x010", SphCyl(-0.25, -0.5, 10), PRACTICE),
    ("+112 -037 x 7", SphCyl(1.12, -0.37, 7), "eighths cut to two figures; common practice, no published source"),
    ("-1050", SphCyl(-10.5), OURS),
    ("-16.75 -2.00 x 179", SphCyl(-16.75, -2, 179), NFOS.format(7)),
    ("+1.00 -1.50 x 92.5", SphCyl(1, -1.5, 92.5), OURS),
]


@pytest.mark.parametrize(("text", "source"), SPELLINGS)
def test_every_spelling_of_one_lens_is_read_alike(text: str, source: str) -> None:
    assert read_prescription(text) == SAMPLE, source


@pytest.mark.parametrize(("text", "lens", "source"), OTHERS)
def test_a_prescription_is_read(text: str, lens: SphCyl, source: str) -> None:
    assert read_prescription(text) == lens, source


PUBLISHED = [
    ("+3.50 DS", "+3.50 DS", NFOS.format(1)),
    ("+0.50 −2.00 × 30", "−1.50 +2.00 × 120", NFOS.format(3)),
    ("+2.00 −3.00 × 20", "−1.00 +3.00 × 110", NFOS.format(5)),
    ("−16.75 −2.00 × 179", "−18.75 +2.00 × 89", NFOS.format(7)),
    ("+0.25 −1.00 × 2", "−0.75 +1.00 × 92", NFOS.format(9)),
    ("+0.25 −0.50 × 135", "−0.25 +0.50 × 45", NFOS.format(11)),
    ("+2.50 −1.50 × 170", "+1.00 +1.50 × 80", "Eye and Contacts, spectacle power, example 1"),
    ("+1.75 −3.25 × 40", "−1.50 +3.25 × 130", "Eye and Contacts, spectacle power, example 3"),
    ("+2.00 −1.00 × 180", "+1.00 +1.00 × 90", "OptomInsight, simple transposition, example 1"),
]


@pytest.mark.parametrize(("minus", "plus", "source"), PUBLISHED)
def test_published_transpositions_are_read_and_written_in_both_forms(minus: str, plus: str, source: str) -> None:
    a, b = read_prescription(minus), read_prescription(plus)
    assert a.equals(b), source
    assert write_prescription(a, "plus").replace(" / ", " ") == plus, source
    assert write_prescription(b, "minus").replace(" / ", " ") == minus, source


def test_a_published_mean_prescription_is_read_to_its_spherical_equivalent() -> None:
    """Mathebula & Rubin, BMJ Open Ophthalmol 2022;7:e000954: mean −7.68 −4.50 × 10, whose mean power is −9.93 D."""
    assert read_prescription("−7.68 −4.50 × 10").spherical_equivalent == pytest.approx(-9.93)


# --- prescriptions that are refused or asked back

REFUSED = [
    ("", Incomplete, "empty", "nothing was written", OURS),
    ("   \u200f", Incomplete, "empty", "nothing was written", OURS),
    ("abc", Unreadable, "no-meaning", "“abc” has no meaning here: write it like +1.00 / −1.50 × 90", OURS),
    ("OD +1.00 -1.50 x 90", Unreadable, "no-meaning", "“od” has no meaning", OURS),
    ("+1½", Unreadable, "no-meaning", "“½” has no meaning", "½ folds to 1⁄2 in NFKC, which would read as 11/2"),
    ("+1.00²", Unreadable, "no-meaning", "“²” has no meaning", "² folds to 2 in NFKC, which would read as 1.002"),
    ("1e2", Unreadable, "no-meaning", "“e” has no meaning", OURS),
    ("nan", Unreadable, "no-meaning", "“nan” has no meaning", OURS),
    ("+1_0.00", Unreadable, "no-meaning", "“_” has no meaning", OURS),
    ("\x00", Unreadable, "no-meaning", "a character that cannot be shown", OURS),
    ("+1.00 add 2.00", Unreadable, "no-meaning", "“add” has no meaning", OURS),
    ("67 cm", Unreadable, "no-meaning", "“cm” has no place in a prescription", OURS),
    ("1" * 201, Unreadable, "too-long", "longer than 200 characters", OURS),
    ("-25", Ambiguous, "no-decimal-mark", "−25 may be −0.25 or −25.00", PRACTICE),
    ("+75", Ambiguous, "no-decimal-mark", "+75 may be +0.75 or +7.50", PRACTICE),
    ("50 -1.50 x 90", Ambiguous, "no-decimal-mark", "50 may be 0.50 or 5.00", PRACTICE),
    ("+1.00 -50 x 90", Ambiguous, "no-decimal-mark", "−50 may be −0.50 or −5.00", PRACTICE),
    ("+123", Ambiguous, "no-decimal-mark", "+123 may be +1.23 or +12.3", OURS),
    ("150", Ambiguous, "no-sign", "150 may be +1.50 or −1.50", OURS),
    ("100 -150 90", Ambiguous, "no-sign", "100 may be +1.00 or −1.00", OURS),
    ("+12345", OutOfBounds, "power-beyond", "decimal mark", OURS),
    ("+4100", OutOfBounds, "power-beyond", "beyond ±40 D", OURS),
    ("+40.25", OutOfBounds, "power-beyond", "+40.25 D is beyond ±40 D", OURS),
    ("+1.00 -150.00 x 90", OutOfBounds, "power-beyond", "−150.00 D is beyond ±40 D", OURS),
    ("+1.00 1.50 x 90", Incomplete, "no-sign", "1.50 has no sign", PRACTICE),
    ("plano 1.50 x 90", Incomplete, "no-sign", "1.50 has no sign", PRACTICE),
    ("1.50 DC x 90", Incomplete, "no-sign", "1.50 has no sign", PRACTICE),
    ("+1.00 -1.50", Incomplete, "no-axis", "the cylinder −1.50 has no axis", PRACTICE),
    ("+1.00 -1.50 DC", Incomplete, "no-axis", "has no axis", PRACTICE),
    ("+1.00 -1.50 x", Incomplete, "no-axis", "“x” has no axis beside it", PRACTICE),
    ("+1,-1,90", Incomplete, "no-axis", "the cylinder −1.90 has no axis", OURS),
    ("+1.00 x 90", Incomplete, "no-cylinder", "no cylinder", PRACTICE),
    ("-1.50 x 90", Incomplete, "no-cylinder", "write plano / −1.50 × 90 if it is the cylinder", PRACTICE),
    ("plano x 90", Incomplete, "no-cylinder", "without a cylinder", PRACTICE),
    ("x 90", Incomplete, "no-power", "no power is given", OURS),
    ("DS", Incomplete, "no-number", "“ds” has no power beside it", OURS),
    ("+1.00 -1.50 x 0", OutOfBounds, "axis-zero", "axis 0: write 180; axes run from 1 to 180", ISO_AXIS),
    ("+1.00 -1.50 x 000", OutOfBounds, "axis-zero", "write 180", ISO_AXIS),
    ("+1.00 -1.50 x 270", OutOfBounds, "axis-past-180", "270 is past 180: bring it back", ISO_AXIS),
    ("+1.00 -1.50 x 400", OutOfBounds, "axis-beyond", "axis 400: axes run from 1 to 180", ISO_AXIS),
    ("+1.00 -1.50 x 17.6", OutOfBounds, "axis-fraction", "whole or half degree, here 18", OURS),
    ("+1.00 -1.50 -90", OutOfBounds, "axis-signed", "without a sign", PRACTICE),
    ("+1.00 -1.50 x -90", Incomplete, "axis-signed", "−90 has a sign and an axis has none", PRACTICE),
    ("+1.00 -1.50 x 90 10", Unreadable, "too-many-numbers", "4 numbers are too many", OURS),
    ("+1.00@180 -0.50@90", Unreadable, "two-axes", "as on a power cross", PRACTICE),
    ("+1.00 DS -1.50 DS x 90", Unreadable, "two-spheres", "two spheres are given", OURS),
    ("+1.00 / cyl vertical", Unreadable, "two-names", "90 is named both axis and cylinder", OURS),
    ("x90 +1.00 -1.50", Ambiguous, "order", "+1.00 / −1.50 × 90 or −1.50 / +1.00 × 90", PRACTICE),
    ("-1.50 x 90 +1.00", Ambiguous, "order", "it may be −1.50 / +1.00 × 90 or +1.00 / −1.50 × 90", PRACTICE),
    ("+1.00 cyl -1.50 axis 90", Ambiguous, "order", "it may be", "a name may stand before its number or after it"),
    ("+1.00 / plano x 90", Ambiguous, "order", "it may be", OURS),
    ("+1.00 -1 ,50", Ambiguous, "comma", "the comma before 50", OURS),
    ("+1.00 -1. 50", Ambiguous, "two-decimal-marks", "1. 50 may be one number or two", OURS),
    ("+1.00.50", Ambiguous, "two-decimal-marks", "1.00.50 may be one number or two", OURS),
    ("+1.00 -- 1.50 x 90", Unreadable, "stray-sign", "the sign − has no number of its own", OURS),
    ("+-1.00", Unreadable, "stray-sign", "the sign + has no number of its own", OURS),
    ("+1.00 -", Unreadable, "stray-sign", "the sign −", OURS),
    ("-pl", Unreadable, "stray-sign", "the sign −", OURS),
    ("+1.00 . -1.50", Unreadable, "no-meaning", "“.” has no meaning", OURS),
]


@pytest.mark.parametrize(("text", "error", "fault", "phrase", "source"), REFUSED)
def test_a_doubtful_prescription_is_refused_in_a_sentence(
    text: str, error: type[NotationError], fault: str, phrase: str, source: str
) -> None:
    with pytest.raises(NotationError) as caught:
        read_prescription(text)
    assert type(caught.value) is error, source
    assert caught.value.fault == fault, source
    assert phrase in str(caught.value), source
    if caught.value.given:
        said, text = (plain_characters(one).strip('"') for one in (str(caught.value), caught.value.given))
        assert said.startswith(text)
        assert not said.removeprefix(text).strip('": ').startswith((f"{text} ", f'{text}"'))


@pytest.mark.parametrize(
    ("read", "text", "message"),
    [
        (read_prescription, "abc", "“abc” has no meaning here: write it like +1.00 / −1.50 × 90"),
        (read_power, "ABC", "“abc” has no meaning here: write it like +1.25"),
        (read_power, "-50", "−50 may be −0.50 or −5.00: write it with its sign and decimal mark"),
        (read_power, "+1.00 abc", "“+1.00 abc”: “abc” has no meaning here: write it like +1.25"),
    ],
)
def test_a_refusal_names_the_whole_text_once(read: Callable[[str], object], text: str, message: str) -> None:
    with pytest.raises(NotationError) as caught:
        read(text)
    assert str(caught.value) == message


def test_a_refusal_is_a_case_error_and_an_ambiguity_spells_out_both_readings() -> None:
    with pytest.raises(CaseError) as caught:
        read_prescription("-25")
    assert isinstance(caught.value, Ambiguous)
    assert caught.value.readings == ("−0.25", "−25.00")


@pytest.mark.parametrize("text", ["+1.00 -1.50", "-25", "x90 +1.00 -1.50", "-1.50 x 90", "+1.00 1.50 x 90", "+123"])
def test_what_a_refusal_proposes_is_itself_read(text: str) -> None:
    """The example at the end of a sentence, and each reading of an ambiguity, can be typed back in."""
    with pytest.raises(NotationError) as caught:
        read_prescription(text)
    proposals = caught.value.readings if isinstance(caught.value, Ambiguous) else ("+1.00 / −1.50 × 90",)
    for proposal in proposals:
        read_prescription(proposal)


def test_a_refusal_quotes_forty_characters_without_controls() -> None:
    with pytest.raises(Unreadable) as caught:
        read_prescription("\x1b[31m\u202e" + "q" * 100)
    assert caught.value.given == "[31m" + "q" * 35 + "…"
    assert str(caught.value).isprintable()


# --- one power

POWERS = [
    ("+1.25", 1.25, PRACTICE),
    ("1,25", 1.25, PRACTICE),
    ("−1.5 D", -1.5, PRACTICE),
    ("-1.50DS", -1.5, PRACTICE),
    ("-0.75 DC", -0.75, PRACTICE),
    ("pl", 0.0, ISO_PLANO),
    ("plano", 0.0, ISO_PLANO),
    ("0", 0.0, OURS),
    ("00", 0.0, OURS),
    ("3", 3.0, PRACTICE),
    ("+125", 1.25, PRACTICE),
    ("-1275", -12.75, OURS),
    ("-075", -0.75, PRACTICE),
    ("+163", 1.63, "eighths rounded to two figures; common practice, no published source"),
    ("1.4925", 1.4925, "1/0.67 m, definition of vergence"),
    ("+40", None, "two bare digits"),
    ("+40.00", 40.0, OURS),
    (",5", 0.5, PRACTICE),
    ("+1.25,", 1.25, OURS),
    ("\ufeff+1.25", 1.25, "a byte order mark left by a paste; Unicode FEFF"),
    ("1,50", 1.5, "read as 150 by readers that take the comma for a thousands mark"),
]


@pytest.mark.parametrize(("text", "value", "source"), POWERS)
def test_a_power_is_read(text: str, value: float | None, source: str) -> None:
    if value is None:
        with pytest.raises(Ambiguous):
            read_power(text)
    else:
        assert read_power(text) == pytest.approx(value, abs=1e-12), source


@pytest.mark.parametrize("text", ["-0.00", "-0", "-000", "-.0"])
def test_nought_is_never_negative(text: str) -> None:
    assert math.copysign(1, read_power(text)) == 1


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "empty"),
        ("D", "no-number"),
        ("+1.00 +2.00", "too-many-numbers"),
        ("+1.00 x 90", "no-meaning"),
        ("vertical", "no-meaning"),
        ("25", "no-decimal-mark"),
        ("125", "no-sign"),
        ("-41.00", "power-beyond"),
    ],
)
def test_a_doubtful_power_is_refused(text: str, fault: str) -> None:
    with pytest.raises(NotationError) as caught:
        read_power(text)
    assert caught.value.fault == fault


@pytest.mark.parametrize(
    ("value", "text", "source"),
    [
        (1.25, "+1.25", PRACTICE),
        (-0.5, "−0.50", PRACTICE),
        (0.0, "0.00", PRACTICE),
        (-0.0, "0.00", OURS),
        (-0.004, "0.00", OURS),
        (0.125, "+0.125", "1/8 D in full: 12, 37, 62, 87 as lenses are marked do not add up"),
        (-0.375, "−0.375", "3/8 D"),
        (0.875, "+0.875", "7/8 D"),
        (3.125, "+3.125", "1/0.32 m, definition of vergence"),
        (0.625 + 1e-12, "+0.625", "arithmetic noise does not change an eighth"),
        (0.135, "+0.13", "no eighth: half-way goes to the smaller size"),
        (1 / 16, "+0.06", "no eighth"),
        (1.4925, "+1.49", "1/0.67 m, definition of vergence"),
        (-12.0, "−12.00", PRACTICE),
    ],
)
def test_a_power_is_written_with_two_decimals_and_an_eighth_in_full(value: float, text: str, source: str) -> None:
    assert write_power(value) == text, source


# --- one axis

AXES = [
    ("90", 90.0, PRACTICE),
    ("90°", 90.0, PRACTICE),
    ("x90", 90.0, PRACTICE),
    ("× 90", 90.0, PRACTICE),
    ("ax 90", 90.0, PRACTICE),
    ("Axis: 90", 90.0, PRACTICE),
    ("90 degrees", 90.0, PRACTICE),
    ("horizontal", 180.0, ISO_AXIS),
    ("Vertical", 90.0, ISO_AXIS),
    ("1", 1.0, ISO_AXIS),
    ("005", 5.0, "three figures, as laboratories print them; common practice, no published source"),
    ("180", 180.0, ISO_AXIS),
    ("92.5", 92.5, OURS),
    ("٩٠", 90.0, "Arabic-Indic digits; Unicode 0660 to 0669"),
]


@pytest.mark.parametrize(("text", "value", "source"), AXES)
def test_an_axis_is_read(text: str, value: float, source: str) -> None:
    assert read_axis(text) == value, source


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("0", "axis 0: write 180; axes run from 1 to 180"),
        ("270", "270 is past 180: bring it back into 1 to 180, here 90"),
        ("181", "181 is past 180: bring it back into 1 to 180, here 1"),
        ("360", "360 is past 180: bring it back into 1 to 180, here 180"),
        ("180.5", "180.5 is past 180: bring it back into 1 to 180, here 180"),
        ("361", "axis 361: axes run from 1 to 180"),
        ("0.5", "axis 0.5: axes run from 1 to 180"),
        ("17.6", "axis 17.6: write it to a whole or half degree, here 18"),
        ("-90", "−90 is no axis: axes run from 1 to 180, without a sign"),
        ("plano", "plano is no axis: axes run from 1 to 180, without a sign"),
        ("90 180", "“90 180”: 2 numbers are too many: write one, like 90"),
        ("", "nothing was written: write it like 90"),
        ("north", "“north” has no meaning here: write it like 90"),
    ],
)
def test_an_axis_out_of_range_is_refused_with_what_it_would_be(text: str, message: str) -> None:
    """The range is that of ISO 8429."""
    with pytest.raises(NotationError) as caught:
        read_axis(text)
    assert str(caught.value) == message


@pytest.mark.parametrize("degrees", range(1, 181))
def test_every_axis_of_the_scale_is_written_and_read(degrees: int) -> None:
    """ISO 8429: 1 to 180."""
    assert write_axis(degrees) == str(degrees)
    assert read_axis(write_axis(degrees)) == degrees


@pytest.mark.parametrize(
    ("value", "text"), [(0.3, "180"), (0.5, "1"), (179.5, "180"), (90.49, "90"), (0, "180"), (270, "90")]
)
def test_an_axis_is_never_written_0(value: float, text: str) -> None:
    assert write_axis(value) == text


# --- sizes


@pytest.mark.parametrize(
    ("text", "size"),
    [("0.50", 0.5), ("+0.50", 0.5), (",5", 0.5), ("0.50 D", 0.5), ("0.5 DC", 0.5), ("125", 1.25), ("+125", 1.25)],
)
def test_a_size_needs_no_sign_and_bears_a_plus(text: str, size: float) -> None:
    assert read_size(text) == size
    assert read_size(write_size(size)) == size


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "−0.50",
            "“−0.50”: a size has no minus, since it says how large and not which way: write 0.50, if that is how large",
        ),
        ("50", "50 may be 0.50 or 5.00: write it with its decimal mark"),
        ("45.5", "45.5 D is beyond 40 D: check the decimal mark; sizes are written like 0.50"),
        ("", "nothing was written: write it like 0.50"),
    ],
)
def test_what_is_no_size_is_refused_with_the_reason(text: str, message: str) -> None:
    with pytest.raises(NotationError) as caught:
        read_size(text)
    assert str(caught.value) == message


@pytest.mark.parametrize(("value", "text"), [(3.375, "3.375"), (-3.375, "3.375"), (0.125, "0.125"), (0.5, "0.50")])
def test_a_size_is_written_with_the_digits_of_the_signed_power(value: float, text: str) -> None:
    assert write_size(value) == write_power(value).lstrip("+−") == text


def test_an_eighth_in_a_prescription_or_a_power_cross_is_written_in_full() -> None:
    """−4.25 with half of +1.75 is −3.375 by hand."""
    assert write_prescription(SphCyl(-3.375, 0.875, 90), "as-is") == "−3.375 / +0.875 × 90"
    assert write_prescription(SphCyl(0.125)) == "+0.125 DS"
    assert write_powers(((180, 0.875), (90, -3.375))) == "+0.875 @ 180, −3.375 @ 90"


# --- power crosses

CROSSES = [
    ("+1.00@180 −0.50@90", PRACTICE),
    ("180: +1.00, 90: -0.50", PRACTICE),
    ("+1.00 at 180; -0.50 at 90", PRACTICE),
    ("+1 @ 180 / -.5 @ 90", PRACTICE),
    ("@180 +1.00 @90 -0.50", PRACTICE),
    ("180° +1,00, 90° −0,50", PRACTICE),
    ("+1,00@180,-0,50@90", PRACTICE),
    ("180 = +100, 90 = -050", PRACTICE),
    ("+1.00 D along 180, −0.50 D along 90", PRACTICE),
    ("horizontal +1.00, vertical −0.50", PRACTICE),
    ("180 meridian +1.00 DS, 90 meridian −0.50 DS", PRACTICE),
]


@pytest.mark.parametrize(("text", "source"), CROSSES)
def test_a_power_cross_is_read(text: str, source: str) -> None:
    assert read_powers(text) == ((180.0, 1.0), (90.0, -0.5)), source


def test_a_power_cross_keeps_the_order_typed_and_takes_a_degree_of_slack() -> None:
    assert read_powers("pl @ 44, +2.00 @ 135") == ((44.0, 0.0), (135.0, 2.0))
    assert write_powers(((180, 1.0), (90, -0.5))) == "+1.00 @ 180, −0.50 @ 90"


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("+1.00 @ 180, -0.50 @ 100", "not-at-right-angles"),
        ("+1.00 @ 180, -0.50 @ 91.5", "not-at-right-angles"),
        ("+1.00 @ 180, -0.50 @ 180", "not-at-right-angles"),
        ("+1.00 x 180, -0.50 x 90", "axis-on-a-cross"),
        ("+1.00 180 -0.50 90", "meridian-unclear"),
        ("+1.00 @ 180", "not-two-powers"),
        ("+1.00 / -1.50 @ 90", "not-two-powers"),
        ("+1 @ 180, +2 @ 90, +3 @ 45", "not-two-powers"),
        ("90:1,180:5", "not-two-powers"),
        ("+1.00 @ 0, -0.50 @ 90", "axis-zero"),
        ("+1.00: 180, -0.50: 90", "axis-signed"),
        ("+25 @ 180, -0.50 @ 90", "no-decimal-mark"),
        ("+1.00 @ 180, -0.50 @", "no-meaning"),
        ("", "empty"),
    ],
)
def test_a_doubtful_power_cross_is_refused(text: str, fault: str) -> None:
    with pytest.raises(NotationError) as caught:
        read_powers(text)
    assert caught.value.fault == fault


# --- distances, angles and other quantities

DISTANCES = [
    ("67", 67.0, PRACTICE),
    ("67 cm", 67.0, PRACTICE),
    ("67cm.", 67.0, PRACTICE),
    ("0.67 m", 67.0, "1 m = 100 cm, SI"),
    ("0,67 m", 67.0, "1 m = 100 cm, SI"),
    ("670 mm", 67.0, "10 mm = 1 cm, SI"),
    ("66.7", 66.7, PRACTICE),
    ("2/3 m", 200 / 3, "2/3 m is 1.50 D; definition of vergence"),
    ("26 in", 66.04, "1 in = 25.4 mm, international yard and pound agreement 1959 (from memory)"),
    ('26"', 66.04, "1 in = 25.4 mm, international yard and pound agreement 1959 (from memory)"),
    ("26″", 66.04, "1 in = 25.4 mm, international yard and pound agreement 1959 (from memory)"),
    ("20 ft", 609.6, "1 ft = 0.3048 m, international yard and pound agreement 1959 (from memory)"),
    ("６７ｃｍ", 67.0, "full-width forms; Unicode FF00 to FFEF"),
]


@pytest.mark.parametrize(("text", "cm", "source"), DISTANCES)
def test_a_distance_is_read_in_centimetres(text: str, cm: float, source: str) -> None:
    assert read_distance_cm(text) == pytest.approx(cm), source


@pytest.mark.parametrize(
    ("text", "fault", "phrase"),
    [
        ("1", "no-unit", "1 may be 1 cm or 1 m"),
        ("0.67", "no-unit", "0.67 may be 0.67 cm or 0.67 m"),
        ("2/3", "no-unit", "or 0.666667 m"),
        ("670", "no-unit", "670 may be 670 cm or 670 mm"),
        ("10,000 mm", "thousands", "10.000 mm or 10000 mm"),
        ("0", "distance-beyond", "zero is no distance"),
        ("30 m", "distance-beyond", "3000 cm is outside 1 to 2000 cm"),
        ("1 mm", "distance-beyond", "0.1 cm is outside"),
        ("-67", "signed", "a distance has no sign"),
        ("1/0 m", "fraction", "not clear"),
        ("67 cm m", "unit-misplaced", "one unit after it"),
        ("cm 67", "unit-misplaced", "the number first"),
        ("67 D", "no-meaning", "“d” has no place here"),
        ("67 kg", "no-meaning", "“kg” has no meaning"),
        ("60 70", "too-many-numbers", "2 numbers are too many"),
        ("pl", "no-meaning", "a word does not do"),
        ("m", "no-number", "no number is given"),
        ("", "empty", "nothing was written: write it like 67 cm"),
    ],
)
def test_a_doubtful_distance_is_refused(text: str, fault: str, phrase: str) -> None:
    with pytest.raises(NotationError) as caught:
        read_distance_cm(text)
    assert caught.value.fault == fault
    assert phrase in str(caught.value)


def test_a_distance_is_written_to_a_millimetre_and_read_again() -> None:
    assert write_distance(67) == "67 cm"
    assert write_distance(200 / 3) == "66.7 cm"
    assert read_distance_cm(write_distance(200 / 3)) == pytest.approx(66.7)


def test_angles_and_quantities_are_read() -> None:
    assert read_angle("4,3°") == pytest.approx(4.3)
    assert read_angle("−2 degrees") == -2
    assert read_angle("25") == 25
    assert read_quantity("−1.2 cm", "mm") == pytest.approx(-12)
    assert read_quantity("12", "mm") == 12
    assert read_quantity("0.5 in", "mm") == pytest.approx(12.7)
    assert read_quantity("1.75") == 1.75


@pytest.mark.parametrize(
    ("text", "unit"), [("400", "°"), ("4 cm", "°"), ("4°", "cm"), ("4°", ""), ("pl", ""), ("", "")]
)
def test_a_doubtful_quantity_is_refused(text: str, unit: str) -> None:
    with pytest.raises(NotationError):
        read_angle(text) if unit == "°" else read_quantity(text, unit)


# --- what writing refuses

WRONG_CALLS: list[Callable[[], object]] = [
    lambda: write_power(math.nan),
    lambda: write_power(math.inf),
    lambda: write_axis(math.nan),
    lambda: write_distance(math.inf),
    lambda: write_prescription(SAMPLE, "crossed"),
    lambda: read_quantity("1", "stone"),
]


@pytest.mark.parametrize("call", WRONG_CALLS)
def test_a_wrong_call_is_out_of_range(call: Callable[[], object]) -> None:
    with pytest.raises(OutOfRange):
        call()


@pytest.mark.parametrize(
    ("lens", "form", "text"),
    [
        (SphCyl(1, -1.5, 90), "minus", "+1.00 / −1.50 × 90"),
        (SphCyl(1, -1.5, 90), "plus", "−0.50 / +1.50 × 180"),
        (SphCyl(-0.5, 1.5, 180), "as-is", "−0.50 / +1.50 × 180"),
        (SphCyl(1), "plus", "+1.00 DS"),
        (SphCyl(0), "minus", "plano"),
        (SphCyl(-0.001, -0.002, 90), "as-is", "plano"),
        (SphCyl(0, -1.5, 0.3), "minus", "plano / −1.50 × 180"),
        (SphCyl(1.5, -1.5, 90), "plus", "plano / +1.50 × 180"),
    ],
)
def test_a_prescription_is_written_as_the_trade_writes_it(lens: SphCyl, form: str, text: str) -> None:
    """Common practice, no published source; 180 rather than 0 by ISO 8429."""
    assert write_prescription(lens, form) == text


# --- properties

spheres = st.integers(-2000, 2000).map(lambda hundredths: hundredths / 100)
cylinders = st.integers(-1000, 1000).filter(bool).map(lambda hundredths: hundredths / 100)
axes = st.integers(1, 180)
lenses = st.builds(SphCyl, spheres, cylinders | st.just(0.0), axes)
raw_lenses = st.builds(SphCyl, st.floats(-20, 20), st.floats(-10, 10), st.floats(0.001, 180))


@given(raw_lenses, st.sampled_from(["minus", "plus", "as-is"]), st.sampled_from([2, 3, 4]))
def test_a_written_lens_is_read_again_as_itself(lens: SphCyl, form: str, decimals: int) -> None:
    again = read_prescription(write_prescription(lens, form, decimals=decimals))
    half_step = 0.5 * 10**-decimals + 1e-9
    if again.cylinder == 0:
        assert abs(lens.cylinder) <= half_step
        assert again.sphere == pytest.approx(lens.spherical_equivalent, abs=half_step)
        return
    wanted = lens if form == "as-is" else lens.in_form(form)
    assert again.sphere == pytest.approx(wanted.sphere, abs=half_step)
    assert again.cylinder == pytest.approx(wanted.cylinder, abs=half_step)
    assert axis_gap(again.axis, wanted.axis) <= 0.5 + 1e-9


@given(st.floats(-40, 40))
def test_a_written_power_is_read_again(value: float) -> None:
    text = write_power(value)
    assert read_power(text) == pytest.approx(value, abs=0.005 + 1e-9)
    assert (text[0] in "+−") == (read_power(text) != 0)


@given(axes, st.floats(-20, 20), st.floats(-20, 20))
def test_a_written_power_cross_is_read_again(meridian: int, along: float, across: float) -> None:
    pairs = ((float(meridian), along), (float((meridian + 89) % 180 + 1), across))
    again = read_powers(write_powers(pairs))
    assert [m for m, _ in again] == [m for m, _ in pairs]
    assert [p for _, p in again] == pytest.approx([p for _, p in pairs], abs=0.005 + 1e-9)


DIGIT_SETS = ["0123456789", "０１２３４５６７８９", "٠١٢٣٤٥٦٧٨٩", "۰۱۲۳۴۵۶۷۸۹", "०१२३४५६७८९"]
MINUSES = ["-", "−", "–", "—", "‐", "‑", "－", "﹣", "minus "]
BLANKS = ["", " ", "\u00a0", "\u2009", "  ", "\t"]


@st.composite
def spelt_powers(draw: st.DrawFn, value: float, *, signed: bool, style: str, mark: str) -> str:
    """Spell a power: with or without a plus, short or with zeros, as decimals or as hundredths."""
    size = f"{abs(value):.2f}"
    whole, fraction = size.split(".")
    hundredths = str(int(whole + fraction)).zfill(3)
    usable = int(hundredths) % 5 == 0 or int(hundredths) % 25 in (12, 13)
    if style == "hundredths" and usable and value:
        body = hundredths
    else:
        short = fraction.rstrip("0")
        choices = [f"{whole}{mark}{fraction}"]
        if short:
            choices.append(f"{whole}{mark}{short}")
        elif len(whole) == 1:
            choices.append(whole)
        if whole == "0" and short and mark == ".":
            choices += [f"{mark}{fraction}", f"{mark}{short}"]
        body = draw(st.sampled_from(choices))
    if value < 0:
        return draw(st.sampled_from(MINUSES)) + draw(st.sampled_from(["", " "])) + body
    plain = body not in (hundredths,) or not value
    optional = not signed and plain
    return draw(st.sampled_from(["+", "＋", "plus ", *([""] if optional else [])])) + body


@st.composite
def spelt_lenses(draw: st.DrawFn) -> tuple[SphCyl, str]:
    """Draw a lens and one of the spellings in which people type it."""
    lens = draw(lenses)
    style = draw(st.sampled_from(["decimals", "hundredths"]))
    mark = draw(st.sampled_from([".", ",", "٫", "·", "．", "，"]))
    blank = st.sampled_from(BLANKS)
    sphere = draw(spelt_powers(lens.sphere, signed=False, style=style, mark=mark))
    if lens.sphere == 0:
        sphere = draw(st.sampled_from([sphere, "pl", "plano", "PLANO", "∞"]))
    word = sphere in ("pl", "plano", "PLANO", "∞")
    sphere_name = draw(st.sampled_from(["", "DS", " DS", " D", " sph", " dioptres"]))
    sphere_name = sphere_name.strip() and " " + sphere_name.strip() if word else sphere_name
    if lens.cylinder == 0:
        return lens, _in_digits(draw, sphere + sphere_name)
    cylinder = draw(spelt_powers(lens.cylinder, signed=True, style=style, mark=mark))
    degrees = draw(st.sampled_from([f"{lens.axis:.0f}", f"{lens.axis:03.0f}"]))
    degrees += draw(st.sampled_from(["", "°", "º", " deg", "."]))
    if draw(st.booleans()):
        pause = draw(st.sampled_from([" ", " / ", ", ", "; "]))
        names = draw(
            st.sampled_from([("sph ", "cyl ", "axis "), ("S ", "C ", "A "), ("Sphere: ", "Cylinder: ", "Axis: ")])
        )
        named = [name + part for name, part in zip(names, (sphere, cylinder, degrees), strict=True)]
        order = draw(st.permutations(named)) if not degrees.endswith(".") else named
        return lens, _in_digits(draw, pause.join(order))
    joint = draw(blank) + draw(st.sampled_from(["", "/", ";", "|", "⌢"])) + draw(blank)
    joint = " " + joint if word or joint == "" or cylinder.startswith(("minus", "plus")) else joint
    cylinder += draw(st.sampled_from(["", "DC", " DC", " D", " cyl"]))
    before_axis = draw(st.sampled_from(["x", "×", " X ", " х ", "*", " ax ", " axis ", " ", "/", " / ", "; ", ", "]))
    return lens, _in_digits(draw, sphere + sphere_name + joint + cylinder + before_axis + degrees)


def _in_digits(draw: st.DrawFn, text: str) -> str:
    return text.translate(str.maketrans(DIGIT_SETS[0], draw(st.sampled_from(DIGIT_SETS))))


@settings(max_examples=400)
@given(spelt_lenses())
def test_all_spellings_of_a_lens_are_read_alike(drawn: tuple[SphCyl, str]) -> None:
    lens, text = drawn
    read = read_prescription(text)
    assert read.sphere == pytest.approx(lens.sphere, abs=1e-9)
    assert read.cylinder == pytest.approx(lens.cylinder, abs=1e-9)
    if lens.cylinder:
        assert read.axis == lens.axis


PIECES = [
    *"+-−/x×@°,.;:=(01_²½٣٫３①ſİ\n\x00\u200f\u00a0\ud800",
    *("25", "90", "180", "1.00", "-1.50", "1,50", ".5", "pl", "plano", "ds", "dc", "d", "sph", "cyl", "ax", "axis"),
    *("at", "a", "cm", "mm", "m", "in", "horizontal", "minus", "e", "nan", "inf", " ", "  "),
]
near_misses = st.lists(st.sampled_from(PIECES), max_size=30).map("".join)


def refusal_of(reader: Callable[[str], object], text: str) -> NotationError | None:
    try:
        reader(text)
    except NotationError as refusal:
        return refusal
    return None


@settings(max_examples=300)
@given(st.text(max_size=250) | near_misses)
def test_no_text_escapes_the_family_of_refusals(text: str) -> None:
    for reader in READERS:
        refusal = refusal_of(reader, text)
        if refusal is not None:
            assert str(refusal).isprintable()
            assert len(str(refusal)) < 330
            assert refusal.fault


@settings(max_examples=300)
@given(near_misses)
def test_whatever_is_read_is_a_lens_that_is_read_again(text: str) -> None:
    if refusal_of(read_prescription, text) is not None:
        return
    lens = read_prescription(text)
    assert max(abs(lens.sphere), abs(lens.cylinder)) <= 40
    assert 1 <= lens.axis <= 180
    assert str(lens.sphere) != "-0.0"
    again = read_prescription(write_prescription(lens, "as-is", decimals=6))
    assert again.sphere == pytest.approx(lens.sphere, abs=1e-6)


@pytest.mark.parametrize(
    "unit", ["1", "1,", "1.", ",1", "+", "+-", " ", "x", "axis", "1 ", "-1.5", "90°", "(", "pl", "@1", "a", ".", "½"]
)
def test_no_text_takes_long(unit: str) -> None:
    """Two hundred characters made to trip a backtracking reader: one that did would take minutes."""
    text = (unit * 200)[:199] + "!"
    start = time.process_time()
    for reader in READERS:
        with pytest.raises(NotationError):
            reader(text)
    assert time.process_time() - start < 2


def test_a_long_text_is_refused_without_being_read(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[str] = []

    def seeing(text: str) -> str:
        seen.append(text)
        return plain_characters(text)

    monkeypatch.setattr("cases.notation.tokens.plain_characters", seeing)
    with pytest.raises(Unreadable) as refused:
        read_prescription("1.5 " * 1_000_000)
    assert refused.value.fault == "too-long"
    assert max(map(len, seen)) <= LONGEST + 1, "no more than what the refusal quotes"


@pytest.mark.parametrize(
    ("text", "mark", "of"),
    [("-1.50 x 90", "x", "an axis"), ("90°", "°", "degrees"), ("+1.00 @ 90", "@", "a meridian")],
)
def test_an_axis_or_a_meridian_where_a_power_alone_is_asked_is_called_one(text: str, mark: str, of: str) -> None:
    with pytest.raises(Unreadable, match=f"“{mark}” speaks of {of}, and that is not asked here"):
        read_power(text)


@pytest.mark.parametrize(
    ("text", "mark", "as_axis", "along", "at"),
    [
        ("+1.00 / -1.50 @ 90", "@", "+1.00 / −1.50 × 90", "+1.00 / −1.50 × 180", 90),
        ("+1.00 -1.50 at 30", "at", "+1.00 / −1.50 × 30", "+1.00 / −1.50 × 120", 30),
        ("pl +0.875 along 180", "along", "plano / +0.875 × 180", "plano / +0.875 × 90", 180),
    ],
)
def test_at_is_no_axis_mark_in_a_prescription_and_both_readings_are_asked_about(
    text: str, mark: str, as_axis: str, along: str, at: int
) -> None:
    """The sign @ names the meridian along which a power acts, across the axis (ISO 13666, from memory)."""
    with pytest.raises(Ambiguous) as caught:
        read_prescription(text)
    assert caught.value.fault == "at-for-axis"
    assert caught.value.readings == (as_axis, along)
    assert f"“{mark}” marks the power along a meridian; did you mean × {at}?" in str(caught.value)
    assert f"Write {as_axis} if {at} is the axis, {along} if the cylinder acts along {at}" in str(caught.value)
    acts = read_prescription(along)
    assert acts.power_at(at) == pytest.approx(acts.sphere + acts.cylinder), "all of the cylinder acts along it"


@pytest.mark.parametrize("text", ["+2.00 @ 90", "-1.50 @ 90", "@ 90", "+1.00 -1.50 @", "plano at 90", "+1 0.00 @ 90"])
def test_at_in_an_unfinished_prescription_is_not_called_an_axis(text: str) -> None:
    with pytest.raises(NotationError, match="marks the power along a meridian, as on a power cross") as caught:
        read_prescription(text)
    assert caught.value.fault == "at-for-axis"


@pytest.mark.parametrize("text", ["+1.00 -1.50 @ @ 90", "+1.00 @ -1.50 x 90", "@ +1.00 -1.50 x 90", "+1 -1.5 90 @"])
def test_no_prescription_with_at_in_it_is_read(text: str) -> None:
    with pytest.raises(NotationError):
        read_prescription(text)


@pytest.mark.parametrize("text", ["@ 90", "90 @", "at 90", "along 90", "90 meridian", "meridian 90"])
def test_an_axis_is_not_marked_as_a_meridian_nor_a_meridian_as_an_axis(text: str) -> None:
    """@ marks the power along a meridian, × an axis; common practice, no published source."""
    with pytest.raises(Unreadable, match="speaks of a meridian, and that is not asked here"):
        read_axis(text)
    assert read_meridian(text) == 90
    for marked in ("x 90", "× 90", "axis 90", "90 ax"):
        assert read_axis(marked) == 90
        with pytest.raises(Unreadable, match="speaks of an axis, and that is not asked here"):
            read_meridian(marked)


@pytest.mark.parametrize("text", ["-90", "+90", "− 90", "minus 90", "90-", "+-90", "- - 90"])
def test_an_axis_with_a_sign_is_refused_with_a_sentence_about_axes(text: str) -> None:
    """The scale of ISO 8429 has no signs."""
    for read in (read_axis, read_meridian):
        with pytest.raises(OutOfBounds, match="axes run from 1 to 180") as caught:
            read(text)
        assert caught.value.fault == "axis-signed"


def test_every_name_that_is_offered_exists() -> None:
    assert all(hasattr(prescription, name) for name in prescription.__all__)
