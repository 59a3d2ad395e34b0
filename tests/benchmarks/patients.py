"""The population against published aggregates, many patients a band: `python -m tests.benchmarks.patients [COUNT]`.

Prints each published value, its tolerance and what was drawn; exit 1 when one is missed. The tests draw fewer.
"""

from __future__ import annotations

import sys

from tests.cases.patients.published import BANDS, people_of


def main(count: int) -> int:
    """Print the table; return 1 when a value lies outside its tolerance."""
    missed = 0
    for band in BANDS:
        people = people_of(band, count, "many ")
        ages = f"{band.ages[0][0]:g}-{band.ages[-1][1]:g}"
        for one in band.values:
            got = one.measure(people)
            off = abs(got - one.value) > one.within
            missed += off
            mark = "missed" if off else ""
            print(f"{band.region:10} {ages:10} {one.what:38} {one.value:7.3f} ±{one.within:.3f} {got:7.3f} {mark}")  # noqa: T201
    print(f"{missed} missed")  # noqa: T201
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000))
