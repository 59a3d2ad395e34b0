"""Words that stand in settings, logs and exports: levels, cylinder forms, and what an answer may come to."""

LEVELS = ("novice", "competent", "expert")
CYLINDER_FORMS = ("minus", "plus")
CREDITED = ("right", "equivalent", "near")
MISSED = ("slip", "wrong")
