"""The data file of a class, which is served only where somebody looks after it."""

from __future__ import annotations

from contextlib import closing

from quiz.errors import QuizError
from quiz.storage.class_queries import has_preceptor
from quiz.storage.datafile import NoFile, Where
from quiz.storage.engines.opening import open_engine
from quiz.storage.engines.seam import Engine
from quiz.storage.store import Store
from quiz.web.front.public_address import LOOPBACK

ANY = "0.0.0.0"  # noqa: S104 - what a person asks for by name


class NoPreceptor(QuizError):
    """The app was to be served to other computers before anyone could look after it."""

    def __init__(self, host: str) -> None:
        if host in LOOPBACK:
            words = f"host {host}: a class could come in, and there is no preceptor yet; "
        else:
            words = f"host {host}: other computers could come in, and there is no preceptor yet; "
        super().__init__(words + 'run `python -m quiz add-preceptor "NAME"` first')


def open_for_class(data: Where, *, look: float) -> Engine:
    """Open what a class has that another web server of one process serves, and look it over for some seconds.

    Raises
    ------
    NoPreceptor, Refused
    """
    try:
        file = open_engine(data, make=False, look=look)
    except NoFile:
        raise NoPreceptor(ANY) from None
    if not looked_after(file):
        file.close()
        raise NoPreceptor(ANY)
    return file


def looked_after(file: Engine) -> bool:
    """Say whether a data file has a preceptor."""
    with closing(Store(file)) as store:
        return has_preceptor(store)
