"""What is logged while the app is served, and where: faults always, each request only when it is asked for."""

from __future__ import annotations

import logging
import sys
from logging.handlers import RotatingFileHandler
from pathlib import Path

from quiz.errors import QuizError

REQUESTS = "quiz.requests"
"""The log of requests, at level INFO. A request is logged by the pattern of its address and never by the address: that
may hold a class's code or a learner's phrase."""
BYTES, KEPT = 1_000_000, 3
"""A log file is set aside once it is that long, and this many of those set aside are kept."""


class NoLog(QuizError):
    """A log file that cannot be written."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"log file {path}: {why}; give a file in a folder that is there and may be written to")


def set_up(path: Path | None, *, verbose: bool) -> None:
    """Log to a file, or to standard error where none is given; `verbose` logs each request.

    Raises
    ------
    NoLog
        When the file cannot be opened.
    """
    handler: logging.Handler = logging.StreamHandler(sys.stderr)
    if path is not None:
        try:
            handler = RotatingFileHandler(path, maxBytes=BYTES, backupCount=KEPT, encoding="utf-8")
        except OSError as error:
            raise NoLog(path, (error.strerror or str(error)).lower()) from error
    logging.basicConfig(
        level=logging.WARNING, handlers=[handler], format="%(asctime)s %(levelname)s %(name)s: %(message)s", force=True
    )
    logging.getLogger(REQUESTS).setLevel(logging.INFO if verbose else logging.WARNING)
