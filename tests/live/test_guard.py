"""Each rule of the guard of the live page by itself, on either side of it: what is refused, what passes."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from receiver_sim.live.guard import MOST_BYTES, Guard

TOKEN, PORT = "3f9a6c", 8123
OWN = f"127.0.0.1:{PORT}"
POSTED = (("origin", f"http://{OWN}"), ("content-type", "application/json"), ("content-length", "20"))


async def _application(_scope: Any, _receive: Any, send: Any) -> None:
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"inside"})


def asked(
    method: str = "GET", path: str = f"/{TOKEN}/", host: str | None = OWN, headers: Any = ()
) -> tuple[int, dict[str, str]]:
    """Return status and headers of the answer to one request."""
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    given = ([] if host is None else [("host", host)]) + list(headers)
    scope = {
        "type": "http", "method": method, "path": path, "raw_path": path.encode(), "query_string": b"",
        "headers": [(name.encode(), value.encode()) for name, value in given],
    }  # fmt: skip
    guard = Guard(_application, token=TOKEN, port=PORT, policy="default-src 'none'")
    asyncio.run(guard(scope, receive, send))
    head = sent[0]
    return head["status"], {name.decode(): value.decode() for name, value in head["headers"]}


def but(**changed: str | None) -> list[tuple[str, str]]:
    """Return the headers of a post with some changed, or left out."""
    plain = {name.replace("_", "-"): value for name, value in changed.items()}
    return [
        (name, plain.get(name, value) or "") for name, value in POSTED if plain.get(name, value) is not None
    ] + [(name, value) for name, value in plain.items() if value and name not in dict(POSTED)]


@pytest.mark.parametrize(
    ("host", "status"),
    [(OWN, 200), (f"LocalHost:{PORT}", 200), ("127.0.0.1", 421), (f"localhost:{PORT + 1}", 421),
     (f"evil.example:{PORT}", 421), (None, 421)],
)  # fmt: skip
def test_only_the_printed_address_serves(host: str | None, status: int) -> None:
    assert asked(host=host)[0] == status


def test_of_two_hosts_none_counts() -> None:
    assert asked(headers=[("host", "evil.example")])[0] == 421


@pytest.mark.parametrize("token", ["", TOKEN[:-1], TOKEN[:1], TOKEN + "0", TOKEN.upper()])
def test_the_whole_token_is_needed(token: str) -> None:
    assert asked(path=f"/{token}/")[0] == 404


@pytest.mark.parametrize(
    ("origins", "status"),
    [([f"http://{OWN}"], 200), ([f"http://localhost:{PORT}"], 200), ([], 403), (["null"], 403),
     ([f"https://{OWN}"], 403), ([f"http://{OWN}", "http://evil.example"], 403),
     ([f"http://{OWN}", f"http://localhost:{PORT}"], 403)],
)  # fmt: skip
def test_a_post_has_one_origin_and_that_is_the_page(origins: list[str], status: int) -> None:
    rest = [pair for pair in POSTED if pair[0] != "origin"]
    assert asked("POST", headers=[*(("origin", one) for one in origins), *rest])[0] == status


def test_a_page_of_another_site_may_not_even_get() -> None:
    assert asked(headers=[("origin", "http://evil.example")])[0] == 403
    own, foreign = ("origin", f"http://{OWN}"), ("origin", "http://evil.example")
    assert asked(headers=[own, foreign])[0] == 403


@pytest.mark.parametrize(
    ("site", "status"), [("same-origin", 200), ("none", 200), ("same-site", 403), ("cross-site", 403)]
)
def test_what_the_browser_says_of_the_site_counts(site: str, status: int) -> None:
    assert asked(headers=[("sec-fetch-site", site)])[0] == status


@pytest.mark.parametrize(
    ("changed", "status"),
    [({"content_type": "application/json; charset=utf-8"}, 200), ({"content_type": "text/plain"}, 415),
     ({"content_type": None}, 415), ({"content_length": None}, 411), ({"content_length": "-5"}, 411),
     ({"content_length": str(MOST_BYTES)}, 200), ({"content_length": str(MOST_BYTES + 1)}, 413)],
)  # fmt: skip
def test_a_body_is_json_of_known_and_modest_length(changed: dict[str, str | None], status: int) -> None:
    assert asked("POST", headers=but(**changed))[0] == status


def test_the_largest_body_is_a_build_four_times_over() -> None:
    """A build's text is at most a mebibyte, and JSON takes up to four bytes for one."""
    assert MOST_BYTES == 4 * 2**20


def test_an_answer_may_be_neither_kept_nor_framed_nor_guessed_at() -> None:
    """OWASP's list of secure headers, for a page that nothing else should ever load."""
    status, headers = asked()
    assert status == 200
    assert headers == {
        "content-security-policy": "default-src 'none'",
        "cache-control": "no-store",
        "referrer-policy": "no-referrer",
        "x-content-type-options": "nosniff",
        "x-frame-options": "DENY",
        "cross-origin-opener-policy": "same-origin",
        "cross-origin-resource-policy": "same-origin",
    }


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "HEAD", "PATCH"])
def test_it_is_asked_and_told_and_nothing_else(method: str) -> None:
    assert asked(method, headers=POSTED)[0] == 405
