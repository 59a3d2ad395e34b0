"""How many distinct cases a type has: `python -m tests.benchmarks.distinct`, a table by type and level.

Two cases are distinct where their findings differ. Wanted are 200 in 500 draws at every level.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable

from cases.curriculum.register import all_types
from cases.procedure.case_type import CaseType, draw
from cases.procedure.settings import Settings
from cases.procedure.vocabulary import LEVELS

say = print
WANTED = 200


def distinct(kind: CaseType, level: str, seeds: Iterable[int]) -> int:
    """Count the different findings among the draws of these seeds."""
    cases = (draw(kind, seed, Settings(level=level, form=("minus", "plus")[seed % 2])) for seed in seeds)
    return len({str(kind.findings.to_json(case.findings)) for case in cases})


def main() -> int:
    """Print a line for each type, and return 1 where a type has too few at some level."""
    parser = argparse.ArgumentParser(description="distinct cases of each type and level")
    parser.add_argument("types", nargs="*", help="ids of types (default: all)")
    parser.add_argument("--draws", type=int, default=500, help="of each type and level (default: 500)")
    given = parser.parse_args()
    few = 0
    for kind in all_types().values():
        if given.types and kind.id not in given.types:
            continue
        counts = [distinct(kind, level, range(given.draws)) for level in LEVELS]
        few += min(counts) < WANTED
        say(f"{kind.id:28}" + "".join(f"{count:6}" for count in counts), flush=True)
    say(f"{few} with fewer than {WANTED} in {given.draws} draws at some level ({', '.join(LEVELS)})")
    return 1 if few else 0


if __name__ == "__main__":
    sys.exit(main())
