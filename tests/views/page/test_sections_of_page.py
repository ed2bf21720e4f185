"""The folded sections hold the report's own figures."""

from __future__ import annotations

import dataclasses
import re
from typing import Any

from receiver_sim import api
from receiver_sim.results import cautions
from receiver_sim.results.page import PageReport
from receiver_sim.results.spread import Held
from receiver_sim.results.sure import HowSure
from receiver_sim.views.page import live, words
from tests.helpers.readability import read


def test_sections_show_what_check_found(report: Any) -> None:
    build = api.shipped_build("demo")
    page = PageReport("t", report, (), (), 0.0)
    found = {one["title"]: one for one in words.sections(page, build)}
    readings = found["Supply and safety, readings on the bench"]
    assert readings["cautions"] == cautions.PLATE_SUPPLY  # before the volts
    (table,) = readings["tables"]
    first = report.operating_points[0].tubes[0]
    assert table["rows"][0][2:6] == (
        first.socket, first.tube, f"{first.plate_v:.0f} V", f"{first.screen_v:.1f} V"
    )  # fmt: skip
    assert all(row[-1] == "" for row in table["rows"])  # a blank column for the reader's own
    (change,) = found["What to change"]["tables"]
    assert [row[0] for row in change["rows"]] == sorted(
        row[0] for row in change["rows"]
    )  # bad, then doubtful
    assert "good" not in {row[0] for row in change["rows"]}
    assert len(found["Coils to wind"]["tables"][0]["rows"]) == len(build.bands)
    assert found["Audio and hum"]["tables"][0]["rows"]


def test_what_the_set_is_names_its_tubes_coils_and_control() -> None:
    assert words.what_it_is(api.shipped_build("demo")).startswith(
        "A radio receiver with two tubes: a regenerative detector (6SJ7) and an audio stage (6C5). "
        "It has five bands, a plug-in coil for each. "
    )
    lone = words.what_it_is(api.shipped_build("one_tube"))
    assert lone.startswith("A radio receiver with one tube: a regenerative detector (")
    throttled = words.what_it_is(api.shipped_build("throttle"))
    assert throttled.endswith("The knob for it sets a variable capacitor behind the feedback winding.")


def test_how_sure_counts_sets_that_are_good_throughout(report: Any) -> None:
    whole = Held("the whole set", "all", 57, 100, 0.57, 0.47, 0.66)
    band = Held("40 m", "onset", 91, 100, 0.91, 0.84, 0.95)
    sure = HowSure(100, 1, (band, whole), (), (), (), ())
    one = dataclasses.replace(report, sure=sure)
    assert words.how_sure(PageReport("t", one, (), (), 0.0)) == (
        "Of 100 sets built like this one, each with its own parts and tubes, 57 are good in every verdict."
    )
    assert words.how_sure(PageReport("t", dataclasses.replace(one, sure=None), (), (), 0.0)) == ""


def test_terms_are_those_of_the_glossary() -> None:
    terms = dict(words.glossary())
    assert terms["Onset"] == "the setting of the control at which oscillation begins."
    assert terms["Approach"].endswith("Many degrees are a gentle control.")
    assert len(terms) > 30


def test_a_line_for_beginners_stands_under_every_picture(made: Any) -> None:
    """On the page and on the live one: figure, then its caption; the strip, then its words."""
    build = made.build
    live_page = live.shell(build, "title: x", [], "set.yaml")
    for page in (made.file.read_text(encoding="utf-8"), live_page):
        figures = re.findall(r"<figure.*?</figure>", page, re.DOTALL)
        assert len(figures) >= 5
        for one in figures:
            picture, _, caption = one.partition("<figcaption>")
            assert "<svg" in picture or 'class="drawing"' in picture
            words_under = re.sub(r"<[^>]+>", "", caption)
            assert len(words_under.split()) >= 10, one[:200]
            assert read(words_under).grade <= 10.0, words_under
        assert len(re.findall(r'<svg [^>]*role="img"|class="drawing"', page)) == len(
            figures
        )  # none outside one
        assert re.search(r'class="strip".*<p class="under">One line a band', page, re.DOTALL)


def test_a_page_without_a_bench_has_the_caution_before_the_drawing(made: Any) -> None:
    page = made.file.read_text(encoding="utf-8")
    section = page[page.index('id="draw-h"') :]
    assert section.index(cautions.PLATE_SUPPLY[0]) < section.index('class="drawing"')
