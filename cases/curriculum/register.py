"""Every case type there is, found by looking through the families' folders: a new one is added in one file there."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from functools import cache
from importlib import import_module
from pkgutil import iter_modules
from types import ModuleType

from cases import curriculum
from cases.curriculum import examination_names
from cases.errors import CaseError
from cases.procedure.case_type import CaseType, Family
from cases.procedure.chain import Skill, SlipName
from cases.procedure.vocabulary import LEVELS


class UnknownType(CaseError):
    """No case type has this id."""

    def __init__(self, given: str, known: tuple[str, ...]) -> None:
        near = difflib.get_close_matches(given, known, n=1)
        hint = f"did you mean {near[0]}?" if near else "`python -m cases list` names them all"
        missing = f" ({'; '.join(not_loaded())})" if not_loaded() else ""
        super().__init__(f"case type “{given[:40]}” is unknown: {hint}{missing}")


@cache
def loaded_families() -> tuple[tuple[ModuleType, ...], tuple[str, ...]]:
    """Import every file in the families' folders; return the sound ones, and a line for each that is not."""
    loaded: list[ModuleType] = []
    failed: list[str] = []
    made_in: dict[str, str] = {}
    for name in _files():
        file = f"{name.replace('.', '/')}.py"
        try:
            module = import_module(name)
        except Exception as error:
            why = " ".join(str(error).split()) or "no reason given"
            failed.append(f"{file} cannot be loaded, so its types are missing: {type(error).__name__}: {why}")
            continue
        own = tuple(getattr(module, "TYPES", ()))
        twice = [one.id for one in own if one.id in made_in]
        if twice:
            failed.append(f"{file}: case type {twice[0]} is made in {made_in[twice[0]]} already; take another id")
            continue
        made_in |= {one.id: file for one in own}
        loaded.append(module)
    for module in loaded:
        made = [one for one in vars(module).values() if isinstance(one, CaseType) and one.id not in made_in]
        if made:
            file = f"{module.__name__.replace('.', '/')}.py"
            failed.append(f"{file}: case type {made[0].id} is not in its TYPES = (…,), so it is missing")
    return tuple(loaded), tuple(failed)


def _files() -> Iterator[str]:
    """Name the files of every family's folder: first those that its TAUGHT lists, in that order."""
    for folder in iter_modules(curriculum.__path__, f"{curriculum.__name__}."):
        if folder.ispkg:
            family = import_module(folder.name)
            taught = [*getattr(family, "TAUGHT", ())]
            others = sorted({file.name for file in iter_modules(family.__path__)} - {*taught})
            yield from (f"{folder.name}.{name}" for name in (*taught, *others))


def not_loaded() -> tuple[str, ...]:
    """Return a line for each file of a family that cannot be imported: which it is, and why."""
    return loaded_families()[1]


@cache
def all_types() -> dict[str, CaseType]:
    """Return every case type by id in teaching order: by family, then by level, and none before one that it needs.

    A family's file that cannot be imported takes its own types with it, and no others: see `not_loaded`.
    """
    types: list[CaseType] = [one for module in loaded_families()[0] for one in getattr(module, "TYPES", ())]
    types.sort(key=lambda one: (one.family.place, LEVELS.index(one.level)))
    return {one.id: one for one in _after_their_needs(types)}


def _after_their_needs(types: list[CaseType]) -> list[CaseType]:
    """Move each type behind those of its own family that it needs, and leave the order as it is otherwise."""
    by_id = {one.id: one for one in types}
    out: list[CaseType] = []
    begun: set[str] = set()

    def place(one: CaseType) -> None:
        if one.id in begun:  # placed, or one of several that need each other: a test names those
            return
        begun.add(one.id)
        for need in one.needs:
            if need in by_id and by_id[need].family == one.family:
                place(by_id[need])
        out.append(one)

    for one in types:
        place(one)
    return out


def case_type(type_id: str) -> CaseType:
    """Return the case type of this id.

    Raises
    ------
    UnknownType
        With the nearest id there is.
    """
    types = all_types()
    if type_id not in types:
        raise UnknownType(type_id, tuple(types))
    return types[type_id]


@cache
def all_families() -> tuple[Family, ...]:
    """Return the families in their order."""
    return tuple(dict.fromkeys(one.family for one in all_types().values()))


@cache
def all_skills() -> dict[str, Skill]:
    """Return every step's skill by id, in the order in which types first use them; those of examinations last."""
    of_types = {step.skill.id: step.skill for one in all_types().values() for step in one.steps}
    return of_types | {one.id: one for one in examination_names.SKILLS}


@cache
def all_slips() -> dict[str, SlipName]:
    """Return every slip's name by id."""
    of_types = {slip.name.id: slip.name for one in all_types().values() for step in one.steps for slip in step.slips}
    return of_types | {one.id: one for one in examination_names.SLIPS}
