"""A page's report made up from closed forms: every figure known, nothing simulated."""

from __future__ import annotations

import numpy as np

from receiver_sim.results import cautions
from receiver_sim.results.bands import BandReport, Grade, Verdict
from receiver_sim.results.base import DeckRun, Provenance, Status
from receiver_sim.results.check import CheckReport
from receiver_sim.results.onset import ControlSetting, Onset
from receiver_sim.results.page import HeardPiece, PageReport, Turned

RATE, GLIDE_S, GLIDE_HZ = 12_000.0, 1.6, 1200.0
ONSETS = (0.412, 0.553, None)
"""Of the bands; the last does not oscillate."""


def placed(rotation: float | None) -> ControlSetting | None:
    return None if rotation is None else ControlSetting(rotation, 57.0 * rotation)


def turned(index: int) -> Turned:
    """A band whose loop gain rises with the square root of the knob; the second one has backlash."""
    at = ONSETS[index]
    rotation = np.unique(np.concatenate([np.linspace(0.0, 1.0, 81), [] if at is None else [at]]))
    gain = np.sqrt(rotation / at) if at is not None else 0.7 * np.sqrt(rotation)
    offset = np.linspace(-20e3, 20e3, 81)
    width = [None if g >= 1.0 else 60e3 * (1.0 - float(g)) + 50.0 for g in gain]
    # a single resonance: |H| = 1/sqrt(1 + (2 df/BW)^2), its peak as 1/BW
    level = [
        None if w is None else tuple(20.0 * np.log10(60e3 / w / np.sqrt(1.0 + (2.0 * offset / w) ** 2)))
        for w in width
    ]
    down = np.zeros(rotation.size)
    up = np.zeros(rotation.size)
    gone = None
    if at is not None:
        gone = at - (0.05 if index == 1 else 0.0)
        down = np.where(rotation >= gone - 1e-9, 2.0 + 3.0 * (rotation - gone), 0.0)
        up = np.where(rotation >= at - 1e-9, down, 0.0)
    return Turned(
        band=("80 m", "40 m", "10 m")[index], dial_hz=(3.6e6, 7.1e6, 28.5e6)[index],
        status=Status.DOES_NOT if at is None else Status.OSCILLATES,
        onset=placed(at), gone=placed(gone), rotation=rotation,
        figure=57.0 * rotation, gain=gain, width_hz=tuple(width), up_v=up, down_v=down, offset_hz=offset,
        level_db=tuple(level),
    )  # fmt: skip


def whistle(rotation: float) -> HeardPiece:
    """A beat note that glides with the dial: its phase is the integral of the offset."""
    t = np.arange(round(GLIDE_S * RATE)) / RATE
    slope = 2.0 * GLIDE_HZ / GLIDE_S
    volts = 0.02 * np.cos(2.0 * np.pi * (-GLIDE_HZ * t + 0.5 * slope * t**2))
    return HeardPiece(
        "80 m", "carrier", rotation, -GLIDE_HZ, GLIDE_HZ, 50e-6, "phones", RATE, volts,
        90.0 + 20.0 * float(np.log10(0.02 / np.sqrt(2.0))), 90.0,
    )  # fmt: skip


def onset(one: Turned) -> Onset:
    return Onset(
        band=one.band, dial_hz=one.dial_hz, status=one.status, onset=one.onset, oscillation_hz=None,
        slope_per_v=None, approach_v=None, approach_deg=None, at_nine_tenths=None, gain_lowest=0.0,
        gain_highest=1.4, stops_at=None, tuning_farad=40e-12, evaluations=3,
    )  # fmt: skip


def report() -> PageReport:
    """Three bands, a whistle at two settings, a danger, a fault with markup in its words."""
    bands = tuple(turned(i) for i in range(3))
    check = CheckReport(
        title="Invented <b>set</b>", reference_band="80 m",
        bands=tuple(BandReport(b.band, (onset(b),), None, (), None) for b in bands),
        oscillation=(), operating_points=(), audio=None, hum=None, hum_paths=None, regulator=None,
        verdicts=(Verdict("10 m", "onset", Grade.BAD, None, None, "", "raise Q & try <i>again</i>"),),
        provenance=Provenance("ab12" * 16, (DeckRun("a", "cd34" * 16),), "0.1.0", "39", {}),
        cautions=("DANGER, phones: at plate potential.", *cautions.ALL),
        warnings=("a <script>note</script>",), evaluations=7,
    )  # fmt: skip
    return PageReport("Invented <b>set</b>", check, bands, (whistle(0.40), whistle(0.43)), 1.0)
