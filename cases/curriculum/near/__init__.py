"""Near work and cycloplegia: lag, dark near retinoscopy, wet and dry, leaning in."""

from cases.procedure.case_type import Family

FAMILY = Family("near", "Cycloplegic and near", 6)
TAUGHT = (
    "wet_and_dry",
    "cycloplegia_check",
    "dark_near",
    "lean_in",
    "lag",
    "wet_working",
)
"""The files in the order in which their types are taught, among those of one level; others follow by name."""
