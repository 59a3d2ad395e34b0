"""Style sheets: raw colours in one place, the contrasts that are promised, and every name defined."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
SHEETS = ROOT / "static" / "css"
TOKENS = (SHEETS / "tokens.css").read_text("utf-8")
HEX = re.compile(r"#[0-9a-fA-F]{3,8}\b")
RAW = dict(re.findall(r"(--[\w-]+): (#[0-9a-f]{6});", TOKENS))
ROLES = {
    name: (light, dark)
    for name, light, dark in re.findall(r"(--[\w-]+): light-dark\(var\((--[\w-]+)\), var\((--[\w-]+)\)\)", TOKENS)
}


def test_a_raw_colour_stands_in_tokens_alone() -> None:
    others = [path for path in SHEETS.glob("*.css") if path.name != "tokens.css"]
    others += (ROOT / "quiz" / "web").rglob("*.html")
    assert len(others) > 40
    # A link to a part of a page looks like a colour of three letters only in a template's href.
    found = {path.name: HEX.findall(re.sub(r'"[^"]*"', "", path.read_text("utf-8"))) for path in others}
    assert {name: colours for name, colours in found.items() if colours} == {}


def test_no_sheet_names_what_is_not_defined() -> None:
    whole = "".join(path.read_text("utf-8") for path in SHEETS.glob("*.css"))
    assert set(re.findall(r"var\((--[\w-]+)", whole)) - set(re.findall(r"(--[\w-]+):", whole)) == set()


def test_every_class_and_id_of_a_sheet_is_carried_by_something() -> None:
    """By a template, a script, a figure or a page's code: a rule that nothing can meet goes."""
    carriers = [
        *(path for path in (ROOT / "quiz").rglob("*") if path.suffix in (".html", ".py")),
        *(ROOT / "static").rglob("*.js"),
        *(ROOT / "cases").rglob("*.py"),
    ]
    words = {word for path in carriers for word in re.findall(r"[\w-]+", path.read_text("utf-8"))}
    for sheet in SHEETS.glob("*.css"):
        rules = re.sub(r"/\*.*?\*/", "", sheet.read_text("utf-8"), flags=re.DOTALL)
        names = {
            name for each in re.findall(r"([^{}]+)\{", rules) for name in re.findall(r"[.#]([A-Za-z][\w-]*)", each)
        }
        assert names - words == set(), sheet.name


def luminance(colour: str) -> float:
    """Return the relative luminance of a colour. Source: WCAG 2.2, definition of relative luminance."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast of two roles' colours. Source: WCAG 2.2, definition of contrast ratio."""
    low, high = sorted((luminance(RAW[one]), luminance(RAW[other])))
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_computed_as_the_standard_does() -> None:
    """Black on white is 21 : 1, and #767676 on white the well-known grey that just reaches 4.5 : 1 (WCAG 2.2)."""
    assert (luminance("#ffffff") + 0.05) / (luminance("#000000") + 0.05) == pytest.approx(21)
    assert (luminance("#ffffff") + 0.05) / (luminance("#767676") + 0.05) == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("room", [0, 1])
@pytest.mark.parametrize(
    ("what", "on", "least"),
    [
        # 1.4.3: text 4.5 : 1; 1.4.11: edges of controls and lines that carry a meaning 3 : 1
        ("--text", "--ground", 4.5),
        ("--text", "--sheet", 4.5),
        ("--quiet", "--ground", 4.5),
        ("--quiet", "--sheet", 4.5),
        ("--own", "--ground", 4.5),
        ("--own", "--sheet", 4.5),
        ("--own-strong", "--ground", 4.5),
        ("--on-act", "--act", 4.5),
        ("--on-act", "--act-strong", 4.5),
        ("--edge", "--ground", 3),
        ("--edge", "--sheet", 3),
    ],
)
def test_contrasts_in_both_rooms(room: int, what: str, on: str, least: float) -> None:
    assert contrast(ROLES[what][room], ROLES[on][room]) >= least


@pytest.mark.parametrize(("room", "least"), [(0, 1.5), (1, 1.6)])
def test_what_is_yours_differs_from_text_in_light_too(room: int, least: float) -> None:
    """Ours: "yours" is found at a glance in the dim room too, where it was 1.22 : 1."""
    assert contrast(ROLES["--own"][room], ROLES["--text"][room]) >= least


def test_the_typeface_travels_with_its_licence() -> None:
    fonts = ROOT / "static" / "fonts"
    assert "SIL OPEN FONT LICENSE Version 1.1" in (fonts / "LICENSE.txt").read_text("utf-8")
    assert {path.name for path in fonts.glob("*.woff2")} == {"tm-serif.woff2", "tm-serif-greek.woff2"}
    assert sum(path.stat().st_size for path in fonts.glob("*.woff2")) < 34_000
