"""Types, steps and slips by name; by their ids where this version no longer has them, since logs outlive versions."""

from __future__ import annotations

from cases.curriculum.register import all_families, all_skills, all_slips, all_types

TOPIC_WORDS = {
    "movement": "reading movement",
    "sighting": "sighting and fixation",
    "near": "cycloplegic and near work",
    "planes": "changes of plane",
    "checking": "judgement",
    "bench": "the bench",
}
"""Families as they stand within a sentence, where their title does not."""


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


def topic_words(family_id: str) -> str:
    """Return a family's name as it stands within a sentence: "working distance"."""
    title = next((one.title for one in all_families() if one.id == family_id), family_id)
    return TOPIC_WORDS.get(family_id, f"{title[:1].lower()}{title[1:]}")
