"""Plots of the envelope view: amplitude against control with both branches, ramps, sensitivity, pulling."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from receiver_sim.results.base import FloatArray, Status
from receiver_sim.results.envelope import Detection, MapEnd, Oscillation, Verification
from receiver_sim.views import states
from receiver_sim.views.numbers import engineering, fixed, percent
from receiver_sim.views.plots import style
from receiver_sim.views.states import IN_SHORT


def _extra(found: Oscillation) -> str:
    if found.extra_screen_ohm == 0.0:
        return "as built"
    return f"+ {engineering(found.extra_screen_ohm, 'ohm')} to the screen"


def _kind(found: Oscillation) -> str:
    if found.kind is not None:
        return f"{found.kind.value} onset"
    if found.status is Status.FAILED:
        return "simulation failed"
    if found.once_started is not None:
        return "continues once started"
    if found.status is Status.NOT_IN_RANGE:
        return "all over the control"
    return "no onset on this control"


def plot_amplitude(
    found: Oscillation, ax: Axes | None = None, *, overlays: Sequence[Oscillation] = ()
) -> Axes:
    """Draw amplitude of oscillation against the knob, one line for each resistance in the screen's lead.

    A fold is drawn as it is: the part that runs backwards cannot be held, arrows show where the amplitude
    jumps. Below onset the line lies at zero, over the whole control where nothing oscillates; where the
    simulation failed there is none, and the words say so. Returns the axes.
    """
    ax = style.new_axes() if ax is None else ax
    kind = _kind(found)
    style.dress(
        ax,
        title=f"{found.band}: strength of oscillation against the control",
        subtitle=f"{kind[0].upper()}{kind[1:]}; peak volts at the hot end of the tank, dial "
        f"{fixed(found.dial_hz, 3, 1e-6)} MHz. Arrows: jumps; fine dots: cannot be held.",
        x="Rotation of the regeneration control (% of travel)",
        y="Amplitude (V peak)",
        under="How strong it oscillates. A line that rises from zero: a smooth start. An arrow: it jumps.",
    )
    every = (found, *overlays)
    names = [_extra(one) for one in every]
    lines = 0
    for index, one in enumerate(every):
        pen = style.pen_of(_extra(one), names, index)
        if one.amplitudes is not None:
            _branches(ax, one, colour=pen.colour, dash=pen.dash, label=_extra(one))
        _silence(ax, one, index=index, colour=pen.colour, dash=pen.dash)
        lines += one.amplitudes is not None or one.status is Status.DOES_NOT
    ax.set_xlim(0.0, 100.0)
    style.plain_ticks(ax.xaxis, range(0, 101, 10))
    if any(one.amplitudes is not None for one in every):
        ax.set_ylim(bottom=0.0)
    else:  # no scale to tell anything by
        ax.set_ylim(-0.02, 1.0)
        style.plain_ticks(ax.yaxis, [0.0] if lines else [])
    said = [line for one in every if one.amplitudes is None for line in _said(one, alone=len(every) == 1)]
    if said and found.amplitudes is None:
        style.say(ax, said)
    elif said:
        ax.text(
            0.015, 0.84, "\n".join(said), transform=ax.transAxes, fontsize=style.SMALL, color=style.SOFT,
            va="top", linespacing=1.4, parse_math=False,
        )  # fmt: skip
    if len(every) > 1:
        ax.legend(loc="upper left", frameon=False, fontsize=style.SMALL)
    return ax


def _said(found: Oscillation, *, alone: bool) -> list[str]:
    """Return the state of an answer without amplitudes in words."""
    lines = states.on_picture(found)
    return lines if alone else [f"{_extra(found)}: {lines[0]}", *lines[1:]]


def _silence(ax: Axes, found: Oscillation, *, index: int, colour: str, dash: Any) -> None:
    """Draw the settings that are known to sustain nothing: up to onset, or the whole control."""
    if found.onset is not None:
        end = found.onset.rotation
    elif found.status is Status.DOES_NOT and found.once_started is None:
        end = 1.0
    else:
        return
    label = _extra(found) if found.amplitudes is None else None
    ax.plot(
        [0.0, end * 100.0], [0.0, 0.0], color=colour, linestyle=dash, linewidth=1.8, label=label,
        gid=f"silent-{index}", clip_on=False,
    )  # fmt: skip


def _branches(ax: Axes, found: Oscillation, *, colour: str, dash: Any, label: str) -> None:
    amplitudes = found.amplitudes
    assert amplitudes is not None
    x, y = amplitudes.rotation * 100.0, amplitudes.amplitude_v
    held = np.gradient(x) > 0.0 if x.size > 1 else np.ones(x.size, dtype=bool)
    if found.onset is not None:  # else it does not begin from nothing
        x, y, held = np.append(x[0], x), np.append(0.0, y), np.append(held[0], held)
    line: dict[str, Any] = {"color": colour, "linewidth": 1.8}
    ax.plot(x, np.where(held, y, np.nan), linestyle=dash, label=label, **line)
    if not held.all():
        ax.plot(x, np.where(held, np.nan, y), linestyle=(0, (0.6, 1.4)), **line)
    for rotation, start, stop in _jumps(found):
        ax.annotate(
            "",
            xy=(rotation * 100.0, stop),
            xytext=(rotation * 100.0, start),
            arrowprops={"arrowstyle": "-|>", "color": colour, "linewidth": 1.2},
        )
    if amplitudes.ends is not MapEnd.CONTROL:
        ax.annotate(
            amplitudes.ends.value, (float(x[-1]), float(y[-1])), (-6, 4), textcoords="offset points",
            ha="right", va="bottom", fontsize=style.SMALL, color=style.SOFT,
        )  # fmt: skip
        ax.plot(x[-1:], y[-1:], marker="x", markersize=7.0, gid="ends", **line)


def _jumps(found: Oscillation) -> list[tuple[float, float, float]]:
    """Return (rotation, amplitude before, amplitude after) of what an arrow shows."""
    jump, started = found.jump, found.once_started
    ends = []
    if jump is not None:
        ends.append((jump.down.rotation, jump.falls_from_v, 0.0))
        if jump.to_v is not None:
            ends.append((jump.up.rotation, jump.from_v, jump.to_v))
    if started is not None and started.lets_go:
        ends.append((started.holds_from.rotation, started.amplitude_v, 0.0))
    return ends


def plot_verification(check: Verification, ax: Axes | None = None) -> Axes:
    """Draw the amplitude over a ramp from every cycle of the carrier, the envelope's, and the map of
    amplitudes."""
    ax = style.new_axes() if ax is None else ax
    style.dress(
        ax,
        title=f"{check.band}: envelope against the reference transient",
        subtitle=f"Ramp of the control up and down, {fixed(check.steps_per_cycle, 0)} steps a cycle. "
        "Both time runs lag.",
        x="Rotation of the regeneration control (% of travel)",
        y="Amplitude (V peak)",
        under="Two ways to compute the same thing. Where the lines agree, the quick way can be trusted.",
    )
    pens = [style.pen_of(name, ("reference", "envelope", "map"), i) for i, name in enumerate("rem")]
    amplitudes = check.oscillation.amplitudes
    assert amplitudes is not None
    rows: list[tuple[str, FloatArray, FloatArray]] = [
        ("every cycle", check.reference.rotation, check.reference.amplitude_v),
        ("envelope, same ramp", check.envelope.rotation, check.envelope.amplitude_v),
        ("map, at rest", amplitudes.rotation, amplitudes.amplitude_v),
    ]
    for pen, (label, x, y) in zip(pens, rows, strict=True):
        ax.plot(x * 100.0, y, label=label, **pen.line())
    if check.map_goes_on_to is not None:
        at = check.covered_to.rotation * 100.0
        ax.axvline(at, color=style.SOFT, linewidth=0.9, linestyle=(0, (5, 3)), gid="covered")
        ax.annotate(
            "not verified beyond", (at, 0.03), (4, 0), xycoords=ax.get_xaxis_transform(),
            textcoords="offset points", fontsize=style.SMALL, color=style.SOFT,
        )  # fmt: skip
    ax.set_ylim(bottom=0.0)
    ax.legend(loc="upper left", frameon=False, fontsize=style.SMALL)
    return ax


def plot_detection(found: Detection, ax: Axes | None = None) -> Axes:
    """Draw audio of AM where the band does not oscillate and of a beat note where it does against the knob,
    onset marked.

    Without an onset on the control the words say its state. Returns the axes.
    """
    ax = style.new_axes() if ax is None else ax
    known = [
        (name, curve) for name, curve in (("AM", found.am), ("beat note", found.beat)) if curve is not None
    ]
    curves = [curve for _, curve in known]
    told = "."
    if curves:
        best = ", ".join(f"{name} at {percent(curve.best.rotation, 1)}" for name, curve in known)
        told = f", {engineering(curves[0].carrier_v, 'V')} r.m.s. in the aerial. Best: {best}."
    state = "" if found.onset is not None else f" {_sentence(IN_SHORT[found.status])}"
    style.dress(
        ax,
        title=f"{found.band}: sensitivity against the control",
        subtitle=f"{found.output}{told}{state}",
        x="Rotation of the regeneration control (% of travel)",
        y="Audio (V r.m.s.)",
        under="How loud a weak station is at each setting of the knob. "
        "The top of a line is its best setting.",
    )
    names = [curve.signal for curve in curves]
    for index, curve in enumerate(curves):
        pen = style.pen_of(curve.signal, names, index)
        label = f"{curve.signal}, {fixed(curve.tone_hz, 0)} Hz"
        ax.plot(curve.rotation * 100.0, curve.audio_v, label=label, **pen.line())
    if found.onset is not None:
        ax.axvline(found.onset.rotation * 100.0, color=style.SOFT, linewidth=0.9)
    if curves:
        ax.set_yscale("log")
        ax.legend(loc="best", frameon=False, fontsize=style.SMALL)
    else:
        ax.set_xlim(0.0, 100.0)
        style.plain_ticks(ax.yaxis, [])
        style.say(ax, [IN_SHORT[found.status], *found.notes])
    return ax


def _sentence(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}."


def plot_loudness(found: Detection, ax: Axes | None = None) -> Axes:
    """Draw audio of AM against the highest audio frequency that passes, over the settings of the control,
    with the setting for speech and the loudness without regeneration.

    Raises ValueError for a band on which AM was not looked at.
    """
    curve = found.am
    if curve is None or curve.reach_hz is None:
        raise ValueError(f"{found.band}: AM was not looked at")
    ax = style.new_axes() if ax is None else ax
    style.dress(
        ax,
        title=f"{found.band}: loudness of AM against what it passes",
        subtitle=f"{found.output}, {engineering(curve.carrier_v, 'V')} r.m.s. in the aerial. Towards onset: "
        "louder and duller.",
        x="Highest audio frequency within 3 dB (kHz)",
        y="Audio (V r.m.s.)",
        under="Near onset a station gets louder, but its high notes are "
        "lost. The marks show a good compromise.",
    )
    pen = style.pen_of(curve.signal, (curve.signal,), 0)
    ax.plot(curve.reach_hz / 1e3, curve.audio_v, label="settings of the control", **pen.line())
    if found.speech is not None:
        one = found.speech
        ax.axvline(one.wanted_hz / 1e3, color=style.SOFT, linewidth=0.9)
        ax.plot(
            [one.reach_hz / 1e3], [one.audio_v], "o", color=pen.colour,
            label=f"for speech, knob {percent(one.setting.rotation, 1)}",
        )  # fmt: skip
        ax.axhline(one.bare_v, color=style.SOFT, linewidth=0.9, linestyle="--", label="no regeneration")
    ax.set_xscale("log")
    ax.set_yscale("log")
    low, high = ax.get_xlim()
    style.plain_ticks(ax.xaxis, [place for place in _KILOHERTZ if low <= place <= high])
    ax.legend(loc="best", frameon=False, fontsize=style.SMALL)
    return ax


_KILOHERTZ = (0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0)


def plot_pulling(found: Detection, ax: Axes | None = None) -> Axes:
    """Draw the beat against the carrier's offset: locked, pulled, free; in words why where there is none."""
    ax = style.new_axes() if ax is None else ax
    pull = found.pulling
    words = "No oscillation to be pulled." if pull is None else (
        f"Carrier of {engineering(pull.carrier_v, 'V')} r.m.s.; range of locking "
        f"{fixed(pull.lock_hz, 0)} Hz each way."
    )  # fmt: skip
    style.dress(
        ax,
        title=f"{found.band}: pulling and locking",
        subtitle=words,
        x="Offset of the carrier (Hz)",
        y="Beat note (Hz)",
        under="A strong station pulls the whistle off its pitch; where the "
        "line is at zero, it has captured the set.",
    )
    if pull is None:
        for axis in (ax.xaxis, ax.yaxis):
            style.plain_ticks(axis, [])
        style.say(ax, [IN_SHORT[found.status], *found.notes])
        return ax
    pen = style.pen_of("beat", ("beat",), 0)
    ax.plot(
        [0.0, pull.offset_hz[-1]], [0.0, pull.offset_hz[-1]], color=style.SOFT, linewidth=0.9, label="free"
    )
    ax.plot(pull.offset_hz, pull.beat_hz, label="heard", **pen.line())
    ax.legend(loc="upper left", frameon=False, fontsize=style.SMALL)
    return ax
