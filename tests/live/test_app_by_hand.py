"""Pages that listen: what supersedes what, and how many there may be. No server, no simulator."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from starlette.requests import Request

from receiver_sim.errors import WrongValue
from receiver_sim.live.app import _Listener, _Live


def test_an_answer_to_an_older_text_is_not_told() -> None:
    async def run() -> list[Any]:
        listener = _Listener()
        first, first_wanted = listener.begin("deeper")
        sound, sound_wanted = listener.begin("sound")
        second, second_wanted = listener.begin("deeper")
        besides, besides_wanted = listener.also("deeper")
        assert [w() for w in (first_wanted, sound_wanted, second_wanted, besides_wanted)] == [
            False, True, True, True,
        ]  # fmt: skip
        for number, tell in enumerate((first, sound, second, besides)):
            tell(("told", {"by": number}))
        await asyncio.sleep(0)
        told = [listener.queue.get_nowait()[1]["by"] for _ in range(listener.queue.qsize())]
        listener.begin("deeper")
        assert [w() for w in (sound_wanted, second_wanted, besides_wanted)] == [True, False, False]
        listener.open = False
        assert not sound_wanted()
        return told

    assert asyncio.run(run()) == [1, 2, 3]


def asking(page: str) -> Request:
    return Request(
        {"type": "http", "method": "GET", "path": "/events", "headers": [],
         "query_string": f"page={page}".encode()}
    )  # fmt: skip


def test_a_page_has_a_mark_and_there_are_not_any_number_of_them() -> None:
    """Each open page holds a connection: a hundred are refused, one that is there already is not."""

    async def run() -> int:
        live = _Live(None, lambda: True)  # type: ignore[arg-type]
        for mark in ("", "x" * 32, "0" * 31, "0" * 33, "A" * 32):
            with pytest.raises(WrongValue, match="expected the mark of a page"):
                await live.events(asking(mark))
        count = 0
        with pytest.raises(WrongValue, match=r"pages are open already: close one"):
            for count in range(100):
                await live.events(asking(f"{count:032x}"))
        await live.events(asking(f"{0:032x}"))
        return count

    # a handful of windows must go
    assert asyncio.run(run()) >= 5
