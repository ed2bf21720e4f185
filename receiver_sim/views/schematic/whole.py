"""The set as built: the parts of its circuit with what a deck has no element for.

A deck holds no aerial rod, no heaters and, beside the tuning capacitor it needs on a dial, no padding: the
build says them. A rectifier supply is drawn as its own circuit has it, so that nothing has to be run first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from receiver_sim.circuit.assemble import receiver_circuit
from receiver_sim.circuit.blocks.heater import feed_of
from receiver_sim.circuit.circuit import Circuit
from receiver_sim.circuit.element import GROUND, Element, Nature
from receiver_sim.circuit.rectifier import output_node, rectifier_circuit
from receiver_sim.circuit.registry import Cards
from receiver_sim.circuit.roles import Place
from receiver_sim.circuit.supply_sockets import rectifier_bottles
from receiver_sim.schema import Band, Build
from receiver_sim.schema.card import TubeCard
from receiver_sim.schema.supply import DcSupply, RectifierSupply
from receiver_sim.views.schematic.parts import TAP, WIPER, Part, Pin, heater_pins, parts_of
from receiver_sim.views.schematic.values import value_of

_HEATERS = {"r.f.": "rf", "detector": "detector", "first audio": "first", "audio": "audio"}
"""Sockets of a circuit and what the heater line calls them."""


def circuit_of(build: Build, cards: Cards, band: Band) -> Circuit:
    """Return the circuit of a set with its supply as it is wired, on one band in the middle of its dial."""
    where = {"band": band, "dial_hz": band.middle_hz, "rotation": 0.5}
    return _phones_in_the_lead(_with_its_supply(build, cards, where))


def _phones_in_the_lead(circuit: Circuit) -> Circuit:
    """Return the circuit with phones of the plate lead in it, not behind the ideal transformer of a deck."""
    ideal = [e for e in circuit.elements if e.about.block == "load" and e.kind in "ef"]
    if not ideal:
        return circuit
    across, lead = (next(e for e in ideal if e.kind == kind) for kind in "ef")
    ends = dict(zip(across.nodes[:2], lead.nodes[:2], strict=True))
    inside = {e.name for e in circuit.elements if e.about.block == "phones" and across.nodes[0] in e.nodes}
    key = next(e.about.key for e in circuit.elements if e.name in inside and e.about.key)
    own = key.partition(".")[0]
    elements = tuple(
        e.on(ends) if (e.about.key or "").startswith(own) else e for e in circuit.elements if e not in ideal
    )
    return replace(circuit, elements=elements)


def _with_its_supply(build: Build, cards: Cards, where: dict[str, Any]) -> Circuit:
    supply = build.supply
    if not isinstance(supply, RectifierSupply):
        return receiver_circuit(build, cards, **where)
    stub = DcSupply.model_construct(
        kind="dc", volts=200.0, resistance=1.0, ripple=0.0, ripple_frequency=100.0, bleeder=None
    )
    circuit = receiver_circuit(build.model_copy(update={"supply": stub}), cards, **where)
    out = circuit.node(Place.SUPPLY)
    gone = [e.name for e in circuit.elements if e.about.block == "supply"]
    own = rectifier_circuit(supply, frequency=build.mains.frequency, load_s=1e-3, start_v=1.0)
    return circuit.without(gone).plus(*_renamed(own, {GROUND: GROUND, output_node(supply): out}, supply))


def _renamed(own: Circuit, kept: Mapping[str, str], supply: RectifierSupply) -> list[Element]:
    """Return the elements of a supply with names and nodes that meet none of the receiver's."""
    out = []
    for e in own.elements:
        if e.name == "rbleed" and supply.bleeder is None:
            continue
        nodes = tuple(kept.get(node, f"supply.{node}") for node in e.nodes)
        about = e.about
        if e.name.replace("rsec", "lsec") in own and e.kind == "r":  # the choke's own winding
            about = replace(about, nature=Nature.MODEL)
        out.append(e._replace(name=f"{e.name}.supply", nodes=nodes, about=about))
    return out


def parts_of_set(build: Build, cards: Cards, band: Band) -> tuple[Circuit, tuple[Part, ...]]:
    """Return the circuit of a set and all that is drawn of it, without designations yet."""
    circuit = circuit_of(build, cards, band)
    by_socket = {name: cards.of(name) for name in circuit.sockets}
    extra = _aerial(circuit)
    parts = list(parts_of(circuit, by_socket, extra))
    parts = [p for p in parts if p.block not in ("aerial", "heater") or p.id.startswith("aerial")]
    parts = _rectifier([one for part in parts for one in _as_built(part, build, band)], build)
    return circuit, (*parts, *_heater(build, by_socket))


# --------------------------------------------------------------------------- aerial


def _aerial(circuit: Circuit) -> list[Part]:
    """Return the aerial and, on a feeder, the counterpoise, on the nodes where its model meets the set."""
    inside = [e for e in circuit.elements if e.about.block in ("aerial", "aerial feeder")]
    outside = {
        n for e in circuit.elements if e.about.block not in ("aerial", "aerial feeder") for n in e.nodes
    }
    names = {"link": "aerial", "ant": "aerial"}
    meets = [n for n in dict.fromkeys(n for e in inside for n in e.nodes) if n in outside and n != GROUND]
    meets.sort(key=lambda n: n not in names)
    like = {"like": inside[0].name} if inside else {}
    words = [("aerial", "aerial"), ("counterpoise", "counterpoise, or the feeder's second wire")]
    return [
        Part(f"aerial.{word}", word, (Pin("a", node),), "aerial", said, key="aerial", letter="E", also=like)
        for node, (word, said) in zip(meets, words, strict=False)
    ]


# --------------------------------------------------------------------------- what the build says of a part


def _as_built(part: Part, build: Build, band: Band) -> list[Part]:
    """Return a part with what the build says of it, or the several things that one element stands for."""
    if part.id == "ctune":
        return _tuning(part, build, band)
    if part.symbol == "coil":
        return [_coil(part, band)]
    for key, said in (
        ("phones[", _headset),
        ("regulator.volts", _regulator),
        ("supply.", _source),
        ("regeneration.pot", _control),
        ("regeneration.maximum", _control),
    ):
        if (part.key or "").startswith(key):
            return [said(part, build)]
    output = None if build.audio is None else build.audio.output
    if output is None or output.kind != "transformer":
        return [part]
    if part.symbol == "iron transformer" and part.block == "output":
        names = {f"w{i}": f"{s.name} {part.also[f'w{i}']}" for i, s in enumerate(output.secondaries, 1)}
        return [replace(part, also=names)]
    return [part]


def _control(part: Part, build: Build) -> Part:
    said = build.regeneration
    if part.symbol == "resistor" and said.pot is not None:
        return replace(part, lines=(value_of(said.pot, "ohm"), "variable"))
    if part.symbol != "variable capacitor":
        return part
    span = f"{value_of(said.minimum or 0.0, 'F')} to {value_of(said.maximum or 0.0, 'F')}"
    return replace(part, lines=(span, "throttle"))


def _headset(part: Part, build: Build) -> Part:
    if part.symbol != "headset":
        return part
    phone = build.phones[int((part.key or "phones[0]")[7:-1])]
    ohms = () if phone.resistance is None else (f"{value_of(phone.resistance, 'ohm')} d.c.",)
    return replace(part, lines=(phone.name, *(("nothing plugged in",) if phone.state == "open" else ohms)))


def _regulator(part: Part, build: Build) -> Part:
    one = build.regulator
    assert one is not None
    count = "" if one.count == 1 else f"{one.count:.0f} x "
    kind = "gas tube" if one.kind == "gas_tube" else "zener"
    lines = (f"{count}{one.type or kind}", value_of(one.held_volts, "V"))
    return replace(part, symbol=kind, lines=lines, letter="V" if kind == "gas tube" else "VR")


def _source(part: Part, build: Build) -> Part:
    supply = build.supply
    if part.id.startswith("vsupply"):
        battery = supply.kind == "battery"
        word = {"battery": "battery", "bench": "bench supply"}.get(supply.kind, "d.c. supply")
        lines = (word, value_of(supply.volts, "V"))
        symbol, letter = ("battery", "BT") if battery else ("source", "PS")
        return replace(part, symbol=symbol, lines=lines, letter=letter)
    if part.key == "supply.secondary.volts" and isinstance(supply, RectifierSupply):
        return replace(part, symbol="winding", letter="T", lines=(f"{supply.secondary.volts:.3g} V a.c.",))
    return part


def _tuning(part: Part, build: Build, band: Band) -> list[Part]:
    """Return the tuning capacitor with padding and band-spread, as far as the set has them."""
    top, low = part.net("a"), part.net("b")
    said, pad = build.tuning, band.padding
    span = f"{value_of(said.minimum, 'F')} to {value_of(said.maximum, 'F')}"
    inner = top if pad is None or pad.series is None else "tuning.padded"
    out = [replace(part, pins=(Pin("a", inner), Pin("b", low)), lines=(span, "tuning"))]

    def capacitor(name: str, a: str, b: str, value: float, word: str, key: str) -> Part:
        pins = (Pin("a", a), Pin("b", b))
        return Part(name, "capacitor", pins, part.block, word, key, (value_of(value, "F"),), (), "C")

    where = "bands.padding"
    if pad is not None and pad.series is not None:
        out.append(capacitor("cpadser", top, inner, pad.series, "padding in series", f"{where}.series"))
    if pad is not None and pad.parallel > 0.0:
        out.append(
            capacitor("cpadpar", top, low, pad.parallel, "padding across the coil", f"{where}.parallel")
        )
    spread = said.bandspread
    if spread is not None:
        own = "tuning.spread" if pad is not None and pad.bandspread_series is not None else top
        lines = (f"{value_of(spread.minimum, 'F')} to {value_of(spread.maximum, 'F')}", "band-spread")
        out.append(
            replace(part, id="cspread", pins=(Pin("a", own), Pin("b", low)), lines=lines, elements=(),
                    word="band-spread capacitor", key="tuning.bandspread")
        )  # fmt: skip
        if pad is not None and pad.bandspread_series is not None:
            out.append(
                capacitor("cspreadser", top, own, pad.bandspread_series, "in series with the band-spread",
                          f"{where}.bandspread_series")
            )  # fmt: skip
    return out


def _coil(part: Part, band: Band) -> Part:
    """Return a plug-in coil with its turns, its shield and its can."""
    coil = band.coil
    also = dict(part.also)
    lines = [*part.lines, band.name]
    winding = coil.winding
    if winding is not None:
        turns = getattr(winding, "turns", None) or sum(s.turns for s in getattr(winding, "sections", ()))
        lines.insert(1, f"{turns:.4g} turns")
        if getattr(winding, "tap", None):
            also[TAP] = f"tap {winding.tap:.3g} t"
    elif coil.tickler is None and coil.tap:
        also[TAP] = f"tap {100.0 * coil.tap:.3g} %"
    words = dict(part.also)
    for w, text in words.items():
        if "link" in text and coil.link is not None:
            also[w] = f"link {coil.link.turns:.3g} t"
            if coil.link.shield is not None:
                also["shield"] = w
        if "tickler" in text:
            turns = None if coil.tickler is None else coil.tickler.turns
            also[w] = text if turns is None else f"tickler {turns:.3g} t"
    if coil.can is not None:
        also["can"] = "shield can"
    return replace(part, also=also, lines=tuple(lines))


# --------------------------------------------------------------------------- rectifier, heaters


def _rectifier(parts: list[Part], build: Build) -> list[Part]:
    """Return the parts with both halves of a centre-tapped winding, and both of a rectifier tube, as one."""
    halves = [p for p in parts if p.key == "supply.secondary.volts" and p.symbol == "winding"]
    supply = build.supply
    if not isinstance(supply, RectifierSupply):
        return parts
    kind = (
        "solid state" if supply.rectifier.kind == "solid_state" else supply.rectifier.type or "rectifier tube"
    )
    parts = [replace(p, lines=(kind,)) if p.key == "supply.rectifier" else p for p in parts]
    if len(halves) == 2:
        first, second = halves
        volts = f"{supply.secondary.volts:.3g} + {supply.secondary.volts:.3g} V a.c."
        pins = (Pin("a", first.net("a")), Pin(TAP, GROUND), Pin("b", second.net("b")))
        one = replace(first, pins=pins, lines=(volts,), elements=(*first.elements, *second.elements))
        parts = [one if p is first else p for p in parts if p is not second]
    plates = [p for p in parts if p.symbol == "tube diode"]
    if len(plates) == 2 and plates[0].net("b") == plates[1].net("b") and rectifier_bottles(build) == 1:
        first, second = plates
        pins = (Pin("a1", first.net("a")), Pin("a2", second.net("a")), Pin("k", first.net("b")))
        one = replace(first, symbol="double diode", pins=pins, elements=(*first.elements, *second.elements))
        parts = [one if p is first else p for p in parts if p is not second]
    return parts


def _heater(build: Build, cards: Mapping[str, TubeCard]) -> list[Part]:
    """Return the heater line: its source, what grounds it, and the heater of each tube."""
    said = build.heater
    volts = f"{said.volts:.3g} V {'a.c.' if said.supply == 'ac' else 'd.c.'}"
    source = ("winding", "T") if said.supply == "ac" else ("battery", "BT")
    low = GROUND if said.wiring == "one_side" else "hb"
    ends = [Pin("a", "ha"), Pin("b", low)]
    if said.wiring == "centre_tap":
        ends = [Pin("a", "ha"), Pin(TAP, GROUND), Pin("b", low)]
    word = "heater winding" if said.supply == "ac" else "heater battery or d.c. supply"
    out = [
        Part(
            "heater.line",
            source[0],
            tuple(ends),
            "heater",
            word,
            "heater.volts",
            (volts,),
            (),
            source[1],
            also={"like": "vheater"},
        )
    ]
    if said.wiring == "hum_pot":
        pins = (Pin("top", "ha"), Pin(WIPER, GROUND), Pin("bottom", "hb"))
        lines = (value_of(said.hum_pot, "ohm"), "hum balance")
        also = {"like": "rhuma"}
        pot = Part(
            "heater.pot", "pot", pins, "heater", "hum pot", "heater.hum_pot", lines, (), "R", also=also
        )
        out.append(pot)
    for socket, card in cards.items():
        out += _one_heater(build, socket, card, low)
    return out


def _one_heater(build: Build, socket: str, card: TubeCard, low: str) -> list[Part]:
    """Return the heater of one tube with what feeds it alone: a source, a dropper, chokes in its leads."""
    name = _HEATERS.get(socket, socket)
    feed = feed_of(build, name) if name in _HEATERS.values() else None
    high, cold = "ha", low
    out: list[Part] = []

    def add(
        what: str, symbol: str, ends: tuple[Pin, Pin], word: str, lines: tuple[str, ...], letter: str
    ) -> None:
        also = {"socket": socket} if symbol == "heater" else {}
        mark = f"heater.{name}{what}"
        out.append(Part(mark, symbol, ends, "heater", word, None, lines, (), letter, also=also))

    if feed is not None and feed.source != "line":
        high, cold = f"heater.{name}.a", f"heater.{name}.b"
        symbol, letter = ("battery", "BT") if feed.source == "cell" else ("winding", "T")
        words = (f"{feed.volts or card.heater.volts:.3g} V", f"{socket} alone")
        add(
            ".source",
            symbol,
            (Pin("a", high), Pin("b", cold)),
            f"heater source of the {socket}",
            words,
            letter,
        )
    elif feed is not None and feed.volts is not None:
        high = f"heater.{name}.a"
        ohms = max((build.heater.volts - feed.volts) / card.heater.amps, 0.0)
        ends = (Pin("a", "ha"), Pin("b", high))
        add(".dropper", "resistor", ends, f"heater dropper of the {socket}", (value_of(ohms, "ohm"),), "R")
    if feed is not None and feed.chokes is not None:
        for lead, node in (("1", high), ("2", cold)):
            ends = (Pin("a", node), Pin("b", f"heater.{name}.lead{lead}"))
            word = f"choke in a filament lead of the {socket}"
            add(f".choke{lead}", "rf choke", ends, word, (value_of(feed.chokes, "H"),), "L")
        high, cold = f"heater.{name}.lead1", f"heater.{name}.lead2"
    numbers = dict(zip("ab", _ends(card), strict=False))
    ends = (Pin("a", high, numbers.get("a", "")), Pin("b", cold, numbers.get("b", "")))
    words = (f"{card.type} {'filament' if card.heater.direct else 'heater'}", f"{card.heater.volts:.3g} V")
    add("", "heater", ends, f"heater of the {socket} tube", words, "")
    return out


def _ends(card: TubeCard) -> tuple[str, ...]:
    found = heater_pins(card)
    return (found[0], found[-1]) if found else ()
