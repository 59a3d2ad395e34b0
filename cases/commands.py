"""What the command lines of both packages share: one line on standard error for whatever cannot be done, and exit 2."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import click


def run(
    commands: click.Group, arguments: Sequence[str] | None, *, name: str, errors: type[Exception], program: str
) -> int:
    """Run a command line and return its exit code: 0 done, 2 refused, or what the command itself returned.

    name: stands before what is said on standard error. errors: what is refused in words rather than with a trace.
    program: how it is called from a shell, for the last words of a line that could not be read.
    """
    try:
        return int(commands.main(arguments, prog_name=program, standalone_mode=False) or 0)
    except click.ClickException as error:
        return _refused(name, f"{' '.join(error.format_message().split())} `{program} --help` shows how.")
    except errors as error:
        return _refused(name, " ".join(str(error).split()))
    except click.Abort:
        return 1
    except BrokenPipeError:
        sys.stderr.close()
        return 0


def _refused(name: str, why: str) -> int:
    click.echo(f"{name}: {why}", err=True)
    return 2
