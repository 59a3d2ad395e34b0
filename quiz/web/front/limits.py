"""How many connections a process can let in, by the files that the system lets it open."""

from __future__ import annotations

import selectors
from contextlib import suppress

from quiz.errors import QuizError

try:
    import resource
except ImportError:  # Windows, which has no such limits
    resource = None  # type: ignore[assignment]

CONNECTIONS = 2000
"""The most that are let in, since a class's browsers hold several each."""
FEWEST = 20
SPARE = 64
"""Open files for all else: the data file, style sheets, a long download, what has to be read in."""
WITH_SELECT = 400
"""`select`, which is all that some systems have, looks at 512 files at most."""


class TooFewFiles(QuizError):
    """The system lets this process open so few files that it cannot serve anyone."""

    def __init__(self, files: int) -> None:
        super().__init__(
            f"the system lets this process open {files} files, too few to serve a browser: run `ulimit -n 1024` first"
        )


def connections() -> tuple[int, str]:
    """Return how many connections can be let in, and a line that says so where it is fewer than usual.

    Raises
    ------
    TooFewFiles
    """
    files = _files()
    most = CONNECTIONS if files is None else most_for(files)
    if issubclass(selectors.DefaultSelector, selectors.SelectSelector):
        most = min(most, WITH_SELECT)
    if most < FEWEST:
        raise TooFewFiles(files or 0)
    why = f"the system lets this process open {files} files (see `ulimit -n`)" if files else "of this system's `select`"
    return most, "" if most == CONNECTIONS else f"At most {most} connections at once, since {why}."


def most_for(files: int) -> int:
    """Return how many connections can be let in where this many files may be open."""
    # Some take a second file: a download, or a body that has to wait for its turn.
    return min(CONNECTIONS, (files - SPARE) * 4 // 5)


def _files() -> int | None:
    """Return how many files this process may open, once as many as are needed were asked for; None without a limit."""
    if resource is None:
        return None
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = CONNECTIONS * 5 // 4 + SPARE
    if soft != resource.RLIM_INFINITY and soft < wanted:
        with suppress(ValueError, OSError):  # some systems have a lower bound of their own
            resource.setrlimit(
                resource.RLIMIT_NOFILE, (wanted if hard == resource.RLIM_INFINITY else min(wanted, hard), hard)
            )
        soft, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    return None if soft == resource.RLIM_INFINITY else soft
