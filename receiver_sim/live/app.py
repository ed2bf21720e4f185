"""The live page as an ASGI application: page, fast answers, drawing, deeper answers as events, saving."""

from __future__ import annotations

import asyncio
import json
import re
import threading
from collections.abc import AsyncIterator, Callable
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp

from receiver_sim.errors import OutputFailed, ReceiverSimError, WrongValue, fault_in_words
from receiver_sim.live.guard import Guard
from receiver_sim.live.saving import save
from receiver_sim.live.work import Event, Work, words_of
from receiver_sim.schema import BuildFaults
from receiver_sim.views.page import live as views

_PAGE = re.compile(r"[0-9a-f]{32}")
_MOST_PAGES = 20
_LOOK_S, _LOOKS = 0.5, 30
"""An open page looks so often whether the server ends; after so many looks without an event a comment is
sent, by which a page that was closed shows.
"""


class _Listener:
    """One open page: the queue of its events, and the number of the text it asked about last."""

    def __init__(self) -> None:
        self.loop = asyncio.get_running_loop()
        self.queue: asyncio.Queue[Event] = asyncio.Queue()
        self.asked = {"deeper": 0, "sound": 0}
        self.open = True

    def begin(self, what: str) -> tuple[Callable[[Event], None], Callable[[], bool]]:
        """Supersede what was asked of this kind before; return how to tell events and whether they are still
        wanted."""
        self.asked[what] += 1
        return self.also(what)

    def also(self, what: str) -> tuple[Callable[[Event], None], Callable[[], bool]]:
        """Return the same for what is asked besides; the next of that kind supersedes both."""
        mine = self.asked[what]

        def wanted() -> bool:
            return self.open and self.asked[what] == mine

        def tell(event: Event) -> None:
            if wanted():
                self.loop.call_soon_threadsafe(self.queue.put_nowait, event)

        return tell, wanted


class _Live:
    def __init__(self, work: Work, ending: Callable[[], bool]) -> None:
        self.work, self.ending = work, ending
        self.pages: dict[str, _Listener] = {}

    async def page(self, _request: Request) -> Response:
        work = self.work
        return HTMLResponse(views.shell(work.build, work.text, work.fields(work.text), work.path.name))

    async def answer(self, request: Request) -> Response:
        asked = await _asked(request)
        change = asked.get("change")
        one = None if change is None else (_path(change), _text(change, "value", 10_000))
        return JSONResponse(await run_in_threadpool(self.work.answer, _text(asked, "text"), one))

    async def drawing(self, request: Request) -> Response:
        asked = await _asked(request)
        band = asked.get("band")
        text = _text(asked, "text")
        return JSONResponse(
            await run_in_threadpool(self.work.drawing, text, band if isinstance(band, str) else None)
        )

    async def deeper(self, request: Request) -> Response:
        asked = await _asked(request)
        self._beside("deeper", asked, self.work.deeper, _text(asked, "text"))
        return JSONResponse({}, 202)

    async def sound(self, request: Request) -> Response:
        asked = await _asked(request)
        self._beside("sound", asked, self.work.sounds, _text(asked, "text"), _text(asked, "band", 1000))
        return JSONResponse({}, 202)

    def _beside(self, what: str, asked: dict[str, Any], work: Callable[..., None], *given: str) -> None:
        """Begin work whose answers are told as events to the page that asked."""
        listener = self.pages.get(str(asked.get("page")))
        if listener is None:
            raise WrongValue("this page does not listen: load it again")
        # not in the pool of the fast answers, which it would fill
        threading.Thread(
            target=work, args=(*given, *listener.begin(what)), name=f"live-{what}", daemon=True
        ).start()

    async def bench(self, request: Request) -> Response:
        asked = await _asked(request)
        text, listener = _text(asked, "text"), self.pages.get(str(asked.get("page")))
        if listener is None:
            raise WrongValue("this page does not listen: load it again")
        tell, wanted = listener.also("deeper")
        threading.Thread(
            target=self.work.bench, args=(text, tell, wanted), name="live-bench", daemon=True
        ).start()
        return JSONResponse({}, 202)

    async def events(self, request: Request) -> Response:
        page = request.query_params.get("page", "")
        if not _PAGE.fullmatch(page):
            raise WrongValue("expected the mark of a page")
        if page not in self.pages and len(self.pages) >= _MOST_PAGES:
            raise WrongValue(f"{_MOST_PAGES} pages are open already: close one")
        listener = self.pages[page] = _Listener()

        async def stream() -> AsyncIterator[str]:
            try:
                yield ": listening\n\n"
                looks = 0
                while not self.ending():
                    try:
                        kind, data = await asyncio.wait_for(listener.queue.get(), _LOOK_S)
                    except asyncio.TimeoutError:  # another name before 3.11
                        looks += 1
                        if looks % _LOOKS == 0:
                            yield ": still here\n\n"
                        continue
                    yield f"event: {kind}\ndata: {json.dumps(data, allow_nan=False)}\n\n"
            finally:
                listener.open = False
                if self.pages.get(page) is listener:
                    del self.pages[page]

        return StreamingResponse(stream(), media_type="text/event-stream")

    async def save(self, request: Request) -> Response:
        asked = await _asked(request)
        text, name = _text(asked, "text"), _text(asked, "name", 200)
        await run_in_threadpool(self.work.loaded, text)  # a build with a fault is not written
        try:
            place = await run_in_threadpool(
                lambda: save(self.work.path.parent, name, text, replace=asked.get("replace") is True)
            )
        except FileExistsError:
            return JSONResponse({"says": f"'{name}' exists already", "exists": True}, 409)
        return JSONResponse({"says": f"saved as {place}; receiver-sim check {place} reads it"})


async def _asked(request: Request) -> dict[str, Any]:
    try:
        found = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise WrongValue("JSON is expected") from None
    if not isinstance(found, dict):
        raise WrongValue("a JSON object is expected")
    return found


def _text(asked: dict[str, Any], key: str, most: int = 1 << 20) -> str:
    found = asked.get(key)
    if not isinstance(found, str) or len(found) > most:
        raise WrongValue(f"'{key}': a text of at most {most} characters is expected")
    return found


def _path(change: Any) -> tuple[str | int, ...]:
    steps = change.get("path") if isinstance(change, dict) else None
    if (
        not isinstance(steps, list)
        or not 0 < len(steps) < 20
        or not all(type(s) in (str, int) for s in steps)
    ):
        raise WrongValue("'change': a path and a value are expected")
    return tuple(steps)


async def _faults(_request: Request, error: Exception) -> Response:
    assert isinstance(error, BuildFaults)
    return JSONResponse({"faults": words_of(error)}, 422)


async def _refused(_request: Request, error: Exception) -> Response:
    return JSONResponse({"says": str(error)}, 500 if isinstance(error, OutputFailed) else 400)


async def _fault(_request: Request, error: Exception) -> Response:
    return JSONResponse({"says": fault_in_words(error)}, 500)  # which the terminal shows, too


def application(work: Work, *, token: str, port: int, ending: Callable[[], bool]) -> ASGIApp:
    """Return the application, guarded: `token` in the address, served at `port` of this machine.

    ending: says whether the server is about to end, so that no open page keeps it.
    """
    live = _Live(work, ending)
    routes = [
        Route("/", live.page, methods=["GET"]),
        Route("/events", live.events, methods=["GET"]),
        *(
            Route(f"/{name}", getattr(live, name), methods=["POST"])
            for name in ("answer", "drawing", "deeper", "sound", "bench", "save")
        ),
    ]
    handlers = {BuildFaults: _faults, ReceiverSimError: _refused, Exception: _fault}
    inner = Starlette(routes=routes, exception_handlers=handlers)
    return Guard(inner, token=token, port=port, policy=views.POLICY)
