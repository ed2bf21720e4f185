"""Invented results with asymmetric, plausible values: all four statuses, long names, absent values."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from receiver_sim.results import cautions
from receiver_sim.results.audio import AudioResponse, Hum, OutputHum, OutputResponse
from receiver_sim.results.bands import BandReport, Grade, Verdict
from receiver_sim.results.base import DeckRun, Provenance, Status
from receiver_sim.results.bias import MainsPoint, OperatingPoint, RatingLine, RegulatorDrift, TubePoint
from receiver_sim.results.check import CheckReport
from receiver_sim.results.onset import ControlSetting, GainAgainstScreen, NyquistCurve, Onset, Selectivity

LONG = "160 m, the winter coil wound on the big former"
TRAVEL_DEG = 265.0


def screen_of(rotation):
    """A loaded potentiometer from 3 V to 57 V: slightly bent, as a screen that draws current bends it."""
    return 3.0 + 54.0 * rotation * (1.0 - 0.22 * (1.0 - rotation))


def gain_of(screen, strength):
    """Grows like the square root of the screen volts above 4 V, and sags where the plate bottoms."""
    return strength * np.sqrt(np.maximum(screen - 4.0, 0.0)) * (1.0 - (screen / 130.0) ** 2)


def curve(band, dial_hz, strength):
    rotation = np.linspace(0.0, 1.0, 41)
    screen = screen_of(rotation)
    return GainAgainstScreen(
        band, dial_hz, rotation, screen, gain_of(screen, strength), dial_hz * (1.0 - 4e-5 * rotation)
    )


def where(strength, level):
    fine = np.linspace(0.0, 1.0, 20001)
    rotation = float(fine[np.argmax(gain_of(screen_of(fine), strength) >= level)])
    return ControlSetting(rotation, float(screen_of(rotation)))


def onset(band, dial_hz, strength, **other):
    at, near = where(strength, 1.0), where(strength, 0.9)
    values = {
        "onset": at,
        "oscillation_hz": dial_hz * (1.0 - 2.3e-5),
        "slope_per_v": 0.1 / (at.screen_v - near.screen_v),
        "approach_v": at.screen_v - near.screen_v,
        "approach_deg": (at.rotation - near.rotation) * TRAVEL_DEG,
        "at_nine_tenths": near,
        "gain_lowest": float(gain_of(np.float64(3.0), strength)),
        "gain_highest": float(gain_of(np.float64(57.0), strength)),
        "stops_at": None,
        "tuning_farad": 41.7e-12,
        "evaluations": 7,
        **other,
    }
    return Onset(band=band, dial_hz=dial_hz, status=Status.OSCILLATES, **values)


def without(band, dial_hz, status, lowest, highest, *warnings):
    return Onset(
        band=band, dial_hz=dial_hz, status=status, onset=None, oscillation_hz=None, slope_per_v=None,
        approach_v=None, approach_deg=None, at_nine_tenths=None, gain_lowest=lowest, gain_highest=highest,
        stops_at=None, tuning_farad=None, evaluations=4, warnings=warnings,
    )  # fmt: skip


def nyquist(band, dial_hz, peak, label, setting):
    frequency = np.linspace(dial_hz * 0.98, dial_hz * 1.02, 401)
    detuning = 2.0 * 137.0 * (frequency / dial_hz - 1.0)
    # a slight tilt, as a second pole of the plate circuit gives
    ratio = peak / (1.0 + 1j * detuning) * np.exp(-1j * 0.04)
    return NyquistCurve(band, setting, label, frequency, ratio)


def selectivity(band, dial_hz, q, droop):
    gain = np.array([0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98])
    width = dial_hz / q * (1.0 - gain) * (1.0 + droop * (1.0 - gain))
    rotation = np.linspace(0.21, 0.55, len(gain))
    offset = np.linspace(-20e3, 20e3, 81)
    shown = (0, 3, 5)
    curves = tuple(
        31e3 / (1.0 - gain[n]) / np.sqrt(1.0 + (2.0 * offset / width[n]) ** 2) for n in shown
    )  # a single resonance
    return Selectivity(
        band, dial_hz, gain, rotation, width, 31e3 / (1.0 - gain), dial_hz / q, offset,
        tuple(float(gain[n]) for n in shown), curves,
    )  # fmt: skip


@pytest.fixture
def curves():
    return (
        curve("80 m", 3.65e6, 0.205),
        curve("40 m", 7.15e6, 0.221),
        curve("20 m", 14.2e6, 0.187),
        curve(LONG, 1.9e6, 0.118),
    )


@pytest.fixture
def onsets():
    return (
        onset("80 m", 3.65e6, 0.205),
        onset("40 m", 7.15e6, 0.221, stops_at=ControlSetting(0.973, 55.41)),
        onset("20 m", 14.2e6, 0.187),
        without(LONG, 1.9e6, Status.DOES_NOT, 0.083, 0.694),
    )


@pytest.fixture
def nyquists():
    settings = (("well below onset", 0.62, 0.246, 14.9), ("at onset", 1.0, 0.447, 24.18))
    curves_ = [nyquist("40 m", 7.15e6, t, label, ControlSetting(r, v)) for label, t, r, v in settings]
    return (*curves_, nyquist("40 m", 7.15e6, 1.37, "well above onset", ControlSetting(0.782, 43.07)))


@pytest.fixture
def selectivities():
    return (selectivity("80 m", 3.65e6, 171.0, 0.06), selectivity("20 m", 14.2e6, 118.0, -0.04))


@pytest.fixture
def audio():
    frequency = np.logspace(1, 5, 121)

    def output(name, low, high, gain, source, load, low_hz, high_hz):
        overall = 1.0 / np.abs((1.0 + low / (1j * frequency)) * (1.0 + 1j * frequency / high))
        overall /= np.interp(1000.0, frequency, overall)
        return OutputResponse(name, frequency, overall * gain, overall, gain, low_hz, high_hz, source, load)

    return AudioResponse(
        ControlSetting(0.431, 23.4),
        (
            output("headset", 143.0, 3310.0, 21.7, 6840.0, 10230.0, 137.0, 3460.0),
            output("line to the club's tape recorder", 31.0, 9120.0, 1.43, 587.0, 610.0, 30.9, None),
            output("speaker", 262.0, 5870.0, 0.0931, 7.31, 8.44, 251.0, 6120.0),
        ),
    )


@pytest.fixture
def hum():
    position = np.linspace(0.0, 1.0, 21)

    def output(name, scale, null, rest, ripple):
        mains = scale * np.hypot(position - null, rest)
        build = float(np.hypot(scale * np.hypot(0.5 - null, rest), ripple))
        best = float(np.hypot(scale * rest, ripple))
        return OutputHum(name, position, mains, ripple, build, null, best)

    return Hum(
        ControlSetting(0.431, 23.4),
        50.0,
        100.0,
        0.5,
        True,
        (
            output("headset", 0.0384, 0.437, 0.021, 0.00031),
            output("line to the club's tape recorder", 0.0052, 0.448, 0.014, 0.000122),
            output("speaker", 0.00017, 0.436, 0.030, 0.0000013),
        ),
    )


@pytest.fixture
def operating_points():
    def point(label, rotation, screen):
        detector = TubePoint(
            "detector", "6SJ7", 187.3 - screen, screen, -0.31, 0.004, 1e-3 * screen / 23,
            3.1e-4 * screen / 23, 1.4e-7, 0.167, 0.0072,
            ("6SJ7: screen at 26.9 V, published points at 100 to 250 V",),
        )  # fmt: skip
        audio_tube = TubePoint("audio", "6SN7", 171.2, None, 0.0, 5.83, 4.86e-3, None, 0.0, 0.804, None, ())
        ratings = (
            RatingLine("detector 6SJ7", "screen dissipation", 0.0072 * screen / 23, 0.7, "W"),
            RatingLine("audio 6SN7", "plate volts", 165.4 + screen, 210.0, "V"),
        )
        volts = {"B+ at the filter": 203.1, "regulated line": 74.6, "wiper of the control": screen + 6.2}
        return OperatingPoint(
            label, ControlSetting(rotation, screen), (detector, audio_tube), volts, 3.27e-3, ratings
        )

    return (point("half way", 0.5, 26.94), point("highest", 1.0, 57.02))


@pytest.fixture
def regulator():
    holds = MainsPoint(
        1.0, 205.0, 74.6, 3.27e-3, True, 24.2, Status.OSCILLATES, ControlSetting(0.447, 24.2), "regulates"
    )
    low = dataclasses.replace(
        holds, mains=0.9, supply_v=184.5, regulated_v=71.9, regulator_a=4.1e-4, holds=False, screen_v=23.1,
        onset=ControlSetting(0.469, 24.3), reason="too little current to regulate",
    )  # fmt: skip
    high = dataclasses.replace(
        holds, mains=1.1, supply_v=225.5, regulated_v=75.2, regulator_a=6.02e-3, screen_v=24.5,
        onset_status=Status.NOT_IN_RANGE, onset=None,
    )  # fmt: skip
    return RegulatorDrift("40 m", 7.15e6, 0.447, (low, holds, high), 1.51, 0.453)


@pytest.fixture
def verdicts():
    return (
        Verdict("40 m", "onset_rotation_min", Grade.GOOD, 0.447, 0.15, "1", "Onset lies inside the travel."),
        Verdict(
            LONG, "must_oscillate", Grade.BAD, 0.694, 1.0, "", "It never oscillates: raise the tap, or use a "
            "coil of higher Q, or let the control reach more volts at the screen than it does now.",
        ),
        Verdict("40 m", "approach_min", Grade.DOUBTFUL, 7.3, 10.0, "deg", "The last bit is quick."),
        Verdict("hum", "hum_max", Grade.BAD, 2.4e-3, 1e-3, "V", "Set the pot to 44 %."),
        Verdict("regulator", "regulator_holds", Grade.DOUBTFUL, None, None, "", "It lets go at low mains."),
    )  # fmt: skip


@pytest.fixture
def report(curves, onsets, nyquists, selectivities, audio, hum, operating_points, regulator, verdicts):
    def band(number, ends, nyquist_=(), selectivity_=None, strength=0.2):
        middle = onsets[number]
        low, high = (
            (
                onset(middle.band, hz, s)
                if middle.status is Status.OSCILLATES
                else dataclasses.replace(middle, dial_hz=hz)
            )
            for hz, s in zip(ends, (strength * 0.93, strength * 1.04), strict=True)
        )
        return BandReport(middle.band, (low, middle, high), curves[number], nyquist_, selectivity_)

    spoilt = BandReport(
        "10 m (trial)",
        (
            without("10 m (trial)", 28.0e6, Status.NOT_IN_RANGE, 1.312, 4.07),
            without("10 m (trial)", 28.85e6, Status.FAILED, None, None, "no convergence at the d.c. point"),
            without("10 m (trial)", 29.7e6, Status.NOT_IN_RANGE, 1.441, 4.35),
        ),
        None,
        (),
        None,
    )
    return CheckReport(
        reference_band="40 m",
        title="Invented set for the tests, \u00e4 la carte [bold]not markup[/bold]",
        bands=(
            band(0, (3.5e6, 3.8e6), selectivity_=selectivities[0], strength=0.205),
            band(1, (7.0e6, 7.3e6), nyquists, strength=0.221),
            band(2, (14.0e6, 14.35e6), selectivity_=selectivities[1], strength=0.187),
            band(3, (1.81e6, 2.0e6)),
            spoilt,
        ),
        oscillation=(),
        operating_points=operating_points,
        audio=audio,
        hum=hum,
        hum_paths=None,
        regulator=regulator,
        verdicts=verdicts,
        provenance=Provenance(
            "ab12" * 16, (DeckRun("a", "cd34" * 16), DeckRun("b", "ef56" * 16)),
            "0.1.0", "39", {"6SJ7": "98fe" * 16, "6SN7": "76dc" * 16}
        ),
        cautions=cautions.ALL,
        warnings=("20 m: the screen works below the range the card was fitted on.",),
        evaluations=147,
    )  # fmt: skip
