"""The verbs on coils as a user meets them: pages, documents, plots, faults."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import yaml
from click.testing import CliRunner, Result
from matplotlib.axes import Axes

from receiver_sim import api
from receiver_sim.cli import main
from receiver_sim.engine import Bench
from receiver_sim.results import cautions, json_schema
from receiver_sim.results.coils import CoilsReport
from receiver_sim.schema import Build
from receiver_sim.views.plots import coils as plots
from tests.helpers.lending import lending

BUILDS = Path(api.__file__).parent.parent / "schema" / "builds"
WIND = ["wind", "--band", "7.0-7.3MHz", "--former", "32mm", "--wire", "0.5mm", "--capacitor", "10-150pF"]


@pytest.fixture(scope="module", autouse=True)
def workers() -> Iterator[None]:
    """All calls of this file hand their idle workers on to the next."""
    with lending():
        yield


def call(*args: str) -> Result:
    result = CliRunner().invoke(main, [*args])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


PAGES = [
    *[("coils", str(BUILDS / f"{name}.yaml")) for name in ("demo", "cabin", "plugin_coils")],
    *[("tap", str(BUILDS / f"{name}.yaml"), "--onset", "45%") for name in ("demo", "plugin_coils")],
    tuple(WIND),
    (*WIND, "--spread"),
]


@pytest.mark.parametrize("args", PAGES, ids=lambda a: f"{a[0]}-{Path(a[1]).stem}-{len(a)}")
def test_a_page_fits_and_carries_the_cautions(args: tuple[str, ...]) -> None:
    result = call(*args)
    assert result.exit_code == 0, result.stderr
    assert [line for line in result.stdout.splitlines() if len(line) > 100] == []
    words = " ".join(result.stdout.replace(" ! ", " ").split())
    wanted = [*cautions.PLATE_SUPPLY, *(cautions.RADIATION if args[0] != "wind" else ())]
    assert [words.count(text) for text in wanted] == [1] * len(wanted)
    assert "nan" not in words.lower().split()


@pytest.mark.parametrize("args", [PAGES[2], PAGES[4], PAGES[6]], ids=lambda a: a[0])
def test_a_document_is_what_the_schema_says(args: tuple[str, ...]) -> None:
    result = call(*args, "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    document = json.loads(result.stdout)
    jsonschema.validate(document, json.loads(json_schema.PATH.read_text(encoding="utf-8")))
    assert document["verb"] == args[0]


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((*WIND[:2], "7.3-7.0MHz", *WIND[3:]), "--band '7.3-7.0MHz': the first value must be the lower one"),
        ((*WIND[:2], "7MHz", *WIND[3:]), "--band '7MHz': expected two values such as '7.0-7.3MHz'"),
        (
            (*WIND[:2], "7-7.3", *WIND[3:]),
            "--band '7-7.3': expected two values such as '7.0-7.3MHz', each as '3.5 MHz'; it has no unit: "
            "write it as '7-7.3MHz'",
        ),
        ((*WIND, "--gauge", "24"), "give the wire either by --wire (such as 0.5mm) or by --gauge"),
        ((*WIND, "--pitch", "0.4mm"), "no such coil: turns overlap: a pitch of 0.4 mm is less than wire"),
        ((*WIND, "--tap", "5"), "--tap '5': expected a percentage from 0.1 % to 50 %"),
        (("tap", PAGES[0][1], "--onset", "145%"), "--onset '145%': expected a percentage from 0 % to 100 %"),
        (("tap", PAGES[0][1], "--onset", "45%", "--band", "6 m"), "no band '6 m' in this build"),
        (("coils", PAGES[0][1], "--year", "1900"), "year must be 1929 or later"),
        (("coils", PAGES[0][1], "--tank-volts", "2"), "--tank-volts '2': expected a voltage"),
    ],
)
def test_a_slip_is_told_with_its_cure(args: tuple[str, ...], words: str) -> None:
    result = call(*args)
    assert (result.exit_code, result.stdout) == (2, "")
    assert words in " ".join(result.stderr.split())
    assert "Traceback" not in result.stderr


def test_a_faulty_coil_is_told_at_its_line(tmp_path: Path) -> None:
    text = (
        (BUILDS / "plugin_coils.yaml").read_text(encoding="utf-8").replace("pitch: 0.9 mm", "pitch: 0.2 mm")
    )
    place = tmp_path / "set.yaml"
    place.write_text(text, encoding="utf-8")
    result = call("coils", str(place))
    line = text[: text.index("pitch: 0.2 mm")].count("\n") + 1
    assert result.exit_code == 2
    assert f"set.yaml:{line}: bands[2].coil.winding.pitch: value '0.2 mm'" in result.stderr


def test_plots_are_written_where_asked(tmp_path: Path) -> None:
    result = call("coils", str(BUILDS / "plugin_coils.yaml"), "--out", str(tmp_path / "plots"))
    assert result.exit_code == 0
    stems = {"coil-ranges", "coil-onset", "coil-loop-gain", "coil-losses", "breakthrough"}
    assert {p.name for p in (tmp_path / "plots").iterdir()} == {
        "coils.json",
        *(f"{s}.{e}" for s in stems for e in ("png", "svg")),
    }


@pytest.mark.parametrize("size", ["{height: 6 m, flat: 15 m}", "{height: 8 m, flat: 15 m, diameter: 1.6 mm}"])
def test_a_long_wire_loses_no_coil(size: str, demo: Build, tmp_path: Path) -> None:
    """Guards against 'the wire is longer than 0.45 wavelength': refused, or a coil lost with 'Gaps: none'.

    Through a coupling as tight as this the wire's resonances are dead spots, where the tank is hard to find.
    """
    data = {**demo._data, "aerial": {"coupling": "5 pF", "kind": "wire", "wire": yaml.safe_load(size)}}
    place = tmp_path / "set.yaml"
    place.write_text(yaml.safe_dump(data), encoding="utf-8")
    result = call("coils", str(place), "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    found = json.loads(result.stdout)["result"]
    names = [band.name for band in demo.bands]
    for part in ("coils", "ranges", "sweeps", "aerial", "breakthrough"):
        assert [one["band"] for one in found[part]] == names, part
    assert all(len(sweep["points"]) >= 10 for sweep in found["sweeps"])
    assert found["failed"] == [] and found["coverage"]["unmeasured"] == []


@pytest.fixture(scope="module")
def report(wound: Build, bench: Bench) -> CoilsReport:
    return api.coils(wound, bench=bench)


def _lines(ax: Axes, start: str) -> dict[str, tuple[list[float], list[float]]]:
    found = {str(line.get_gid()): line for line in ax.get_lines() if str(line.get_gid()).startswith(start)}
    return {k: (list(v.get_xdata()), list(v.get_ydata())) for k, v in found.items()}


def test_plots_show_the_results_own_figures(report: CoilsReport) -> None:
    gains = _lines(plots.plot_gain_over_dial(report.sweeps), "gain-")
    assert len(gains) == len(report.sweeps)
    assert gains["gain-3"][1] == pytest.approx([p.gain for p in report.sweeps[3].points])
    assert gains["gain-3"][0] == pytest.approx([p.dial_hz / 1e6 for p in report.sweeps[3].points])
    through = plots.plot_breakthrough(report.breakthrough)
    assert len(_lines(through, "open-")) == len(_lines(through, "shield-")) == 5
    bars = {str(p.get_gid()): p for p in plots.plot_ranges(report.ranges, report.coverage).patches}
    for number, span in enumerate(report.ranges):
        bar = bars[f"range-{number}"]
        assert bar.get_x() == pytest.approx(span.low_hz / 1e6)
        assert bar.get_x() + bar.get_width() == pytest.approx(span.high_hz / 1e6)
    losses = {str(p.get_gid()): p for p in plots.plot_losses(report.sweeps).patches}
    heights = [losses[f"loss-4-{part}"].get_height() for part in range(4)]
    assert sum(heights) == pytest.approx(100.0, abs=0.5)


def test_a_dial_without_onset_leaves_a_gap_in_the_line(report: CoilsReport) -> None:
    """Where the aerial resonates the 20 m coil does not oscillate: a state, not a number."""
    _, onset = _lines(plots.plot_onset_over_dial(report.sweeps), "onset-")["onset-3"]
    silent = [p.onset is None for p in report.sweeps[3].points]
    assert any(silent)
    assert [bool(np.isnan(value)) for value in onset] == silent
