"""The readers of notation, fed with what coverage leads to: `python -m tests.benchmarks.fuzz SECONDS [FOLDER]`.

Needs atheris, which is no dependency of the project: run it from a virtual environment of its own, with the project on
the path. A reader may read a text or refuse it with an error of ours; what it read must be written so that it reads
alike. FOLDER keeps texts that led somewhere new, for the next run.
"""

from __future__ import annotations

import sys
from contextlib import suppress
from typing import Any

import atheris  # type: ignore[import-untyped]

with atheris.instrument_imports(include=["cases"]):
    from cases.curriculum.register import all_types
    from cases.errors import CaseError
    from cases.notation import prescription
    from cases.procedure.choices import Choice, Marks, Option, Order
    from cases.procedure.kinds import Kind

OPTIONS = tuple(Option(name, f"{name} movement") for name in ("with", "against", "neutral"))
KINDS: list[Kind[Any]] = [Choice(OPTIONS), Marks(OPTIONS), Order(OPTIONS)]
KINDS += list({repr(ask.kind): ask.kind for one in all_types().values() for ask in one.asks}.values())
READERS = (prescription.read_axis, prescription.read_angle, prescription.read_power, prescription.read_prescription)


def read(data: bytes) -> None:
    """Read one text with every reader."""
    text = data.decode("utf-8", "surrogatepass" if data[:1] == b"\xed" else "replace")
    for reader in READERS:
        with suppress(CaseError):
            reader(text)
    for kind in KINDS:
        try:
            value = kind.read(text)
        except CaseError:
            continue
        again = kind.read(kind.write(value))
        assert kind.close(again, value), (kind, text, value, again)


def decoded(data: bytes) -> None:
    """Pass over what is no text at all."""
    try:
        read(data)
    except UnicodeDecodeError:
        return


if __name__ == "__main__":
    atheris.Setup([sys.argv[0], f"-max_total_time={sys.argv[1]}", "-max_len=60", "-timeout=5", *sys.argv[2:3]], decoded)
    atheris.Fuzz()
