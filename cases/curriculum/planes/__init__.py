"""Planes: vertex distance, contact lenses, toric lenses."""

from cases.procedure.case_type import Family

FAMILY = Family("planes", "Change of plane", 7)
TAUGHT = (
    "contact_lenses",
    "vertex",
    "toric_lenses",
)
"""The files in the order in which their types are taught, among those of one level; others follow by name."""
