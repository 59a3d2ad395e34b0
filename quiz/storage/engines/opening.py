"""Opens what `--data` names: a data file, or a database of PostgreSQL."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from quiz.storage.datafile import DataFile, Refused, Where, data_path, open_data
from quiz.storage.engines.address import Address

if TYPE_CHECKING:
    from quiz.storage.engines.postgres import PostgresData


def read_where(text: str) -> Where:
    """Read what `--data` names."""
    return Address.read(text) or Path(text)


def open_engine(where: Where | None, *, make: bool = True, look: float | None = None) -> DataFile | PostgresData:
    """Open a data file, by default the one in the user's data folder, or a database; `make` it if it is not there.

    look: seconds of a processor for which a file is looked over, as `DataFile.open` has it.

    Raises
    ------
    Refused
        When it cannot be opened.
    """
    return open_database(where, make=make) if isinstance(where, Address) else open_data(where, make=make, look=look)


def open_database(address: Address, *, make: bool = True) -> PostgresData:
    """Open a database.

    Raises
    ------
    Refused
        When it cannot be opened, or what speaks to it is not installed.
    """
    try:
        from quiz.storage.engines.postgres import PostgresData
    except ImportError as error:
        raise not_installed(address, error) from error
    return PostgresData.open(address, make=make)


def not_installed(address: Address, error: ImportError) -> Refused:
    """Say what to install."""
    way_out = "pip install 'two-meridians[postgres]'"
    return Refused(address, f"what speaks to PostgreSQL is not installed ({error})", way_out)


def path_of(where: Where | None) -> Path:
    """Return the path of a data file, for what a database has programs of its own for.

    Raises
    ------
    Refused
        When a database is named.
    """
    if isinstance(where, Address):
        raise Refused(where, "this is for data files", "back it up with pg_dump, put it back with pg_restore")
    return data_path(where)
