"""What the live page answers, what it refuses, what it writes: asked over loopback, ngspice behind it."""

from __future__ import annotations

import base64
import json
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest

from receiver_sim.engine.process import WorkerProcess
from receiver_sim.engine.protocol import Run
from receiver_sim.measure import onset
from receiver_sim.receiver import Receiver
from receiver_sim.schema import changed_build, load_build
from tests.live.conftest import HEADERS, Served


def test_fast_answers_are_those_of_the_verbs(served: Served, bench) -> None:
    """A changed value: the onset of each band is that of a search on the changed build."""
    answer = served.answer(["regeneration", "top"], "33 kohm")
    assert answer.status_code == 200
    found = answer.json()
    build = changed_build(load_build(served.build), {"regeneration.top": "33 kohm"})
    assert [one["name"] for one in found["bands"]] == [band.name for band in build.bands]
    for one, band in zip(found["bands"], build.bands, strict=True):
        alone = onset.run(Receiver(build, bench).at(band))
        assert alone.onset is not None
        assert one["onset"] == pytest.approx(alone.onset.rotation, rel=1e-6)
        at = one["rotation"].index(min(one["rotation"], key=lambda r, o=one: abs(r - o["onset"])))
        # the search stops within 3e-4 of T = 1; the curve is measured there anew
        assert one["gain"][at] == pytest.approx(1.0, abs=1e-3)
    assert found["differs"] == [["regeneration.top", "27 kohm", "33 kohm"]]


def test_a_change_leaves_comments_and_order_as_they_are(served: Served) -> None:
    before = served.text.splitlines()
    after = served.answer(["detector", "load", "shunt"], "330 kohm").json()["text"].splitlines()
    assert len(before) == len(after)
    assert [(a, b) for a, b in zip(before, after, strict=True) if a != b] == [
        ("    shunt: 270 kohm", "    shunt: 330 kohm")
    ]


def test_each_value_is_a_field_with_what_belongs_there(served: Served) -> None:
    fields = {one["key"]: one for one in served.answer().json()["fields"]}
    leak = fields["detector.grid_leak"]
    assert (leak["text"], leak["meaning"]) == ("2.7 Mohm", "Grid leak resistor.")
    assert leak["expected"].startswith("a resistance from 10 kohm to 100 Mohm")
    assert fields["regeneration.law"]["choices"] == ["linear", "log", "antilog"]
    assert "bands[1].coil.tap" in fields


HOSTILE = [
    (["detector", "grid_leak"], "2.7", "it has no unit"),
    (["detector", "grid_leak"], "'; .control\nshell rm x\n.endc", ""),
    (["detector", "grid_leak"], "1e999 ohm", ""),
    (["detector", "tube"], "../../card", "expected"),
    (["title"], "x\n.include /secret", ""),
    (["title"], "a\x00b", ""),
    (["bands", 0, "coil", "q"], "nan", ""),
    (["bands", 99, "name"], "x", "expected a value of this build"),
    (["bands"], "x", "expected a value of this build"),
    (["__class__"], "x", "expected a value of this build"),
    (["detector", "load", "kind"], "transformer", ""),
]


@pytest.mark.parametrize(("path", "value", "words"), HOSTILE, ids=lambda v: str(v)[:20])
def test_a_hostile_value_gets_the_words_of_the_checks(
    served: Served, path: list[Any], value: str, words: str
) -> None:
    answer = served.answer(path, value)
    assert answer.status_code == 422, answer.text
    faults = answer.json()["faults"]
    assert faults and words in " ".join(one["text"] for one in faults)
    assert str(served.folder) not in answer.text
    assert served.answer().status_code == 200  # none the worse


@pytest.mark.parametrize(
    "body",
    [b"{", b"[]", b'{"text": 5}', b"{}", b'{"text": "x", "change": {"path": "x", "value": "y"}}',
     b"[" * 100_000, json.dumps({"text": "x" * 2_000_000}).encode()],
    ids=["broken", "list", "number", "empty", "path", "deep", "long"],
)  # fmt: skip
def test_what_is_no_question_is_refused(served: Served, body: bytes) -> None:
    headers = {**HEADERS, "Origin": f"http://{served.host}"}
    answer = httpx.post(served.address + "answer", content=body, headers=headers)
    assert answer.status_code == 400 and "expected" in answer.json()["says"]


def test_a_bomb_of_aliases_is_refused(served: Served) -> None:
    bomb = "a: &a [x, x, x]\n" + "".join(f"b{i}: &b{i} [*a, *a, *a, *a]\n" for i in range(9))
    bomb += "".join(f"c{i}: [{', '.join(['*b0'] * 900)}]\n" for i in range(5))
    answer = served.answer(text=bomb)
    assert answer.status_code == 422 and "anchors" in answer.json()["faults"][0]["text"]


# ---------------------------------------------------------------------------- who may ask


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "[::1]:{port}"]
)
def test_a_foreign_host_name_is_refused(served: Served, host: str) -> None:
    """A name that was made to lead to this machine carries its own host header."""
    port = served.host.split(":")[1]
    answer = httpx.get(served.address, headers={"Host": host.format(port=port)})
    assert answer.status_code == 421 and "<html" not in answer.text


@pytest.mark.parametrize("token", ["", "x", "index.html", "{token}x", "%2e%2e", "é"])
def test_without_the_token_there_is_nothing(served: Served, token: str) -> None:
    mine = served.address.split("/")[3]
    url = f"http://{served.host}/{token.format(token=mine)}/"
    assert httpx.get(url).status_code == 404
    headers = {**HEADERS, "Origin": f"http://{served.host}"}
    assert httpx.post(url + "answer", content=b"{}", headers=headers).status_code == 404


def test_another_site_may_not_ask(served: Served) -> None:
    body = {"text": served.text, "name": "stolen.yaml"}
    for origin in (
        "http://evil.example",
        "null",
        f"https://{served.host}",
        f"http://{served.host}.evil.example",
    ):
        assert served.post("save", body, Origin=origin).status_code == 403
    bare = httpx.post(served.address + "save", content=json.dumps(body), headers=HEADERS)
    assert bare.status_code == 403  # every browser sends an origin with what it posts
    assert served.post("save", body, **{"Sec-Fetch-Site": "cross-site"}).status_code == 403
    # what a form of another site can send without asking first
    assert served.post("save", body, **{"Content-Type": "text/plain"}).status_code == 415
    assert not (served.folder / "stolen.yaml").exists()


def test_the_page_lets_nothing_else_in(served: Served) -> None:
    answer = httpx.get(served.address)
    policy = answer.headers["content-security-policy"]
    assert policy.startswith("default-src 'none'") and "unsafe-eval" not in policy
    assert "frame-ancestors 'none'" in policy and "connect-src 'self'" in policy
    assert answer.headers["referrer-policy"] == "no-referrer"  # the token stays here
    assert answer.headers["cache-control"] == "no-store"
    for method in ("PUT", "DELETE", "OPTIONS", "TRACE"):
        assert httpx.request(method, served.address).status_code == 405


def test_it_listens_on_loopback_alone(served: Served) -> None:
    assert served.address.startswith("http://127.0.0.1:")


# ---------------------------------------------------------------------------- saving


def test_a_changed_build_is_saved_and_check_takes_it(served: Served) -> None:
    text = served.answer(["detector", "grid_leak"], "3.3 Mohm").json()["text"]
    answer = served.post("save", {"text": text, "name": "mine.yaml"})
    assert answer.status_code == 200, answer.text
    saved = served.folder / "mine.yaml"
    assert saved.read_text(encoding="utf-8") == text
    assert load_build(saved).detector.grid_leak == 3.3e6
    again = served.post("save", {"text": served.text, "name": "mine.yaml"})
    assert (again.status_code, again.json()["exists"]) == (409, True)
    assert saved.read_text(encoding="utf-8") == text
    assert served.post("save", {"text": served.text, "name": "mine.yaml", "replace": True}).status_code == 200
    assert saved.read_text(encoding="utf-8") == served.text


@pytest.mark.parametrize(
    "name",
    ["../out.yaml", "/out.yaml", "a/b.yaml", ".hidden.yaml", "x.sh", "x.yaml\n", "", "a..yaml",
     "con:x.yaml", "-x.yaml", "x" * 90 + ".yaml"],
)  # fmt: skip
def test_no_name_leads_out_of_the_folder(served: Served, name: str) -> None:
    before = sorted(served.folder.rglob("*"))
    answer = served.post("save", {"text": served.text, "name": name, "replace": True})
    assert answer.status_code == 400 and "expected a plain file name" in answer.json()["says"]
    assert sorted(served.folder.rglob("*")) == before


def test_a_link_is_not_followed_out_of_the_folder(served: Served, tmp_path: Path) -> None:
    outside = tmp_path / "outside.yaml"
    outside.write_text("mine")
    (served.folder / "link.yaml").symlink_to(outside)
    for replace in (False, True):
        answer = served.post("save", {"text": served.text, "name": "link.yaml", "replace": replace})
        assert answer.status_code == 400
    assert outside.read_text() == "mine"


def test_a_faulty_build_is_not_saved(served: Served) -> None:
    text = served.text.replace("2.7 Mohm", "2.7 parsec")
    answer = served.post("save", {"text": text, "name": "faulty.yaml"})
    assert answer.status_code == 422 and not (served.folder / "faulty.yaml").exists()


# ---------------------------------------------------------------------------- deeper answers, mishaps


def events(served: Served, page: str, began: threading.Event, until: str) -> list[tuple[str, dict[str, Any]]]:
    """Listen as a page does until an event of a kind has come."""
    told, kind = [], ""
    with httpx.stream("GET", f"{served.address}events?page={page}", timeout=300) as stream:
        for line in stream.iter_lines():
            if line.startswith(": listening"):
                began.set()
            if line.startswith("event: "):
                kind = line[7:]
            if line.startswith("data: "):
                told.append((kind, json.loads(line[6:])))
                if kind == until:
                    return told
    return told


def test_two_browsers_at_once_each_get_their_own(served: Served) -> None:
    """Each page is told the bands of its own build, then what check finds; a second time at once."""
    texts = {
        "a" * 32: served.text,
        "b" * 32: served.answer(["regeneration", "top"], "39 kohm").json()["text"],
    }
    told: dict[str, list[tuple[str, dict[str, Any]]]] = {}

    def listen(page: str, began: threading.Event) -> None:
        told[page] = events(served, page, began, "done")

    threads = []
    for page, text in texts.items():
        began = threading.Event()
        threads.append(threading.Thread(target=listen, args=(page, began)))
        threads[-1].start()
        assert began.wait(60)
        assert served.post("deeper", {"text": text, "page": page}).status_code == 202
    for thread in threads:
        thread.join(400)
    marks = []
    for page, text in texts.items():
        kinds = [kind for kind, _ in told[page]]
        assert "failed" not in kinds, told[page]
        bands = [data["band"] for kind, data in told[page] if kind == "band"]
        quick = {one["name"]: one["onset"] for one in served.answer(text=text).json()["bands"]}
        assert {one["name"]: one["onset"] for one in bands} == pytest.approx(quick)
        assert all(one["up"][-1] > 0.1 for one in bands)  # a set well above onset swings by volts
        (checked,) = [data for kind, data in told[page] if kind == "checked"]
        assert checked["verdict"].startswith("Regeneration comes in")
        assert "sets built like this one" in checked["verdict"]
        assert all(0.0 <= low < high <= 1.0 for low, high in checked["ranges"].values())
        assert len(checked["ranges"]) == 2
        assert kinds.index("checked") > max(i for i, kind in enumerate(kinds) if kind == "band")
        marks.append({data["digest"] for _, data in told[page]})
    assert len(marks[0]) == len(marks[1]) == 1 and marks[0] != marks[1]
    before = served.deep.evaluations
    began = threading.Event()
    again = threading.Thread(target=listen, args=("c" * 32, began))
    again.start()
    assert began.wait(60)
    served.post("deeper", {"text": served.text, "page": "c" * 32})
    again.join(60)
    assert [kind for kind, _ in told["c" * 32] if kind != "done"].count("band") == 2
    assert served.deep.evaluations == before  # kept: undoing a change computes nothing


def test_the_sound_of_a_band_is_told_piece_by_piece(served: Served, short_sounds: None) -> None:
    """700 Hz off the carrier is heard as 700 Hz, a second time at once; what ngspice took for a second is
    said."""
    page, began, told = "e" * 32, threading.Event(), []
    band = served.answer().json()["bands"][0]["name"]
    for _ in range(2):
        began.clear()
        listener = threading.Thread(
            target=lambda: told.append(events(served, page, began, "sounded")), daemon=True
        )
        listener.start()
        assert began.wait(60)
        asked = served.post("sound", {"text": served.text, "page": page, "band": band})
        assert asked.status_code == 202
        listener.join(200)
    first, again = ([data for kind, data in one if kind == "heard"] for one in told)
    assert first == again and len(first) == 1
    assert first[0]["cost"] > 0.0 and first[0]["band"] == band
    piece = first[0]["piece"]
    wave = np.frombuffer(base64.b64decode(piece["samples"]), "<i2").astype(float)
    spectrum = np.abs(np.fft.rfft(wave * np.hanning(wave.size), 8 * wave.size))
    spectrum[: round(100.0 * 8 * wave.size / piece["rate"])] = 0.0
    pitch = np.argmax(spectrum) * piece["rate"] / (8 * wave.size)
    # the tank pulls by a few hertz, a bin of 0.3 s is 3 Hz
    assert pitch == pytest.approx(700.0, rel=0.02)


def test_a_sound_without_a_band_is_refused(served: Served) -> None:
    """And so is one for a page that does not listen; nothing is computed for either."""
    answer = served.post("sound", {"text": served.text, "page": "d" * 32})
    assert answer.status_code == 400 and "'band'" in answer.json()["says"]
    answer = served.post("sound", {"text": served.text, "page": "d" * 32, "band": "40 m"})
    assert answer.status_code == 400 and "load it again" in answer.json()["says"]


def test_a_page_that_does_not_listen_is_not_computed_for(served: Served) -> None:
    answer = served.post("deeper", {"text": served.text, "page": "d" * 32})
    assert answer.status_code == 400 and "load it again" in answer.json()["says"]


def test_a_killed_worker_is_replaced(served: Served) -> None:
    """Ending the ngspice processes that wait costs no answer: others take their place."""
    first = served.answer().json()["bands"]
    workers = [one for one in served.quick._all if one.alive]
    assert workers
    for one in workers:
        os.kill(one._process.pid, signal.SIGKILL)
        one._process.wait(10)
    again = served.answer()
    assert again.status_code == 200
    assert [one["onset"] for one in again.json()["bands"]] == pytest.approx([one["onset"] for one in first])


def test_a_worker_killed_in_mid_analysis_is_said_and_replaced(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The band whose ngspice is ended while it computes says so in its state, the others have their answers,
    and the next request has all."""
    whole = served.answer().json()["bands"]
    real, killed = WorkerProcess.ask, []

    def ask(self: WorkerProcess, request: Any) -> Any:
        if isinstance(request, Run) and not killed:
            killed.append(self.pid)
            os.kill(self.pid, signal.SIGKILL)
        return real(self, request)

    monkeypatch.setattr(WorkerProcess, "ask", ask)
    answer = served.answer(["regeneration", "top"], "31 kohm")
    assert answer.status_code == 200 and killed
    bands = answer.json()["bands"]
    (lost,) = [one for one in bands if one["onset"] is None]
    assert "the ngspice process ended" in lost["state"]
    again = served.answer().json()["bands"]
    assert [one["onset"] for one in again] == pytest.approx([one["onset"] for one in whole])


# ---------------------------------------------------------------------------- the verb


def test_the_verb_prints_its_address_and_ends_with_ctrl_c(served: Served) -> None:
    run = subprocess.Popen(
        [sys.executable, "-m", "receiver_sim.cli", "live", str(served.build), "--json"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(map(os.path.abspath, sys.path))},
    )  # fmt: skip
    assert run.stdout is not None
    text = ""
    while True:
        line = run.stdout.readline()
        assert line, run.communicate()
        text += line
        try:
            document = json.loads(text)
            break
        except ValueError:
            continue
    assert document["verb"] == "live"
    address = document["result"]["address"]
    assert httpx.get(address, timeout=60).status_code == 200
    with httpx.stream("GET", f"{address}events?page={'e' * 32}", timeout=60) as stream:
        assert next(stream.iter_lines()) == ": listening"  # an open page does not keep it
        run.send_signal(signal.SIGINT)
        out, err = run.communicate(timeout=60)
    assert (run.returncode, out, err) == (0, "", "")


def test_a_port_that_is_taken_is_refused(served: Served) -> None:
    from tests.test_cli import call

    port = served.host.split(":")[1]
    answer = call("live", served.build, "--port", port)
    assert answer.code == 2 and f"--port {port}: Address already in use" in answer.err
