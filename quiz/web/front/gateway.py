"""From the web server (ASGI) to the app (WSGI): bodies are read before a thread is spent, and sent after it is free.

A thread is held only while a page is made. Quick pages are made one after another, since threads that make them at
once only take the interpreter from each other; one that hangs, because another program holds the data file, lets the
next begin. Pages that may take long (results, exports, statistics, a password's hash) have threads of their own. Each
person gets them one at a time, and for no more than half of the time where they ask on and on.
"""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Awaitable, Callable, Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from io import BytesIO
from itertools import chain
from tempfile import SpooledTemporaryFile
from typing import IO, TYPE_CHECKING, Any, ClassVar, TypeAlias
from weakref import WeakValueDictionary

from quiz.web import uploads
from quiz.web.front.connections import Connection, Connections
from quiz.web.front.public_address import PublicAddress, comes_from, path_within

if TYPE_CHECKING:
    from _typeshed.wsgi import WSGIApplication

QUICK = frozenset(("", "practise", "worked", "case", "read-as", "bench", "drill", "recall", "static"))
"""First parts of the addresses that a learner at practice asks for; each page takes some milliseconds."""
HANGS_S = 0.25
"""Seconds after which a quick page is held to hang."""
HANGING, LONG_AT_ONCE = 8, 3
"""Threads for quick pages while others hang, and for long ones."""
PAGE = "page"
"""With which the names of those threads begin."""
LONG_S = 60.0
"""Seconds after which a long page is not waited for any more, with those for its turn."""
FREE_S, MOST_PAUSE_S = 1.0, 2.0
"""Seconds of long pages that a person gets without a pause, and seconds of a pause at most."""
REMEMBERED_S = 4.0
"""Seconds for which a person's long pages are remembered."""
BODY, FILE_BODY = 2 * 64 * 1024, 2 * 2 * 1024 * 1024
"""Bytes from which on a body is not read at all. Twice what the app takes: up to there it says why by a page."""
BODY_S, FILE_BODY_S = 20.0, 120.0
"""Seconds for a whole body."""
DRAIN_S, DRAIN_RATE = 2.0, 64 * 1024 * 1024
"""Seconds for which a refused body is read and thrown away, so that its sender gets to read why it was refused; and
bytes a second of all that are."""
PIECE = 256 * 1024
"""Bytes that are handed over at once; most answers are shorter."""
SEND_S = 30.0
"""Seconds after which a piece that nobody takes ends its connection."""

Send = Callable[[Any], Awaitable[None]]
Receive = Callable[[], Awaitable[Any]]
Environ = dict[str, Any]
Person = Callable[[Environ], str]
"""What is the same for all requests of one person who has come in, and "" for somebody unknown."""
Begun: TypeAlias = "tuple[AppAnswer, bytes, bool]"
"""An answer with its first piece, and whether more may follow."""


def by_cookie(environ: Environ) -> str:
    """Return what a browser sends with every request; "" where it sends nothing."""
    return str(environ.get("HTTP_COOKIE", ""))


class Unanswered(Exception):
    """A request that is answered without the app."""

    WORDS: ClassVar[Mapping[int, str]] = {
        408: "Too slow: the request did not come whole in time. Nothing of it was kept.\n",
        413: "Too long: a file may have 2 MB, and anything else 64 kB. Nothing of it was kept.\n",
        503: "This takes too long at the moment. Try again in a minute.\n",
    }

    def __init__(self, status: int) -> None:
        super().__init__(status)
        self.status = status


class BrowserGone(Exception):
    """The browser closed its connection."""


class Gateway:
    """An ASGI application for HTTP that asks a WSGI one.

    public: the address of the web server before this one, where there is one; person: who asks, by default a browser.
    """

    def __init__(
        self,
        app: WSGIApplication,
        connections: Connections,
        public: PublicAddress | None = None,
        person: Person = by_cookie,
    ) -> None:
        self._app, self._connections, self._public = app, connections, public
        self._person, self._refusals = person, _Refusals()
        self._quick, self._long = asyncio.Semaphore(1), asyncio.Semaphore(LONG_AT_ONCE)
        self._quick_threads = ThreadPoolExecutor(HANGING, thread_name_prefix=f"{PAGE} quick")
        self._long_threads = ThreadPoolExecutor(LONG_AT_ONCE, thread_name_prefix=f"{PAGE} long")
        self._of_person: WeakValueDictionary[str, _Asking] = WeakValueDictionary()

    async def __call__(self, scope: Mapping[str, Any], receive: Receive, send: Send) -> None:
        """Answer one request."""
        mine = self._connections.head_read(tuple(scope["client"] or ())[:2])
        if mine is None:
            return
        try:
            await self._answer(scope, receive, send, mine)
        except Unanswered as why:
            await self._refusals.answer(why, receive, send)
        except BrowserGone:
            mine.transport.abort()
            await asyncio.sleep(0)  # so that uvicorn hears of it before it misses an answer
        finally:
            self._connections.answered(mine)

    def close(self) -> None:
        """Let the threads end when they have done what they are at."""
        for threads in (self._quick_threads, self._long_threads):
            threads.shutdown(wait=False, cancel_futures=True)

    async def _answer(self, scope: Mapping[str, Any], receive: Receive, send: Send, mine: Connection) -> None:
        environ = environ_of(scope)
        path = path_within(environ["PATH_INFO"], self._public)
        with await read_body(environ, path, receive) as body:
            environ["wsgi.input"] = body
            self._connections.request_read(mine)
            quick = is_quick(path)
            made, piece, more = await (self._made_quickly if quick else self._made_at_length)(environ, mine)
            try:
                await _sent(send, {"type": "http.response.start", "status": made.status, "headers": made.headers})
                while more:
                    await _sent(send, {"type": "http.response.body", "body": piece, "more_body": True})
                    self._still_there(mine)
                    piece, more = await asyncio.get_running_loop().run_in_executor(self._long_threads, made.next_piece)
                await _sent(send, {"type": "http.response.body", "body": piece})
            finally:
                made.close()

    async def _made_quickly(self, environ: Environ, mine: Connection) -> Begun:
        await self._quick.acquire()
        turn = _Turn(self._quick)
        loop = asyncio.get_running_loop()
        hangs = loop.call_later(HANGS_S, turn.end)
        try:
            self._still_there(mine)
            return await loop.run_in_executor(self._quick_threads, asked, self._app, environ)
        finally:
            hangs.cancel()
            turn.end()

    async def _made_at_length(self, environ: Environ, mine: Connection) -> Begun:
        whose = self._person(environ) or comes_from(environ, self._public)
        asking = self._of_person.setdefault(whose, _Asking())
        loop = asyncio.get_running_loop()
        turns: list[_Turn] = []
        try:
            async with asyncio.timeout(LONG_S):
                for line in (asking.one_at_a_time, self._long):
                    await line.acquire()
                    turns.append(_Turn(line))
            self._still_there(mine)
            began = loop.time()
            page = loop.run_in_executor(self._long_threads, asked, self._app, environ)
        except BaseException as error:
            for turn in turns:
                turn.end()
            if isinstance(error, TimeoutError):
                raise Unanswered(503) from error
            raise
        # A thread cannot be stopped: where it is not waited for any more, its turn lasts until it ends all the same.
        own, place = turns
        page.add_done_callback(place.end)
        page.add_done_callback(lambda _: loop.call_later(asking.pause_after(began, loop.time()), own.end))
        page.add_done_callback(lambda _: loop.call_later(REMEMBERED_S, lambda: asking))  # nothing else holds it
        done, _ = await asyncio.wait({page}, timeout=LONG_S)
        if not done:
            page.add_done_callback(_throw_away)
            raise Unanswered(503)
        return page.result()

    def _still_there(self, mine: Connection) -> None:
        if self._connections.is_gone(mine):
            raise BrowserGone


class _Asking:
    """One person's long pages."""

    def __init__(self) -> None:
        self.one_at_a_time = asyncio.Semaphore(1)
        self._spent, self._at = 0.0, 0.0

    def pause_after(self, began: float, now: float) -> float:
        """Return for how long the person's next long page is to wait, in seconds, now that one has ended."""
        self._spent = max(0.0, self._spent - (now - self._at) / 2) + now - began
        self._at = now
        return min(max(0.0, self._spent - FREE_S), MOST_PAUSE_S)


class _Turn:
    """A place in a line, which is given up once."""

    def __init__(self, line: asyncio.Semaphore) -> None:
        self._line: asyncio.Semaphore | None = line

    def end(self, _: object = None) -> None:
        if self._line is not None:
            self._line.release()
            self._line = None


def is_quick(path: str) -> bool:
    """Say whether the page at an address is one of the quick ones."""
    return path.startswith("/") and path[1:].partition("/")[0] in QUICK


# --- requests -----------------------------------------------------------------------------------------------------


def environ_of(scope: Mapping[str, Any]) -> Environ:
    """Return what WSGI (PEP 3333) says of a request, all but its body."""
    environ: Environ = {
        "REQUEST_METHOD": scope["method"],
        "SCRIPT_NAME": "",
        "PATH_INFO": scope["path"].encode().decode("latin-1"),
        "QUERY_STRING": scope["query_string"].decode("latin-1"),
        "SERVER_PROTOCOL": f"HTTP/{scope['http_version']}",
        "SERVER_NAME": scope["server"][0],
        "SERVER_PORT": str(scope["server"][1]),
        "REMOTE_ADDR": scope["client"][0],
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": "http",
        "wsgi.errors": sys.stderr,
        "wsgi.multithread": True,
        "wsgi.multiprocess": True,
        "wsgi.run_once": False,
    }
    for raw, value in scope["headers"]:
        name = raw.decode("latin-1").upper()
        if "_" in name:
            continue  # it would pass for another header, such as one that only a server between may write
        key = name.replace("-", "_")
        if key not in ("CONTENT_TYPE", "CONTENT_LENGTH"):
            key = f"HTTP_{key}"
        text = value.decode("latin-1")
        environ[key] = f"{environ[key]},{text}" if key in environ else text
    return environ


async def read_body(environ: Environ, path: str, receive: Receive) -> IO[bytes]:
    """Return the whole body of a request for a page of the app, on the disk where it is long.

    Raises
    ------
    Unanswered, BrowserGone
    """
    chunked = environ.pop("HTTP_TRANSFER_ENCODING", None) is not None
    length = environ.get("CONTENT_LENGTH", "")
    if not chunked and length in ("", "0"):
        return BytesIO()
    file = uploads.takes_files(path)
    most, seconds = (FILE_BODY, FILE_BODY_S) if file else (BODY, BODY_S)
    if not chunked and int(length) >= most:
        raise Unanswered(413)
    body: IO[bytes] = SpooledTemporaryFile(BODY)  # noqa: SIM115 - closed by the person who asked for it, or below
    try:
        async with asyncio.timeout(seconds):
            await _read_into(body, most, receive)
    except BaseException as error:
        body.close()
        if isinstance(error, TimeoutError):
            raise Unanswered(408) from None
        raise
    environ["CONTENT_LENGTH"] = str(body.tell())
    body.seek(0)
    return body


async def _read_into(body: IO[bytes], most: int, receive: Receive) -> None:
    more = True
    while more:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise BrowserGone
        body.write(message["body"])
        if body.tell() >= most:
            raise Unanswered(413)
        more = message["more_body"]


# --- answers ------------------------------------------------------------------------------------------------------


@dataclass
class AppAnswer:
    """An answer of the app."""

    status: int
    headers: list[tuple[bytes, bytes]]
    parts: Iterable[bytes]
    rest: Iterator[bytes]
    """What is not read of the parts yet."""

    def next_piece(self) -> tuple[bytes, bool]:
        """Return the next bytes, and whether more may follow."""
        piece = bytearray()
        for part in self.rest:
            piece += part
            if len(piece) >= PIECE:
                return bytes(piece), True
        return bytes(piece), False

    def close(self) -> None:
        """Let go of what the answer holds, such as a file."""
        close = getattr(self.parts, "close", None)
        if close is not None:
            close()


def asked(app: WSGIApplication, environ: Environ) -> Begun:
    """Ask an app (WSGI) and return its answer, with the first piece and whether more may follow."""
    said: list[Any] = []

    def start_response(status: str, headers: list[tuple[str, str]], _: object = None) -> Callable[[bytes], object]:
        said[:] = int(status.split(" ", 1)[0]), headers
        return _no_write

    parts = app(environ, start_response)
    try:
        rest = iter(parts)
        first = next(rest, b"")  # an app may begin its answer as late as here
        headers = [(name.lower().encode("latin-1"), value.encode("latin-1")) for name, value in said[1]]
        made = AppAnswer(said[0], headers, parts, chain((first,), rest))
        return made, *made.next_piece()
    except BaseException:
        close = getattr(parts, "close", None)
        if close is not None:
            close()
        raise


def _no_write(_: bytes) -> None:
    raise NotImplementedError("this gateway has no write(): return the parts of the answer")


def _throw_away(page: asyncio.Future[Begun]) -> None:
    if not page.cancelled() and page.exception() is None:
        page.result()[0].close()


async def _sent(send: Send, message: dict[str, Any]) -> None:
    try:
        async with asyncio.timeout(SEND_S):
            await send(message)
    except TimeoutError:
        raise BrowserGone from None


class _Refusals:
    """Answers without the app, and what is read of the bodies that they refuse."""

    def __init__(self) -> None:
        self._free_at = 0.0
        """When another piece may be read, by the clock of the loop."""

    async def answer(self, why: Unanswered, receive: Receive, send: Send) -> None:
        """Answer at once; then read on for a moment, since a browser that still sends does not listen."""
        words = why.WORDS[why.status].encode()
        headers = [
            (b"content-type", b"text/plain; charset=utf-8"),
            (b"content-length", str(len(words)).encode()),
            (b"connection", b"close"),
        ]
        await send({"type": "http.response.start", "status": why.status, "headers": headers})
        await send({"type": "http.response.body", "body": words, "more_body": True})
        with suppress(TimeoutError):
            async with asyncio.timeout(DRAIN_S):
                while (message := await receive())["type"] == "http.request" and message["more_body"]:
                    await self._pause_after(len(message["body"]))
        await send({"type": "http.response.body"})

    async def _pause_after(self, size: int) -> None:
        now = asyncio.get_running_loop().time()
        self._free_at = max(now, self._free_at) + size / DRAIN_RATE
        await asyncio.sleep(self._free_at - now)
