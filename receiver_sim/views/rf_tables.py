"""An r.f. stage beside the same set without it, as a table."""

from __future__ import annotations

from collections.abc import Sequence

from receiver_sim.results.base import Status
from receiver_sim.results.cautions import RADIATION
from receiver_sim.results.rf_stage import FrontEnd, RfStageEffect
from receiver_sim.views.numbers import NOTHING, engineering, fixed, shorten
from receiver_sim.views.sheet import Column, Grid, Note, Section

_INDENT = "   "
_SHORT = {Status.DOES_NOT: "none", Status.NOT_IN_RANGE: "always", Status.FAILED: "failed"}


def rf_stage_table(effects: Sequence[RfStageEffect]) -> Section:
    """Return onset, its spread over the dial, gain, radiation and noise, with the stage and without."""
    columns = (
        Column("band", "left"), Column("r.f. stage", "left"), Column("onset\nknob %"),
        Column("over the\ndial %"), Column("tank Q"), Column("aerial to\ntank V/V"),
        Column("\nradiated"), Column("weakest\nsignal"),
    )  # fmt: skip
    rows = []
    for effect in effects:
        for number, (what, end) in enumerate((("as built", effect.present), ("none", effect.without))):
            rows.append((shorten(effect.band, 12) if number == 0 else "", what, *_row(end)))
    first = effects[0]
    notes = [
        Note(
            "without it, the aerial stands where the stage's plate was; radiated: for 1 V peak at the hot "
            f"end; weakest signal: e.m.f. in the aerial {fixed(first.ratio_db, 0)} dB above the set's own "
            f"noise in {engineering(first.bandwidth_hz, 'Hz')}",
            mark=_INDENT,
        ),
        *(_note_of(effect) for effect in effects),
    ]
    parts: tuple[Grid | Note, ...] = (Grid(columns, tuple(rows)), *notes)
    return Section("R.f. stage, beside the same set without it", parts, RADIATION)


def onset_place(end: FrontEnd) -> str:
    """Return the place of onset on the knob, in %, or why there is none."""
    return fixed(end.onset.rotation, 1, 100.0) if end.onset else _SHORT.get(end.status, NOTHING)


def _row(end: FrontEnd) -> tuple[str, ...]:
    low, high = float(end.along_rotation.min()), float(end.along_rotation.max())
    return (
        onset_place(end),
        f"{fixed(low, 0, 100.0)} to {fixed(high, 0, 100.0)}",
        fixed(end.q, 0),
        fixed(end.aerial_gain, 2),
        engineering(end.power_w, "W"),
        NOTHING if end.weakest_v is None else engineering(end.weakest_v, "V"),
    )


def _note_of(effect: RfStageEffect) -> Note:
    worst = int(effect.without.along_rotation.argmax())
    at = effect.along_hz[worst]
    bare, there = effect.without.along_rotation[worst], effect.present.along_rotation[worst]
    where = engineering(float(at), "Hz")
    return Note(
        f"{effect.band}: the set radiates {fixed(effect.radiation_db, 0)} dB less with the stage; where the "
        f"aerial takes most without it, at {where}, onset needs "
        f"{fixed(float(bare), 0, 100.0)} % of the knob without the stage and "
        f"{fixed(float(there), 0, 100.0)} % with it",
        mark=_INDENT,
    )
