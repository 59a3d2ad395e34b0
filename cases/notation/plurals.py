"""Whole sentences in the singular and the plural: the place that a catalogue of another language would take over.

Each takes the sentences whole, as `ngettext` does (GNU gettext manual, "Plural forms"), so that no sentence is put
together from pieces whose order or endings another language would change.
"""

from __future__ import annotations


def plural(number: int, one: str, many: str) -> str:
    """Return the sentence for one thing, or the one for any other number with `{n}` in it replaced by the number."""
    return (one if number == 1 else many).replace("{n}", str(number))


def counted(number: int, noun: str) -> str:
    """Write a number of things whose plural ends in s: "1 answer", "0 answers"."""
    return plural(number, f"{{n}} {noun}", f"{{n}} {noun}s")
