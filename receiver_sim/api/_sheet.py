"""What a constructor takes to the bench."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from receiver_sim.api._common import Progress, hazards, prepare, quiet
from receiver_sim.builds import current_drawn, opened
from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.control import Control
from receiver_sim.circuit.designators import parts_of
from receiver_sim.circuit.factors import factors_of
from receiver_sim.circuit.pins import numbered_pins
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.sets import Start, draws, moved_by, plan_sets
from receiver_sim.circuit.supply_sockets import SupplySocket, listed_with, supply_sockets
from receiver_sim.circuit.wiring_list import wiring_rows
from receiver_sim.engine import Bench, NoSolution
from receiver_sim.errors import NoAnswer
from receiver_sim.failing_stages import Stages
from receiver_sim.judge import bring_up, part_needs
from receiver_sim.measure import rectifier
from receiver_sim.measure.loaded import hard_volts, loaded
from receiver_sim.physics.part_series import E12, E24, is_preferred, nearest_preferred
from receiver_sim.physics.warm_up import (
    CAPACITOR_PER_K,
    COIL_PER_K,
    RISE_K,
    TUBE_FARAD,
    drift_by_capacitance,
    drift_by_heat,
)
from receiver_sim.receiver import Receiver, Tuned
from receiver_sim.results import cautions
from receiver_sim.results.bench_chart import PartNeeds, PinChart
from receiver_sim.results.bench_sheet import (
    BenchSheet,
    DialScale,
    OnsetToCheck,
    OtherValue,
    SocketNote,
    WarmUpDrift,
    WiringLine,
)
from receiver_sim.results.coils import CoilRange
from receiver_sim.results.onset import Onset
from receiver_sim.results.supply import Rectified
from receiver_sim.schema import Build, changed_build
from receiver_sim.studies import (
    coil_sheet,
    hum,
    part_stress,
    pin_chart,
    spread,
    tuning_range,
)
from receiver_sim.studies.drawn_sets import volts_of_set

SETS = 40
"""Drawn sets behind the range of a reading: its ends are good to a fifth of its width or so."""

SEED = 1


@dataclass(frozen=True)
class _Place:
    """A receiver tuned to where it is looked at, and the setting of its control there."""

    tuned: Tuned
    rotation: float

    def circuit(self, build: Build | None = None) -> Circuit:
        """Return the circuit at the working setting; build: a changed one."""
        tuned = self.tuned
        return receiver_circuit(
            tuned.build if build is None else build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz,
            rotation=self.rotation,
        )  # fmt: skip


def sheet(build: Build, *, bench: Bench | None = None, progress: Progress = quiet) -> BenchSheet:
    """Return parts, windings, wiring, order of switching on, readings, dial scale and drift of a build.

    What fails is named in `failed` and does not stop the rest. Raises BuildFaults, EngineError.
    """
    with opened(bench) as b:
        receiver = Receiver(build, b)
        settled, cards = receiver.build, receiver.cards
        setting = prepare(receiver, None)
        tuned = setting.on(receiver)
        at = _Place(tuned, setting.rotation)
        circuit = at.circuit()
        stages = Stages()
        progress("bench sheet", 1, 6)
        stress = stages.run(
            "what the parts must stand",
            lambda: part_stress.run(tuned),
        )
        rectified = None
        if build.supply.kind == "rectifier":
            rectified = stages.run("rectifier and filter", lambda: _rectified(at))
        progress("bench sheet", 2, 6)
        charts = [stages.run(f"chart, {words}", _charter(at, words, place)) for words, place in _settings(at)]
        kept = tuple(chart for chart in charts if chart is not None)
        ranged = stages.run("ranges of readings", lambda: _with_ranges(at, kept)) or kept
        progress("bench sheet", 3, 6)
        searched = [receiver.at(band).onset for band in build.bands]
        others = stages.run("preferred values", lambda: _others(at, circuit)) or ()
        progress("bench sheet", 4, 6)
        null = stages.run("hum pot", lambda: _null(at)) if build.heater.wiring == "hum_pot" else None
        ranges = [stages.run(f"dial of {one.name}", _ranger(at, one)) for one in build.bands]
        progress("bench sheet", 6, 6)
    parts = part_needs.needs(build, circuit, stress, rectified, cards)
    onsets = tuple(_to_check(one, circuit.control) for one in searched)
    return BenchSheet(
        title=build.title,
        parts=parts,
        others=others,
        coils=tuple(coil_sheet.sheet(band) for band in build.bands),
        sockets=_sockets(circuit, cards, supply_sockets(build, circuit)),
        wiring=_wiring(circuit, settled, cards, supply_sockets(build, circuit)),
        steps=bring_up.steps(build, ranged, onsets, null),
        charts=ranged,
        onsets=onsets,
        hum_pot=null,
        scales=tuple(_scale(one) for one in ranges if one is not None),
        drift=tuple(_drift(one) for one in ranges if one is not None),
        notes=(*(() if setting.note is None else (setting.note,)), *_of_no_part(build, parts)),
        cautions=(*hazards(build, settled), *cautions.ALL),
        failed=stages.failed,
    )


def _of_no_part(build: Build, parts: Sequence[PartNeeds]) -> Iterator[str]:
    """Yield a sentence on each rating whose part is not in the set: it could not be held against anything."""
    for one in part_needs.without_part(build.ratings, parts):
        known = ", ".join(line.designator for line in parts)
        yield f"ratings: no part '{one.part}' in this set, so its rating was not checked; there are {known}"


def _settings(at: _Place) -> tuple[tuple[str, float], ...]:
    return (("control fully down", 0.0), ("control just below onset", at.rotation))


def _charter(at: _Place, words: str, place: float) -> Any:
    return lambda: pin_chart.run(at.tuned, rotation=place, setting=words)


def _with_ranges(at: _Place, charts: Sequence[PinChart]) -> tuple[PinChart, ...]:
    """Return the charts with the range of each reading over drawn sets; a set that fails is left out."""
    if not charts:
        return ()
    factors = factors_of(at.tuned.given, at.tuned.build, at.tuned.cards)
    rest = hard_volts(at.tuned.bench, at.circuit(), share=0.5)
    plan = plan_sets(
        at.tuned.build, at.tuned.cards, factors, bands=[at.tuned.band], starts=[Start(None, 1.0, None)],
        seed=SEED, rest=rest,
    )  # fmt: skip
    shares = [plan.maps[0].circuit.control.share(chart.rotation) for chart in charts]

    def one(b: Bench, by: dict[str, float]) -> list[dict[str, float]] | None:
        try:
            return volts_of_set(b, plan, by, shares)
        except (NoSolution, NoAnswer):
            return None

    moved = [moved_by(factors, row) for row in draws(factors, seed=SEED, start=0, stop=SETS)]
    found = [volts for volts in at.tuned.bench.map(one, moved) if volts is not None]
    return tuple(
        pin_chart.with_ranges(chart, [v[i] for v in found], ends=(spread.LOW, spread.HIGH))
        for i, chart in enumerate(charts)
    )


def _ranger(at: _Place, band: Any) -> Any:
    return lambda: tuning_range.run(at.tuned.receiver, band=band)


def _rectified(at: _Place) -> Rectified:
    drawn = current_drawn(at.tuned.receiver, at.rotation)
    bleeder = at.tuned.given.supply.bleeder
    volts = at.tuned.build.supply.volts
    return rectifier.at(
        at.tuned.given, at.tuned.bench, load_a=drawn - (0.0 if bleeder is None else volts / bleeder)
    )


def _null(at: _Place) -> float:
    found = hum.run(at.tuned, rotation=at.rotation)
    return found.outputs[0].best_position


def _to_check(found: Onset, control: Control) -> OnsetToCheck:
    place = found.onset
    return OnsetToCheck(
        band=found.band,
        dial_hz=found.dial_hz,
        status=found.status.value,
        rotation=None if place is None else place.rotation,
        degrees_deg=None if place is None else place.rotation * control.degrees,
        figure=None if place is None else place.figure,
        **control.sets,
    )


_COUNTING = {
    "octal": "from the key clockwise, seen from below",
    "loctal": "from the key clockwise, seen from below",
    "miniature": "from the gap clockwise, seen from below",
    "pin": "clockwise seen from below, beginning at the left of the two thick heater pins",
}
"""How the pins of the usual bases are counted (common practice, no source)."""


def _sockets(circuit: Circuit, cards: Cards, more: Sequence[SupplySocket]) -> tuple[SocketNote, ...]:
    names = {name: part.designator for part in parts_of(circuit) for name in part.elements}
    held = [(names[socket.tube], name, cards.of(name)) for name, socket in circuit.sockets.items()]
    bases = [(part, card.type, card.base, str(card.pins_flag), name) for part, name, card in held]
    bases += [(one.designator, one.tube, one.base, one.pins_flag, "") for one in more]
    return tuple(
        SocketNote(part, tube, base, _counting(base), flag, name) for part, tube, base, flag, name in bases
    )


def _counting(base: str) -> str:
    return next((said for one, said in _COUNTING.items() if one in base), "seen from below")


def _wiring(
    circuit: Circuit, build: Build, cards: Cards, more: Sequence[SupplySocket]
) -> tuple[WiringLine, ...]:
    rows = listed_with(wiring_rows(circuit, numbered_pins(circuit, build, cards)), more)
    return tuple(WiringLine(r.designator, r.socket, r.tube, r.pin, r.words, r.to) for r in rows)


def _scale(one: CoilRange) -> DialScale:
    return DialScale(one.band, one.dial, one.travel_deg, one.marks)


def _drift(one: CoilRange) -> WarmUpDrift:
    heat = [
        drift_by_heat(one.middle_hz, coil_per_k=coil, capacitor_per_k=capacitor, rise=RISE_K)
        for coil, capacitor in zip(COIL_PER_K, CAPACITOR_PER_K, strict=True)
    ]
    tube = drift_by_capacitance(one.middle_hz, added=TUBE_FARAD, total=one.total_farad)
    return WarmUpDrift(one.band, one.middle_hz, tube, heat[1], heat[0], RISE_K)


def _others(at: _Place, circuit: Circuit) -> tuple[OtherValue, ...]:
    """Return what the nearest preferred value changes, for every fixed resistor and capacitor of another."""
    out = []
    before = _volts(at, at.tuned.build)
    for part in parts_of(circuit):
        first = circuit[part.elements[0]]
        value, variable = first.value, first.about.tolerance == "variable capacitor"
        if part.letters not in ("R", "C") or len(part.elements) != 1 or not value or variable:
            continue
        series = E24 if part.letters == "R" else E12
        if is_preferred(value, series):
            continue
        near = nearest_preferred(value, series)
        changed = changed_build(at.tuned.given, {part.key: near}).model_copy(
            update={"supply": at.tuned.build.supply}
        )
        found = at.tuned.receiver.changed(changed).at(at.tuned.band, at.tuned.dial_hz).onset
        after = _volts(at, changed)
        point = max(before, key=lambda name: abs(after[name] - before[name]))
        here = at.tuned.onset.onset
        out.append(
            OtherValue(
                designator=part.designator,
                stated=value,
                preferred=near,
                unit="ohm" if part.letters == "R" else "F",
                onset=None if found.onset is None else found.onset.rotation,
                onset_as_stated=None if here is None else here.rotation,
                volts_v=after[point] - before[point],
                point=point,
            )
        )
    return tuple(out)


def _volts(at: _Place, build: Build) -> dict[str, float]:
    circuit = at.circuit(build)
    with loaded(at.tuned.bench, circuit) as on:
        volts = on.volts()
    return {words: volts[node] for node, words in circuit.meter.items()}


__all__: Sequence[str] = ["sheet"]
