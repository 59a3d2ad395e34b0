"""What a reflex is called in a record, by what is in the way of the light. Common practice, no published source."""

from __future__ import annotations

from cases.patients.patient import Eye, Medium

SCISSORS_SHOW_D_PER_MM = 0.4
"""From so uneven a cornea on scissors are plain near neutral, in D for each mm of pupil: ours."""

_NAMED: dict[Medium, tuple[str, ...]] = {
    "white reflex": ("white",),
    "no reflex": ("none",),
    "keratoconus": ("scissors",),
    "nuclear opacity": ("middle differs", "dark in places", "dull"),
    "cortical opacity": ("dark in places", "dull"),
    "subcapsular opacity": ("dark in places", "dull"),
    "scar": ("dark in places", "dull"),
    "vitreous haze": ("dull",),
    "artificial lens": ("glints", "clear", "dull"),
    "corneal surgery": ("middle differs", "clear"),
    "tear film": ("dull", "clear", "dark in places"),
}
"""What a reflex may be called by what is in the way of the light, the first best; others contradict it."""


def names_of(eye: Eye) -> tuple[str, ...]:
    """Return what the reflex of an eye may be called in a record, the best first; "clear" where nothing is odd."""
    found = [name for medium in _NAMED if medium in eye.media for name in _NAMED[medium]]
    if "keratoconus" in eye.media and eye.irregular_d_per_mm < SCISSORS_SHOW_D_PER_MM:
        found.append("clear")
    return tuple(dict.fromkeys(found)) or ("clear", "dull")


def says(name: str) -> str:
    """Return a reflex's name as it stands in a sentence."""
    return {
        "none": "absent",
        "scissors": "a scissors reflex",
        "glints": "one with glints",
        "middle differs": "different in the middle",
    }.get(name, name)
