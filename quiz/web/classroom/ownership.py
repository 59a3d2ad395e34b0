"""The class or drill that an address names, where the preceptor who is asking may see or change it."""

from __future__ import annotations

from flask import request

from quiz.classroom import classes, drills
from quiz.storage import roster_queries
from quiz.storage.class_queries import Class, Drill
from quiz.web import request_context


def own_class(class_id: int, *, owner: bool = False, archived: bool = False) -> Class:
    """Return a class of the preceptor who is asking: to look at, and to change where the request changes something.

    owner: only its owner may; archived: it may be done to a class in the archive too.
    """
    store, who = request_context.store(), request_context.preceptor()
    if request.method in ("GET", "HEAD") and not owner:
        return classes.own(store, who, class_id)
    return classes.changeable(store, who, class_id, owner=owner, archived=archived)


def own_drill(class_id: int, drill_id: int) -> tuple[Class, Drill]:
    """Return a drill, and its class, of the preceptor who is asking."""
    what = own_class(class_id)
    return what, drills.own(request_context.store(), what, drill_id)


def looked_at(class_id: int) -> Class:
    """Return a class of the preceptor who is asking, for a form that only shows something."""
    return classes.own(request_context.store(), request_context.preceptor(), class_id)


def may_change(what: Class) -> bool:
    """Say whether the preceptor who is asking may change anything in a class."""
    role = roster_queries.role_in(request_context.store(), what, request_context.preceptor().id)
    return what.archived_at is None and role != "reader"
