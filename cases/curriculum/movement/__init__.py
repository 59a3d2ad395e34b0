"""Movement: which lens is next, the end-point, and how a reflex looks."""

from cases.procedure.case_type import Family

FAMILY = Family("movement", "Reading movement", 2)
TAUGHT = (
    "next_lens",
    "dull_reflex",
    "end_point",
    "judging_by_look",
    "leaning",
    "whole_reflex",
)
"""The files in the order in which their types are taught, among those of one level; others follow by name."""
