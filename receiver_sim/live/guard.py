"""Who may ask: the browser on this machine that knows the address, from the page that was served.

An ASGI middleware. Another site that is open in the same browser can send requests to a port of this
machine, and a foreign name can be made to lead there: so the host must be spelt as served, the token must be
known, and what changes or computes anything must come from the page itself.
"""

from __future__ import annotations

import hmac
from collections.abc import MutableMapping
from typing import Any

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

NAMES = ("127.0.0.1", "localhost")
MOST_BYTES = 4 << 20
"""Largest request: the text of a build is at most 1 MiB, and JSON may take four bytes for one."""


class Guard:
    """Lets through what is asked for under the token, by the right name, from the page itself."""

    def __init__(self, app: ASGIApp, *, token: str, port: int, policy: str) -> None:
        self._app, self._token, self._policy = app, token, policy
        self._hosts = {f"{name}:{port}" for name in NAMES}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return  # no web sockets, and nothing to start or end
        refusal = self._refusal(scope)
        if refusal is not None:
            code, words = refusal
            await PlainTextResponse(words, code, {"connection": "close"})(scope, receive, send)
            return
        scope = {**scope, "path": scope["path"][len(self._token) + 1 :] or "/"}
        scope["raw_path"] = scope["path"].encode()

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message["headers"], *_headers(self._policy)]}
            await send(message)

        await self._app(scope, receive, with_headers)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0].lower() not in self._hosts:
            return 421, "this page is served to this machine alone, by the address that was printed"
        token, _, _ = str(scope["path"])[1:].partition("/")
        if not hmac.compare_digest(token.encode("utf-8", "replace"), self._token.encode()):
            return 404, "nothing here: use the whole address that was printed"
        if scope["method"] not in ("GET", "POST"):
            return 405, "GET or POST"
        return self._foreign(scope["method"], headers) or (
            _unfit_body(headers) if scope["method"] == "POST" else None
        )

    def _foreign(self, method: str, headers: Headers) -> tuple[int, str] | None:
        origins = headers.getlist("origin")
        own = {f"http://{host}" for host in self._hosts}
        if (method == "POST" and len(origins) != 1) or not set(origins) <= own:
            return 403, "asked from another site"
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return 403, "asked from another site"
        return None


def _unfit_body(headers: Headers) -> tuple[int, str] | None:
    if headers.get("content-type", "").split(";")[0].strip() != "application/json":
        return 415, "JSON is expected"
    length = headers.get("content-length", "")
    if not length.isdecimal():
        return 411, "the length is needed"
    return (413, "too large") if int(length) > MOST_BYTES else None


def _headers(policy: str) -> list[tuple[bytes, bytes]]:
    told: MutableMapping[str, Any] = {
        "content-security-policy": policy,
        "cache-control": "no-store",
        "referrer-policy": "no-referrer",
        "x-content-type-options": "nosniff",
        "x-frame-options": "DENY",
        "cross-origin-opener-policy": "same-origin",
        "cross-origin-resource-policy": "same-origin",
    }
    return [(name.encode(), str(value).encode()) for name, value in told.items()]
