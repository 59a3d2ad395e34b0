"""Family H, the record: which faults are in it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from cases.casetype import CaseType
from cases.choices import Choice, Marks, Option
from cases.families.checking import FAMILY
from cases.families.checking_spoilt import draw_record
from cases.fields import Field, Group
from cases.figures import Figure
from cases.figures_records import record_card
from cases.keys import Key, Rule, Slip, asking, given, untyped
from cases.kinds import Lens
from cases.notation import write_distance
from cases.records import (
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
from cases.steps import DISTANCE, DROPS_CAUTION, as_written
from cases.working import Known, Skill, SlipName, Step

AUDIT_SIGNS = Skill("audit-signs", "checking a record for its signs")
AUDIT_CYLINDERS = Skill("audit-cylinders", "checking a record for cylinder and axis")
AUDIT_STEPS = Skill("audit-steps", "checking a record for powers that no lens has")
AUDIT_FORMS = Skill("audit-forms", "checking a record for its cylinder form")
AUDIT_EYES = Skill("audit-eyes", "checking that each eye has its own line")
AUDIT_NOTES = Skill("audit-notes", "checking what a record says of distance and drops")

FEEDBACK = "trainee feedback from a refraction examination (clinicalgate.com, chapter on the Refraction Certificate)"
DIAL = "ISO 8429, graduated dial"

FAULTS = Marks(
    (
        Option("sign-missing", "a power without its sign"),
        Option("axis-missing", "a cylinder without an axis"),
        Option("cylinder-missing", "an axis without a cylinder"),
        Option("axis-off-dial", "an axis outside 1 to 180"),
        Option("line-open", "a sphere alone without DS"),
        Option("off-step", "a power off the quarter steps"),
        Option("forms-mixed", "one eye in plus and one in minus cylinder"),
        Option("eyes-swapped", "the eyes exchanged"),
        Option("net-unsaid", "not said whether net"),
        Option("drops-unsaid", "not said whether with drops"),
        Option("time-unsaid", "drops without their time"),
    )
)
BASIS = Choice((Option("net", "net"), Option("net-from", "net, with the distance"), Option("unsaid", "not said")))
DROPS = Choice(
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
        "passed over a power without its sign",
        "A power without a sign may be made up either way. Write the plus too.",
        FEEDBACK,
    ),
    "axis-missing": SlipName(
        "missing-axis-passed",
        "passed over a cylinder without an axis",
        "No one can make that lens: a cylinder needs its axis.",
    ),
    "cylinder-missing": SlipName(
        "missing-cylinder-passed",
        "passed over an axis without a cylinder",
        "An axis alone says that there was a cylinder, and not how strong.",
    ),
    "axis-off-dial": SlipName(
        "axis-past-180",
        "passed over an axis outside 1 to 180",
        "Axes run from 1 to 180. Take 180 off what lies above, and write 180 for 0, so that it is not read as a blank.",
        f"{DIAL}; a study guide for ophthalmic assistants",
    ),
    "line-open": SlipName(
        "open-line-passed",
        "passed over a sphere with nothing after it",
        "DS after a lone sphere says that there is no cylinder. Without it, one may have been forgotten.",
    ),
    "off-step": SlipName(
        "off-step-passed",
        "passed over a power that no lens in the set has",
        "The lenses go in quarters. A power between them was mistyped or never in the frame.",
    ),
    "forms-mixed": SlipName(
        "mixed-forms-passed",
        "passed over two cylinder forms in one record",
        "One eye in plus and one in minus form invites a transposing mistake. Keep one form for both.",
        FEEDBACK,
    ),
    "eyes-swapped": SlipName(
        "exchanged-eyes-passed",
        "passed over the two eyes exchanged",
        "Hold each line against what was found: right stands in the left eye's place and left in the right's.",
    ),
    "net-unsaid": SlipName(
        "net-unsaid-passed",
        "passed over that neither net nor a distance is written",
        "The next reader cannot tell whether the working distance is still in it.",
        FEEDBACK,
    ),
    "drops-unsaid": SlipName(
        "drops-unsaid-passed",
        "passed over that nothing is said of drops",
        "A finding with drops and one without are two different things. Say which it is.",
        FEEDBACK,
    ),
    "time-unsaid": SlipName(
        "time-unsaid-passed",
        "passed over drops without their time",
        "Whether the drops had done their work depends on when they went in. Write when, and when you read.",
        FEEDBACK,
    ),
}

SIGN_FOR_NOUGHT = SlipName(
    "sign-wanted-for-nought",
    "wanted a sign before nought",
    "Nought is neither plus nor minus: plano, or 0.00, stands without a sign.",
)
AXIS_FOR_SPHERE = SlipName(
    "axis-wanted-for-sphere",
    "wanted an axis for a sphere",
    "DS says that there is no cylinder, so there is no axis to write.",
)
LEVEL_REFUSED = SlipName(
    "axis-180-refused",
    "took 180 to be off the dial",
    "180 is how the level axis is written. It is 0 that is not.",
    DIAL,
)
SIGNS_FOR_FORMS = SlipName(
    "sphere-signs-taken-for-forms",
    "took two spheres of opposite signs for two cylinder forms",
    "The form is in the sign of the cylinder. One eye may well be long-sighted and the other short-sighted.",
)
DISTANCE_BESIDE_NET = SlipName(
    "distance-wanted-beside-net",
    "wanted more than the word net",
    "Net says that the distance is off already. The distance itself is good to have, but net is enough.",
    FEEDBACK,
)
TIME_WITHOUT_DROPS = SlipName(
    "time-wanted-without-drops",
    "wanted a time though no drops were given",
    "Without drops there is no time to write down.",
)


MARKS = Key[tuple[str, ...]]("marks")
SEEN = Key[Faults]("seen")


def _eyes(known: Known) -> dict[str, Any]:
    return {"right": known["right"], "left": known["left"]}


BASIS_FOUND = Field("basis", "What the card says of net and distance", BASIS, default="unsaid")
DROPS_FOUND = Field("drops", "What the card says of drops", DROPS, default="unsaid")


@given(BASIS_FOUND, DROPS_FOUND)
def _note_faults(basis: str, drops: str) -> Faults:
    return note_faults(basis, drops)


def _cells(known: Known, *cells: str) -> list[Any]:
    return [cell_value(cell, entry[cell]) for entry in _eyes(known).values() for cell in cells]


def _nought_without_sign(known: Known) -> bool:
    values = [value for value in _cells(known, "sphere", "cylinder") if value is not None]
    return any(value.number == 0 and not value.sign for value in values) and not sign_faults(_eyes(known))


def _closed_sphere(known: Known) -> bool:
    return any(value.sphere_only for value in _cells(known, "sphere")) and "axis-missing" not in _ids(
        cylinder_faults(_eyes(known))
    )


def _level_axis(known: Known) -> bool:
    level = any(value is not None and value.number == 180 for value in _cells(known, "axis"))
    return level and "axis-off-dial" not in _ids(cylinder_faults(_eyes(known)))


def _spheres_of_two_signs(known: Known) -> bool:
    numbers = [value.number for value in _cells(known, "sphere") if value is not None]
    return min(numbers) < 0 < max(numbers) and not form_faults(_eyes(known))


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


def _wrongly(name: SlipName, fault: str, find: Rule[Faults], live: Rule[bool]) -> Slip[Marked]:
    return Slip(
        name,
        run=given(MARKS, find)(lambda marks, find: (marks + _ids(find) + (fault,), find)),
        says=given()(lambda: f"Marked: {FAULTS.write((fault,))}."),
        live=live,
    )


def _signs(known: Known) -> Faults:
    return sign_faults(_eyes(known))


def _cylinders(known: Known) -> Faults:
    return cylinder_faults(_eyes(known))


def _forms(known: Known) -> Faults:
    return form_faults(_eyes(known))


STEPS = (
    _audit(
        AUDIT_SIGNS,
        untyped(_signs),
        ("sign-missing",),
        "Every power has its sign, and nought needs none",
        _wrongly(SIGN_FOR_NOUGHT, "sign-missing", untyped(_signs), untyped(_nought_without_sign)),
    ),
    _audit(
        AUDIT_CYLINDERS,
        untyped(_cylinders),
        ("axis-missing", "cylinder-missing", "axis-off-dial", "line-open"),
        "Each cylinder has an axis between 1 and 180, and each lone sphere says DS",
        _wrongly(AXIS_FOR_SPHERE, "axis-missing", untyped(_cylinders), untyped(_closed_sphere)),
        _wrongly(LEVEL_REFUSED, "axis-off-dial", untyped(_cylinders), untyped(_level_axis)),
    ),
    _audit(
        AUDIT_STEPS,
        untyped(lambda known: step_faults(_eyes(known))),
        ("off-step",),
        "Every power is a quarter step",
    ),
    _audit(
        AUDIT_FORMS,
        untyped(_forms),
        ("forms-mixed",),
        "The cylinders are of one form",
        _wrongly(SIGNS_FOR_FORMS, "forms-mixed", untyped(_forms), untyped(_spheres_of_two_signs)),
    ),
    _audit(
        AUDIT_EYES,
        untyped(lambda known: eye_faults(_eyes(known), {"right": known["found_right"], "left": known["found_left"]})),
        ("eyes-swapped",),
        "Each line fits what was found in its own eye",
    ),
    _audit(
        AUDIT_NOTES,
        _note_faults,
        ("net-unsaid", "drops-unsaid", "time-unsaid"),
        "It says that the result is net, and whether there were drops and when",
        _wrongly(
            DISTANCE_BESIDE_NET, "net-unsaid", _note_faults, given(BASIS_FOUND)(lambda basis: bool(basis == "net"))
        ),
        _wrongly(
            TIME_WITHOUT_DROPS, "time-unsaid", _note_faults, given(DROPS_FOUND)(lambda drops: bool(drops == "none"))
        ),
    ),
)


def _begin(findings: Known) -> dict[str, Any]:
    for name in ("right", "left"):
        check_entry(findings[name])
    return {"marks": ()}


def _notes(distance_cm: float, basis_value: str, drops: str) -> list[str]:
    basis = {"net": "net", "net-from": f"net, worked at {write_distance(distance_cm)}", "unsaid": ""}
    return [note for note in (basis[basis_value], _DROP_NOTES.get(drops, "")) if note]


def _written_line(name: str, entry: Any) -> str:
    told = " ".join(
        part for part in (entry["sphere"], entry["cylinder"], f"× {entry['axis']}" if entry["axis"] else "") if part
    )
    return f"{name}: {told}"


def _found(known: Known) -> tuple[str, ...]:
    lenses = [as_written(known[name]) for name in ("found_right", "found_left")]
    return (
        f"Found, the working distance taken off: right eye {lenses[0]}; left eye {lenses[1]}.",
        f"The card says: {_written_line('R', known['right'])}; {_written_line('L', known['left'])}"
        + "".join(f"; {note}" for note in _notes(known["distance_cm"], known["basis"], known["drops"]))
        + ".",
        *((DROPS_CAUTION,) if known["drops"] in ("timed", "untimed") else ()),
    )


def _card(
    uid: str, right: Mapping[str, str], left: Mapping[str, str], distance_cm: float, basis: str, drops: str
) -> Figure:
    return record_card(right, left, _notes(distance_cm, basis, drops), uid=uid)


def _line_field(name: str) -> Field[Any]:
    cells = tuple(Field(cell, cell.capitalize(), Written(cell), default="") for cell in ("sphere", "cylinder", "axis"))
    return Field(name, f"What the card says of the {name} eye", Group(cells))


FOUND_RIGHT = Field("found_right", "Net result found in the right eye", Lens())
FOUND_LEFT = Field("found_left", "Net result found in the left eye", Lens())
RIGHT = _line_field("right")
LEFT = _line_field("left")
DISTANCE_CM = Field(DISTANCE.name, DISTANCE.label, DISTANCE.kind, default=67.0)
FAULTS_ASKED = Field("faults", "Faults in this record", FAULTS)
record_audit = CaseType(
    id="record-audit",
    title="Faults in a record",
    family=FAMILY,
    level="novice",
    seconds=25,
    findings=Group(
        (
            FOUND_RIGHT,
            FOUND_LEFT,
            RIGHT,
            LEFT,
            BASIS_FOUND,
            DROPS_FOUND,
            DISTANCE_CM,
        )
    ),
    asks=(FAULTS_ASKED,),
    draw=draw_record,
    begin=MARKS.by(untyped(lambda known: _begin(known)["marks"])),
    steps=STEPS,
    answer=FAULTS_ASKED.by(
        given(MARKS)(lambda marks: tuple(option.id for option in FAULTS.options if option.id in marks))
    ),
    found=untyped(_found),
    question=asking("Lenses go in quarter steps here. Which of these faults are in the record?"),
    figure=given(RIGHT, LEFT, DISTANCE_CM, BASIS_FOUND, DROPS_FOUND).drawing(_card),
    needs=("transpose",),
    form=lambda _: None,
    sources=(FEEDBACK, DIAL, "common practice, no published source"),
)

TYPES = (record_audit,)
