"""How a lens is set in running text: whole, on one line, since one that is broken over two is misread."""

from __future__ import annotations

import re

from flask import Flask

_NUMBER = r"(?<!\d)\d{1,9}(?:\.\d{1,9})?(?!\d)"
_LENS = re.compile(
    rf"(?:[+−]?{_NUMBER}|plano) (?:/ )?[+−]{_NUMBER}(?: DC)? × {_NUMBER}"
    rf"|[+−]?{_NUMBER} (?:D[SC]?|cm|mm)\b(?: × {_NUMBER})?"
)
"""A sphere and cylinder, or one number with its unit, as the core writes them."""
_TAKEN_WITH = re.compile(rf"(?<= [+−]) (?=[+−]?{_NUMBER})")
"""The blank between a plus or minus of a sum and its number: at the end of a line the sign would be overlooked."""
_NO_BREAK = "\N{NO-BREAK SPACE}"


def set_up(app: Flask) -> None:
    """Give the templates the filter."""
    app.add_template_filter(unbroken)


def unbroken(text: str) -> str:
    """Keep every lens, every number with its unit, and every term of a sum from being broken over two lines."""
    whole = _LENS.sub(lambda found: found.group().replace(" ", _NO_BREAK), text)
    return _TAKEN_WITH.sub(_NO_BREAK, whole)
