"""Sighting: angle and height off the visual axis, fixation, the other eyes, lenses askew."""

from cases.procedure.case_type import Family

FAMILY = Family("sighting", "Sighting, fixation, examiner", 5)
TAUGHT = (
    "fixation",
    "off_axis",
    "sighting_angle",
    "other_eyes",
    "sighting_height",
)
"""The files in the order in which their types are taught, among those of one level; others follow by name."""
