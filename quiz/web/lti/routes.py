"""The addresses that course platforms know, and browsers that they send: login, launch, a drill chosen, registration.

Nothing here asks who is signed in: state, nonce and secrets that are used once say who may. The pages that stand in a
platform's frame may be framed by that platform alone.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial

from flask import Blueprint, Flask, Response, jsonify, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from quiz.classroom import take_drill
from quiz.classroom.classes import ClassFull, OfAnotherSchool
from quiz.classroom.sign_in import digest
from quiz.errors import QuizError
from quiz.lti import course_list, courses, deep_links, grade_outbox, registering, signing
from quiz.lti.course_list import ManyLeft
from quiz.lti.courses import Entered
from quiz.lti.fetching import origin_of
from quiz.lti.launching import LaunchRefused, NoCookie, begin_login, origins_of, read_launch
from quiz.lti.own_address import BadRegistration
from quiz.storage import class_queries
from quiz.storage.class_queries import Drill
from quiz.storage.platform import lti_queries
from quiz.storage.store import Store
from quiz.web import request_context
from quiz.web.csrf import POLICY
from quiz.web.drill_views import day_of, drill_row, moment
from quiz.web.lti import platform_state
from quiz.web.lti.platform_state import NotServed, PlatformState
from quiz.web.request_context import CourseHere

pages = Blueprint("lti", __name__, url_prefix="/lti")

COOKIE = "tm-lti"
COOKIE_S = 600
REGISTRATIONS_A_MINUTE = 5
PROGRAM = ".venv/bin/python -m quiz"
"""How the commands are begun on the app's own server."""


@dataclass(frozen=True)
class PlatformPage:
    """A page with a few sentences, and perhaps one form with a button."""

    title: str
    words: tuple[str, ...]
    action: str = ""
    method: str = "post"
    fields: Mapping[str, str] = field(default_factory=dict)
    button: str = ""
    target: str = ""
    """"_blank" where the form opens a tab of its own."""
    alone: bool = False
    """Whether the form sends itself where the page has a window of its own."""
    closes: bool = False
    """Whether the platform's frame can be closed."""
    listed: tuple[tuple[str, str], ...] = ()
    problem: str = ""
    back: str = ""
    """Where the platform takes people back to the course; "" where it did not say."""


@dataclass(frozen=True)
class ChoosePage:
    """What the page receives on which a teacher chooses a drill for a course."""

    course: str
    choice: str
    ticket: str
    drills: tuple[tuple[int, str, str], ...]
    """Number, title, and length with state."""
    klass: str
    """"has one", "archived" where that is in the archive, "" where the course has none."""
    problem: str = ""
    at: str = ""
    """The field that the problem is at: "drill" or "points"."""
    chosen: int = 0
    points: str = ""


def set_up(app: Flask) -> None:
    """Give the app its memory of platforms, and let a refusal be read in the frame of the platform that it concerns."""
    kept = app.extensions["lti"] = PlatformState()
    app.register_error_handler(LaunchRefused, _refused)
    app.register_error_handler(NotServed, _not_served)
    desk = request_context.desk_of(app)
    if signing.installed() and desk.public_url.startswith("https://"):
        also = partial(fetch_lists, kept, clock=desk.clock)
        desk.beside.append(partial(grade_outbox.run, desk.file, kept.services, clock=desk.clock, also=also))


def fetch_lists(kept: PlatformState, store: Store, clock: Callable[[], float]) -> None:
    """Fetch the course lists that were asked for; one that fails waits for the next day or for its button."""
    while kept.lists_wanted:
        course = lti_queries.course_of_id(store, kept.lists_wanted.popleft())
        if course is None or not course_list.is_due(course, clock()):
            continue
        try:
            course_list.fetch_list(store, kept.services, course, now=clock())
        except ManyLeft:  # whose words have names
            words = "half of the learners or more are missing from the list of %s: its teacher is asked on the page"
            logging.getLogger("quiz").warning(words, course.title)
        except QuizError as error:
            logging.getLogger("quiz").warning("%s", error)


def _framed(origins: str, page: str, code: int = 200, *, form_to: str = "") -> Response:
    """Return a page that may stand in the frame of these origins, and whose form may go to one more."""
    response = make_response(page, code)
    policy = POLICY
    if origins:
        policy = policy.replace("frame-ancestors 'none'", f"frame-ancestors {origins}")
    if form_to:
        policy = policy.replace("form-action 'self'", f"form-action 'self' {form_to}")
    response.headers["Content-Security-Policy"] = policy
    # A platform that opened a window of its own must find it again.
    response.headers["Cross-Origin-Opener-Policy"] = "unsafe-none"
    return response


def _page(origins: str, page: PlatformPage, code: int = 200, *, form_to: str = "") -> Response:
    return _framed(origins, render_template("lti_page.html", page=page), code, form_to=form_to)


def _refused(error: LaunchRefused) -> Response:
    # Where it is not known which platform shows it, any that is registered may: it says nothing of anybody.
    origins = error.origin or _every_origin()
    return _page(origins, PlatformPage("You cannot come in by this link", (str(error),), back=error.back), 403)


def _not_served(error: NotServed) -> Response:
    words = (
        "Links from course platforms do not work on this server yet. Tell the person who runs Two Meridians for your "
        "school:",
        f"{str(error)[:1].upper()}{str(error)[1:]}.",
    )
    return _page(_every_origin(), PlatformPage("Course platforms are not set up here", words), 404)


def _every_origin() -> str:
    found = lti_queries.registrations(request_context.store())
    return " ".join(dict.fromkeys(origins_of(one) for one in found if one.state == "active"))


# --- for the administrator of a platform -----------------------------------------------------------------------


@pages.get("/jwks.json")
def jwks() -> Response:
    """Give the public keys with which platforms check what this app sends."""
    platform_state.address()
    found = signing.public_keys(request_context.store(), now=request_context.now(), lots=request_context.lots())
    return jsonify(found)


@pages.get("/config")
def config() -> Response:
    """Show the addresses that an administrator types in where a platform cannot register by itself."""
    words = (
        "Type these addresses into your course platform, as an external tool of LTI 1.3. Three of the five are the "
        "same; that is right. Choose a public key by keyset URL.",
        "There allow content selection (deep linking), grades (assignment and grade services), and names and roles. "
        "Share people’s names, not their e-mail addresses. A new window is best; a frame works too.",
        "The platform then shows an issuer, a client ID, a deployment ID and three addresses. Who administers this "
        "server types them in under Class, Course platforms, or gives them to the command below.",
    )
    addresses = registering.addresses(platform_state.address())
    command = (
        f"{PROGRAM} lti add --issuer ISSUER --client CLIENT --deployment DEPLOYMENT --login URL --token URL --keys URL"
    )
    listed = (*addresses.items(), ("Command on the app’s server", command))
    return _page("", PlatformPage("Addresses for a course platform", words, listed=listed))


@pages.get("/register/<invitation>")
def register(invitation: str) -> Response:
    """Register with a platform that names itself, while an invitation is open; it stays pending until approved."""
    address, store, now = platform_state.address(), request_context.store(), request_context.now()
    school = registering.invited_school(store, invitation, now=now)
    if school is None:
        logging.getLogger("quiz").warning("LTI registration: an invitation that was used, or is older than an hour")
        used = f"This address was used, or is older than an hour. Run {PROGRAM} lti invite on the app's server again."
        return _page("", PlatformPage("This invitation has ended", (used,)), 404)
    configuration = request.args.get("openid_configuration", "")
    if not configuration:
        here = (
            "This address is for your course platform, not for a browser. Paste it there into its tool settings, where "
            "it asks for a registration URL (LTI dynamic registration). It still works.",
        )
        return _page("", PlatformPage("Paste this address into your course platform", here))
    origin = origin_of(configuration)
    try:
        _not_too_often(now)
        made = registering.register(
            store,
            configuration,
            request.args.get("registration_token", ""),
            school=school,
            address=address,
            now=now,
            ask=platform_state.state().services.ask,
        )
    except (BadRegistration, signing.NotInstalled) as error:
        logging.getLogger("quiz").warning("LTI registration refused: %s", error)
        words = ("Nothing was changed here, and the address that you pasted still works.",)
        page = PlatformPage("Not registered", words, problem=str(error))
        return _page(origin if origin.startswith("https:") else "", page, 422)
    registered = (
        f"This platform is registered as number {made.id}. It is pending: nobody comes in by it until it is approved. "
        "Who administers this server does that under Class, Course platforms, or by the command below. Compare the "
        "issuer there with your platform’s.",
        "Activate the tool in your platform, too, if it asks for that.",
    )
    listed = (("Issuer", made.issuer), ("Command on the app’s server", f"{PROGRAM} lti approve {made.id}"))
    return _page(origins_of(made), PlatformPage("Registered", registered, closes=True, listed=listed))


def _not_too_often(now: float) -> None:
    tries = request_context.caller().tries
    if tries.since("registration", "", now - 60, now=now) >= REGISTRATIONS_A_MINUTE:
        raise BadRegistration("this was tried too often: wait a minute, then paste the address again")
    tries.add("registration", "", now)


# --- coming in -----------------------------------------------------------------------------------------------------


@pages.route("/login", methods=["GET", "POST"])
def login() -> AnyResponse:
    """Begin the login that a platform asks for."""
    address = platform_state.address()
    begun = begin_login(
        request_context.store(),
        request.values,
        request.cookies.get(COOKIE, "")[:100],
        address=address,
        now=request_context.now(),
        lots=request_context.lots(),
    )
    response = redirect(begun.url, 302)
    response.set_cookie(
        COOKIE,
        begun.browser,
        max_age=COOKIE_S,
        path=f"{request.root_path}/lti",
        secure=True,
        httponly=True,
        samesite="None",
        partitioned=True,
    )
    response.headers["Cross-Origin-Opener-Policy"] = "unsafe-none"
    return response


@pages.get("/launch")
@pages.get("/enter")
def reloaded() -> Response:
    """Say where to go to who reloads a page of a launch, or has it as a bookmark."""
    platform_state.address()
    words = ("This page cannot be reloaded or kept as a bookmark. Go back to your course and open the link again.",)
    return _page("", PlatformPage("Open the link in your course", words))


@pages.post("/launch")
def launch() -> Response:
    """Let somebody come from a platform: what is checked is in quiz/lti/launching.py."""
    address, store, now = platform_state.address(), request_context.store(), request_context.now()
    try:
        found = read_launch(
            store,
            request.form.get("state", "")[:200],
            request.form.get("id_token", ""),
            request.cookies.get(COOKIE, "")[:100],
            address=address,
            keys=platform_state.state().keys,
            now=now,
        )
    except NoCookie as error:
        return _in_own_tab(error)
    origins = origins_of(found.registration)
    try:
        arrival = courses.arrive(store, found, now=now, lots=request_context.lots())
    except (ClassFull, OfAnotherSchool) as error:
        return _page(origins, PlatformPage("The class is full", (f"{str(error)[:1].upper()}{str(error)[1:]}.",)), 409)
    if arrival.choice:
        return _choose_page(arrival.choice, arrival.ticket)
    words = ("Two Meridians opens in a tab of its own.",)
    page = PlatformPage(
        found.link_title or "Two Meridians",
        words,
        url_for("lti.enter"),
        fields={"ticket": arrival.ticket},
        button="Open",
        target="_blank",
        alone=True,
    )
    return _page(origins, page)


def _in_own_tab(error: NoCookie) -> Response:
    """Offer the login once more in a tab of its own, where the browser keeps a cookie."""
    words = ("Your browser keeps no cookies for this app inside the page of your course.",)
    page = PlatformPage(
        "Open in a tab of its own",
        words,
        url_for("lti.login"),
        method="get",
        fields=error.parameters,
        button="Open in a tab of its own",
        target="_blank",
    )
    # The login sends the browser on to the platform, and a policy for forms is held to where they end.
    return _page(error.origins, page, form_to=error.origins)


@pages.post("/enter")
def enter() -> AnyResponse:
    """Sign somebody in by the ticket of a launch, in a tab of its own; who came by it already is let in again."""
    platform_state.address()
    ticket = request.form.get("ticket", "")[:200]
    here = request_context.course_here()
    if here is not None and here.ticket == digest(ticket):
        return redirect(here.leads_to, 303)
    store, now = request_context.store(), request_context.now()
    came = courses.enter(store, ticket, now=now, lots=request_context.lots())
    if came.preceptor is not None:
        request_context.sign_in(came.preceptor, came.token)
        if came.class_ is not None and came.class_.archived_at is None and course_list.is_due(came.course, now):
            platform_state.state().lists_wanted.append(came.course.id)
        reply = redirect(_for_teacher(came), 303)
    else:
        request_context.come_in(came.token)
        reply = _for_learner(came)
    leads_to = reply.location or url_for("classes.show")
    request_context.keep_course(CourseHere(came.course.title, came.back, digest(ticket), leads_to))
    return reply


def _for_teacher(came: Entered) -> str:
    if came.class_ is None:
        return url_for("courses.course", course_id=came.course.id)
    if came.link is None or came.class_.archived_at is not None:
        return url_for("courses.platform", class_id=came.class_.id)
    if came.link.drill is None:
        return url_for("courses.link", course_id=came.course.id, link_id=came.link.id)
    return url_for("drills.one", class_id=came.class_.id, drill_id=came.link.drill)


def _for_learner(came: Entered) -> AnyResponse:
    """Take a learner to the drill of the link; where it is not open to them, say why."""
    store, now = request_context.store(), request_context.now()
    if came.class_ is not None and came.class_.archived_at is not None:
        words = (
            f"The class of {came.course.title} was put into the archive on {day_of(came.class_.archived_at)}, so its "
            "drills have ended. Ask your teacher to make a new one. You can go on practising by yourself.",
        )
        to = url_for("desk.show")
        return _page("", PlatformPage(came.course.title, words, to, "get", button="To Today", back=came.back))
    who = None if came.user.learner is None else store.learner(came.user.learner)
    drill = None if came.link is None else came.link.drill
    if who is not None and any(one.drill.id == drill for one in take_drill.offers(store, who, now=now)):
        return redirect(url_for("drilling.show", drill_id=drill), 303)
    linked = None if drill is None else class_queries.drill_of_id(store, drill)
    if linked is None:
        return redirect(url_for("classes.show"), 303)
    page = PlatformPage(
        linked.title,
        (_why_not_open(linked),),
        url_for("classes.show"),
        "get",
        button="To the class",
        back=came.back,
    )
    return _page("", page)


def _why_not_open(drill: Drill) -> str:
    now = request_context.now()
    closed = drill.closed_at if drill.state == "closed" else drill.closes_at
    if closed is not None and closed <= now:
        return f"This drill was closed on {moment(closed)}."
    if drill.opens_at is not None and drill.opens_at > now:
        return f"This drill opens on {moment(drill.opens_at)}."
    if drill.state == "open":
        return "This drill is not set for you. Ask your teacher."
    if drill.state == "draft":
        return "This drill is not open yet. Ask your teacher."
    return "This drill is closed. Ask your teacher."


# --- a drill chosen for a course -----------------------------------------------------------------------------------


def _choose_page(choice: str, ticket: str = "", problem: str = "", code: int = 200, at: str = "drill") -> Response:
    store, now = request_context.store(), request_context.now()
    ticket = ticket or courses.ticket_beside_choice(store, choice, now=now, lots=request_context.lots())
    chosen = request.form.get("drill", "")
    _, course, _ = courses.read_choice(store, choice, now=now)
    registration = lti_queries.registration_of_course(store, course.id)
    one = courses.class_of(store, course)
    archived = one is not None and one.archived_at is not None
    rows = [drill_row(each, now, {}) for each in courses.drills_to_choose(store, one)] if one and not archived else []
    page = ChoosePage(
        course.title,
        choice,
        ticket,
        tuple((each.id, each.title, f"{each.length}, {each.state}") for each in rows),
        "archived" if archived else "has one" if one else "",
        problem,
        at if problem else "",
        next((each.id for each in rows if str(each.id) == chosen or len(rows) == 1), 0),
        request.form.get("points", "")[:8],
    )
    origins = origins_of(registration) if registration else ""
    return _framed(origins, render_template("lti_choose.html", page=page), code)


@pages.post("/choose")
def choose() -> Response:
    """Answer a platform with the drill that its teacher chose."""
    address, store, now = platform_state.address(), request_context.store(), request_context.now()
    choice = request.form.get("choice", "")[:200]
    if request.form.get("do") == "list":
        return _choose_page(choice)
    _, course, asked = courses.read_choice(store, choice, now=now)
    registration, one = lti_queries.registration_of_course(store, course.id), courses.class_of(store, course)
    if registration is None or registration.state != "active":
        raise LaunchRefused(18, f"the platform of {course.title} is off")
    drill: Drill | None = None
    points = 0.0
    if request.form.get("do") != "nothing":
        usable = one is not None and one.archived_at is None
        set_here = {str(each.id): each for each in courses.drills_to_choose(store, one)} if one and usable else {}
        drill = set_here.get(request.form.get("drill", ""))
        if drill is None:
            return _choose_page(choice, problem="Choose a drill from the list.", code=422)
        points = _points(request.form.get("points", ""), drill)
        if not 0 < points <= deep_links.MOST_POINTS:
            words = f"Give 1 to {deep_links.MOST_POINTS} points, for example 10. Leave it empty for one point a case."
            return _choose_page(choice, problem=words, code=422, at="points")
    courses.read_choice(store, choice, now=now, take=True)
    signed = deep_links.answer(
        store, registration, course, drill, asked, points=points, address=address, now=now, lots=request_context.lots()
    )
    button = f"Put “{drill.title}” into {course.title}" if drill else "Go back and put nothing in"
    page = PlatformPage(
        "One more step" if drill else "Back to your course",
        _last_words(drill, points) if drill else ("Nothing is put into the course.",),
        str(asked["back"]),
        fields={"JWT": signed},
        button=button,
    )
    return _page(origins_of(registration), page, form_to=origin_of(str(asked["back"])))


def _last_words(drill: Drill, points: float) -> tuple[str, ...]:
    """Say what is about to be put into a course, and what it still lacks."""
    graded = (
        f"{points:g} points in the course’s grades" if grade_outbox.is_graded(drill) else "no grade: it has no score"
    )
    lacks = {
        "draft": "It is still a draft: open it in Two Meridians before your learners come.",
        "closed": "It is closed: learners cannot begin it.",
    }
    into = f"“{drill.title}” is chosen, with {graded}. Nothing is in the course yet: the button puts it in."
    return tuple(filter(None, (into, lacks.get(drill.state, ""))))


def _points(text: str, drill: Drill) -> float:
    """Read how many points a drill gives; 0 where that is no number."""
    text = text.strip().replace(",", ".")
    if not text:
        return float(drill.cases or 100)
    try:
        return float(text) if len(text) < 12 else 0.0
    except ValueError:
        return 0.0
