"""Judgement and checking: repeats, averages, records, vision, odd reflexes, other results."""

from cases.procedure.case_type import Family

FAMILY = Family("checking", "Judgement and checking", 8)
TAUGHT = (
    "two_eyes",
    "average",
    "causes",
    "vision_disagrees",
    "eyes_by_meridian",
    "patterns",
    "record_audit",
    "odd_reflex",
    "repeats",
    "against_final",
    "spoilt_record",
    "checking_steps",
    "expected_vision",
)
"""The files in the order in which their types are taught, among those of one level; others follow by name."""
