"""Write a research log of school algebra as `python -m quiz replay` reads it.

The log is public (repository theophilegervet/learner-performance-prediction, folder data/algebra05: the table
preprocessed_data_test.csv and the matrix q_mat.npz, items by skills) under terms for research: fetch it yourself and
never add it to this project. A type is a set of skills; the skills are its steps.

    git clone https://github.com/theophilegervet/learner-performance-prediction
    python -m tests.benchmarks.research_log learner-performance-prediction/data/algebra05 algebra.csv
    python -m quiz replay algebra.csv
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

from scipy import sparse

TABLES = ("preprocessed_data_test.csv",)


def convert(folder: Path, to: Path) -> int:
    """Write the log of a folder to a new file and return how many answers it has."""
    skills = sparse.csr_array(sparse.load_npz(folder / "q_mat.npz"))
    written = 0
    with to.open("x", newline="") as out:
        writer = csv.writer(out)
        writer.writerow(("learner", "seconds", "type", "steps", "right"))
        for table in TABLES:
            with (folder / table).open(newline="") as lines:
                for row in csv.DictReader(lines, delimiter="\t"):
                    item = int(row["item_id"])
                    own = sorted(skills.indices[skills.indptr[item] : skills.indptr[item + 1]].tolist())
                    steps = "+".join(f"s{one}" for one in own)
                    # Times are seconds since the log's first answer.
                    writer.writerow((row["user_id"], row["timestamp"], steps or "none", steps, row["correct"]))
                    written += 1
    return written


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit("usage: python -m tests.benchmarks.research_log FOLDER NEW.csv")
    print(f"{convert(Path(sys.argv[1]), Path(sys.argv[2]))} answers")  # noqa: T201
