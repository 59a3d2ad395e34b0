"""Values as the texts that a form sends for them: what is chosen by its id, all else as it is written."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from cases.choices import Choice, Marks, Order
from cases.kinds import Kind


def form_text(kind: Kind[Any], value: Any) -> str:
    """Write a value as a form sends it, so that the kind reads it back."""
    match kind:
        case Choice():
            return str(value)
        case Marks() | Order():
            return "; ".join(value) or "none"
        case _:
            return kind.write(value)


def joined(kind: Kind[Any], parts: Sequence[str]) -> str:
    """Make one text of the fields that a form has for one thing asked: boxes, or a list for every place."""
    between = "; " if isinstance(kind, Order | Marks) else " "
    return between.join(part for part in parts if part)
