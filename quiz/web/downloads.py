"""Files to take away: each is made whole before the first byte is sent, so that none is ever cut off by a fault."""

from __future__ import annotations

import re
from collections.abc import Iterable
from tempfile import SpooledTemporaryFile

from flask import Response, request
from werkzeug.exceptions import HTTPException
from werkzeug.wsgi import wrap_file

IN_MEMORY = 1024 * 1024
"""Bytes of a file that is not put on the disk first."""
_NOT_IN_A_NAME = re.compile(r"[^A-Za-z0-9._-]{1,200}")


class NoRoom(HTTPException):
    """The disk has no room to make a file on."""

    code = 507
    description = "The disk of the computer that serves this app has no room to make the file. Nothing is lost."


def download(parts: Iterable[str | bytes], kind: str, name: str) -> Response:
    """Return a response that gives a file of this media type and name, once all of it is made.

    The web server sends a finished file by itself: a slow download keeps no thread, and no connection to the data file.
    """
    safe = _NOT_IN_A_NAME.sub("-", name).strip("-.") or "export"
    headers = {"Content-Disposition": f'attachment; filename="{safe}"'}
    file = SpooledTemporaryFile(IN_MEMORY)  # noqa: SIM115 - closed below, or by the server when it is sent
    try:
        for part in parts:
            file.write(part if isinstance(part, bytes) else part.encode())
        size = file.tell()
        file.seek(0)
        if size <= IN_MEMORY:
            with file:
                return Response(file.read(), mimetype=kind, headers=headers)
    except OSError as error:
        file.close()
        raise NoRoom from error
    except BaseException:
        file.close()
        raise
    headers["Content-Length"] = str(size)
    return Response(wrap_file(request.environ, file), mimetype=kind, headers=headers, direct_passthrough=True)
