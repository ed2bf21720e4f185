"""By which path does hum reach each phone, and how loud is it? (audio view)

Every path is driven alone in the same circuit: heater capacitances and leakage with the others taken out,
magnetic pick-up by e.m.f.s in series with the windings, the heater's field as volts at a tube's control node,
the supply's ripple through each feed. The whole is run with everything at once; the sum of the parts must be
it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.blocks.phones import load_impedance
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.measure.loaded import Loaded, loaded
from receiver_sim.measure.ripple import ripple_of
from receiver_sim.physics.hearing import sound_level_db, threshold_db
from receiver_sim.receiver import Tuned
from receiver_sim.results.base import ComplexArray, FloatArray
from receiver_sim.results.hum import HumPaths, OutputPaths, PathShare, Tone
from receiver_sim.results.onset import ControlSetting
from receiver_sim.schema import Band, Build

LINES = 12
"""Orders of the line frequency that are looked at."""

_GONE_FARAD, _GONE_OHM = 1e-24, 1e15


def plan(build: Build, cards: Cards, *, band: Band, dial_hz: float, rotation: float) -> Circuit:
    """Return the circuit: the receiver at that setting, every source of hum at rest."""
    return receiver_circuit(build, cards, band=band, dial_hz=dial_hz, rotation=rotation)


class _Paths:
    """Drives a loaded receiver; every answer is complex volts r.m.s., outputs x lines."""

    def __init__(self, on: Loaded, build: Build, *, rotation: float) -> None:
        self._on, self.circuit, self._rotation = on, on.circuit, rotation
        self._mains = build.mains.frequency
        self._couplings = couplings(on.circuit)
        self.supply = on.node(Place.SUPPLY)
        self.figure = 0.0

    def _sweep(self, nodes: Sequence[str]) -> ComplexArray:
        on, top = self._on, LINES * self._mains
        run = on.session.ac(self._mains, top, LINES, vectors=["frequency", *on.control_vectors, *nodes])
        self.figure = on.figure(run, share=self.circuit.control.share(self._rotation))
        return np.array([run[node] for node in nodes])

    def driven(self, sources: Mapping[str, float], nodes: Sequence[str] = ()) -> ComplexArray:
        """Return the volts at outputs and `nodes` with the sources at these values, all others at rest."""
        for name, value in sources.items():
            self._on.drive(name, value)
        answer = self._sweep([*self.circuit.outputs, *nodes])
        for name in sources:
            self._on.drive(name, 0.0)
        return answer

    def only(self, kept: Sequence[str]) -> None:
        """Take out all couplings of the heaters but `kept`."""
        for name, value in self._couplings.items():
            gone = _GONE_OHM if self.circuit[name].kind == "r" else _GONE_FARAD
            self._on.set(name, value if name in kept else gone)


def couplings(circuit: Circuit) -> dict[str, float]:
    """Return the elements by which the heaters reach the tubes, with their values."""
    names = [n for socket in circuit.sockets.values() for where in socket.heater.values() for n in where]
    return {name: circuit[name].value or 0.0 for name in names}


def heater_paths(circuit: Circuit) -> dict[str, tuple[str, ...]]:
    """Return the paths of the heaters by name, with the elements of each."""
    out: dict[str, tuple[str, ...]] = {}
    for name, socket in circuit.sockets.items():
        where = name if name == "detector" else f"{name} stage"
        out[f"heater to grid, {where}"] = socket.heater["grid"]
        out[f"heater to cathode, {where}"] = socket.heater["cathode"]
        out[f"heater leakage, {where}"] = socket.heater["leakage"]
    return out


def _only_at(order: int, answer: ComplexArray) -> ComplexArray:
    """Keep one line of an answer."""
    out = np.zeros_like(answer)
    out[:, order - 1] = answer[:, order - 1]
    return out


def heater_drive(build: Build) -> tuple[float, int]:
    """Return volts r.m.s. on the heaters and the order of the line they are at (ripple of d.c.: 2)."""
    if build.heater.supply == "ac":
        return build.heater.volts, 1
    return build.heater.ripple / (2.0 * math.sqrt(2.0)), 2


def fields(circuit: Circuit, build: Build) -> dict[str, tuple[str, float, int]]:
    """Return the magnetic paths by name: source, volts r.m.s., order of the line."""
    pick = build.pickup
    out = {}
    load, output = circuit.find(Role.LOAD_FIELD), circuit.find(Role.OUTPUT_FIELD)
    if load is not None:
        out["field into the detector's load"] = (load, pick.detector_load, 1)
    if output is not None:
        out["field into the output winding"] = (output, pick.output, 1)
    if build.heater.supply == "ac":
        out["heater field, detector"] = (circuit.part(Role.LOOP_GAIN), pick.heater_field, 2)
        last = circuit.sockets.get("audio")
        if last is not None:
            out["heater field, audio stage"] = (last.probe, pick.audio_heater_field, 2)
    return out


def feeds(circuit: Circuit) -> dict[str, str]:
    """Return the entries of the supply's ripple by name, with the source in series with each.

    All are written from the supply to the circuit, so a positive e.m.f. lowers the far end.
    """
    entries = {
        "ripple by the detector's plate": Role.DETECTOR_FEED,
        "ripple by the screen": Role.SCREEN_FEED,
        "ripple by the audio stages": Role.AUDIO_FEED,
    }
    found = {name: circuit.find(role) for name, role in entries.items()}
    out = {name: source for name, source in found.items() if source is not None}
    plate, screen = list(entries)[:2]
    if plate in out and circuit[out[plate]].nodes[0] != circuit.node(Place.SUPPLY):
        # the control of a triode's plate hangs on the regulator, whose feed is then the plate's way in
        out[plate] = out.pop(screen)
    return out


def whole(paths: _Paths, build: Build) -> ComplexArray:
    """Return the volts of everything at once, outputs x lines: a run for each kind of source."""
    circuit = paths.circuit
    paths.only(list(couplings(circuit)))
    volts, order = heater_drive(build)
    at_line: dict[int, dict[str, float]] = {1: {}, 2: {}}
    at_line[order][circuit.part(Role.HEATER)] = volts
    for source, strength, line in fields(circuit, build).values():
        at_line[line][source] = strength
    total = sum(_only_at(line, paths.driven(sources)) for line, sources in at_line.items())
    return np.asarray(total + _ripple_whole(paths, build))


def _ripple_whole(paths: _Paths, build: Build) -> ComplexArray:
    answer = paths.driven({paths.circuit.part(Role.SUPPLY): 1.0}, [paths.supply])
    ripple = ripple_of(build)
    lines = ripple.phasors(build.mains.frequency, count=LINES)
    scale = lines / answer[-1] if ripple.at_receiver else lines
    return np.asarray(answer[:-1] * scale)


def parts_of(paths: _Paths, build: Build) -> dict[str, ComplexArray]:
    """Return the volts of each path alone, outputs x lines."""
    parts, circuit = {}, paths.circuit
    volts, order = heater_drive(build)
    for name, elements in heater_paths(circuit).items():
        paths.only(elements)
        parts[name] = _only_at(order, paths.driven({circuit.part(Role.HEATER): volts}))
    paths.only(list(couplings(circuit)))
    for name, (source, strength, line) in fields(circuit, build).items():
        parts[name] = _only_at(line, paths.driven({source: strength}))
    ripple = ripple_of(build)
    answer = paths.driven({circuit.part(Role.SUPPLY): 1.0}, [paths.supply])
    per_volt, at_receiver = answer[:-1] / answer[-1], answer[-1]
    lines = ripple.phasors(build.mains.frequency, count=LINES)
    level = lines if ripple.at_receiver else lines * at_receiver
    for name, source in feeds(circuit).items():
        # an e.m.f. in one feed moves the supply too (b); what the feed alone does is the rest
        one = paths.driven({source: 1.0}, [paths.supply])
        parts[name] = -(one[:-1] - one[-1] * per_volt) * level
    return parts


def run(tuned: Tuned, *, rotation: float) -> HumPaths:
    """Return the hum of each path and of all at each output. Raises EngineError when a simulation fails."""
    with loaded(
        tuned.bench, plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=rotation)
    ) as on:
        paths = _Paths(on, tuned.build, rotation=rotation)
        total = whole(paths, tuned.build)
        parts = parts_of(paths, tuned.build)
        setting = ControlSetting.of(rotation, paths.figure, **paths.circuit.control.sets)
    return reduce(tuned.build, total, parts, setting=setting)


def loudness(tuned: Tuned, *, rotation: float) -> tuple[float | None, ...]:
    """Return for each output how far its hum lies above the threshold (dB); None: silence. See `heard`."""
    with loaded(
        tuned.bench, plan(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=rotation)
    ) as on:
        total = whole(_Paths(on, tuned.build, rotation=rotation), tuned.build)
    return tuple(heard(tones(tuned.build, i, total[i])) for i in range(len(tuned.build.phones)))


def reduce(
    build: Build, total: ComplexArray, parts: dict[str, ComplexArray], *, setting: ControlSetting
) -> HumPaths:
    """Turn the whole and the parts (outputs x lines, complex V r.m.s.) into the result."""
    frequency: FloatArray = build.mains.frequency * np.arange(1.0, LINES + 1.0)
    summed = np.asarray(sum(parts.values()))
    outputs = []
    for index, phone in enumerate(build.phones):
        lines = tones(build, index, total[index])
        scale = np.abs(total[index]).max()
        error = float(np.abs(summed[index] - total[index]).max() / scale) if scale > 0.0 else 0.0
        outputs.append(
            OutputPaths(
                output=phone.name,
                tones=lines,
                paths=_shares(parts, total[index], index=index, frequency=frequency),
                loudest_db=max((t.above_db for t in lines if t.above_db is not None), default=None),
                heard_db=heard(lines),
                sum_error=error,
            )
        )
    return HumPaths(setting=setting, frequency_hz=frequency, parts=parts, outputs=tuple(outputs))


def _shares(
    parts: dict[str, ComplexArray], total: ComplexArray, *, index: int, frequency: FloatArray
) -> tuple[PathShare, ...]:
    out = []
    for name, answer in parts.items():
        line = int(np.argmax(np.abs(answer[index])))
        volts = complex(answer[index, line])
        if volts == 0.0:
            continue
        size = abs(total[line])
        share = (volts * np.conj(total[line])).real / size**2 if size > 0.0 else 0.0
        out.append(PathShare(name, float(frequency[line]), abs(volts), float(share)))
    return tuple(sorted(out, key=lambda p: -p.volts_v))


def tones(build: Build, index: int, total: ComplexArray) -> tuple[Tone, ...]:
    """Return the lines of one output as heard, the most audible first."""
    phone = build.phones[index]
    out = []
    for order, volts in enumerate(total, 1):
        size = float(abs(volts))
        if size == 0.0:
            continue
        frequency = order * build.mains.frequency
        level = None
        if phone.state == "loaded":
            power = size**2 * (1.0 / complex(load_impedance(build, index, frequency))).real
            level = sound_level_db(power, sensitivity_db=phone.sensitivity)
        out.append(Tone(frequency, size, level, float(threshold_db(frequency))))
    return tuple(sorted(out, key=lambda t: -(t.above_db if t.above_db is not None else -1e9)))


def heard(lines: Sequence[Tone]) -> float | None:
    """Return how far the tones together lie above the threshold (dB): their powers, each counted from its own
    threshold, added. A measure to rank by; it grows with every tone, as no single tone does.
    """
    powers = [10.0 ** (t.above_db / 10.0) for t in lines if t.above_db is not None]
    return 10.0 * math.log10(sum(powers)) if powers else None
