"""What each question of the live page brings about and what is refused: asked of the application itself.

No server, no simulator: the answers are made up, and say what they were asked.
"""

from __future__ import annotations

import asyncio
import json
import threading
from pathlib import Path
from typing import Any

import httpx
import pytest
from starlette.requests import Request
from starlette.responses import Response

from receiver_sim.errors import OutputFailed, WrongValue
from receiver_sim.live import app as live_app
from receiver_sim.live.app import _Listener, _Live, application
from receiver_sim.schema.loading import load_build_text

PAGE, OTHER = "a" * 32, "b" * 32
TOKEN, PORT = "3f9a6c", 8123


class Work:
    """In the place of what answers: remembers what it was asked, and how to tell events."""

    def __init__(self, folder: Path = Path()) -> None:
        self.path = folder / "set.yaml"
        self.asked: list[tuple[str, tuple[Any, ...]]] = []
        self.tells: dict[str, list[tuple[Any, Any]]] = {"deeper": [], "sounds": [], "bench": []}
        self.came = threading.Semaphore(0)

    def _long(self, what: str, *given: Any) -> None:
        *asked, tell, wanted = given
        self.asked.append((what, tuple(asked)))
        self.tells[what].append((tell, wanted))
        self.came.release()

    def deeper(self, *given: Any) -> None:
        self._long("deeper", *given)

    def sounds(self, *given: Any) -> None:
        self._long("sounds", *given)

    def bench(self, *given: Any) -> None:
        self._long("bench", *given)

    def answer(self, text: str, change: Any) -> dict[str, Any]:
        self.asked.append(("answer", (text, change)))
        return {"answered": text}

    def drawing(self, text: str, band: str | None) -> dict[str, Any]:
        self.asked.append(("drawing", (text, band)))
        return {"drawn": text}

    def loaded(self, text: str) -> None:
        if text == "faulty":
            load_build_text("title: nothing else\n", "set.yaml")  # raises BuildFaults


def request(body: Any) -> Request:
    content = body if isinstance(body, bytes) else json.dumps(body).encode()

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": content, "more_body": False}

    scope = {"type": "http", "method": "POST", "path": "/", "headers": [], "query_string": b""}
    return Request(scope, receive)


def live(work: Work) -> _Live:
    return _Live(work, lambda: False)  # type: ignore[arg-type]


async def beside(one: _Live, work: Work, what: str, page: str = PAGE, **more: Any) -> Response:
    """Ask for what is worked out beside, and wait until it has begun."""
    answer: Response = await getattr(one, what)(request({"page": page, "text": "t", **more}))
    assert await asyncio.to_thread(work.came.acquire, timeout=30)
    return answer


# ---------------------------------------------------------------------------- what supersedes what


def wanted(work: Work) -> dict[str, list[bool]]:
    return {what: [is_wanted() for _, is_wanted in rows] for what, rows in work.tells.items()}


def asked_in_order(*questions: tuple[str, str]) -> dict[str, list[bool]]:
    """Ask one after the other (what, page) and return which of the answers are still wanted."""

    async def run() -> dict[str, list[bool]]:
        work = Work()
        one = live(work)
        one.pages = {PAGE: _Listener(), OTHER: _Listener()}
        for what, page in questions:
            answer = await beside(one, work, what, page, band="40 m")
            assert (answer.status_code, answer.body) == (202, b"{}")
        return wanted(work)

    return asyncio.run(run())


def test_the_bench_is_worked_out_beside_the_deeper_answers() -> None:
    """Who asks for the sheet while the deeper answers come in gets both."""
    assert asked_in_order(("deeper", PAGE), ("bench", PAGE)) == {
        "deeper": [True], "bench": [True], "sounds": [],
    }  # fmt: skip


def test_deeper_answers_to_another_text_put_an_end_to_both() -> None:
    found = asked_in_order(("deeper", PAGE), ("bench", PAGE), ("deeper", PAGE))
    assert found == {"deeper": [False, True], "bench": [False], "sounds": []}


def test_sound_and_deeper_answers_leave_each_other_alone() -> None:
    found = asked_in_order(("deeper", PAGE), ("sound", PAGE), ("sound", PAGE), ("bench", PAGE))
    assert found == {"deeper": [True], "sounds": [False, True], "bench": [True]}
    found = asked_in_order(("sound", PAGE), ("deeper", PAGE), ("deeper", PAGE))
    assert found == {"sounds": [True], "deeper": [False, True], "bench": []}


def test_another_page_ends_nothing_of_this_one() -> None:
    found = asked_in_order(("deeper", PAGE), ("deeper", OTHER), ("sound", OTHER), ("bench", OTHER))
    assert found == {"deeper": [True, True], "sounds": [True], "bench": [True]}


def test_events_come_to_the_page_that_asked() -> None:
    async def run() -> tuple[int, list[Any]]:
        work = Work()
        one = live(work)
        mine, theirs = one.pages[PAGE], one.pages[OTHER] = _Listener(), _Listener()
        await beside(one, work, "deeper")
        tell, _ = work.tells["deeper"][0]
        await asyncio.to_thread(tell, ("band", {"x": 1}))
        await asyncio.sleep(0.01)
        return theirs.queue.qsize(), [mine.queue.get_nowait() for _ in range(mine.queue.qsize())]

    assert asyncio.run(run()) == (0, [("band", {"x": 1})])


def test_what_is_asked_is_what_is_answered() -> None:
    async def run() -> Work:
        work = Work()
        one = live(work)
        one.pages = {PAGE: _Listener()}
        await beside(one, work, "sound", band="40 m")
        await beside(one, work, "deeper")
        await beside(one, work, "bench")
        await one.answer(request({"text": "u", "change": {"path": ["bands", 1, "name"], "value": "v"}}))
        await one.answer(request({"text": "w", "change": None}))
        await one.drawing(request({"text": "d", "band": "20 m"}))
        await one.drawing(request({"text": "d", "band": 7}))
        return work

    assert asyncio.run(run()).asked == [
        ("sounds", ("t", "40 m")), ("deeper", ("t",)), ("bench", ("t",)),
        ("answer", ("u", (("bands", 1, "name"), "v"))), ("answer", ("w", None)),
        ("drawing", ("d", "20 m")), ("drawing", ("d", None)),
    ]  # fmt: skip


# ---------------------------------------------------------------------------- what is refused


@pytest.mark.parametrize("what", ["deeper", "sound", "bench"])
@pytest.mark.parametrize("page", [OTHER, None, ""])
def test_nothing_is_worked_out_for_a_page_that_does_not_listen(what: str, page: str | None) -> None:
    async def run() -> Work:
        work = Work()
        one = live(work)
        one.pages = {PAGE: _Listener()}
        with pytest.raises(WrongValue, match=r"^this page does not listen: load it again$"):
            await getattr(one, what)(request({"page": page, "text": "t", "band": "40 m"}))
        return work

    assert asyncio.run(run()).asked == []


def refused(what: str, body: Any) -> str | None:
    """Return the words of a refusal, None if there is none."""

    async def run() -> str | None:
        work = Work()
        one = live(work)
        one.pages = {PAGE: _Listener()}
        try:
            await getattr(one, what)(request(body))
        except WrongValue as error:
            return str(error)
        return None

    return asyncio.run(run())


@pytest.mark.parametrize(
    ("what", "key", "most", "more"),
    [
        ("answer", "text", 1 << 20, {}), ("drawing", "text", 1 << 20, {}),
        ("deeper", "text", 1 << 20, {"page": PAGE}), ("bench", "text", 1 << 20, {"page": PAGE}),
        ("sound", "text", 1 << 20, {"page": PAGE, "band": "b"}),
        ("sound", "band", 1000, {"page": PAGE, "text": "t"}),
    ],
)  # fmt: skip
def test_a_text_has_its_length_and_no_more(what: str, key: str, most: int, more: dict[str, str]) -> None:
    """A build is at most 1 MiB, as everywhere (`live/guard.py` says so of a request)."""
    words = f"'{key}': a text of at most {most} characters is expected"
    assert refused(what, {**more, key: "x" * most}) is None
    assert refused(what, {**more, key: "x" * (most + 1)}) == words
    assert refused(what, {**more, key: None}) == words
    assert refused(what, more) == words


@pytest.mark.parametrize(
    ("path", "taken"),
    [(["a"], True), (["a", 3], True), (["x"] * 19, True), (["x"] * 20, False), ([], False), ("a", False),
     (["a", True], False), (["a", 1.5], False), (["a", None], False), ([["a"]], False)],
)  # fmt: skip
def test_a_change_has_a_path_of_keys_and_places(path: Any, taken: bool) -> None:
    words = None if taken else "'change': a path and a value are expected"
    assert refused("answer", {"text": "t", "change": {"path": path, "value": "v"}}) == words


@pytest.mark.parametrize("change", ["x", 5, [], {}, {"value": "v"}])
def test_a_change_that_is_none_is_refused(change: Any) -> None:
    assert refused("answer", {"text": "t", "change": change}) == "'change': a path and a value are expected"


def test_a_value_is_a_text_of_modest_length() -> None:
    words = "'value': a text of at most 10000 characters is expected"
    for value, says in (("x" * 10_000, None), ("x" * 10_001, words), (5, words)):
        assert refused("answer", {"text": "t", "change": {"path": ["a"], "value": value}}) == says


@pytest.mark.parametrize(
    ("body", "says"),
    [(b"{", "JSON is expected"), (b"\xff", "JSON is expected"), (b"[" * 200_000, "JSON is expected"),
     ([], "a JSON object is expected"), ("x", "a JSON object is expected"),
     (None, "a JSON object is expected")],
)  # fmt: skip
def test_a_question_is_a_json_object(body: Any, says: str) -> None:
    assert refused("answer", body) == says


# ---------------------------------------------------------------------------- pages that listen


def open_page(one: _Live, mark: str = PAGE) -> Any:
    scope = {
        "type": "http", "method": "GET", "path": "/events", "headers": [],
        "query_string": f"page={mark}".encode(),
    }  # fmt: skip
    return one.events(Request(scope))


def test_twenty_pages_may_listen_and_no_more() -> None:
    """A browser holds at most six connections to a host of its own (common practice, no source): twenty are
    several windows of several browsers.
    """

    async def run() -> tuple[int, str]:
        one = live(Work())
        for count in range(100):
            try:
                await open_page(one, f"{count:032x}")
            except WrongValue as error:
                return count, str(error)
        return 100, ""

    assert asyncio.run(run()) == (20, "20 pages are open already: close one")


def test_events_are_told_as_a_browser_reads_them() -> None:
    """The format of the HTML standard, server-sent events: 'event:', 'data:', an empty line."""

    async def run() -> tuple[str, list[str]]:
        one = live(Work())
        answer = await open_page(one)
        stream = answer.body_iterator
        first = await anext(stream)
        for number in range(2):
            one.pages[PAGE].queue.put_nowait(("band", {"number": number, "words": "a\nb"}))
        told = [first, await anext(stream), await anext(stream)]
        await stream.aclose()
        return answer.media_type, told

    media, told = asyncio.run(run())
    assert media == "text/event-stream"
    assert told[0].startswith(":") and told[0].endswith("\n\n")
    for number, text in enumerate(told[1:]):
        head, data, *rest = text.split("\n")
        assert head == "event: band" and rest == ["", ""]
        assert json.loads(data.removeprefix("data: ")) == {"number": number, "words": "a\nb"}


def test_a_page_that_is_closed_is_forgotten_and_its_work_no_longer_wanted() -> None:
    async def run() -> tuple[bool, bool, list[str]]:
        one = live(Work())
        stream = (await open_page(one)).body_iterator
        await anext(stream)
        _, is_wanted = one.pages[PAGE].begin("deeper")
        before = is_wanted()
        await stream.aclose()
        return before, is_wanted(), list(one.pages)

    assert asyncio.run(run()) == (True, False, [])


def test_a_page_that_connects_anew_is_not_forgotten_with_its_old_connection() -> None:
    async def run() -> bool:
        one = live(Work())
        old = (await open_page(one)).body_iterator
        await anext(old)
        new = (await open_page(one)).body_iterator
        await anext(new)
        listener = one.pages[PAGE]
        await old.aclose()
        return one.pages.get(PAGE) is listener and listener.open

    assert asyncio.run(run())


def test_a_quiet_page_is_told_now_and_then_that_it_is_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    """A comment every 15 seconds or so (HTML standard, server-sent events, notes for authors); a connection
    that was cut shows when something is written to it.
    """
    seconds = live_app._LOOK_S * live_app._LOOKS
    assert seconds == pytest.approx(15.0)
    monkeypatch.setattr(live_app, "_LOOK_S", 0.001)

    async def run() -> str:
        stream = (await open_page(live(Work()))).body_iterator
        await anext(stream)
        told: str = await anext(stream)
        await stream.aclose()
        return told

    assert asyncio.run(run()) == ": still here\n\n"


def test_no_page_keeps_a_server_that_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live_app, "_LOOK_S", 0.001)

    async def run() -> list[str]:
        one = _Live(Work(), lambda: True)  # type: ignore[arg-type]
        return [told async for told in (await open_page(one)).body_iterator]

    assert len(asyncio.run(run())) == 1


# ---------------------------------------------------------------------------- saving, routes


@pytest.fixture
def asking(tmp_path: Path) -> Any:
    """A client at the address that was printed."""
    made = application(Work(tmp_path), token=TOKEN, port=PORT, ending=lambda: True)  # type: ignore[arg-type]
    own = f"http://127.0.0.1:{PORT}"

    def ask(what: str, body: Any = None, method: str = "POST") -> httpx.Response:
        async def run() -> httpx.Response:
            # what the server raises again is for its terminal
            transport = httpx.ASGITransport(app=made, raise_app_exceptions=False)
            async with httpx.AsyncClient(
                transport=transport, base_url=own, headers={"Origin": own}
            ) as client:
                return await client.request(method, f"/{TOKEN}/{what}", json=body)

        return asyncio.run(run())

    return ask


def test_a_build_is_written_where_it_says(asking: Any, tmp_path: Path) -> None:
    answer = asking("save", {"text": "mine", "name": "x.yaml"})
    place = tmp_path / "x.yaml"
    assert answer.status_code == 200 and place.read_text(encoding="utf-8") == "mine"
    assert answer.json() == {"says": f"saved as {place}; receiver-sim check {place} reads it"}


@pytest.mark.parametrize("replace", [False, None, "true", 1])
def test_a_file_is_replaced_only_when_that_is_said(asking: Any, tmp_path: Path, replace: Any) -> None:
    (tmp_path / "x.yaml").write_text("before", encoding="utf-8")
    answer = asking("save", {"text": "mine", "name": "x.yaml", "replace": replace})
    assert answer.status_code == 409
    assert answer.json() == {"says": "'x.yaml' exists already", "exists": True}
    assert (tmp_path / "x.yaml").read_text(encoding="utf-8") == "before"
    assert asking("save", {"text": "mine", "name": "x.yaml", "replace": True}).status_code == 200
    assert (tmp_path / "x.yaml").read_text(encoding="utf-8") == "mine"


def test_a_disk_that_is_full_is_the_servers_fault_and_a_name_the_askers(
    asking: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert asking("save", {"text": "t", "name": "../x.yaml"}).status_code == 400

    def full(*_: Any, **__: Any) -> None:
        raise OutputFailed("x.yaml", "no room left")

    monkeypatch.setattr(live_app, "save", full)
    answer = asking("save", {"text": "t", "name": "x.yaml"})
    assert answer.status_code == 500 and "no room left" in answer.json()["says"]


def test_a_fault_of_the_program_is_told_as_such(asking: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def faulty(*_: Any, **__: Any) -> None:
        raise TypeError("two shapes")

    monkeypatch.setattr(live_app, "save", faulty)
    answer = asking("save", {"text": "t", "name": "x.yaml"})
    assert answer.status_code == 500
    assert answer.json() == {"says": "a fault of the program, not of your build: TypeError: two shapes"}


def test_a_faulty_build_is_not_written(asking: Any, tmp_path: Path) -> None:
    answer = asking("save", {"text": "faulty", "name": "x.yaml"})
    assert answer.status_code == 422 and list(tmp_path.iterdir()) == []
    assert all(set(one) == {"line", "key", "text"} for one in answer.json()["faults"])


@pytest.mark.parametrize("name", ["x" * 201, 5, None])
def test_a_name_is_a_text_of_modest_length(asking: Any, name: Any) -> None:
    answer = asking("save", {"text": "t", "name": name})
    assert answer.status_code == 400
    assert answer.json() == {"says": "'name': a text of at most 200 characters is expected"}


@pytest.mark.parametrize("what", ["answer", "drawing", "deeper", "sound", "bench", "save"])
def test_what_computes_or_writes_is_posted(asking: Any, what: str) -> None:
    """A GET can be brought about by any picture of any page."""
    assert asking(what, method="GET").status_code == 405
    assert asking(what, {}).status_code == 400  # it is there, and asks for more


def test_the_page_itself_is_not_posted_to(asking: Any) -> None:
    assert asking("", {}).status_code == 405 and asking("events", {}).status_code == 405
    assert asking("elsewhere", {}).status_code == 404
