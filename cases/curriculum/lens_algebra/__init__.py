"""Lens algebra: power crosses, transposition, oblique cylinders, over-refraction."""

TAUGHT = (
    "cross_and_prescription",
    "axis_error",
    "oblique",
    "over_refraction",
    "straddling",
)
"""The files in the order in which their types are taught, among those of one level; others follow by name."""
