"""What the script of the live page asks, and what it does with answers and events: all of them made by hand.

In the place of the server stands an account of what was posted; answers and events are given by the test.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from receiver_sim import api
from receiver_sim.schema import Build
from receiver_sim.views.page import live as live_views
from tests.helpers.pages import Page

STANDS_IN = """<script>
window.posted = []; window.replies = {}; window.confirmed = [];
window.fetch = async (what, how) => {
  const body = JSON.parse(how.body), number = window.posted.push([what, body]) - 1;
  const reply = (window.replies[what] || (() => [200, {}]))(body, number);
  const [code, data] = await reply;
  return { status: code, headers: { get: () => "application/json" }, json: async () => data };
};
window.EventSource = class {
  constructor(url) { this.url = url; this.taken = {}; window.events = this; }
  addEventListener(kind, take) { (this.taken[kind] = this.taken[kind] || []).push(take); }
};
window.fire = (kind, data) => {
  for (const take of window.events.taken[kind] || []) take({ data: JSON.stringify(data) });
};
window.confirm = (words) => { window.confirmed.push(words); return window.agree; };
</script>
"""

BUILT = "title: as built\n"


def band(name: str, onset: float | None, **given: Any) -> dict[str, Any]:
    """A band as the fast answers give it."""
    made = {
        "name": name, "onset": onset, "gone": onset, "dial": 7.1e6, "rotation": [0.0, 0.5, 1.0],
        "figure": [3.0, 19.0, 35.0], "sets": "screen", "unit": "V", "gain": [0.2, 0.9, 1.5],
        "width": [None] * 3, "up": [0.0] * 3, "down": [0.0] * 3, "offset": [], "level": [None] * 3,
        "quick": True, "state": "oscillates" if onset is not None else "does not oscillate",
        "told": "" if onset is None else f"{100 * onset:.1f} %, 19 V",
    }  # fmt: skip
    return {**made, **given}


def field(key: str, text: str, **given: Any) -> dict[str, Any]:
    path: list[Any] = []
    for step in key.replace("]", "").split("."):
        name, _, number = step.partition("[")
        path += [name] if not number else [name, int(number)]
    made = {
        "path": path, "key": key, "line": 1, "text": text, "expected": "a resistance",
        "meaning": "A resistor.", "choices": [],
    }  # fmt: skip
    return {**made, **given}


FIELDS = [
    field("title", "as built"), field("detector.grid_leak", "2.7 Mohm"),
    field("regeneration.law", "linear", choices=["linear", "log"]), field("bands[0].name", "40 m"),
    field("bands[0].coil.q", "110"),
]  # fmt: skip


def answer(text: str, digest: str, *bands: dict[str, Any], **given: Any) -> dict[str, Any]:
    return {
        "text": text, "digest": digest, "fields": FIELDS, "differs": [], "title": f"title of {digest}",
        "says": f"says of {digest}", "dangers": [], "bands": list(bands), **given,
    }  # fmt: skip


AS_BUILT = answer(BUILT, "built", band("40 m", 0.412), band("20 m", 0.553), band("10 m", None))
CHANGED = answer(
    "title: changed\n", "changed", band("40 m", 0.45), band("20 m", None), band("10 m", 0.71),
    differs=[["detector.grid_leak", "2.7 Mohm", "3.3 Mohm"], ["supply.ripple", None, "0.1 V"]],
    dangers=["DANGER, x: y."],
)  # fmt: skip


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The frame of the live page, with what stands in for its server ahead of its scripts."""
    build: Build = api.shipped_build("demo")
    text = live_views.shell(build, BUILT, FIELDS, "set.yaml")
    made: Path = tmp_path_factory.mktemp("live") / "live.html"
    made.write_text(text.replace("<head>", f"<head>\n{STANDS_IN}", 1), encoding="utf-8")
    return made


class Live:
    """The page with its account of what was asked."""

    def __init__(self, page: Page) -> None:
        self.page, self.script = page, page.script

    def reply(self, what: str, data: Any, code: int = 200) -> None:
        self.script(
            "const [what, code, data] = arguments; window.replies[what] = () => [code, data]",
            what,
            code,
            data,
        )

    def fire(self, kind: str, **data: Any) -> None:
        self.script("window.fire(arguments[0], arguments[1])", kind, data)

    def posted(self, what: str) -> list[dict[str, Any]]:
        """Return what was asked of a kind since it was asked for last; all that is under way has come."""
        self.page._browser.execute_async_script("setTimeout(arguments[arguments.length - 1], 5)")
        found: list[list[Any]] = self.script("return window.posted")
        return [body for kind, body in found if kind == what]

    def begin(self, built: dict[str, Any] = AS_BUILT) -> None:
        self.reply("answer", built)
        self.reply("drawing", {"digest": "x", "svg": "<svg></svg>"})
        self.fire("open")
        self.posted("answer")

    def change(
        self, key: str = "detector.grid_leak", value: str = "3.3 Mohm", to: Any = CHANGED, code: int = 200
    ) -> None:
        self.reply("answer", to, code)
        self.script(
            "const e = document.querySelector(`[data-key='${arguments[0]}']`); e.value = arguments[1];"
            "e.dispatchEvent(new Event('change'))", key, value,
        )  # fmt: skip
        self.posted("answer")

    def text(self, name: str) -> str:
        return str(self.script("return document.getElementById(arguments[0]).textContent", name))

    def rows(self, name: str) -> list[list[str]]:
        found: list[list[str]] = self.script(
            "return [...document.querySelectorAll(`#${arguments[0]} tr`)]"
            ".map(r => [...r.cells].map(c => c.textContent))",
            name,
        )
        return found


@pytest.fixture
def live(browser: Any, file: Path) -> Live:
    one = Live(Page(browser, file))
    one.begin()
    return one


def test_on_opening_it_asks_for_the_set_as_built_its_drawing_and_deeper_answers(live: Live) -> None:
    assert live.posted("answer") == [{"text": BUILT, "change": None}]
    assert live.posted("drawing") == [{"text": BUILT, "band": "40 m"}]
    (deeper,) = live.posted("deeper")
    page = live.script("return window.events.url").partition("events?page=")[2]
    assert deeper == {"page": page, "text": BUILT} and len(page) == 32
    assert live.posted("bench") == live.posted("sound") == live.posted("save") == []
    # a connection that was lost and comes again asks nothing anew
    live.fire("open")
    assert len(live.posted("answer")) == 1


def test_a_value_is_sent_with_its_place_and_the_text_it_changes(live: Live) -> None:
    live.change()
    assert live.posted("answer")[-1] == {
        "text": BUILT, "change": {"path": ["detector", "grid_leak"], "value": "3.3 Mohm"},
    }  # fmt: skip
    live.change("bands[0].coil.q", "120")
    assert live.posted("answer")[-1] == {
        "text": CHANGED["text"], "change": {"path": ["bands", 0, "coil", "q"], "value": "120"},
    }  # fmt: skip
    assert [one["text"] for one in live.posted("deeper")] == [BUILT, CHANGED["text"], CHANGED["text"]]


def test_changes_dangers_and_the_verdict_are_those_of_the_answer(live: Live) -> None:
    assert live.rows("differs") == [["nothing", "", ""]]
    live.change()
    assert live.rows("differs") == [
        ["detector.grid_leak", "2.7 Mohm", "3.3 Mohm"], ["supply.ripple", "-", "0.1 V"],
    ]  # fmt: skip
    assert (live.text("dangers"), live.text("title"), live.text("verdict")) == (
        "DANGER, x: y.", "title of changed", "says of changed",
    )  # fmt: skip
    assert live.script("return document.getElementById('text').value") == CHANGED["text"]


def test_as_built_and_changed_stand_side_by_side(live: Live) -> None:
    """Moved: where it is now less where it was, in per cent of the travel, none where one of both is none."""
    live.change()
    assert live.rows("beside") == [
        ["40 m", "41.2 %, 19 V", "45.0 %, 19 V", "3.8 % of the travel", "being computed", "being computed"],
        ["20 m", "55.3 %, 19 V", "does not oscillate", "-", "being computed", "being computed"],
        ["10 m", "does not oscillate", "71.0 %, 19 V", "-", "being computed", "being computed"],
    ]
    live.fire("band", digest="changed", band=band("40 m", 0.45, quick=False, up=[0.0, 0.0, 3.9]))
    live.fire("band", digest="built", band=band("40 m", 0.412, quick=False, up=[0.0, 0.0, 2.6]))
    assert live.rows("beside")[0][4:] == ["2.6 V", "3.9 V"]


def test_the_strip_marks_the_changed_set_and_the_one_before(live: Live) -> None:
    """What is told of most sets belongs to the text it was found for."""
    look = (
        "return [...document.querySelectorAll('#strip .row')].map("
        "r => Object.fromEntries([...r.querySelectorAll('span span')]"
        ".map(s => [s.className, s.style.left + s.style.width])))"
    )
    live.fire("checked", digest="built", verdict="v", dangers=[], ranges={"40 m": [0.37, 0.5]}, html="")
    first, second, third = live.script(look)
    assert (first["mark"], first["above"], first["range"]) == ("41.2%", "41.2%", "37%13%")
    assert "before" not in first and "range" not in second and "mark" not in third and "none" in third
    assert "37 to 50 %" in live.text("strip")
    live.change()
    first, second, third = live.script(look)
    assert (first["mark"], first["before"]) == ("45%", "41.2%") and "range" not in first
    assert second["before"] == "55.3%" and "mark" not in second
    assert third["mark"] == "71%" and "before" not in third


def test_events_of_another_text_change_nothing(live: Live) -> None:
    live.change()
    before = live.rows("beside"), live.text("verdict"), live.text("state")
    live.fire("band", digest="older", band=band("40 m", 0.9, quick=False, up=[9.0] * 3))
    live.fire("checked", digest="built", verdict="older", dangers=["old"], ranges={}, html="<b>old</b>")
    live.fire("stage", digest="built", what="bands", done=1, total=2)
    live.fire("bench", digest="built", html="old", table={})
    live.fire("failed", digest="built", what="x", why="y")
    assert (live.rows("beside"), live.text("verdict"), live.text("state")) == before
    assert live.text("dangers") == "DANGER, x: y."


def test_an_answer_to_an_older_question_is_not_shown(live: Live) -> None:
    """Two changes one behind the other: the first answer comes in last."""
    live.script(
        "let number = 0; const [late, soon] = arguments;"
        "window.replies.answer = () => number++ ? [200, soon]"
        " : new Promise(r => { window.release = () => r([200, late]); });",
        {**CHANGED, "title": "late"}, {**CHANGED, "title": "soon"},
    )  # fmt: skip
    for value in ("1 Mohm", "2 Mohm"):
        live.script(
            "const e = document.querySelector(`[data-key='detector.grid_leak']`); e.value = arguments[0];"
            "e.dispatchEvent(new Event('change'))", value,
        )  # fmt: skip
    live.posted("answer")
    assert live.text("title") == "soon"
    live.script("window.release()")
    live.posted("answer")
    assert live.text("title") == "soon"


def test_a_refused_value_is_marked_with_the_reason_and_nothing_else_changes(live: Live) -> None:
    live.change(value="2 parsec", to={"faults": [{"line": 7, "key": "k", "text": "no such unit"}]}, code=422)
    entry, why = live.script(
        "const e = document.querySelector(`[data-key='detector.grid_leak']`);"
        "return [e.getAttribute('aria-invalid'),"
        " [...e.closest('.one').querySelectorAll('.why')].map(w => w.textContent)]"
    )
    assert (entry, why) == ("true", ["no such unit"])
    assert live.text("title") == "title of built" and len(live.posted("deeper")) == 1
    # the same of the whole text: with the line
    live.script("document.getElementById('take').click()")
    live.posted("answer")
    assert live.text("faults") == "line 7: no such unit"
    live.change()
    assert live.text("faults") == ""


def test_deeper_answers_say_how_far_they_are_and_what_failed(live: Live) -> None:
    assert live.text("state") == "Deeper answers are being computed."
    live.fire("stage", digest="built", what="bands", done=1, total=3)
    assert live.text("state") == "Deeper answers: bands, 1 of 3."
    live.fire("failed", digest="built", what="modes", why="no convergence")
    assert live.text("state") == "modes could not be computed: no convergence"
    live.fire("failed", digest="built", what="settings of 20 m", why="no resonance")
    # what is missing stays said
    live.fire("done", digest="built")
    assert live.text("state") == (
        "What could be computed is that of the values above. Missing: modes could not be computed: no "
        "convergence; settings of 20 m could not be computed: no resonance"
    )
    live.change()
    live.fire("done", digest="changed")
    assert live.text("state") == "All answers are those of the values above."


def test_what_check_found_takes_the_place_of_what_stood_there(live: Live) -> None:
    assert live.script("return document.getElementById('sections').classList.contains('stale')")
    live.fire(
        "checked", digest="built", verdict="it works", dangers=["DANGER, a: b."], ranges={}, html="<p>c</p>"
    )
    assert (live.text("verdict"), live.text("dangers"), live.text("sections")) == (
        "it works",
        "DANGER, a: b.",
        "c",
    )
    assert not live.script("return document.getElementById('sections').classList.contains('stale')")
    live.change()
    assert live.script("return document.getElementById('sections').classList.contains('stale')")


def test_the_set_as_built_is_computed_where_a_change_came_before_it_was(live: Live) -> None:
    live.change()
    live.fire("done", digest="changed")
    assert [one["text"] for one in live.posted("deeper")] == [BUILT, CHANGED["text"], BUILT]


def test_the_bench_is_asked_for_when_it_is_wanted_and_again_for_a_changed_set(live: Live) -> None:
    live.fire("done", digest="built")
    assert live.posted("bench") == []
    live.page.click("bench-ask")
    (asked,) = live.posted("bench")
    assert asked["text"] == BUILT and live.text("bench-state") == "being worked out"
    live.fire("bench-stage", digest="built", what="faults", done=3, total=9)
    assert live.text("bench-state") == "being worked out: faults, 3 of 9"
    live.fire("bench-failed", digest="built", why="no convergence")
    assert live.text("bench-state") == "could not be worked out: no convergence"
    live.change()
    assert live.text("bench-state") == "These are those of another set; this one's follow."
    assert live.script("return document.getElementById('bench-form').classList.contains('stale')")
    live.fire("done", digest="changed")
    assert [one["text"] for one in live.posted("bench")] == [BUILT, CHANGED["text"]]


def test_a_sound_is_asked_for_while_it_is_played_of_the_set_and_band_chosen(live: Live) -> None:
    live.script("document.dispatchEvent(new CustomEvent('play', { detail: true }))")
    (asked,) = live.posted("sound")
    assert (asked["text"], asked["band"]) == (
        BUILT,
        live.script("return document.getElementById('band').value"),
    )
    live.change()
    live.fire("done", digest="changed")
    assert [one["text"] for one in live.posted("sound")] == [BUILT, CHANGED["text"]]
    live.script(
        "const e = document.getElementById('version'); e.value = 'built';e.dispatchEvent(new Event('change'))"
    )
    assert [one["text"] for one in live.posted("sound")] == [BUILT, CHANGED["text"], BUILT]
    live.fire("mute", digest="built", band="40 m", why="no solution")
    assert live.text("sound-state") == "No sound: no solution"
    # its end does not put it down to the set
    live.fire("sounded", digest="built", band="40 m")
    assert live.text("sound-state") == "No sound: no solution"


def test_a_band_without_any_sound_says_whether_it_has_none_or_it_failed(live: Live) -> None:
    live.script("document.dispatchEvent(new CustomEvent('play', { detail: true }))")
    live.posted("sound")
    live.fire("sounded", digest="built", band="40 m")
    assert live.text("sound-state").startswith("No sound on this band: it has no onset on the control")


@pytest.mark.parametrize("agree", [True, False])
def test_a_file_that_is_there_is_replaced_after_a_question_alone(live: Live, agree: bool) -> None:
    live.script("window.agree = arguments[0]; document.getElementById('name').value = 'x.yaml'", agree)
    live.script(
        "window.replies.save = (body) => body.replace"
        " ? [200, { says: 'saved' }] : [409, { says: 'there', exists: true }]"
    )
    live.page.click("save")
    posted = live.posted("save")
    assert posted[0] == {"text": BUILT, "name": "x.yaml"}
    assert posted[1:] == ([{"text": BUILT, "name": "x.yaml", "replace": True}] if agree else [])
    assert live.script("return window.confirmed") == ["there. Put the changed build in its place?"]
    assert live.text("saved") == ("saved" if agree else "there")


def test_back_to_as_built_asks_for_the_text_of_the_file(live: Live) -> None:
    live.change()
    live.reply("answer", AS_BUILT)
    live.page.click("built")
    assert live.posted("answer")[-1] == {"text": BUILT, "change": None}
    assert live.rows("differs") == [["nothing", "", ""]] and live.text("title") == "title of built"


def test_values_stand_in_groups_and_changed_ones_are_marked(live: Live) -> None:
    groups = live.script("return [...document.querySelectorAll('#fields details')].map(d => d.dataset.group)")
    assert groups == ["set", "detector", "regeneration", "bands: 40 m"]
    labels = live.script("return [...document.querySelectorAll('#fields label')].map(l => l.textContent)")
    assert labels == ["title", "grid_leak", "law", "name", "coil, q"]
    kinds = live.script(
        "return [...document.querySelectorAll('#fields [data-key]')].map(e => [e.tagName, e.title])"
    )
    assert kinds[1] == ["INPUT", "A resistor. Expected: a resistance"] and kinds[2][0] == "SELECT"
    fields = [{**f, "text": "3.3 Mohm"} if f["key"] == "detector.grid_leak" else f for f in FIELDS]
    live.change(to={**CHANGED, "fields": fields})
    marked = live.script(
        "return [...document.querySelectorAll('#fields .changed label')].map(l => l.textContent)"
    )
    assert marked == ["grid_leak"]


@pytest.mark.parametrize(
    ("word", "shown"), [("GRID", ["grid_leak"]), ("40 m", ["name", "coil, q"]), ("zzz", []), ("", None)]
)
def test_values_are_found_by_their_name_or_group(live: Live, word: str, shown: list[str] | None) -> None:
    live.page.set_range("find", word)  # type: ignore[arg-type]
    seen = live.script(
        "return [...document.querySelectorAll('#fields .one')].filter(r => !r.hidden)"
        ".map(r => r.querySelector('label').textContent)"
    )
    assert seen == (["title", "grid_leak", "law", "name", "coil, q"] if shown is None else shown)


def test_a_program_that_has_ended_is_said_to_answer_no_more(live: Live) -> None:
    live.script("window.replies.answer = () => Promise.reject(new Error('gone'))")
    live.page.click("take")
    live.posted("answer")
    assert live.text("state") == "The program no longer answers: start it again."
    assert live.page.errors() == []
