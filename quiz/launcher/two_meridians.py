"""The commands `two-meridians` and `two-meridians-cases` and what they share, in a module whose name nobody else has.

`quiz` and `cases` are words that another project may use for a package too. Where that one is found in place of ours,
nothing here could work: it is said in words, and nothing is started.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from importlib import import_module
from types import ModuleType

import click

DISTRIBUTION = "two-meridians"
PACKAGES = ("cases", "quiz")


def version() -> str:
    """Return the version that is installed, or a word for a checkout that was never installed."""
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as installed

    try:
        return installed(DISTRIBUTION)
    except PackageNotFoundError:
        return "not installed"


def _show_version(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted and not ctx.resilient_parsing:
        click.echo(f"Two Meridians {version()}")
        ctx.exit()


version_option = click.option(
    "--version", is_flag=True, is_eager=True, expose_value=False, callback=_show_version, help="say which version it is"
)


def run(
    commands: click.Group, arguments: Sequence[str] | None, *, name: str, errors: type[Exception], program: str
) -> int:
    """Run a command line and return its exit code: 0 done, 2 refused, or what the command itself returned.

    name: stands before what is said on standard error, one line. errors: what is refused in words rather than with a
    trace. program: how it is called from a shell, for the last words about a line that could not be read.
    """
    try:
        return int(commands.main(arguments, prog_name=program, standalone_mode=False) or 0)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message(), err=True)
        return 2
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


def shadowed() -> str | None:
    """Say in one sentence which of our packages is hidden by another of the same name; None where none is."""
    for name in PACKAGES:
        try:
            package = import_module(name)
        except ImportError as error:
            return f"the package `{name}` cannot be imported ({error}): install Two Meridians again"
        if getattr(package, "DISTRIBUTION", None) != DISTRIBUTION:
            return (
                f"the package `{name}` is another project's ({_place(package)}) and hides ours: start Two Meridians "
                "from another folder, or install it by itself, for example with pipx"
            )
    return None


def _place(package: ModuleType) -> str:
    return str(package.__file__ or next(iter(package.__path__), "unknown"))


def main() -> int:
    """Run `two-meridians`."""
    return _start("quiz.__main__")


def cases_main() -> int:
    """Run `two-meridians-cases`."""
    return _start("cases.__main__")


def _start(module: str) -> int:
    why = shadowed()
    if why is not None:
        return _refused("two-meridians", why)
    return int(import_module(module).main())


if __name__ == "__main__":
    sys.exit(main())
