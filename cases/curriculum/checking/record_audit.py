"""Family H, the record: which faults are in it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from cases.curriculum.checking import FAMILY
from cases.curriculum.checking.spoilt_record import draw_record
from cases.curriculum.record_faults import (
    CellValue,
    Entry,
    Faults,
    Written,
    cell_value,
    check_entry,
    cylinder_faults,
    eye_faults,
    form_faults,
    note_faults,
    sign_faults,
    step_faults,
)
from cases.curriculum.steps import DISTANCE, DROPS_CAUTION, as_written
from cases.figures.record_card import record_card
from cases.notation.prescription import write_distance
from cases.optics.lens import SphCyl
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.choices import Choice, Marks, Option
from cases.procedure.fields import Field, Group
from cases.procedure.keys import Key, Rule, Slip, Step, asking, given
from cases.procedure.kinds import Lens
from cases.procedure.randomness import Chance
from cases.procedure.settings import Settings

AUDIT_SIGNS = Skill("audit-signs", "checking a record for its signs")
AUDIT_CYLINDERS = Skill("audit-cylinders", "checking a record for cylinder and axis")
AUDIT_STEPS = Skill("audit-steps", "checking a record for powers that no lens has")
AUDIT_FORMS = Skill("audit-forms", "checking a record for its cylinder form")
AUDIT_EYES = Skill("audit-eyes", "checking that each eye has its own line")
AUDIT_NOTES = Skill("audit-notes", "checking what a record says of distance and drops")


FAULTS = Marks(
    (
        Option("sign-missing", "a power without its sign", "a power other than zero has neither plus nor minus"),
        Option("axis-missing", "a cylinder without an axis", "a cylinder is written and no axis after it"),
        Option("cylinder-missing", "an axis without a cylinder", "an axis is written and no cylinder before it"),
        Option("axis-off-dial", "an axis outside 1 to 180", "an axis is 0 or above 180"),
        Option("line-open", "a sphere alone without DS", "a sphere is alone and no DS follows it"),
        Option("off-step", "a power off the quarter steps", "a power is no whole number of quarter dioptres"),
        Option(
            "forms-mixed",
            "one eye in plus and one in minus cylinder",
            "one eye has a plus and the other a minus cylinder",
        ),
        Option("eyes-swapped", "the eyes exchanged", "each line holds what was found in the other eye"),
        Option("net-unsaid", "not said whether net", "the record says neither net nor gross"),
        Option("drops-unsaid", "not said whether with drops", "the record says nothing of drops"),
        Option(
            "time-unsaid", "drops without their time", "drops are written without the time at which they were given"
        ),
        Option("distance-unsaid", "no working distance", "no working distance is written"),
    )
)
BASES = Choice(
    (
        Option("net", "net"),
        Option("net-from", "net, with the distance"),
        Option("unsaid", "not said"),
        Option("from", "the distance alone"),
    )
)
DROP_STATES = Choice(
    (
        Option("none", "no drops"),
        Option("timed", "drops, with their time"),
        Option("untimed", "drops, without a time"),
        Option("unsaid", "not said"),
    )
)
_DROP_NOTES = {
    "none": "no drops",
    "timed": "drops 10:20, read 11:00 (see chart)",
    "untimed": "drops (see chart)",
}

MISSED = {
    "sign-missing": SlipName(
        "missing-sign-passed",
        "missed a power without its sign",
        "A power without a sign may be made up either way. Write the plus too.",
        ("certificate-feedback",),
    ),
    "axis-missing": SlipName(
        "missing-axis-passed",
        "missed a cylinder without an axis",
        "That lens cannot be made: a cylinder needs its axis.",
    ),
    "cylinder-missing": SlipName(
        "missing-cylinder-passed",
        "missed an axis without a cylinder",
        "An axis alone says that there was a cylinder, and not how strong.",
    ),
    "axis-off-dial": SlipName(
        "axis-past-180",
        "missed an axis outside 1 to 180",
        "Axes run from 1 to 180. Take 180 off what lies above, and write 180 for 0, so that it is not read as a blank.",
        ("iso-8429", "study-guide"),
    ),
    "line-open": SlipName(
        "open-line-passed",
        "missed a sphere with nothing after it",
        "DS after a lone sphere says that there is no cylinder. Without it, one may have been forgotten.",
    ),
    "off-step": SlipName(
        "off-step-passed",
        "missed a power that no lens in the set has",
        "The lenses go in quarters. A power between them was mistyped or never in the frame.",
    ),
    "forms-mixed": SlipName(
        "mixed-forms-passed",
        "missed two cylinder forms in one record",
        "One eye in plus and one in minus form invites a transposing mistake. Keep one form for both.",
        ("certificate-feedback",),
    ),
    "eyes-swapped": SlipName(
        "exchanged-eyes-passed",
        "missed the two eyes exchanged",
        "Compare each line with the findings: the right eye's is written for the left, and the left eye's for the "
        "right.",
    ),
    "net-unsaid": SlipName(
        "net-unsaid-passed",
        "missed that the record does not say net or gross",
        "The next reader cannot know whether the working distance is still included.",
        ("certificate-feedback",),
    ),
    "distance-unsaid": SlipName(
        "distance-unsaid-passed",
        "missed that no working distance is written",
        "Without the distance nobody can check what was taken off. Write it beside net.",
    ),
    "drops-unsaid": SlipName(
        "drops-unsaid-passed",
        "missed that nothing is said about drops",
        "A finding with drops and one without are two different things. Say which it is.",
        ("certificate-feedback",),
    ),
    "time-unsaid": SlipName(
        "time-unsaid-passed",
        "missed drops without their time",
        "Whether the drops had taken full effect depends on the time. Write when they were given, and when you "
        "measured.",
        ("certificate-feedback",),
    ),
}

SIGN_FOR_NOUGHT = SlipName(
    "sign-wanted-for-nought",
    "asked for a sign before zero",
    "Zero is neither plus nor minus: write plano, or 0.00, without a sign.",
)
AXIS_FOR_SPHERE = SlipName(
    "axis-wanted-for-sphere",
    "asked for an axis for a sphere",
    "DS says that there is no cylinder, so there is no axis to write.",
)
LEVEL_REFUSED = SlipName(
    "axis-180-refused",
    "took 180 for an axis that does not exist",
    "The horizontal axis is written 180. An axis of 0 is not written.",
    ("iso-8429",),
)
SIGNS_FOR_FORMS = SlipName(
    "sphere-signs-taken-for-forms",
    "took two spheres of opposite signs for two cylinder forms",
    "The form is in the sign of the cylinder. One eye may well be long-sighted and the other short-sighted.",
)
DISTANCE_BESIDE_NET = SlipName(
    "distance-wanted-beside-net",
    "took a missing distance for a missing net",
    "Net is written, so that much is said. What the record lacks is the distance.",
    ("certificate-feedback",),
)
TIME_WITHOUT_DROPS = SlipName(
    "time-wanted-without-drops",
    "asked for a time although no drops were given",
    "Without drops there is no time to write down.",
)


def _line_field(name: str) -> Field[Entry]:
    cells = tuple(Field(cell, cell.capitalize(), Written(cell), default="") for cell in ("sphere", "cylinder", "axis"))
    return Field(name, f"What the card says of the {name} eye", Group(cells))


FOUND_RIGHT = Field("found_right", "Net result found in the right eye", Lens())
FOUND_LEFT = Field("found_left", "Net result found in the left eye", Lens())
RIGHT = _line_field("right")
LEFT = _line_field("left")
BASIS = Field("basis", "What the card says of net and distance", BASES, default="unsaid")
DROPS = Field("drops", "What the card says of drops", DROP_STATES, default="unsaid")
WORKED_AT = Field(DISTANCE.name, DISTANCE.label, DISTANCE.kind, default=67.0)
PRESENT = Field("faults", "Faults in this record", FAULTS)
MARKS = Key[tuple[str, ...]]("marks")
SEEN = Key[Faults]("seen")


def _draw(chance: Chance, settings: Settings) -> dict[str, Any]:
    card = draw_record(chance, settings)
    return given(FOUND_RIGHT, FOUND_LEFT, RIGHT, LEFT, BASIS, DROPS).to(
        card.found["right"], card.found["left"], card.lines["right"], card.lines["left"], card.basis, card.drops
    ) | WORKED_AT.to(card.distance_cm)


@given(RIGHT, LEFT)
def _eyes(right: Entry, left: Entry) -> dict[str, Entry]:
    return {"right": right, "left": left}


_signs = given(_eyes)(sign_faults)
_cylinders = given(_eyes)(cylinder_faults)
_forms = given(_eyes)(form_faults)
_unsaid = given(BASIS, DROPS)(note_faults)


def _values(eyes: Mapping[str, Entry], *cells: str) -> list[CellValue]:
    """Read these cells of both eyes, blanks left out."""
    values = [cell_value(cell, entry[cell]) for entry in eyes.values() for cell in cells]
    return [value for value in values if value is not None]


@given(_eyes)
def _nought_without_sign(eyes: Mapping[str, Entry]) -> bool:
    return any(value.number == 0 and not value.sign for value in _values(eyes, "sphere", "cylinder"))


@given(_eyes)
def _spheres_of_two_signs(eyes: Mapping[str, Entry]) -> bool:
    numbers = [value.number for value in _values(eyes, "sphere")]
    return min(numbers) < 0 < max(numbers)


def _ids(faults: Faults) -> tuple[str, ...]:
    return tuple(dict.fromkeys(fault for fault, _ in faults))


Marked = tuple[tuple[str, ...], Faults]
"""The marks so far, and what the last look found."""


def _audit(skill: Skill, find: Rule[Faults], faults: tuple[str, ...], sound: str, *more: Slip[Marked]) -> Step:
    """Build the step that looks for some faults and adds what it finds to `marks`; every fault may be passed over."""

    def mark(left_out: str = "") -> Rule[Marked]:
        def run(marks: tuple[str, ...], every: Faults) -> Marked:
            found = tuple(fault for fault in every if fault[0] != left_out)
            return marks + _ids(found), found

        return given(MARKS, find)(run)

    def says(seen: Faults) -> str:
        told = "; ".join(f"{FAULTS.write((fault,))}: {where}" for fault, where in seen) or sound
        return told[0].upper() + told[1:]

    def passed(fault: str) -> Slip[Marked]:
        return Slip(
            MISSED[fault],
            run=mark(fault),
            says=given(SEEN)(lambda seen: f"Passed over: {FAULTS.write((fault,))}." + (f" {says(seen)}." * bool(seen))),
            live=given(find)(lambda find: fault in _ids(find)),
        )

    return given(MARKS, SEEN).step(
        skill,
        run=mark(),
        says=given(SEEN)(lambda seen: says(seen).removesuffix(".") + "."),
        slips=(*(passed(fault) for fault in faults), *more),
    )


def _wrongly(name: SlipName, fault: str, find: Rule[Faults], invited: Rule[bool]) -> Slip[Marked]:
    """Build the slip of marking a fault that is not there, where the record has what `invited` it."""
    return Slip(
        name,
        run=given(MARKS, find)(lambda marks, find: (marks + _ids(find) + (fault,), find)),
        says=given()(lambda: f"Marked: {FAULTS.write((fault,))}."),
        live=given(invited, find)(lambda invited, find: invited and fault not in _ids(find)),
    )


STEPS = (
    _audit(
        AUDIT_SIGNS,
        _signs,
        ("sign-missing",),
        "Every power has its sign, and zero needs none",
        _wrongly(SIGN_FOR_NOUGHT, "sign-missing", _signs, _nought_without_sign),
    ),
    _audit(
        AUDIT_CYLINDERS,
        _cylinders,
        ("axis-missing", "cylinder-missing", "axis-off-dial", "line-open"),
        "Each cylinder has an axis between 1 and 180, and each lone sphere says DS",
        _wrongly(
            AXIS_FOR_SPHERE,
            "axis-missing",
            _cylinders,
            given(_eyes)(lambda eyes: any(value.sphere_only for value in _values(eyes, "sphere"))),
        ),
        _wrongly(
            LEVEL_REFUSED,
            "axis-off-dial",
            _cylinders,
            given(_eyes)(lambda eyes: any(value.number == 180 for value in _values(eyes, "axis"))),
        ),
    ),
    _audit(AUDIT_STEPS, given(_eyes)(step_faults), ("off-step",), "Every power is a quarter step"),
    _audit(
        AUDIT_FORMS,
        _forms,
        ("forms-mixed",),
        "The cylinders are of one form",
        _wrongly(SIGNS_FOR_FORMS, "forms-mixed", _forms, _spheres_of_two_signs),
    ),
    _audit(
        AUDIT_EYES,
        given(_eyes, FOUND_RIGHT, FOUND_LEFT)(
            lambda eyes, right, left: eye_faults(eyes, {"right": right, "left": left})
        ),
        ("eyes-swapped",),
        "Each line fits what was found in its own eye",
    ),
    _audit(
        AUDIT_NOTES,
        _unsaid,
        ("net-unsaid", "drops-unsaid", "time-unsaid", "distance-unsaid"),
        "It says that the result is net and from where, and whether there were drops and when",
        _wrongly(DISTANCE_BESIDE_NET, "net-unsaid", _unsaid, given(BASIS)(lambda basis: basis == "net")),
        _wrongly(TIME_WITHOUT_DROPS, "time-unsaid", _unsaid, given(DROPS)(lambda drops: drops == "none")),
    ),
)


@given(RIGHT, LEFT)
def _each_has_a_sphere(right: Entry, left: Entry) -> None:
    check_entry(right)
    check_entry(left)


@given(BASIS, WORKED_AT, DROPS)
def _notes(basis: str, distance_cm: float, drops: str) -> list[str]:
    told = {
        "net": "net",
        "net-from": f"net, worked at {write_distance(distance_cm)}",
        "unsaid": "",
        "from": f"worked at {write_distance(distance_cm)}",
    }
    return [note for note in (told[basis], _DROP_NOTES.get(drops, "")) if note]


def _written_line(name: str, entry: Entry) -> str:
    told = " ".join(
        part for part in (entry["sphere"], entry["cylinder"], f"× {entry['axis']}" if entry["axis"] else "") if part
    )
    return f"{name}: {told}"


@given(FOUND_RIGHT, FOUND_LEFT, RIGHT, LEFT, _notes, DROPS)
def _found(
    found_right: SphCyl, found_left: SphCyl, right: Entry, left: Entry, notes: list[str], drops: str
) -> tuple[str, ...]:
    return (
        f"Found, the working distance taken off: right eye {as_written(found_right)}; left eye "
        f"{as_written(found_left)}.",
        f"The card says: {'; '.join([_written_line('R', right), _written_line('L', left), *notes])}.",
        *((DROPS_CAUTION,) if drops in ("timed", "untimed") else ()),
    )


record_audit = CaseType(
    id="record-audit",
    title="Faults in a record",
    family=FAMILY,
    level="novice",
    seconds=25,
    findings=Group((FOUND_RIGHT, FOUND_LEFT, RIGHT, LEFT, BASIS, DROPS, WORKED_AT)),
    asks=(PRESENT,),
    draw=_draw,
    holds=_each_has_a_sphere,
    begin=MARKS.by(given()(lambda: ())),
    steps=STEPS,
    answer=PRESENT.by(given(MARKS)(lambda marks: tuple(option.id for option in FAULTS.options if option.id in marks))),
    found=_found,
    question=asking(
        "This clinic's rules: a power has its sign and goes in quarter steps, a sphere alone ends in DS, and both eyes "
        "are in one cylinder form. A record must say net, the working distance, and whether drops were given and when. "
        "Which rules does this record break?"
    ),
    figure=given(RIGHT, LEFT, _notes).drawing(lambda uid, right, left, notes: record_card(right, left, notes, uid=uid)),
    needs=("transpose",),
    sources=("certificate-feedback", "iso-8429", "common-practice"),
)

TYPES = (record_audit,)
