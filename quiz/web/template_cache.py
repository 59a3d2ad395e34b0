"""Templates compiled once and kept beside the user's other caches: the first page after a start is not made to wait."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from flask import Flask
from jinja2.bccache import Bucket, FileSystemBytecodeCache
from platformdirs import user_cache_path


class TemplateCache(FileSystemBytecodeCache):
    """Jinja's own cache, which checks each template's source; a full or read-only disk only leaves it empty."""

    def load_bytecode(self, bucket: Bucket) -> None:
        """Read what is kept of a template, if anything."""
        with suppress(OSError):
            super().load_bytecode(bucket)

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep a compiled template, where there is room for it."""
        with suppress(OSError):
            super().dump_bytecode(bucket)


def keep_compiled(app: Flask, folder: Path | None = None) -> None:
    """Keep an app's templates in a folder that only this user may write into, by default the system's for caches."""
    where = folder or user_cache_path("two-meridians", appauthor=False) / "templates"
    with suppress(OSError):
        where.mkdir(mode=0o700, parents=True, exist_ok=True)
        app.jinja_env.bytecode_cache = TemplateCache(str(where))
