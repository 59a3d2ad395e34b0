"""The tick that every removal asks for: whether it came with the form, and what is said where it did not."""

from __future__ import annotations

from flask import request


def sure() -> bool:
    """Say whether the box beside the button was ticked."""
    return request.form.get("sure") == "yes"


def not_ticked(done: str = "removed") -> str:
    """Return why nothing was done; done says what would have been."""
    return f"nothing was {done}: tick the box beside the button first"
