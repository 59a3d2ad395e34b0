"""Compare the golden cases with what is drawn today: python -m tests.golden. Keep today's on purpose: --write."""

from __future__ import annotations

import argparse
import sys

from tests import golden


def main() -> int:
    """Say which types changed and what that means for drills; return 1 when one did and nothing was written."""
    parser = argparse.ArgumentParser(prog="python -m tests.golden", description=main.__doc__)
    parser.add_argument("--write", action="store_true", help="keep what is drawn today in place of what was kept")
    chosen = parser.parse_args()
    found = [*golden.changes(), *golden.called_for_changes()]
    for type_id, words in found:
        sys.stdout.write(f"{type_id} {words}\n")
    if chosen.write:
        golden.write()
        sys.stdout.write(f"written: {len(found)} types changed. Commit the files with the change that they follow.\n")
        return 0
    sys.stdout.write(f"{len(found)} types changed\n" if found else "every golden case is drawn as it is kept\n")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
