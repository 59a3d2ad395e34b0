"""A new case type to start from: a file that draws, works and marks, and its test, both to be filled in."""

from __future__ import annotations

import re
from pathlib import Path
from string import Template

from cases.curriculum.register import all_families, all_types, loaded_families
from cases.errors import CaseError

_TYPE = Template('''"""$title: say here what is found, what is asked, and where people slip."""

from __future__ import annotations

from cases.curriculum.$folder import FAMILY
from cases.curriculum.steps import DISTANCE, VERGENCE, distance_in_dioptres, pick_distance, signed
from cases.notation.prescription import write_distance
from cases.procedure import quantities
from cases.procedure.case_type import CaseType
from cases.procedure.chain import Skill, SlipName
from cases.procedure.fields import Field, group
from cases.procedure.keys import NO_FIGURE, Key, Slip, asking, given

FOUND_POWER = Field("found_power", "Power that was found", quantities.POWER)
ASKED_POWER = Field("power", "What is asked", quantities.POWER)
FOUND = given(FOUND_POWER, DISTANCE)
RESULT = Key[float]("result", unit="D")

OWN_STEP = Skill("$id-step", "doing what the step does")
OWN_SLIP = SlipName("$id-slip", "left it out", "Say what a kind preceptor would say.")

$name = CaseType(
    id="$id",
    title="$title",
    family=FAMILY,
    level="novice",
    seconds=10,
    findings=group(FOUND),
    asks=(ASKED_POWER,),
    draw=lambda chance, settings: FOUND.to(chance.stepped(-6, 6), pick_distance(chance, settings)),
    steps=(
        distance_in_dioptres(),
        RESULT.step(
            OWN_STEP,
            run=given(FOUND_POWER, VERGENCE)(lambda found, off: found - off),
            says=given(FOUND_POWER, VERGENCE, RESULT)(
                lambda found, off, result: f"{signed(found)} − {off:.2f} = {signed(result)}."
            ),
            slips=(
                Slip(
                    OWN_SLIP,
                    run=given(FOUND_POWER)(lambda found: found),
                    says=given(RESULT)(lambda result: f"Left at {signed(result)}."),
                ),
            ),
        ),
    ),
    answer=ASKED_POWER.by(given(RESULT)(lambda result: result)),
    found=FOUND(lambda power, cm: (f"{signed(power)} was found.", f"Sight hole {write_distance(cm)} from the pupil.")),
    question=asking("What is asked?"),
    figure=NO_FIGURE,
    sources=("where this is written",),
)

TYPES = ($name,)
''')

_FAMILY = Template('''"""$title: say here what the types of the family have in common."""

from cases.procedure.case_type import Family

FAMILY = Family("$id", "$title", $place)
''')

_TEST = Template('''"""$title, by hand and by published values."""

from __future__ import annotations

import pytest

from tests.cases.worked import answer_of, case_of, slip_answer


def test_a_worked_example() -> None:
    """Worked by hand: say from where the numbers come."""
    case = case_of("$id", {"found_power": 2.0, "distance_cm": 50})
    assert answer_of(case) == {"power": 0.0}


@pytest.mark.parametrize(("slip", "power"), [("$id-slip", 2.0)])
def test_a_slip_leads_to_its_answer(slip: str, power: float) -> None:
    case = case_of("$id", {"found_power": 2.0, "distance_cm": 50})
    assert slip_answer(case, slip) == {"power": power}
''')


LONGEST_NAME = 40
_NAME = re.compile(r"[a-z]{1,40}(?:-[a-z]{1,40}){0,20}")


class CannotStart(CaseError):
    """A skeleton cannot be written here under this name."""


def write_skeleton(family: str, type_id: str, root: Path, *, new_family: bool = False) -> tuple[Path, Path]:
    """Write the file of a type and its test under `root`, and return both.

    new_family: whether the family is to be started as well.

    Raises
    ------
    CannotStart
        When a name is no name, or is taken, or there is no such family.
    """
    named = {one.title.casefold(): one.id for one in all_families()}
    if family.casefold() in named:
        raise CannotStart(f"FAMILY “{family}”: give its id, which is {named[family.casefold()]}")
    for what, name, such in (("FAMILY", family, "near"), ("TYPE", type_id, "near-add")):
        if len(name) > LONGEST_NAME or not _NAME.fullmatch(name):
            raise CannotStart(f"{what} “{name[:40]}”: write up to 40 small letters and hyphens, such as {such}")
    if (family in named.values()) == new_family:
        known = ", ".join(f"{one.id} ({one.title})" for one in all_families())
        raise CannotStart(
            f"FAMILY {family}: there is such a family already; leave --new-family out"
            if new_family
            else f"FAMILY {family}: there is no such family; the families are {known}. For a new one add --new-family"
        )
    if type_id in all_types():
        raise CannotStart(f"{type_id}: there is such a type already; take another name")
    module = type_id.replace("-", "_")
    folder = family.replace("-", "_") if new_family else _folder_of(family)
    file, test = root / f"cases/curriculum/{folder}/{module}.py", root / f"tests/cases/curriculum/test_{module}.py"
    for path in (file, test):
        if path.exists():
            raise CannotStart(f"{path.relative_to(root)} is there already; remove it or take another name")
    words = {"id": type_id, "name": module, "title": type_id.replace("-", " ").capitalize(), "folder": folder}
    if new_family:
        title, last = family.replace("-", " ").capitalize(), max(one.place for one in all_families())
        file.parent.mkdir()
        made = _FAMILY.substitute(id=family, title=title, place=last + 1)
        file.with_name("__init__.py").write_text(made, encoding="utf-8")
    file.write_text(_in_order(_TYPE.substitute(words)), encoding="utf-8")
    test.write_text(_TEST.substitute(words), encoding="utf-8")
    return file, test


def _folder_of(family: str) -> str:
    """Return the name of the folder that the files of this family stand in; files without a type may share it."""
    return next(
        module.__name__.split(".")[-2]
        for module in loaded_families()[0]
        if any(one.family.id == family for one in getattr(module, "TYPES", ()))
    )


def _in_order(text: str) -> str:
    """Sort the imports: where the family's own belongs hangs on its name."""
    imports = [line for line in text.splitlines() if line.startswith("from cases.")]
    return text.replace("\n".join(imports), "\n".join(sorted(imports, key=lambda line: line.split()[1])))
