"""What must each part stand, in the worst of all states the set is in? (d.c., and a run of switching on)

States: tubes warm with the control at both ends and half way; tubes cold or pulled; a gas regulator that has
not struck; the mains 10 % high in all of them. Capacitors also meet the swing of switching on, when a choke
and a capacitor ring with no tube to damp them, resistors the charge that capacitors draw through them,
rectifiers the first pulse.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.circuit import Circuit, Socket
from receiver_sim.circuit.designators import parts_of
from receiver_sim.circuit.element import GROUND, Element
from receiver_sim.circuit.pins import heater_nodes
from receiver_sim.circuit.rectifier import output_node, taps
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place, Role
from receiver_sim.circuit.views.audio import audio_view
from receiver_sim.engine import Bench
from receiver_sim.measure.loaded import loaded
from receiver_sim.measure.rectifier import HIGHEST_MAINS, from_cold
from receiver_sim.receiver import Tuned
from receiver_sim.results.base import FloatArray
from receiver_sim.schema import Band, Build

SETTINGS = (0.0, 0.5, 1.0)

SWITCH_S = 1e-3
"""Rise of a supply that is switched on where no rectifier is stated: a toggle switch, nothing slower."""

SPAN_S, STEP_S, POINTS = 1.0, 2e-4, 40
"""A choke of 400 H with a microfarad swings in 0.13 s; its highest peak is the first.
A supply rises by as many points as a command of ngspice holds."""

HEAT_S = 5.0
"""The heat of switching on is the mean over so long: the time of the short-time overload test of IEC 60115-1,
which a resistor passes at several times its watts (from memory)."""

SCREEN_V, SCREEN_W = "screen to cathode", "screen dissipation"
CATHODE_A, HEATER_V = "cathode current", "heater to cathode"

RECTIFIER = "rectifier"
"""Name of the rectifiers among the elements: they stand in no circuit of the receiver."""


@dataclass(frozen=True)
class Stress:
    """The most an element meets, and the state in which it does.

    highest_v: across it; watts_w: of a resistor, as d.c. heats it or as the mean over `HEAT_S` of switching
    on; of a track, with the current of its hotter side through all of it; highest_a: of a choke or winding,
    of rectifiers the first pulse; besides: what else of a tube has a limit, by its words, and when.
    """

    highest_v: float = 0.0
    volts_when: str = ""
    watts_w: float = 0.0
    watts_when: str = ""
    highest_a: float = 0.0
    besides: Mapping[str, tuple[float, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class _HeaterEnds:
    """Nodes of both ends of a tube's heater, and the peak of its alternating volts to ground."""

    nodes: tuple[str, ...]
    peak_v: float


def mains_of(build: Build) -> float:
    """Return the highest supply as a share of the nominal one; batteries and bench supplies know no mains."""
    return 1.0 if build.supply.kind in ("battery", "bench") else HIGHEST_MAINS


def across(circuit: Circuit, name: str, volts: dict[str, float]) -> float:
    """Return the volts across a two-ended element at an operating point."""
    a, b = (0.0 if node == GROUND else volts.get(node, 0.0) for node in circuit[name].nodes[:2])
    return a - b


def run(tuned: Tuned) -> dict[str, Stress]:
    """Return the stress of every element of a part, by its name.

    Raises EngineError.
    """
    whole = receiver_circuit(tuned.build, tuned.cards, band=tuned.band, dial_hz=tuned.dial_hz, rotation=0.5)
    wanted = [name for part in parts_of(whole) for name in part.elements]
    out = dict.fromkeys(wanted, Stress())
    filled = (
        from_cold(tuned.given, tuned.bench, seconds=SPAN_S)
        if tuned.given.supply.kind == "rectifier"
        else None
    )
    course = switching_on(tuned.given, filled)
    highest = float(course[1].max())
    heaters = _heaters(tuned.build, tuned.cards, whole)
    for state, circuit, volts in _states(tuned.build, tuned.cards, tuned.band, tuned.dial_hz, cold_v=highest):
        with loaded(tuned.bench, circuit) as on:
            supply = circuit.part(Role.SUPPLY)
            on.set(supply, volts)
            for rotation in SETTINGS:
                on.turn(rotation)
                here = circuit.replace(circuit.control.at(rotation))
                at = _At(here, on.volts(), f"{state}, control at {100.0 * rotation:.0f} %")
                _note(out, at, heaters)
    _note_switching(out, whole, tuned.bench, course, tuned.given)
    if filled is not None:
        _note_filter(out, whole, filled, tuned.given)
    return out


def _heaters(build: Build, cards: Cards, circuit: Circuit) -> dict[str, _HeaterEnds]:
    """Return the heaters by socket; a filament that is the cathode is none."""
    heater, out = build.heater, {}
    longer = max(heater.hum_pot_position, 1.0 - heater.hum_pot_position)
    share = {"one_side": 1.0, "centre_tap": 0.5}.get(heater.wiring, longer)
    for name in circuit.sockets:
        if cards.of(name).heater.direct:
            continue
        nodes = heater_nodes(build, name)
        cell = all(node == GROUND for node in nodes)
        swings = heater.supply == "ac" and not cell
        peak = math.sqrt(2.0) * HIGHEST_MAINS * heater.volts * share if swings else 0.0
        out[name] = _HeaterEnds(nodes, peak)
    return out


def _states(
    build: Build, cards: Cards, band: Band, dial_hz: float, *, cold_v: float
) -> Iterator[tuple[str, Circuit, float]]:
    """Yield the states: words, circuit, volts of its supply source."""
    where: dict[str, Any] = {"band": band, "dial_hz": dial_hz, "rotation": 0.5}
    high = mains_of(build)
    mains = "" if high == 1.0 else ", mains 10 % high"
    whole = receiver_circuit(build, cards, **where)
    tubes = [socket.tube for socket in whole.sockets.values()]
    yield f"tubes warm{mains}", whole, high * build.supply.volts
    yield f"tubes cold{mains}", whole.without(tubes), cold_v
    if build.regulator is not None and build.regulator.kind == "gas_tube":
        unlit = receiver_circuit(build, cards, regulator_lit=False, **where)
        yield f"tubes cold and the regulator not struck{mains}", unlit.without(tubes), cold_v


@dataclass(frozen=True)
class _At:
    """The set in one of its states: circuit, volts of nodes and amperes of branches, words for the state."""

    circuit: Circuit
    volts: dict[str, float]
    when: str

    def across(self, name: str) -> float:
        return across(self.circuit, name, self.volts)

    def into(self, socket: Socket, pin: str) -> float:
        return self.circuit.into(socket, pin, self.volts)


def _note(out: dict[str, Stress], at: _At, heaters: Mapping[str, _HeaterEnds]) -> None:
    tracks: dict[str, list[Element]] = {}
    for name in [one for one in out if one in at.circuit]:
        element = at.circuit[name]
        if element.kind == "r" and element.about.tolerance == "pot" and element.about.key is not None:
            tracks.setdefault(element.about.key, []).append(element)
        elif element.kind in "rcl" and len(element.nodes) == 2:
            v = abs(at.across(name))
            watts = v * v / element.value if element.kind == "r" and element.value else 0.0
            amps = abs(at.volts.get(f"{name}#branch", 0.0)) if element.kind == "l" else 0.0
            out[name] = _worse(out[name], v=v, watts=watts, amps=amps, when=at.when)
        elif element.kind == "v":  # what a battery or a bench supply gives
            amps = abs(at.volts.get(f"{name}#branch", 0.0))
            out[name] = _worse(out[name], v=0.0, watts=0.0, amps=amps, when=at.when)
    _note_tubes(out, at, heaters)
    _note_regulator(out, at)
    for halves in tracks.values():
        whole = sum(half.value or 0.0 for half in halves)
        most = max(abs(at.across(half.name)) / (half.value or 1.0) for half in halves)
        for half in halves:
            v = abs(at.across(half.name))
            out[half.name] = _worse(out[half.name], v=v, watts=most * most * whole, amps=most, when=at.when)


def _note_tubes(out: dict[str, Stress], at: _At, heaters: Mapping[str, _HeaterEnds]) -> None:
    """Add plate to cathode volts, dissipation and current of the tubes that are in, and what else their
    sheets limit.
    """
    for name, socket in at.circuit.sockets.items():
        if socket.tube not in at.circuit:
            continue
        plate, cathode = (at.volts.get(socket.pins[pin], 0.0) for pin in ("plate", "cathode"))
        amps = at.into(socket, "plate")
        found: dict[str, float] = {}
        whole = amps
        if "screen" in socket.pins:
            screen = at.volts.get(socket.pins["screen"], 0.0) - cathode
            drawn = at.into(socket, "screen")
            found |= {SCREEN_V: screen, SCREEN_W: screen * drawn}
            whole += drawn
        found[CATHODE_A] = whole
        if name in heaters:
            ends = (at.volts.get(node, 0.0) for node in heaters[name].nodes)
            found[HEATER_V] = heaters[name].peak_v + max(abs(cathode - end) for end in ends)
        here = _worse(
            out[socket.tube], v=plate - cathode, watts=(plate - cathode) * amps, amps=amps, when=at.when
        )
        before = dict(here.besides)
        for words, value in found.items():
            if value > 1.001 * before.get(words, (0.0, ""))[0]:
                before[words] = (value, at.when)
        out[socket.tube] = replace(here, besides=before)


def _note_regulator(out: dict[str, Stress], at: _At) -> None:
    """Add the current through a regulator: what its dropper brings and the control does not take."""
    for name in [n for n in out if n in at.circuit and at.circuit[n].kind == "d"]:
        dropper, top = at.circuit.part(Role.DROPPER), at.circuit.part(Role.CONTROL_TOP)
        amps = at.circuit.current(dropper, at.volts) - at.circuit.current(top, at.volts)
        v = abs(at.across(name))
        out[name] = _worse(out[name], v=v, watts=v * amps, amps=amps, when=at.when)


_NONE = 1e-12
"""Volts or watts up to which there are none: of a grid leak at rest machines leave 0 or 1e-22 V."""


def _worse(one: Stress, *, v: float, watts: float, amps: float, when: str) -> Stress:
    # a hair more in another state is the same, and what rounding leaves of zero is none
    volts = (v, when) if v > max(1.001 * one.highest_v, _NONE) else (one.highest_v, one.volts_when)
    heat = (watts, when) if watts > max(1.001 * one.watts_w, _NONE) else (one.watts_w, one.watts_when)
    return Stress(volts[0], volts[1], heat[0], heat[1], max(one.highest_a, amps), one.besides)


# ---------------------------------------------------------------------- switching on


def switching_on(given: Build, filled: Mapping[str, FloatArray] | None) -> tuple[FloatArray, FloatArray]:
    """Return times (s) and volts of the supply after switching on, tubes cold, the mains 10 % high.

    filled: the run of its rectifier, None for a supply that has none.
    """
    supply, high = given.supply, mains_of(given)
    if supply.kind != "rectifier" or filled is None:
        times = np.array([0.0, SWITCH_S, SPAN_S])
        return times, np.array([0.0, 1.0, 1.0]) * high * supply.volts
    time, volts = filled["time"], filled[output_node(supply)]
    grid = np.round(np.linspace(0.0, float(time[-1]), POINTS), 4)
    course = np.round(np.interp(grid, time, volts), 2)
    # the highest point lies between two of the grid
    course[int(course.argmax())] = float(np.round(volts.max(), 2))
    return grid, course


def cold_deck(circuit: Circuit) -> Circuit:
    """Return the receiver without tubes and supply, a source at rest in the supply's place."""
    bplus = circuit.node(Place.SUPPLY)
    supply = {
        e.name for e in circuit.elements if e.about.block == "supply" and e.about.key != "supply.bleeder"
    }
    tubes = {socket.tube for socket in circuit.sockets.values()}
    audio = audio_view(circuit).without(supply | tubes)
    return audio.plus(Element("vswitch", (bplus, GROUND), 0.0))


def hottest(time: FloatArray, watts: FloatArray) -> float:
    """Return the highest mean over `HEAT_S` of a course of watts, which goes on as it ends."""
    joules = np.concatenate([[0.0], np.cumsum(np.diff(time) * 0.5 * (watts[1:] + watts[:-1]))])
    longer = np.append(time, time[-1] + HEAT_S)
    joules = np.append(joules, joules[-1] + HEAT_S * watts[-1])
    means = (np.interp(time + HEAT_S, longer, joules) - joules[:-1]) / HEAT_S
    return float(means.max())


def _pulse(time: FloatArray, watts: FloatArray) -> float:
    """Return the heat of a course of watts where it is more than it ends with, else 0: what it ends with
    is among the states, which know the resistance of the supply."""
    most = hottest(time, watts)
    return most if most > 1.001 * float(watts[-1]) else 0.0


def _note_switching(
    out: dict[str, Stress],
    circuit: Circuit,
    bench: Bench,
    course: tuple[FloatArray, FloatArray],
    given: Build,
) -> None:
    """Add what resistors, capacitors, chokes and windings meet while the supply rises with the tubes cold.

    Of a track there is no more than in the states: no capacitor of size is charged through one.
    """
    deck = cold_deck(circuit)
    named = [
        n
        for n in out
        if n in deck
        and deck[n].kind in "rcl"
        and len(deck[n].nodes) == 2
        and deck[n].about.tolerance != "pot"
    ]
    nodes = {node for n in named for node in deck[n].nodes if node != GROUND}
    span = float(course[0][-1])
    step = max(STEP_S, span / 1e4)
    with loaded(bench, deck) as on:
        on.course("vswitch", "pwl", tuple(np.column_stack(course).ravel()))
        ran = on.session.tran(step, span, max_step=step, uic=True, vectors=["time", *sorted(nodes)])
    when = _switched(given)
    for name in named:
        a, b = (0.0 if node == GROUND else ran[node] for node in deck[name].nodes[:2])
        swing = np.abs(np.asarray(a) - np.asarray(b))
        ohm = deck[name].value if deck[name].kind == "r" else None
        watts = _pulse(np.asarray(ran["time"]), swing**2 / ohm) if ohm else 0.0
        out[name] = _worse(out[name], v=float(swing.max()), watts=watts, amps=0.0, when=when)


def _switched(given: Build) -> str:
    return "at switching on, tubes cold" + ("" if mains_of(given) == 1.0 else ", mains 10 % high")


def _note_filter(
    out: dict[str, Stress], circuit: Circuit, filled: Mapping[str, FloatArray], given: Build
) -> None:
    """Add what the filter's capacitors and resistors and the rectifiers meet in the run of the rectifier."""
    supply, when = given.supply, _switched(given)
    assert supply.kind == "rectifier"
    at = taps(supply)
    ends = (at.rectified, *at.sections)
    for index, section in enumerate(supply.filter):
        before, after = filled[ends[index]], filled[ends[index + 1]]
        for name in (n for n in out if circuit[n].about.key == f"supply.filter[{index}].capacitor"):
            out[name] = _worse(out[name], v=float(after.max()), watts=0.0, amps=0.0, when=when)
        if section.resistor is None:
            continue
        swing = np.abs(before - after)
        watts = _pulse(filled["time"], swing**2 / section.resistor)
        for name in (n for n in out if circuit[n].about.key == f"supply.filter[{index}]"):
            out[name] = _worse(out[name], v=float(swing.max()), watts=watts, amps=0.0, when=when)
    out[RECTIFIER] = Stress(highest_a=float(filled[at.ammeter].max()))
