"""Tables on the aerial, on what the set radiates, and on breakthrough. Made from results only."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.results.cautions import RADIATION
from receiver_sim.results.coils import (
    AerialEffect,
    Breakthrough,
)
from receiver_sim.views.numbers import NOTHING, decibel, engineering, fixed, shorten
from receiver_sim.views.sheet import Column, Grid, Section
from receiver_sim.views.sheet import note_under as _note
from receiver_sim.views.states import in_a_word

_NAME = 14


_STATES = {"calm": "calm", "less": "less C", "more": "more C", "none": "taken off"}


def aerial_table(effects: Sequence[AerialEffect]) -> Section:
    """Return what the aerial does to resonance, Q and onset as it swings."""
    columns = (
        Column("band", "left"), Column("dial MHz"), Column("R ohm"), Column("X ohm"),
        Column("aerial", "left"),
        Column("C pF"), Column("shift Hz"), Column("Q"), Column("onset at %"),
    )  # fmt: skip
    rows = []
    for effect in effects:
        for number, state in enumerate(effect.states):
            first = (
                shorten(effect.band, _NAME),
                fixed(effect.dial_hz, 3, 1e-6),
                fixed(effect.resistance_ohm, 1),
                fixed(effect.reactance_ohm, 0),
            )
            rows.append(
                (
                    *(first if number == 0 else ("", "", "", "")),
                    _STATES.get(state.state, state.state),
                    fixed(state.capacitance_farad, 1, 1e12),
                    fixed(state.shift_hz, 0),
                    fixed(state.q, 1),
                    fixed(state.onset.rotation, 1, 100.0) if state.onset else in_a_word(state.status),
                )
            )
    how = {
        "link": "by the link of each coil",
        "capacitor": "by a capacitor to the hot end",
        "stage": "to the grid of the r.f. stage",
    }
    text = (
        f"Coupled {how.get(effects[0].coupling, effects[0].coupling)}. Dial left alone as the aerial "
        f"swings; onset "
        "with the aerial taken off is for a dial tuned again."
    )
    return Section("Aerial", (Grid(columns, tuple(rows)), _note(text)), RADIATION)


def radiation_table(effects: Sequence[AerialEffect]) -> Section:
    """Return what the detector radiates when it oscillates, with what was assumed."""
    columns = (
        Column("band", "left"), Column("tank V peak"), Column("aerial mA rms"), Column("height m"),
        Column("R rad. ohm"), Column("radiated uW"), Column("uV/m at 100 m"),
    )  # fmt: skip
    rows = tuple(
        (
            shorten(effect.band, _NAME),
            fixed(effect.radiation.tank_v, 2),
            engineering(effect.radiation.aerial_a * 1e3, ""),
            fixed(effect.radiation.height_m, 2),
            engineering(effect.radiation.radiation_ohm, ""),
            engineering(effect.radiation.power_w * 1e6, ""),
            engineering(effect.radiation.field_v_per_m * 1e6, ""),
        )
        for effect in effects
    )
    notes = [_note("The receiver transmits. Power grows with the square of the tank voltage.")]
    if any(effect.radiation.tank_assumed for effect in effects):
        notes.append(_note("The tank voltage is an assumption: give yours with --tank-volts."))
    if any(effect.radiation.height_assumed for effect in effects):
        notes.append(_note("The aerial's effective height is an assumption: set 'aerial.effective_height'."))
    return Section("Radiated while oscillating", (Grid(columns, rows), *notes), RADIATION)


def breakthrough_table(results: Sequence[Breakthrough]) -> Section:
    """Return what a strong medium-wave station leaves between grid and cathode, and of links what a shield
    gains.
    """
    linked = any(one.station_shielded_v for one in results)
    columns = [
        Column("\nband", "left"), Column("station\nkHz"), Column("e.m.f.\nV"),
        Column("grid mV,\nno shield" if linked else "grid\nmV"),
    ]  # fmt: skip
    if linked:
        columns += [Column("grid mV,\nshield"), Column("shield\ngains dB"), Column("\nshield", "left")]
    columns += [Column("tuned signal\nV per V"), Column("as strong as\ntuned uV")]
    rows = []
    for one in results:
        shielded = one.station_shielded_v
        row = [
            shorten(one.band, _NAME),
            fixed(one.station_hz, 0, 1e-3),
            engineering(one.emf_v, ""),
            engineering(one.station_v * 1e3, ""),
        ]
        if linked:
            row += [
                NOTHING if shielded is None else engineering(shielded * 1e3, ""),
                decibel(None if not shielded else one.station_v / shielded),
                one.shield,
            ]
        rows.append((*row, engineering(one.wanted, ""), engineering(one.equal_v * 1e6, "")))
    texts = [
        "Volts rms between grid and cathode, no regeneration. Last column: e.m.f. of a signal on the dial "
        "that makes as much voltage there as the station does, the set as built."
    ]
    if linked:
        texts.append(
            "Shield 'assumed': the build has none; one that leaves 5 % of the capacitance is assumed. A link "
            "with one end on the chassis gains next to nothing from a shield; a link on a feeder does."
        )
    grid = Grid(tuple(columns), tuple(rows))
    return Section("Breakthrough of a strong station", (grid, *map(_note, texts)))
