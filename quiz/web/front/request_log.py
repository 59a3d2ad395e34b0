"""Each request in the log, where that is asked for: method, pattern of the address, status and milliseconds."""

from __future__ import annotations

import logging
import time

from flask import Flask, Response, g, request

from quiz.log_file import REQUESTS


def set_up(app: Flask) -> None:
    """Log requests as they are answered, at level INFO."""
    log = logging.getLogger(REQUESTS)

    @app.before_request
    def begin() -> None:
        g.began = time.perf_counter()

    @app.after_request
    def tell(response: Response) -> Response:
        if log.isEnabledFor(logging.INFO):
            took = 1000 * (time.perf_counter() - g.get("began", time.perf_counter()))
            pattern = request.url_rule.rule if request.url_rule else "an address that is not ours"
            log.info("%s %s %d %.0f ms", request.method, pattern, response.status_code, took)
        return response
