"""Learners and pages: the app over the cases of the package `cases`."""

DISTRIBUTION = "two-meridians"
"""Whose package this is, for two_meridians.py: others have one of this name too."""
