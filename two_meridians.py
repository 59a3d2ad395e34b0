"""The commands `two-meridians` and `two-meridians-cases`, in a module whose name is nobody else's.

`quiz` and `cases` are words that another project may use for a package too. Where that one is found in place of ours,
nothing here could work: it is said in words, and nothing is started.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType

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
    return _run("quiz.__main__")


def cases_main() -> int:
    """Run `two-meridians-cases`."""
    return _run("cases.__main__")


def _run(module: str) -> int:
    why = shadowed()
    if why is not None:
        print(f"two-meridians: {why}", file=sys.stderr)
        return 2
    return int(import_module(module).main())


if __name__ == "__main__":
    sys.exit(main())
