"""Two meridians: two spheres, sphere then cylinder, the break of the streak, a whole run."""

from cases.procedure.case_type import Family

FAMILY = Family("meridians", "Two meridians", 3)
TAUGHT = (
    "two_spheres",
    "streak_break",
    "sphere_then_cylinder",
    "trial_frame",
    "meridian_order",
    "whole_run",
)
"""The files in the order in which their types are taught, among those of one level; others follow by name."""
