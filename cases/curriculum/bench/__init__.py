"""At the bench: the reflex itself is looked at and neutralised."""

from cases.procedure.case_type import Family

FAMILY = Family("bench", "At the bench", 9)
TAUGHT = (
    "bench_neutral",
    "bench_short",
    "bench_two",
)
"""The files in the order in which their types are taught, among those of one level; others follow by name."""
