"""Text sent compressed (gzip, RFC 9110 section 8.4.1.3): style sheets and pages are a fifth of their size on the way.

A page that holds a secret and repeats what another site put into the address must not be compressed for that site's
request: the length would tell the secret, guess by guess (BREACH, 2013). Forms here hold no token, but a class's code
or a come-back phrase may stand on a page. So pages are compressed only where the browser says that its own page, or
the person, asked for them (Fetch Metadata, W3C); a browser that does not say gets them as they are. Files are the same
for everyone and hold no secret.
"""

from __future__ import annotations

import gzip
from functools import lru_cache

from flask import Flask, Response, request

from quiz.web import assets

FROM_HERE = ("same-origin", "none")
"""Values of Sec-Fetch-Site that no other site can bring about."""
LEAST = 1000
"""Bytes under which compressing saves nothing."""
LEVEL = 5
TEXTS = ("text/", "application/json", "application/javascript", "image/svg+xml")


def set_up(app: Flask) -> None:
    """Compress what is sent."""
    app.after_request(_compressed)


def _compressed(response: Response) -> Response:
    file = request.endpoint in assets.ENDPOINTS
    if (
        response.status_code != 200
        or not response.content_type.startswith(TEXTS)
        or "Content-Encoding" in response.headers
    ):
        return response
    response.vary.add("Accept-Encoding")
    if not file:
        response.vary.add("Sec-Fetch-Site")
    if not request.accept_encodings.quality("gzip") or not (file or request.headers.get("Sec-Fetch-Site") in FROM_HERE):
        return response
    if response.is_streamed and not file:
        return response
    response.direct_passthrough = False
    whole = response.get_data()
    if len(whole) >= LEAST:
        response.set_data(_file(whole) if file else gzip.compress(whole, LEVEL, mtime=0))
        response.headers["Content-Encoding"] = "gzip"
        etag = response.get_etag()[0]
        if etag:
            # Not the same bytes as those that are sent plain.
            response.set_etag(etag, weak=True)
    return response


@lru_cache(64)
def _file(whole: bytes) -> bytes:
    """Compress a style sheet or script, once for all who ask."""
    return gzip.compress(whole, 9, mtime=0)
