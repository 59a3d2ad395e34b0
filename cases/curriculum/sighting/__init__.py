"""Sighting: angle and height off the visual axis, fixation, the other eyes, lenses askew."""

TAUGHT = (
    "fixation",
    "off_axis",
    "sighting_angle",
    "other_eyes",
    "sighting_height",
)
"""The files in the order in which their types are taught, among those of one level; others follow by name."""
