"""The class or drill that an address names, where it belongs to the preceptor who is asking."""

from __future__ import annotations

from quiz.classroom import classes, drills
from quiz.storage.class_queries import Class, Drill
from quiz.web import request_context


def own_class(class_id: int) -> Class:
    """Return a class of the preceptor who is asking."""
    return classes.own(request_context.store(), request_context.preceptor(), class_id)


def own_drill(class_id: int, drill_id: int) -> tuple[Class, Drill]:
    """Return a drill, and its class, of the preceptor who is asking."""
    what = own_class(class_id)
    return what, drills.own(request_context.store(), what, drill_id)
