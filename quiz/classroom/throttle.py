"""Failed tries to come in: the person who fails often waits before the next try, longer each time.

They are counted in the memory of the server's first process alone and forgotten by the clock, so that no address, code
or name that was tried is ever written to the data file or to a backup; processes that serve beside it ask it. A restart
forgets them all; nobody from outside can bring one about.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from quiz.errors import QuizError

WINDOW = 900.0
"""Seconds for which a failed try is remembered."""
LONGEST_WAIT = 60.0
"""Seconds. Short, since the person who shares a network or a name with the one who fails waits as long."""
MOST = 20_000
"""Codes, names and addresses remembered; beyond that, what failed longest ago is forgotten."""
FREE_FROM_ONE_ADDRESS = 300
"""A class sits behind one address: this many failures in `WINDOW` are its own mistakes."""
FREE_FROM_ANYWHERE = 3000


class TooManyTries(QuizError):
    """Too many tries have failed: the next is looked at only after a while."""

    def __init__(self, wait_s: float) -> None:
        seconds = max(1, round(wait_s))
        words = "a second" if seconds == 1 else f"{seconds} seconds"
        super().__init__(f"too many tries have failed: wait {words}, then try again")


@dataclass(frozen=True)
class Limit:
    """Whose failures are counted together."""

    kind: str
    whom: str
    free: int
    """How many failures in `WINDOW` cost no waiting; each one after doubles the wait, from one second on."""


@dataclass
class Tries:
    """The failed tries of the last `WINDOW`, by kind and by whom."""

    _times: dict[tuple[str, str], list[float]] = field(default_factory=dict)
    """The latest last, in the keys as in the times (s)."""
    _latest: float = 0.0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @contextmanager
    def counted(self, limits: Sequence[Limit], now: float) -> Iterator[None]:
        """Count a try, which is forgiven when the block ends without error.

        The try is counted before it is looked at, so that many at once gain nothing.

        Raises
        ------
        TooManyTries
            When one of the limits calls for waiting; such a try is not counted.
        """
        wait_s = self.begin(limits, now)
        if wait_s > 0:
            raise TooManyTries(wait_s)
        yield
        self.forgive(limits)

    def begin(self, limits: Sequence[Limit], now: float) -> float:
        """Count a try, or return for how many seconds to wait before the next."""
        with self._lock:
            self._forget(now)
            wait_s = max(self._wait(one, now) for one in limits)
            if wait_s <= 0:
                for one in limits:
                    self._add(one.kind, one.whom, now)
            return max(0.0, wait_s)

    def forgive(self, limits: Sequence[Limit]) -> None:
        """Forget the latest try, which turned out well."""
        with self._lock:
            for one in limits:
                self._forgive(one.kind, one.whom)

    def add(self, kind: str, whom: str, now: float) -> None:
        """Count something that is no failure and has a bound all the same."""
        with self._lock:
            self._forget(now)
            self._add(kind, whom, now)

    def since(self, kind: str, whom: str, at: float, *, now: float) -> int:
        """Count what came after a moment, within `WINDOW`."""
        with self._lock:
            self._forget(now)
            return sum(each > at for each in self._recent(kind, whom, now))

    def _wait(self, one: Limit, now: float) -> float:
        times = self._recent(one.kind, one.whom, now)
        over = len(times) - one.free
        return times[-1] + min(LONGEST_WAIT, 2.0 ** min(over, 10)) - now if over >= 0 and times else 0.0

    def _recent(self, kind: str, whom: str, now: float) -> list[float]:
        return [at for at in self._times.get((kind, whom), ()) if at > now - WINDOW]

    def _add(self, kind: str, whom: str, now: float) -> None:
        times = self._recent(kind, whom, now)
        self._times.pop((kind, whom), None)
        self._times[kind, whom] = [*times, now]
        while len(self._times) > MOST:
            del self._times[next(iter(self._times))]

    def _forgive(self, kind: str, whom: str) -> None:
        times = self._times.get((kind, whom), [])
        del times[-1:]
        if not times:
            self._times.pop((kind, whom), None)

    def _forget(self, now: float) -> None:
        """Drop what is older than `WINDOW`; where the clock was put back, what is remembered goes back with it."""
        back = max(0.0, self._latest - now)
        self._latest = now
        if back:
            self._times = {key: [at - back for at in times] for key, times in self._times.items()}
        while self._times:
            key = next(iter(self._times))
            if self._times[key][-1] > now - WINDOW:
                break
            del self._times[key]


class SharedTries(Tries):
    """The tries that another process counts; `kept` leads to its `Tries`."""

    def __init__(self, kept: Any) -> None:
        super().__init__()
        self._kept = kept

    def begin(self, limits: Sequence[Limit], now: float) -> float:
        """Count a try there."""
        return float(self._kept.begin(limits, now))

    def forgive(self, limits: Sequence[Limit]) -> None:
        """Forgive it there."""
        self._kept.forgive(limits)

    def add(self, kind: str, whom: str, now: float) -> None:
        """Count something else there."""
        self._kept.add(kind, whom, now)

    def since(self, kind: str, whom: str, at: float, *, now: float) -> int:
        """Ask what was counted there."""
        return int(self._kept.since(kind, whom, at, now=now))


@dataclass(frozen=True)
class Caller:
    """Where a try comes from."""

    tries: Tries
    address: str = ""
    device: str = ""
    """The name of a browser in which someone came in before; "" where nobody did."""
    preceptors: tuple[int, ...] = ()
    """Who signed in as a preceptor in that browser before."""

    def limits(self, kind: str, whom: str, free: int) -> tuple[Limit, ...]:
        """Return what a code or a phrase is tried under: a browser that came in before answers for itself alone."""
        if self.device:
            return (Limit(f"{kind} by device", self.device, free),)
        return (
            Limit(kind, whom, free),
            Limit(f"{kind} from", self.address, FREE_FROM_ONE_ADDRESS),
            Limit(f"{kind} from anywhere", "", FREE_FROM_ANYWHERE),
        )
