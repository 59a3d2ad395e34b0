"""The command line of the app. Imports stand inside the commands, so that --help is quick."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

PORT = 8067
"""Tried first; a free one is taken where it is in use."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; 0: done, 1: done and something is wrong, 2: refused, with one line on standard error."""
    options = _parser().parse_args(arguments)
    from quiz.errors import QuizError

    try:
        return int(options.run(options))
    except QuizError as error:
        print(f"quiz: {error}", file=sys.stderr)
        return 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m quiz", description="Two Meridians: retinoscopy cases that come back."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    serve = commands.add_parser("serve", help="serve the app to a browser on this computer, or to a class")
    serve.add_argument("--host", default="127.0.0.1", help="127.0.0.1 (default): this computer; 0.0.0.0: a class")
    serve.add_argument("--port", type=_port, help=f"port (default: {PORT}, or a free one where that is in use)")
    modes = serve.add_mutually_exclusive_group()
    modes.add_argument(
        "--class",
        dest="mode",
        action="store_const",
        const="class",
        default="",
        help="serve a class at any host, behind another web server perhaps: only those who join or sign in get in",
    )
    modes.add_argument(
        "--one-person",
        dest="mode",
        action="store_const",
        const="one-person",
        help="serve a class's file to this computer alone: whoever opens a page is its learner, without signing in",
    )
    serve.add_argument("--no-browser", action="store_true", help="do not open a browser")
    _with_data(serve)
    serve.set_defaults(run=_serve)

    preceptor = commands.add_parser(
        "add-preceptor", help="add a preceptor, or give one a new password; the password is asked for"
    )
    preceptor.add_argument("name", metavar="NAME", help="the name to sign in with")
    _with_data(preceptor)
    preceptor.set_defaults(run=_add_preceptor)

    rebuild = commands.add_parser("rebuild", help="work every learner's memory out anew from the log of answers")
    _with_data(rebuild)
    rebuild.set_defaults(run=_rebuild)

    refit = commands.add_parser(
        "refit", help="see whether other numbers for the memory would have foretold this class better; changes nothing"
    )
    _with_data(refit)
    refit.set_defaults(run=_refit)

    backup = commands.add_parser("backup", help="copy the data file as it is now, while learners go on answering")
    backup.add_argument("file", type=Path, metavar="BACKUP", help="where to; never over a file that is there")
    _with_data(backup)
    backup.set_defaults(run=_backup)

    restore = commands.add_parser("restore", help="put a backup in the data file's place; the app must be stopped")
    restore.add_argument("file", type=Path, metavar="BACKUP", help="a file that `backup` wrote")
    _with_data(restore)
    restore.set_defaults(run=_restore)

    demo = commands.add_parser("demo", help="serve an invented class with weeks of answers, to look around in")
    demo.add_argument("--data", type=Path, metavar="FILE", help="keep it in this new file (default: gone at the end)")
    demo.add_argument("--port", type=_port, help=f"port (default: {PORT}, or a free one where that is in use)")
    demo.add_argument("--no-browser", action="store_true", help="do not open a browser")
    demo.add_argument("--no-serve", action="store_true", help="only fill the file")
    demo.set_defaults(run=_demo)

    check = commands.add_parser("check", help="look a data file or a backup over, from end to end; changes nothing")
    _with_data(check)
    check.set_defaults(run=_check)
    return parser


def _with_data(command: argparse.ArgumentParser) -> None:
    command.add_argument("--data", type=Path, metavar="FILE", help="data file (default: one in your own data folder)")


def _port(text: str) -> int:
    if not text.isdecimal() or not 0 < int(text) < 65536:
        raise argparse.ArgumentTypeError(f"port {text}: give a number from 1 to 65535")
    return int(text)


def _serve(options: argparse.Namespace) -> int:
    from quiz.serving import serve

    serve(
        data=options.data,
        host=options.host,
        port=options.port,
        usual_port=PORT,
        browser=not options.no_browser,
        say=lambda words: print(words, flush=True),
        mode=options.mode,
    )
    return 0


def _add_preceptor(options: argparse.Namespace) -> int:
    import time
    from contextlib import closing

    from quiz import signing
    from quiz.datafile import open_data
    from quiz.store import Store

    password = _asked_password()
    with closing(open_data(options.data)) as file, closing(Store(file)) as store:
        new = signing.add_preceptor(store, options.name, password, now=time.time())
    print("Added." if new else "The password is changed, and every sign-in with the old one has ended.")
    return 0


def _asked_password() -> str:
    """Ask for a password twice at a terminal; take the first line where something else is at the other end."""
    from getpass import getpass

    from quiz.signing import BadPassword

    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    password = getpass("Password (ten characters or more): ")
    if getpass("Once more: ") != password:
        raise BadPassword("the two passwords differ: run the command again")
    return password


def _rebuild(options: argparse.Namespace) -> int:
    from contextlib import closing

    from quiz import folding
    from quiz.datafile import open_data
    from quiz.store import Store

    with closing(open_data(options.data, make=False)) as file, closing(Store(file)) as store:
        for one in folding.rebuild(store):
            kept = "as it was kept" if one.as_kept else "differed from what was kept, and was put right"
            print(f"{one.learner}: {one.answers} answers, {one.recall_marks} recall marks; {kept}")
    return 0


def _refit(options: argparse.Namespace) -> int:
    import random
    from contextlib import closing
    from datetime import UTC, datetime

    from quiz import folding
    from quiz.datafile import open_data
    from quiz.numbers import NUMBERS
    from quiz.refit import changes, refit
    from quiz.store import Store

    with closing(open_data(options.data, make=False)) as file, closing(Store(file)) as store:
        logs = {one.id: [folding.event_of(row) for row in store.answers_of(one.id)] for one in store.learners()}
    offer = refit(
        logs,
        random.Random(0),  # the same data give the same offer
        dated=datetime.now(UTC).date().isoformat(),
        said=lambda words: print(words, flush=True),
    )
    print(
        f"Fitted on {offer.fitted_on} learners. For the {offer.judged_on} others the loss of one answer goes from "
        f"{offer.loss_before:.4f} to {offer.loss_after:.4f}: a fall of {offer.fall:.4f}, "
        f"standard error {offer.standard_error:.4f}."
    )
    if not offer.accepted:
        print("That is not a fall of more than two standard errors: keep the numbers as they are.")
        return 0
    print("That is a fall of more than two standard errors. To take them over, put into quiz/numbers.py:")
    for name, before, after in changes(NUMBERS, offer.numbers):
        print(f"    {name} = {after!r}    was {before!r}")
    print("Every learner's memory is then worked out anew from the log the next time it is needed.")
    return 0


def _backup(options: argparse.Namespace) -> int:
    from quiz.backups import backup
    from quiz.datafile import data_path

    size = backup(data_path(options.data), options.file)
    print(f"{options.file}: {size / 1e6:.1f} MB. It holds all that the data file holds: keep it as safe.")
    return 0


def _restore(options: argparse.Namespace) -> int:
    import time

    from quiz.backups import restore
    from quiz.datafile import data_path

    done = restore(options.file, data_path(options.data), now=time.time())
    print(f"{done.path} is as it was when the backup was made; preceptors sign in anew.")
    if done.set_aside is not None:
        print(f"What stood there before is in {done.set_aside}")
    return 0


def _demo(options: argparse.Namespace) -> int:
    from tempfile import TemporaryDirectory

    with TemporaryDirectory(prefix="two-meridians-") as folder:
        return _demo_in(options.data or Path(folder) / "demo.sqlite3", options)


def _demo_in(path: Path, options: argparse.Namespace) -> int:
    import random
    import time
    from contextlib import closing

    from quiz import demo
    from quiz.datafile import DataFile, Refused
    from quiz.serving import serve
    from quiz.store import Store

    if path.exists():
        raise Refused(path, "there is something of that name already", "the demonstration goes into a new file only")
    print("Letting an invented class practise for eight weeks ...", flush=True)
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        filled = demo.fill(store, now=time.time(), rng=random.Random(2), said=lambda _: None)
    print(f"{filled.answers} answers. Practise and Progress show {demo.ALONE}; sign in under Class as its preceptor:")
    print(f"    name      {demo.PRECEPTOR}\n    password  {filled.password}", flush=True)
    if not options.no_serve:
        say, browser = lambda words: print(words, flush=True), not options.no_browser
        serve(
            data=path,
            host="127.0.0.1",
            port=options.port,
            usual_port=PORT,
            browser=browser,
            say=say,
            mode="one-person",
        )
    return 0


def _check(options: argparse.Namespace) -> int:
    from quiz.checks import check
    from quiz.datafile import data_path

    path = data_path(options.data)
    found = []
    for one in check(path):
        print(f"{'good' if one.good else 'BAD '}  {one.words}", flush=True)
        found.append(one.good)
    return 0 if all(found) else 1


if __name__ == "__main__":
    sys.exit(main())
