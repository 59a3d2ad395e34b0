"""A drill chosen for a course: what is told to the platform, which then keeps a link to it (LTI Deep Linking 2.0)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quiz.lti.courses import opaque
from quiz.lti.grade_outbox import is_graded
from quiz.lti.launching import CLAIM, DEEP_LINKING
from quiz.lti.signing import sign, signing_key
from quiz.practice.randomness import Lots
from quiz.storage.class_queries import Drill
from quiz.storage.platform import lti_queries
from quiz.storage.platform.lti_queries import Course, Registration
from quiz.storage.store import Store

HOLDS_S = 300.0
MOST_POINTS = 1000


def answer(
    store: Store,
    registration: Registration,
    course: Course,
    drill: Drill | None,
    request: Mapping[str, Any],
    *,
    points: float,
    address: str,
    now: float,
    lots: Lots,
) -> str:
    """Return the signed answer to a platform that has a drill chosen; None as `drill`: nothing was chosen.

    points: the most that the drill gives in the course's own grades.
    """
    items = []
    if drill is not None:
        item: dict[str, Any] = {
            "type": "ltiResourceLink",
            "title": drill.title,
            "url": f"{address}/lti/launch",
            "custom": {"drill": opaque(store, drill)},
        }
        if is_graded(drill):
            item["lineItem"] = {
                "scoreMaximum": points,
                "label": drill.title,
                "resourceId": opaque(store, drill),
                "tag": "drill",
            }
        items.append(item)
    claims: dict[str, Any] = {
        "iss": registration.client_id,
        "aud": registration.issuer,
        "iat": int(now),
        "exp": int(now + HOLDS_S),
        "nonce": lots.new_secret(),
        f"{CLAIM}deployment_id": lti_queries.deployment_of_course(store, course.id),
        f"{CLAIM}message_type": "LtiDeepLinkingResponse",
        f"{CLAIM}version": "1.3.0",
        f"{DEEP_LINKING}content_items": items,
    }
    if "data" in request:
        claims[f"{DEEP_LINKING}data"] = request["data"]
    return sign(claims, signing_key(store, now=now, lots=lots))
