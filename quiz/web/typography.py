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
_NO_BREAK = "\N{NO-BREAK SPACE}"


def set_up(app: Flask) -> None:
    """Give the templates the filter."""
    app.add_template_filter(unbroken)


def unbroken(text: str) -> str:
    """Keep every lens, and every number with its unit, from being broken over two lines."""
    return _LENS.sub(lambda found: found.group().replace(" ", _NO_BREAK), text)
