"""Types, steps and slips by name; by their ids where this version no longer has them, since logs outlive versions."""

from __future__ import annotations

from cases.curriculum.register import all_skills, all_slips, all_types


def type_title(type_id: str) -> str:
    """Return a type's title."""
    one = all_types().get(type_id)
    return one.title if one else type_id


def step_title(step: str) -> str:
    """Return a step's title."""
    one = all_skills().get(step)
    return one.title if one else step


def slip_title(slip: str) -> str:
    """Return what was done, to follow "you"."""
    one = all_slips().get(slip)
    return one.title if one else slip


def slip_at_step(step: str, slip: str) -> str:
    """Return what was done, and in which step."""
    return f"{slip_title(slip)}, in {step_title(step)}"
