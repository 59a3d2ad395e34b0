"""A finished drawing, as a case type describes it; cases.figures draws it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Use = Literal["needed", "aid", "none"]


@dataclass(frozen=True)
class Figure:
    """A finished drawing: `svg` to put into a page as it is, and the `title` and `description` that it carries."""

    svg: str
    title: str
    description: str
    use: Use = "needed"
    """"needed" where it shows what the words beside it do not say, "aid" where it shows how that lies, else "none"."""
