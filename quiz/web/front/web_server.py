"""The web server of one process: uvicorn, by its documented settings, round the app."""

from __future__ import annotations

import asyncio
import logging
import socket
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING

import uvicorn

from quiz.web.front.connections import IDLE_S, Connections, WatchedProtocol
from quiz.web.front.gateway import Gateway, Person, by_cookie
from quiz.web.front.public_address import PublicAddress

if TYPE_CHECKING:
    from _typeshed.wsgi import WSGIApplication

BACKLOG = 1024
"""Connections that the system holds until they are let in."""
GRACE_S = 2.0
"""Seconds in which answers that are being sent may end, once the server is told to stop."""
LOOK_S = 1.0


class WebServer:
    """Serves one app at a socket that listens already, perhaps in other processes too."""

    def __init__(
        self,
        app: WSGIApplication,
        listening: socket.socket,
        *,
        most: int,
        most_of_one: int | None = None,
        public: PublicAddress | None = None,
        person: Person = by_cookie,
    ) -> None:
        self._listening = listening
        self._connections = Connections(most, most_of_one)
        self._gateway = Gateway(app, self._connections, public, person)
        protocol = type("Watched", (WatchedProtocol,), {"watch": self._connections})
        config = uvicorn.Config(
            self._gateway,
            http=protocol,
            ws="none",
            lifespan="off",
            interface="asgi3",
            # What another web server says of where a request came from is the app's to read.
            proxy_headers=False,
            server_header=False,
            log_config=None,
            access_log=False,
            timeout_keep_alive=round(IDLE_S),
            timeout_graceful_shutdown=round(2 * GRACE_S),
            # Connections let in at a time: with several processes each takes one, and goes on with those it has.
            backlog=1,
        )
        self._server = uvicorn.Server(config)
        # Every request that cannot be read would be a line.
        logging.getLogger("uvicorn.error").setLevel(logging.ERROR)

    def run(self, ready: Callable[[], None]) -> None:
        """Serve until told to stop, by `stop` or a signal; `ready` is called once requests are answered."""
        # The same loop everywhere: on Windows its other one cannot share a socket with another process.
        with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner, suppress(KeyboardInterrupt, SystemExit):
            runner.run(self._run(ready))
        self._gateway.close()

    def stop(self) -> None:
        """Stop, from any thread."""
        self._server.should_exit = True

    async def _run(self, ready: Callable[[], None]) -> None:
        loop = asyncio.get_running_loop()
        loop.set_exception_handler(self._connections.accept_failed)
        watching = asyncio.create_task(self._watch(ready))
        try:
            await self._server.serve(sockets=[self._listening])
        finally:
            watching.cancel()

    async def _watch(self, ready: Callable[[], None]) -> None:
        while not self._server.started:
            await asyncio.sleep(0.005)
        self._listening.listen(BACKLOG)
        ready()
        leaving = 0.0
        while leaving < GRACE_S:
            await asyncio.sleep(LOOK_S)
            self._connections.look()
            leaving += LOOK_S * self._server.should_exit
        # What is not sent by now is cut off, and uvicorn need not tell of each.
        logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL)
        self._connections.end_all()
