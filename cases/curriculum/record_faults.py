"""What a retinoscopy record must hold to be read safely by others, and which of it is missing or wrong.

A record is judged by what is written in it, so its cells are texts. Common practice, no published source, except where
a constant says otherwise.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from cases.notation.tokens import plain_characters
from cases.optics.lens import SphCyl
from cases.procedure.kinds import BadFinding, Kind

Entry = Mapping[str, str]
"""What is written for one eye: texts by "sphere", "cylinder" and "axis"; empty where nothing is."""

Faults = tuple[tuple[str, str], ...]
"""Faults found: the fault's id and where it stands, in words."""

LONGEST = 12
STEP = 0.25

_NUMBER = re.compile(r"([+-]?)(\d{1,3}(?:[.,]\d{1,3})?|[.,]\d{1,3})")
_SPHERE_ONLY = re.compile(r"\s{0,9}(ds|sph|sphere)$")
_NOUGHT = ("plano", "pl")


@dataclass(frozen=True)
class Written(Kind[str]):
    """A cell of a record, kept as it is written; a dash, or nothing, is a blank."""

    cell: str
    """Which cell it is: "sphere", "cylinder" or "axis"."""
    id = "written"
    hint = "as it is written on the card; a dash for a blank"

    def read(self, text: str) -> str:
        """Keep the text, a lone dash as a blank; raises BadFinding when no such cell can be written."""
        kept = " ".join(text.split())
        if kept in ("-", "–", "—"):
            return ""
        if len(kept) > LONGEST:
            raise BadFinding(kept, f"a cell of the record may have at most {LONGEST} characters")
        if kept:
            cell_value(self.cell, kept)
        return kept

    def write(self, value: str) -> str:
        """Write it as it stands, a blank as a dash."""
        return value or "–"

    def from_json(self, given: object) -> str:
        """Take a text out of JSON."""
        if not isinstance(given, str):
            raise BadFinding(given, "give the text of the cell, empty for a blank")
        return self.read(given)

    def to_json(self, value: str) -> str:
        """Give the text."""
        return value

    def same(self, given: str, truth: str) -> bool:
        """Compare letter by letter."""
        return given == truth

    def close(self, given: str, truth: str) -> bool:
        """Compare letter by letter."""
        return given == truth


@dataclass(frozen=True)
class CellValue:
    """What a cell says: its number, the sign that is written before it (or none), and whether it says "sphere only"."""

    number: float
    sign: str = ""
    sphere_only: bool = False

    @property
    def signed(self) -> bool:
        """Whether a sign is written, or none is needed."""
        return bool(self.sign) or self.number == 0


@lru_cache(1024)
def cell_value(cell: str, text: str) -> CellValue | None:
    """Read one cell of a record; None for a blank.

    Raises
    ------
    BadFinding
        When it holds neither a number nor a word that stands for one.
    """
    plain = plain_characters(text).replace("°", "").strip()
    if not plain:
        return None
    sphere_only = bool(_SPHERE_ONLY.search(plain)) and cell == "sphere"
    body = _SPHERE_ONLY.sub("", plain) if cell == "sphere" else plain.removesuffix("dc").strip()
    if body in _NOUGHT and cell != "axis":
        return CellValue(0.0, sphere_only=sphere_only)
    match = _NUMBER.fullmatch(body.replace(" ", ""))
    if match is None:
        wanted = "degrees such as 175" if cell == "axis" else "a power such as +1.25, or plano"
        raise BadFinding(text, f"the {cell} of a record holds {wanted}, or is blank")
    number = float(match[2].replace(",", "."))
    return CellValue(-number if match[1] == "-" else number, match[1], sphere_only)


def check_entry(entry: Entry) -> None:
    """Hold an eye's line to what can be audited at all: a sphere is written.

    Raises
    ------
    BadFinding
        When the sphere is blank.
    """
    if cell_value("sphere", entry["sphere"]) is None:
        raise BadFinding(dict(entry), "write at least the sphere of each eye")


def sign_faults(eyes: Mapping[str, Entry]) -> Faults:
    """Find powers without a sign; zero needs none."""
    return tuple(
        ("sign-missing", f"the {name} {cell}, {entry[cell]}")
        for name, entry in eyes.items()
        for cell in ("sphere", "cylinder")
        if (value := cell_value(cell, entry[cell])) is not None and not value.signed
    )


def cylinder_faults(eyes: Mapping[str, Entry]) -> Faults:
    """Find cylinders without an axis, axes without a cylinder, axes off the dial, and lines left open after a sphere.

    The dial runs from 1 to 180: ISO 8429; 180 is written, not 0.
    """
    out = []
    for name, entry in eyes.items():
        sphere, cylinder, axis = (cell_value(cell, entry[cell]) for cell in ("sphere", "cylinder", "axis"))
        if cylinder is not None and cylinder.number and axis is None:
            out.append(("axis-missing", f"the {name} cylinder, {entry['cylinder']}"))
        if cylinder is None and axis is not None:
            out.append(("cylinder-missing", f"the {name} axis, {entry['axis']}"))
        if axis is not None and not 1 <= axis.number <= 180:
            out.append(("axis-off-dial", f"the {name} axis, {entry['axis']}"))
        if cylinder is None and axis is None and sphere is not None and not sphere.sphere_only:
            out.append(("line-open", f"the {name} line ends after {entry['sphere']}"))
    return tuple(out)


def step_faults(eyes: Mapping[str, Entry]) -> Faults:
    """Find powers that no trial lens of quarter steps has."""
    return tuple(
        ("off-step", f"the {name} {cell}, {entry[cell]}")
        for name, entry in eyes.items()
        for cell in ("sphere", "cylinder")
        if (value := cell_value(cell, entry[cell])) is not None and value.number % STEP
    )


def form_faults(eyes: Mapping[str, Entry]) -> Faults:
    """Find one eye written with a plus cylinder and the other with a minus one."""
    written = [
        (entry["cylinder"], value.sign)
        for entry in eyes.values()
        if (value := cell_value("cylinder", entry["cylinder"])) is not None and value.number and value.sign
    ]
    if len({sign for _, sign in written}) < 2:
        return ()
    return (("forms-mixed", " beside ".join(text for text, _ in written)),)


def _apart(entry: Entry, found: SphCyl) -> float:
    """How far a line is from a lens in D, by the sizes of sphere and cylinder in the form that fits better."""
    sphere, cylinder = cell_value("sphere", entry["sphere"]), cell_value("cylinder", entry["cylinder"])
    size = abs(cylinder.number) if cylinder else 0.0
    return min(
        abs(abs(sphere.number if sphere else 0.0) - abs(lens.sphere)) + abs(size - abs(lens.cylinder))
        for lens in (found.minus_form(), found.plus_form())
    )


def eye_faults(eyes: Mapping[str, Entry], found: Mapping[str, SphCyl]) -> Faults:
    """Find the lines of the two eyes exchanged: each fits what was found in the other eye better, by a lens step."""
    right, left = eyes["right"], eyes["left"]
    straight = _apart(right, found["right"]) + _apart(left, found["left"])
    crossed = _apart(right, found["left"]) + _apart(left, found["right"])
    return (("eyes-swapped", "each line holds what was found in the other eye"),) if crossed + STEP < straight else ()


def note_faults(basis: str, drops: str) -> Faults:
    """Find what the notes under the lines leave out: whether net, from where, whether with drops, and when.

    basis: "net", "net-from", "from" (the distance alone) or "unsaid"; drops: "none", "timed", "untimed" or "unsaid".
    """
    out = []
    if basis in ("from", "unsaid"):
        out.append(("net-unsaid", "not a word of net or gross"))
    if basis in ("net", "unsaid"):
        out.append(("distance-unsaid", "no working distance is written"))
    if drops == "unsaid":
        out.append(("drops-unsaid", "nothing is written of drops"))
    if drops == "untimed":
        out.append(("time-unsaid", "the drops have no time"))
    return tuple(out)


def all_faults(eyes: Mapping[str, Entry], found: Mapping[str, SphCyl], basis: str, drops: str) -> Faults:
    """Find every fault of a record, in the order in which it is checked."""
    return (
        *sign_faults(eyes),
        *cylinder_faults(eyes),
        *step_faults(eyes),
        *form_faults(eyes),
        *eye_faults(eyes, found),
        *note_faults(basis, drops),
    )
