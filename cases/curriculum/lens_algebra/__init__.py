"""Lens algebra: power crosses, transposition, oblique cylinders, over-refraction."""

from cases.procedure.case_type import Family

FAMILY = Family("algebra", "Lens algebra", 4)
TAUGHT = (
    "cross_and_prescription",
    "axis_error",
    "oblique",
    "over_refraction",
    "straddling",
)
"""The files in the order in which their types are taught, among those of one level; others follow by name."""
