"""In which order is a set switched on for the first time, what should be seen, and when to stop?

The order is common practice (no source); the figures are those of the charts.
"""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.results.bench_chart import PinChart, PinReadings
from receiver_sim.results.bench_sheet import BringUpStep, OnsetToCheck
from receiver_sim.schema import Build

_SUPPLY = "plate supply"


def steps(
    build: Build, charts: Sequence[PinChart], onsets: Sequence[OnsetToCheck], null: float | None
) -> tuple[BringUpStep, ...]:
    """Return the steps in their order. Nothing live is asked for before the cold checks are done."""
    down = charts[0] if charts else None
    out = [*_cold(build, down), *_first_power(build, down), *_tubes_in(build, down)]
    out += _phones(build) + _hum(build, null) + _regeneration(onsets)
    out.append(
        BringUpStep(
            True,
            "Measure every pin of the chart and write the readings into its blank column.",
            "Within 15 % of the chart (parts of 10 % and tubes as they come; common practice).",
            "A reading that is off by more: switch off, discharge, and look for the cause before continuing.",
        )
    )
    return tuple(out)


def _point(chart: PinChart | None, words: str) -> PinReadings | None:
    return None if chart is None else next((p for p in chart.pins if p.words == words), None)


def _volts(value: float) -> str:
    """Return volts as a meter's last digit lets them be read."""
    return f"{value:.3g} V" if abs(value) >= 5e-3 else "0 V"


def _cold(build: Build, down: PinChart | None) -> list[BringUpStep]:
    supply = _point(down, _SUPPLY)
    ohm = None if supply is None else supply.off_ohm
    said = "More than 20 Mohm" if ohm is None else f"About {ohm / 1e3:.3g} kohm"
    half = "" if ohm is None else f" Below {0.5 * ohm / 1e3:.3g} kohm: find the short before any power."
    wait = "once the capacitors have charged through the meter" if build.supply.kind == "rectifier" else ""
    out = [
        BringUpStep(
            False,
            "Mains plug out, batteries off, tubes out. Compare every joint with the wiring list and tick it.",
            "Each pin goes where the list says, and nowhere else.",
            "A joint that is not on the list.",
        ),
        BringUpStep(
            False,
            "Ohmmeter from the plate supply line to chassis, positive lead on the line.",
            f"{said} {wait}".rstrip() + ".",
            f"A reading near zero, or one that does not rise.{half}",
        ),
        BringUpStep(
            False,
            "Ohmmeter at every pin against the column 'set off' of the chart.",
            "Within 20 % (parts of 10 %; the ohmmeter has its own error).",
            "A short where the chart has none, or an open pin where it has a path.",
        ),
    ]
    if build.supply.bleeder is not None:
        out.append(
            BringUpStep(
                False,
                f"Ohmmeter across the bleeder of {build.supply.bleeder / 1e3:.3g} kohm, one end lifted or "
                "with the supply line open.",
                "Its value: it is what empties the capacitors.",
                "Open, or far above its value: the supply would stay charged.",
            )
        )
    return out


def _first_power(build: Build, down: PinChart | None) -> list[BringUpStep]:
    heater = f"{build.heater.volts:g} V {'a.c.' if build.heater.supply == 'ac' else 'd.c.'}"
    battery = build.supply.kind == "battery"
    lamp = "" if battery else " (and a series lamp of 25 to 40 W on the mains side)"
    more = "" if battery else ", up to 10 % more with no tubes in; the lamp goes dark"
    out = [
        BringUpStep(
            True,
            f"Tubes out, control fully down, meter clipped on before power. Switch on through a fuse{lamp}, "
            "one hand off the chassis. Heater pins first.",
            f"{heater} at the heater pins{more}.",
            "Plate volts at a heater pin, something smokes, or the fuse goes."
            if battery
            else "The lamp stays bright, something smokes or hums loudly, or the fuse goes.",
        )
    ]
    if down is not None:
        rows = {p.node: p for p in down.pins if p.without_tube and p.words in ("plate", "screen")}
        said = "; ".join(
            f"{p.socket} {p.words} {_volts(p.without_tube[-1].reading_v)}" for p in rows.values()
        )
        out.append(
            BringUpStep(
                True,
                "Tubes still out: plate and screen pins, 10 Mohm meter, highest range first.",
                f"{said} with this tube out; a little more with all out.",
                "No voltage at a plate pin: its load is open. A voltage at a grid or cathode pin: a wrong "
                "joint or a leaky capacitor.",
            )
        )
    if battery:
        out.append(
            BringUpStep(
                True,
                "Switch off, take the batteries off, keep the meter on the supply line and watch it fall.",
                "Near 0 V within seconds, then discharge each capacitor through 1 kohm, 5 W.",
                "It does not fall: a battery is still joined to the line.",
            )
        )
        return out
    out.append(
        BringUpStep(
            True,
            "Switch off, pull the plug, keep the meter on the supply line and watch it fall.",
            "Below 60 V within a minute, then discharge each capacitor through 1 kohm, 5 W.",
            "It does not fall: no bleeder, or an open one. Discharge by hand and mend it first.",
        )
    )
    return out


def _tubes_in(build: Build, down: PinChart | None) -> list[BringUpStep]:
    supply, lit = _point(down, _SUPPLY), _point(down, "regulator")
    out = []
    if supply is not None:
        out.append(
            BringUpStep(
                True,
                "Off and discharged, put the tubes in. Switch on, control fully down, wait a minute.",
                f"Plate supply {supply.with_tube[-1].reading_v:.3g} V, heaters aglow, no plate glowing.",
                f"Supply below {0.8 * supply.true_v:.3g} V or still falling, a plate that glows red, blue "
                "haze inside a tube, a hot electrolytic.",
            )
        )
    if lit is not None:
        gas = build.regulator is not None and build.regulator.kind == "gas_tube"
        out.append(
            BringUpStep(
                True,
                "Regulator." + (" It must glow." if gas else ""),
                f"{lit.true_v:.3g} V, the same with the control fully up.",
                "A voltage that follows the control or stays well above: the regulator is dead or not fed.",
            )
        )
    return out


def _phones(build: Build) -> list[BringUpStep]:
    if not any(phone.at == "plate" for phone in build.phones):
        return []
    return [
        BringUpStep(
            True,
            "No phones plugged in: meter from the phone terminals to chassis.",
            "0 V within a few seconds of switching on.",
            "More than 2 V that stays: the blocking capacitor leaks and the lead would be at plate voltage. "
            "Switch off, discharge, fit a new one. Never wear the phones before this check.",
        )
    ]


def _hum(build: Build, null: float | None) -> list[BringUpStep]:
    if null is None:
        return []
    return [
        BringUpStep(
            True,
            "Phones on, volume up. Turn the hum pot from where it stands "
            f"({100 * build.heater.hum_pot_position:.0f} %).",
            f"Least hum near {100.0 * null:.0f} % of its track from heater end a.",
            "No least hum within the track, or loud hum at all settings: see `receiver-sim hum`.",
        )
    ]


def _regeneration(onsets: Sequence[OnsetToCheck]) -> list[BringUpStep]:
    said = "; ".join(
        f"{one.band} {100.0 * one.rotation:.0f} % ({one.degrees_deg:.0f} deg)"
        for one in onsets
        if one.rotation is not None
    )
    if not said:
        return []
    return [
        BringUpStep(
            True,
            "Aerial on, turn the control up slowly on each band.",
            f"A rushing sound that grows, then the set begins to oscillate near: {said} of the control.",
            "No oscillation anywhere: tap or tickler at the wrong end, screen voltage, wrong pin. Turn back "
            "below onset when done: an oscillating detector on an aerial transmits.",
        )
    ]
