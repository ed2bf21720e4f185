"""Plots of the envelope view: amplitude against control with both branches, ramps, sensitivity, pulling."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from receiver_sim.results.base import FloatArray, Status
from receiver_sim.results.envelope import Detection, Oscillation, Verification
from receiver_sim.views.numbers import engineering, fixed, percent
from receiver_sim.views.plots import style


def _extra(found: Oscillation) -> str:
    if found.extra_screen_ohm == 0.0:
        return "as built"
    return f"+ {engineering(found.extra_screen_ohm, 'ohm')} to the screen"


def _kind(found: Oscillation) -> str:
    if found.kind is not None:
        return f"{found.kind.value} onset"
    if found.once_started is not None:
        return "goes on once started"
    if found.status is Status.NOT_IN_RANGE:
        return "all over the control"
    return "no onset on this control"


def plot_amplitude(
    found: Oscillation, ax: Axes | None = None, *, overlays: Sequence[Oscillation] = ()
) -> Axes:
    """Draw amplitude of oscillation against the knob, one line for each resistance in the screen's lead.

    A fold is drawn as it is: the part that runs backwards cannot be held, arrows show where the amplitude
    jumps. Returns the axes.
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
    )
    shown = [o for o in (found, *overlays) if o.amplitudes is not None]
    for index, one in enumerate(shown):
        pen = style.pen_of(_extra(one), [_extra(o) for o in shown], index)
        _branches(ax, one, colour=pen.colour, dash=pen.dash, label=_extra(one))
    ax.set_ylim(bottom=0.0)
    if len(shown) > 1:
        ax.legend(loc="upper left", frameon=False, fontsize=style.SMALL)
    return ax


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
    ax.set_ylim(bottom=0.0)
    ax.legend(loc="upper left", frameon=False, fontsize=style.SMALL)
    return ax


def plot_detection(found: Detection, ax: Axes | None = None) -> Axes:
    """Draw audio of AM below onset and of a beat note above it against the knob, onset marked."""
    ax = style.new_axes() if ax is None else ax
    style.dress(
        ax,
        title=f"{found.band}: sensitivity against the control",
        subtitle=f"{found.output}, {engineering(found.am.carrier_v, 'V')} r.m.s. in the aerial. Best: AM at "
        f"{percent(found.am.best.rotation, 1)}, beat note at {percent(found.beat.best.rotation, 1)}.",
        x="Rotation of the regeneration control (% of travel)",
        y="Audio (V r.m.s.)",
    )
    for index, curve in enumerate((found.am, found.beat)):
        pen = style.pen_of(curve.signal, (found.am.signal, found.beat.signal), index)
        label = f"{curve.signal}, {fixed(curve.tone_hz, 0)} Hz"
        ax.plot(curve.rotation * 100.0, curve.audio_v, label=label, **pen.line())
    ax.axvline(found.onset.rotation * 100.0, color=style.SOFT, linewidth=0.9)
    ax.set_yscale("log")
    ax.legend(loc="lower right", frameon=False, fontsize=style.SMALL)
    return ax


def plot_pulling(found: Detection, ax: Axes | None = None) -> Axes:
    """Draw the beat against the carrier's offset: locked, pulled, free."""
    ax = style.new_axes() if ax is None else ax
    pull = found.pulling
    style.dress(
        ax,
        title=f"{found.band}: pulling and locking",
        subtitle=f"Carrier of {engineering(pull.carrier_v, 'V')} r.m.s.; range of locking "
        f"{fixed(pull.lock_hz, 0)} Hz each way.",
        x="Offset of the carrier (Hz)",
        y="Beat note (Hz)",
    )
    pen = style.pen_of("beat", ("beat",), 0)
    ax.plot(
        [0.0, pull.offset_hz[-1]], [0.0, pull.offset_hz[-1]], color=style.SOFT, linewidth=0.9, label="free"
    )
    ax.plot(pull.offset_hz, pull.beat_hz, label="heard", **pen.line())
    ax.legend(loc="upper left", frameon=False, fontsize=style.SMALL)
    return ax
