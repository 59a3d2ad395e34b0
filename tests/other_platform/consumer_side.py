"""The platform's side, by lti-consumer-xblock: run in a virtual environment of its own, it answers lines of JSON.

Each line asks for one thing, and one line answers it: nothing here knows of this project.
"""

from __future__ import annotations

import json
import sys
from typing import Any

import django
from django.conf import settings

settings.configure(
    PLATFORM_NAME="A platform",
    SECRET_KEY="of tests alone",  # noqa: S106 - signs nothing that lasts
    CACHES={"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}},
    DATABASES={"default": {"ENGINE": "django.db.backends.sqlite3", "NAME": ":memory:"}},
    INSTALLED_APPS=["django.contrib.contenttypes", "django.contrib.auth", "lti_consumer"],
    USE_TZ=True,
)
django.setup()

from cryptography.hazmat.primitives import serialization  # noqa: E402 - after the settings
from cryptography.hazmat.primitives.asymmetric import rsa  # noqa: E402
from lti_consumer.data import Lti1p3LaunchData  # noqa: E402
from lti_consumer.lti_1p3.consumer import LtiAdvantageConsumer  # noqa: E402

ISSUER = "https://platform.example"


def new_consumer(tool: dict[str, str]) -> Any:
    """Make the platform for one tool."""
    key = rsa.generate_private_key(65537, 2048)
    pem = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.TraditionalOpenSSL, serialization.NoEncryption()
    )
    made = LtiAdvantageConsumer(
        iss=ISSUER,
        lti_oidc_url=tool["login"],
        lti_launch_url=tool["launch"],
        client_id="client-1",
        deployment_id="1",
        rsa_key=pem.decode(),
        rsa_key_id="key-1",
        redirect_uris=[tool["launch"]],
        tool_key=tool["key"],
    )
    made.enable_ags(lineitems_url=f"{ISSUER}/items", lineitem_url=f"{ISSUER}/items/1")
    made.enable_nrps(f"{ISSUER}/members")
    made.enable_deep_linking(tool["launch"], f"{ISSUER}/back")
    return made


def login(consumer: Any, asked: dict[str, Any]) -> str:
    """Begin a launch; the address to which the browser is sent."""
    deep = asked.get("deep", False)
    data = Lti1p3LaunchData(
        user_id=asked["user"],
        user_role=asked["role"],
        config_id="1",
        resource_link_id="link-1",
        context_id="course-1",
        message_type="LtiDeepLinkingRequest" if deep else "LtiResourceLinkRequest",
    )
    consumer.set_user_data(user_id=asked["user"], role=asked["role"], full_name=asked["name"])
    consumer.set_resource_link_claim("link-1", title="First drill")
    consumer.set_context_claim("course-1", context_title="Optics 2")
    if "custom" in asked:
        consumer.set_dl_content_launch_parameters(custom=asked["custom"])
    return str(consumer.prepare_preflight_url(data))


def main() -> None:
    """Answer until there are no more lines."""
    consumer = new_consumer(json.loads(sys.stdin.readline()))
    print(json.dumps(consumer.get_public_keyset()), flush=True)  # noqa: T201 - this is how it answers
    for line in sys.stdin:
        asked = json.loads(line)
        answers: dict[str, Any] = {
            "login": lambda: login(consumer, asked),  # noqa: B023 - called at once
            "launch": lambda: consumer.generate_launch_request(asked["preflight"]),  # noqa: B023
            "token": lambda: consumer.access_token(asked["form"]),  # noqa: B023
            "may": lambda: consumer.check_token(asked["token"], asked["scopes"]),  # noqa: B023
            "chosen": lambda: consumer.check_and_decode_deep_linking_token(asked["token"]),  # noqa: B023
        }
        try:
            answer = {"is": answers[asked["do"]]()}
        except Exception as error:
            answer = {"error": f"{type(error).__name__}: {error}"}
        print(json.dumps(answer), flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
