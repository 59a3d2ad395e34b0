"""The command line of the app. Imports stand inside the commands, so that --help is quick."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import two_meridians

if TYPE_CHECKING:
    from quiz.learning.state import Answered
    from quiz.storage.datafile import Where
    from quiz.storage.store import Store

PORT = 8067
"""Tried first; a free one is taken where it is in use."""

PROGRAM = "two-meridians" if Path(sys.argv[0]).stem == "two-meridians" else "python -m quiz"

Command = Callable[..., Any]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; 0: done, 1: done and something is wrong, 2: refused, with one line on standard error."""
    why = two_meridians.shadowed()
    if why is not None:
        click.echo(f"quiz: {why}", err=True)
        return 2
    from quiz.errors import QuizError

    return two_meridians.run(commands, arguments, name="quiz", errors=QuizError, program=PROGRAM)


@contextmanager
def opened(data: Where | None) -> Iterator[Store]:
    """Open a data file or a database that must be there while the block runs."""
    from contextlib import closing

    from quiz.storage.engines.opening import open_engine
    from quiz.storage.store import Store

    with closing(open_engine(data, make=False)) as file, closing(Store(file)) as store:
        yield store


def say(words: str) -> None:
    """Print a line, at once even where another program reads it."""
    click.echo(words)


def _port(_: click.Context, __: click.Parameter, text: str | None) -> int | None:
    if text is None:
        return None
    if not text.isdecimal() or not 0 < int(text) < 65536:
        raise click.BadParameter(f"port {text}: give a number from 1 to 65535.")
    return int(text)


def _where(_: click.Context, __: click.Parameter, text: str | None) -> Where | None:
    from quiz.storage.engines.opening import read_where

    return None if text is None else read_where(text)


def with_data(command: Command) -> Command:
    """Give a command the option that names the data file or the database."""
    words = "data file, or postgresql://USER@HOST/NAME (default: a file in your own data folder)"
    return click.option("--data", callback=_where, metavar="FILE", envvar="QUIZ_DATA", show_envvar=True, help=words)(
        command
    )


def with_port(command: Command) -> Command:
    """Give a command the options that say where and how the app is shown."""
    words = f"port (default: {PORT}, or a free one where that is in use)"
    port = click.option("--port", metavar="PORT", callback=_port, envvar="QUIZ_PORT", show_envvar=True, help=words)
    words = "do not open a browser"
    browser = click.option("--no-browser", is_flag=True, envvar="QUIZ_NO_BROWSER", show_envvar=True, help=words)
    return port(browser(command))


@click.group(invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@two_meridians.version_option
@click.pass_context
def commands(ctx: click.Context) -> None:
    """Two Meridians: retinoscopy cases that come back. Without a command the app is served to this computer."""
    if ctx.invoked_subcommand is None:
        with serve.make_context("serve", [], parent=ctx) as own:
            serve.invoke(own)


@commands.command()
@click.option(
    "--host",
    default="127.0.0.1",
    envvar="QUIZ_HOST",
    show_envvar=True,
    help="127.0.0.1 (default): this computer; 0.0.0.0: a class",
)
@click.option(
    "--class",
    "for_class",
    is_flag=True,
    envvar="QUIZ_CLASS",
    show_envvar=True,
    help="serve a class at any host, behind another web server perhaps: only those who join or sign in get in",
)
@click.option(
    "--one-person",
    is_flag=True,
    envvar="QUIZ_ONE_PERSON",
    show_envvar=True,
    help="serve a class's file to this computer alone: anyone who opens a page is its learner",
)
@click.option(
    "--behind-proxy",
    type=click.IntRange(1, 5),
    metavar="N",
    envvar="QUIZ_BEHIND_PROXY",
    show_envvar=True,
    help="number of your web servers before this one; needs --address",
)
@click.option(
    "--address",
    metavar="URL",
    envvar="QUIZ_ADDRESS",
    show_envvar=True,
    help="what learners type, for example https://school.example/retinoscopy; needs --behind-proxy",
)
@click.option(
    "--first-preceptor",
    metavar="NAME",
    envvar="QUIZ_FIRST_PRECEPTOR",
    show_envvar=True,
    help="make a preceptor where a class has none yet; needs --first-password-file",
)
@click.option(
    "--first-password-file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    envvar="QUIZ_FIRST_PASSWORD_FILE",
    show_envvar=True,
    help="file whose first line is that preceptor's password",
)
@click.option(
    "--backups",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    envvar="QUIZ_BACKUPS",
    show_envvar=True,
    help="make backups in this folder, checked and with their digest, while the app is served",
)
@click.option(
    "--every",
    metavar="TIME",
    default="6h",
    envvar="QUIZ_EVERY",
    show_envvar=True,
    help="time between two backups: 6h (default), 30min, 1d",
)
@click.option(
    "--keep",
    metavar="NUMBER",
    type=int,
    default=28,
    envvar="QUIZ_KEEP",
    show_envvar=True,
    help="number of backups to keep (default: 28); the oldest are removed",
)
@click.option(
    "--processes",
    type=click.IntRange(1, 32),
    metavar="N",
    default=1,
    envvar="QUIZ_PROCESSES",
    show_envvar=True,
    help="number of processes that serve (default: 1); give as many as there are processors",
)
@with_port
@with_data
@click.option(
    "--log-file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    envvar="QUIZ_LOG_FILE",
    show_envvar=True,
    help="log to this file and not to the terminal",
)
@click.option("-v", "--verbose", is_flag=True, envvar="QUIZ_VERBOSE", show_envvar=True, help="log every request")
def serve(
    host: str,
    for_class: bool,
    one_person: bool,
    behind_proxy: int | None,
    address: str | None,
    first_preceptor: str | None,
    first_password_file: Path | None,
    backups: Path | None,
    every: str,
    keep: int,
    processes: int,
    port: int | None,
    no_browser: bool,
    data: Where | None,
    log_file: Path | None,
    verbose: bool,
) -> None:
    """Serve the app to a browser on this computer, or to a class."""
    from quiz import log_file as log
    from quiz.app import create_app
    from quiz.storage.safekeeping.timetable import Timetable, read_every
    from quiz.web.front.public_address import read_address
    from quiz.web.front.server import FirstPreceptor
    from quiz.web.front.server import serve as serve_app

    if (behind_proxy is None) != (address is None):
        raise click.UsageError("--behind-proxy and --address go together: give both.")
    if (first_preceptor is None) != (first_password_file is None):
        raise click.UsageError("--first-preceptor and --first-password-file go together: give both.")
    log.set_up(log_file, verbose=verbose)
    serve_app(
        create_app,
        data=data,
        host=host,
        port=port,
        usual_port=PORT,
        browser=not no_browser,
        say=say,
        for_class=for_class,
        one_person=one_person,
        public=read_address(address, behind_proxy) if address and behind_proxy else None,
        count=processes,
        timetable=Timetable(backups, every_s=read_every(every), keep=keep) if backups else None,
        first=FirstPreceptor(first_preceptor, first_password_file) if first_preceptor and first_password_file else None,
    )


@commands.command()
@click.argument("name")
@click.option("--school", metavar="SCHOOL", help="the school that they are in; needed where there are several")
@click.option(
    "--administrator",
    is_flag=True,
    help="they administer that school; without --school they administer this server, its schools and preceptors",
)
@with_data
def add_preceptor(name: str, school: str | None, administrator: bool, data: Where | None) -> None:
    """Add a preceptor, or give one a new password.

    NAME is what they sign in with; the password is asked for. With --school a preceptor who is here already is in that
    school too.
    """
    import time
    from contextlib import closing

    from quiz.classroom import preceptors as who
    from quiz.classroom import schools, sign_in
    from quiz.storage.engines.opening import open_engine
    from quiz.storage.store import Store

    password = _asked_password()
    with closing(open_engine(data)) as file, closing(Store(file)) as store:
        where, now = schools.named(store, school) if school is not None else None, time.time()
        new = sign_in.add_preceptor(store, name, password, now=now, school=where.id if where else None)
        one = who.named(store, name)
        if where is not None:
            with store.writing():
                schools.add_person(store, where, one, by=sign_in.COMMAND_LINE, now=now, administrator=administrator)
        elif administrator:
            who.make_administrator(store, one, now=now)
    say("Added." if new else "The password is changed, and every sign-in with the old one has ended.")


@commands.command()
@with_data
@click.option("--rename", nargs=2, metavar="OLD NEW", help="give a preceptor another name to sign in with")
@click.option("--remove", metavar="NAME", help="remove a preceptor")
@click.option("--classes-to", metavar="NAME", help="who takes the classes of the one who is removed")
@click.option("--administrator", metavar="NAME", help="let a preceptor look after the others")
@click.option("--no-administrator", metavar="NAME", help="let them do so no longer")
def preceptors(
    data: Where | None,
    rename: tuple[str, str] | None,
    remove: str | None,
    classes_to: str | None,
    administrator: str | None,
    no_administrator: str | None,
) -> None:
    """List the preceptors; rename or remove one."""
    import time

    from quiz.classroom import preceptors as who
    from quiz.classroom.sign_in import COMMAND_LINE
    from quiz.storage import roster_queries
    from quiz.storage.organisation import school_queries

    now = time.time()
    with opened(data) as store:
        if rename:
            who.rename(store, who.named(store, rename[0]), rename[1], by=COMMAND_LINE, now=now)
        if administrator:
            who.make_administrator(store, who.named(store, administrator), now=now)
        if no_administrator:
            who.make_administrator(store, who.named(store, no_administrator), yes=False, now=now)
        if remove:
            to = who.named(store, classes_to) if classes_to else None
            who.remove(store, who.named(store, remove), to=to, by=COMMAND_LINE, now=now)
        several = school_queries.only_school(store) is None
        for one in roster_queries.preceptors(store):
            owned = ", ".join(each.name for each in who.owned(store, one)) or "no class"
            of = ", ".join(each.name for each in school_queries.schools_of(store, one.id)) or "no school"
            where = f"; in {of}" if several else ""
            say(f"{one.name}{' (administrator)' if one.administrator else ''}: owns {owned}{where}")


@commands.command()
@click.argument("name")
@with_data
def add_school(name: str, data: Path | None) -> None:
    """Add a school: classes, preceptors and course platforms that no other school sees.

    NAME is what its preceptors read where they are in several.
    """
    import time

    from quiz.classroom import schools as known
    from quiz.classroom.sign_in import COMMAND_LINE

    with opened(data) as store:
        made = known.make(store, name, by=COMMAND_LINE, now=time.time())
    say(f"Added. Its first administrator: {PROGRAM} add-preceptor NAME --administrator --school '{made.name}'")


@commands.command()
@with_data
@click.option("--rename", nargs=2, metavar="OLD NEW", help="give a school another name")
@click.option("--remove", metavar="SCHOOL", help="remove a school that is empty")
def schools(data: Path | None, rename: tuple[str, str] | None, remove: str | None) -> None:
    """List the schools with their administrators; rename one, or remove one that is empty."""
    import time

    from cases.notation.plurals import counted, plural
    from quiz.classroom import schools as known
    from quiz.classroom.sign_in import COMMAND_LINE
    from quiz.storage.organisation import school_queries

    with opened(data) as store:
        if rename:
            known.rename(store, known.named(store, rename[0]), rename[1], by=COMMAND_LINE, now=time.time())
        if remove:
            known.remove(store, known.named(store, remove), by=COMMAND_LINE, now=time.time())
        for one in school_queries.school_sizes(store):
            names = ", ".join(name for _, name in school_queries.administrators_of(store, one.id)) or "no administrator"
            classes = plural(one.classes, "{n} class", "{n} classes")
            say(f"{one.name}: {counted(one.preceptors, 'preceptor')}, {classes}; {names}")


def _asked_password() -> str:
    """Ask for a password twice at a terminal; take the first line where something else is at the other end."""
    from getpass import getpass

    from quiz.classroom.sign_in import BadPassword

    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    password = getpass("Password (ten characters or more): ")
    if getpass("Once more: ") != password:
        raise BadPassword("the two passwords differ: run the command again")
    return password


@commands.group()
def lti() -> None:
    """Let course platforms open drills and keep grades (LTI 1.3).

    The app must be served by https: serve --class --behind-proxy 1 --address https://…
    """


def with_address(command: Command) -> Command:
    """Give a command the option that names the app's public address."""
    words = "the address that learners type (default: where the app was last served)"
    return click.option("--address", metavar="URL", envvar="QUIZ_ADDRESS", show_envvar=True, help=words)(command)


def _warn(*warnings: str) -> None:
    for words in warnings:
        if words:
            say(words)


def with_school(command: Command) -> Command:
    """Give a command the option that names the school of a platform."""
    words = "whose platform it is; needed where there are several schools"
    return click.option("--school", metavar="SCHOOL", help=words)(command)


@lti.command("invite")
@with_school
@with_address
@with_data
def lti_invite(address: str | None, school: str | None, data: Where | None) -> None:
    """Print one address by which a platform registers itself.

    Its administrator pastes it there within an hour; then run `lti list` and `lti approve`.
    """
    import time

    from quiz.classroom import schools as known
    from quiz.lti import own_address, registering
    from quiz.practice.randomness import Lots

    with opened(data) as store:
        address, differs = own_address.public_address(store, address)
        whose = known.one_or_named(store, school).id
        secret = registering.invite(store, school=whose, now=time.time(), lots=Lots())
        say(f"{address}/lti/register/{secret}")
        say("Paste this into the platform's tool registration within an hour. It works once.")
        say("A try that fails does not use it up.")
        say("Then run `lti list` here, compare the issuer, and run `lti approve` with the number.")
        _warn(differs, own_address.try_address(store, address))


@lti.command("add")
@click.option("--issuer", required=True, help="the platform's issuer, or platform ID")
@click.option("--client", "client_id", required=True, help="the client ID that it gave this app")
@click.option("--login", "auth_login_url", required=True, metavar="URL", help="its authentication request address")
@click.option("--token", "auth_token_url", required=True, metavar="URL", help="its access token address")
@click.option("--keys", "key_set_url", required=True, metavar="URL", help="its public keyset address")
@click.option("--deployment", "deployment_id", default="", help="the deployment ID, if known")
@click.option("--audience", "token_audience", default="", help="who access tokens are asked of, if another address")
@click.option("--name", default="", help="what you call it")
@with_school
@with_address
@with_data
def lti_add(address: str | None, school: str | None, data: Where | None, **given: str) -> None:
    """Register a platform by hand, from what it shows."""
    import time

    from quiz.classroom import schools as known
    from quiz.lti import own_address, registering

    with opened(data) as store:
        address, differs = own_address.public_address(store, address)
        whose = known.one_or_named(store, school).id
        number = registering.add(store, registering.Platform(**given), school=whose, now=time.time())
        say(f"Registered as number {number}. The platform needs these addresses:")
        for name, url in registering.addresses(address).items():
            say(f"    {name}: {url}")
        say("This app's key is in the data file, and so in every backup: keep both safe.")
        _warn(differs, registering.try_keys(given["key_set_url"]), own_address.try_address(store, address))


@lti.command("change")
@click.argument("number", type=int)
@click.option("--issuer", default="", help="the platform's issuer, or platform ID")
@click.option("--client", "client_id", default="", help="the client ID that it gave this app")
@click.option("--login", "auth_login_url", default="", metavar="URL", help="its authentication request address")
@click.option("--token", "auth_token_url", default="", metavar="URL", help="its access token address")
@click.option("--keys", "key_set_url", default="", metavar="URL", help="its public keyset address")
@click.option("--deployment", "deployment_id", default="", help="one more deployment ID")
@click.option("--audience", "token_audience", default="", help="who access tokens are asked of, if another address")
@click.option("--name", default="", help="what you call it")
@with_data
def lti_change(number: int, data: Where | None, **given: str) -> None:
    """Correct a registration.

    What is not given stays as it is.
    """
    from quiz.lti import registering

    with opened(data) as store:
        registering.change(store, number, given)
        say(f"Registration {number} is changed. `lti list` shows it; an app that is served uses it at once.")
        _warn(registering.try_keys(registering.get(store, number).key_set_url))


@lti.command("remove")
@click.argument("number", type=int)
@click.option("--with-courses", is_flag=True, help="also where courses have come by it; classes and answers stay")
@with_data
def lti_remove(number: int, with_courses: bool, data: Where | None) -> None:
    """Remove a registration.

    Its classes, learners and answers stay.
    """
    from quiz.lti import registering

    with opened(data) as store:
        registering.remove(store, number, with_courses=with_courses)
    say(f"Registration {number} is removed. Classes, learners and answers are as they were.")


@lti.command("list")
@with_data
def lti_list(data: Where | None) -> None:
    """List the platforms and their deployments."""
    from quiz.storage.organisation import school_queries
    from quiz.storage.platform import lti_queries

    with opened(data) as store:
        names = {one.id: one.name for one in school_queries.schools(store)}
        for one in lti_queries.registrations(store):
            of = f" of {names.get(one.school or 0, 'no school')}" if len(names) > 1 else ""
            say(f"{one.id}  {one.state}  {one.name}{of}: issuer {one.issuer}, client {one.client_id}")
            for each in lti_queries.deployments_of(store, one.id):
                say(f"    deployment {each.deployment_id}: {each.state}")
            say(f"    login {one.auth_login_url}")
            say(f"    token {one.auth_token_url}")
            say(f"    keys  {one.key_set_url}")
            if one.token_audience != one.auth_token_url:
                say(f"    audience of tokens {one.token_audience}")
        if not lti_queries.registrations(store):
            say("No course platform is registered: `lti invite` or `lti add` registers one.")


@lti.command("approve")
@click.argument("number", type=int)
@with_data
def lti_approve(number: int, data: Where | None) -> None:
    """Let a platform and its deployments in."""
    from quiz.lti import registering

    with opened(data) as store:
        waited = registering.approve(store, number)
    approved = f" Deployments approved: {', '.join(waited)}." if waited else ""
    say(f"Platform {number} is active.{approved}")


@lti.command("off")
@click.argument("number", type=int)
@with_data
def lti_off(number: int, data: Where | None) -> None:
    """Turn a platform off and end its sign-ins."""
    from quiz.lti import registering

    with opened(data) as store:
        registering.turn_off(store, number)
    say(f"Platform {number} is off. `lti approve {number}` turns it on again.")


@lti.command("send")
@with_data
def lti_send(data: Where | None) -> None:
    """Try again to send grades that failed."""
    import time

    from cases.notation.plurals import counted
    from quiz.lti import registering

    with opened(data) as store:
        number = registering.send_again(store, now=time.time())
    say(f"{counted(number, 'grade')} not sent yet. The app, while it is running, tries each again within a minute.")


@commands.command()
@with_data
def rebuild(data: Where | None) -> None:
    """Work out every learner's memory again from the answers."""
    from quiz.storage import projection

    with opened(data) as store:
        for one in projection.rebuild(store):
            kept = "as it was kept" if one.as_kept else "differed from what was kept, and was put right"
            say(f"{one.learner}: {one.answers} answers, {one.recall_marks} recall marks; {kept}")


@commands.command()
@with_data
@click.option("--adopt", is_flag=True, help="let this data file use what wins")
@click.option("--use", metavar="VERSION", help="use an earlier version again, or “shipped”, and fit nothing")
def refit(data: Where | None, adopt: bool, use: str | None) -> None:
    """See whether other numbers would forecast this class better.

    Fits the memory's priors and constants to the log of answers of two learners in three, and judges them on the
    third. Changes nothing without --adopt.
    """
    import random
    import time
    from datetime import UTC, datetime

    from quiz.learning.refit import refit as fit
    from quiz.learning.refit import report
    from quiz.storage import memory_numbers

    with opened(data) as store:
        if use is not None:
            memory_numbers.use(store, use)
            say(f"Version {use} is used from now on. {_AGAIN}")
            return
        before = memory_numbers.current(store).numbers
        offer = fit(
            _logs(store),
            random.Random(0),  # the same data give the same offer
            numbers=before,
            dated=datetime.now(UTC).date().isoformat(),
            said=say,
        )
        for line in report(offer):
            say(line)
        if not offer.accepted:
            return
        if not adopt:
            say("To let this data file use them: python -m quiz refit --adopt")
            return
        new = memory_numbers.adopt(store, offer.numbers, now=time.time(), why=offer.won_by)
        say(f"This data file uses them from now on, as version {new.id}. {_AGAIN}")
        say(f"To go back: python -m quiz refit --use {memory_numbers.SHIPPED}, or an earlier version:")
        for one in memory_numbers.versions(store).adopted:
            say(f"    {one.id}  {one.numbers.dated}  {one.why}")


_AGAIN = "Every learner's memory is worked out again from the answers the next time it is needed."


def _logs(store: Store) -> dict[int, list[Answered]]:
    from quiz.storage import projection

    return {one.id: list(projection.events_of(store, one.id)) for one in store.learners()}


@commands.command()
@click.argument("log", required=False, type=click.Path(path_type=Path, exists=True, dir_okay=False))
@with_data
@click.option("--fit", is_flag=True, help="also fit every constant of the memory to the training half (minutes)")
@click.option("--seed", type=int, default=0, help="which half is trained on (0)")
def replay(log: Path | None, data: Where | None, fit: bool, seed: int) -> None:
    """Compare the memory's forecasts with other models'.

    LOG is a file of comma-separated values with the columns learner, seconds, type, steps (joined by +), right (0 or
    1) and, if known, slip (step:slip); without it the answers in the data file are replayed. Each model is trained on
    half of the learners and forecasts the others' answers, one ahead. Prints Markdown and changes nothing.
    """
    from quiz.learning.answer_logs import read_answer_log
    from quiz.learning.comparison import as_markdown, compare
    from quiz.learning.parameters import NUMBERS
    from quiz.storage import memory_numbers

    if log is not None:
        numbers = NUMBERS
        with log.open(newline="", encoding="utf-8-sig") as lines:
            logs = read_answer_log(lines)
    else:
        with opened(data) as store:
            numbers = memory_numbers.current(store).numbers
            logs = {str(number): answers for number, answers in _logs(store).items()}
    found = compare(logs, seed=seed, numbers=numbers, fit=fit, said=lambda words: click.echo(words, err=True))
    for line in as_markdown(found):
        say(line)


@commands.command()
@click.argument("file", metavar="BACKUP", type=click.Path(path_type=Path))
@with_data
def backup(file: Path, data: Where | None) -> None:
    """Copy the data file while learners go on answering.

    BACKUP is where to, never over a file that is there.
    """
    from quiz.storage.engines.opening import path_of
    from quiz.storage.safekeeping.backups import backup as back_up

    size = back_up(path_of(data), file)
    say(f"{file}: {size / 1e6:.1f} MB. It has everything that is in the data file: keep it as safe.")


@commands.command()
@click.argument("file", metavar="BACKUP", type=click.Path(path_type=Path))
@with_data
def restore(file: Path, data: Where | None) -> None:
    """Put a backup in the data file's place.

    BACKUP is a file that `backup` wrote. The app must be stopped.
    """
    import time

    from cases.notation.plurals import counted
    from quiz.storage.engines.opening import path_of
    from quiz.storage.safekeeping.backups import restore as put_back

    done = put_back(file, path_of(data), now=time.time())
    say(f"{done.path} is as it was when the backup was made; preceptors must sign in again, invitations have ended.")
    if done.removed_again:
        number = done.removed_again
        say(f"{counted(number, 'learner')} deleted since the backup was made: deleted from it too.")
    if done.turned_away:
        say(f"{counted(done.turned_away, 'preceptor')} removed from a school since: removed from it again.")
    if done.platforms.turned_off:
        say(f"Course platforms that were not on any more stay off: {', '.join(done.platforms.turned_off)}.")
    if done.platforms.still_on:
        say(f"Course platforms that let people in: {', '.join(done.platforms.still_on)}. `lti off` turns one off.")
    if done.platforms.grades_held:
        number = done.platforms.grades_held
        say(
            f"{counted(number, 'grade')} sent to courses after the backup was made: they stand there until a preceptor "
            "replaces them on the page “Course platform”."
        )
    if done.set_aside is not None:
        say(f"What stood there before is in {done.set_aside}")


@commands.command()
@click.argument("damaged", type=click.Path(path_type=Path))
@click.argument("new", type=click.Path(path_type=Path))
@click.option(
    "--like", type=click.Path(path_type=Path, exists=True, dir_okay=False), metavar="BACKUP", help="a backup of it"
)
def salvage(damaged: Path, new: Path, like: Path | None) -> int:
    """Save what can be read of a damaged data file.

    DAMAGED is only read; what is saved goes into NEW, a data file that can be served. Says what could not be read; exit
    1 where something is known to be lost. Memory and results are worked out again from the answers. Where you have a
    recent backup, `restore` may lose less: it has everything up to the moment when it was made.
    """
    from quiz.storage.safekeeping.salvage import salvage as save

    done = save(damaged, new, like=like)
    for table in done.tables:
        if table.read or not table.is_whole:
            say(f"{'good' if table.is_whole else 'LOST'}  {table.says}")
    if done.stand_ins:
        numbers = ", ".join(map(str, done.stand_ins))
        say(f"LOST  names of learners: {numbers}; their answers are kept under “Learner” and that number")
    say(f"{new}: what could be read is there. Look it over with `python -m quiz check`.")
    return 0 if all(table.is_whole for table in done.tables) and not done.stand_ins else 1


@commands.command()
@click.option(
    "--data",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="keep it in this new file (default: gone at the end)",
)
@with_port
@click.option("--no-serve", is_flag=True, help="only fill the file")
def demo(data: Path | None, port: int | None, no_browser: bool, no_serve: bool) -> None:
    """Serve an invented class with weeks of answers."""
    from tempfile import TemporaryDirectory

    with TemporaryDirectory(prefix="two-meridians-") as folder:
        path = data or Path(folder) / "demo.sqlite3"
        _fill(path)
        if not no_serve:
            from quiz.app import create_app
            from quiz.web.front.server import serve as serve_app

            here, browser = "127.0.0.1", not no_browser
            serve_app(
                create_app, data=path, host=here, port=port, usual_port=PORT, browser=browser, say=say, one_person=True
            )


def _fill(path: Path) -> None:
    """Let the invented class practise into a new file."""
    import random
    import time
    from contextlib import closing

    from quiz import demo as invented
    from quiz.storage.datafile import DataFile, Refused
    from quiz.storage.store import Store

    if path.exists():
        raise Refused(path, "there is something of that name already", "the demonstration goes into a new file only")
    say("Letting an invented class practise for eight weeks ...")
    with closing(DataFile.open(path)) as file, closing(Store(file)) as store:
        filled = invented.fill(store, now=time.time(), rng=random.Random(2), said=lambda _: None)
    say(f"{filled.answers} answers. Practise and Progress show {invented.ALONE}; sign in under Class as its preceptor:")
    say(f"    name      {invented.PRECEPTOR}\n    password  {filled.password}")


@commands.command()
@with_data
def check(data: Where | None) -> int:
    """Check a data file, a backup or a database from end to end.

    Changes nothing; exit 1 where something is wrong.
    """
    from quiz.storage.safekeeping.checks import check as look_over

    found = []
    for one in look_over(data):
        say(f"{'good' if one.good else 'BAD '}  {one.words}")
        found.append(one.good)
    return 0 if all(found) else 1


@commands.command()
@with_data
@click.option("--to", required=True, callback=_where, metavar="FILE", help="new file or empty database to move to")
def move(data: Where | None, to: Where) -> None:
    """Move a data file to PostgreSQL, or a database to a data file.

    The app must be stopped. What is moved stays as it was; what arrives is compared with it, row by row.
    """
    from cases.notation.plurals import counted
    from quiz.storage.datafile import data_path, named
    from quiz.storage.engines.moving import move as move_all

    done = move_all(data_path(None) if data is None else data, to)
    for one in done:
        if one.rows:
            say(f"{one.table}: {counted(one.rows, 'row')}, sha256 {one.digest[:16]}")
    say(f"{named(to)}: everything is there, the same row by row. Look it over: `python -m quiz check --data ADDRESS`.")
    if not isinstance(to, Path):
        say("What is deleted from now on stays on PostgreSQL's disk until it is tidied up: README.md, “On PostgreSQL”.")


@commands.command()
@click.option(
    "--cases",
    required=True,
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="saved by a drill or by sheet --keep",
)
@click.option("--as", "kind", type=click.Choice(["qti-2.1", "qti-3.0", "moodle"]), required=True, help="format")
@click.option("--title", default="Retinoscopy", help="of the test or category")
@click.argument("out", type=click.Path(path_type=Path), metavar="NEW")
def questions(cases: Path, kind: str, title: str, out: Path) -> None:
    """Write saved cases as questions for another platform into a new file.

    QTI gives a zip, Moodle an XML file. Cases that the format cannot mark as the app does are left out and listed.
    """
    from cases.curriculum.case_list import read
    from cases.errors import CaseError
    from quiz.errors import QuizError
    from quiz.exports import moodle_xml, qti
    from quiz.exports.carried import anything, carried, left_out_lines

    try:
        listed = read(cases.read_text(encoding="utf-8"))
        found, left_out = carried(listed.cases, moodle_xml.check if kind == "moodle" else anything)
        made = moodle_xml.moodle_xml(title, listed) if kind == "moodle" else qti.package(title, listed, kind[4:])
        with out.open("xb") as file:
            file.write(made)
    except (CaseError, UnicodeDecodeError) as error:
        raise QuizError(f"{cases}: {error}") from error
    except FileExistsError:
        raise QuizError(f"{out}: there is a file of that name; give the name of a new one") from None
    except OSError as error:
        raise QuizError(f"{error.filename}: {error.strerror}") from error
    for line in left_out_lines(left_out):
        say(line)
    say(f"{len(found)} questions in {out}")


if __name__ == "__main__":
    sys.exit(main())
