"""Working distance: from gross to net, distances worked backwards, drift and the far point."""

from cases.procedure.case_type import Family

FAMILY = Family("distance", "Working distance", 1)
TAUGHT = (
    "gross_to_net",
    "distance_backwards",
    "drift_and_far_point",
    "distance_limits",
)
"""The files in the order in which their types are taught, among those of one level; others follow by name."""
