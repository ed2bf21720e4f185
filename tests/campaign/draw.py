"""Builds at random that a constructor with a handbook might make: every card, every form the schema has.

Ranges are those of handbooks of 1925 to 1955 (common practice, no source), drawn evenly on a logarithmic
scale and rounded to two digits. A build depends on the seed and its number alone. What a constructor would
look up is looked up: bias by the card's printed point, screen within its rating, a dropper that lights the
regulator, a coil that the capacitor tunes to the band. What he would have to measure (does it oscillate?) is
left to chance.
"""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import numpy as np

from receiver_sim.schema import regulator_types
from receiver_sim.schema.card import TubeCard, card_for, card_types
from tests.campaign import coils, forms

Data = dict[str, Any]

BANDS = (
    ("medium wave", 0.55, 1.5), ("160 m", 1.8, 2.0), ("120 m", 2.3, 2.5), ("80 m", 3.5, 4.0),
    ("60 m", 4.75, 5.06), ("49 m", 5.9, 6.2), ("40 m", 7.0, 7.3), ("31 m", 9.4, 9.9), ("30 m", 10.1, 10.15),
    ("25 m", 11.6, 12.1), ("20 m", 14.0, 14.35), ("19 m", 15.1, 15.8), ("17 m", 18.068, 18.168),
    ("15 m", 21.0, 21.45), ("13 m", 21.45, 21.85), ("12 m", 24.89, 24.99), ("10 m", 28.0, 29.7),
)  # fmt: skip
"""Amateur and broadcast bands, MHz."""

_PREFIX = ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n"), (1e-12, "p"))


def write(value: float, unit: str) -> str:
    """Return a value as a build writes it, in two digits."""
    value = float(f"{value:.2g}")
    factor, prefix = next((f, p) for f, p in (*_PREFIX, (1e-12, "p")) if abs(value) >= f or f == 1e-12)
    return f"{value / factor:.6g} {prefix}{unit}"


class Draw:
    """A source of chance for one build."""

    def __init__(self, seed: int, number: int) -> None:
        self._rng = np.random.default_rng([seed, number])

    def span(self, low: float, high: float) -> float:
        """Return a number, evenly on a logarithmic scale."""
        return float(low * (high / low) ** self._rng.uniform())

    def part(self, low: float, high: float, unit: str) -> str:
        """Return a value of a part with its unit."""
        return write(self.span(low, high), unit)

    def per_cent(self, low: float, high: float) -> str:
        """Return a percentage, evenly."""
        return f"{self._rng.uniform(low, high):.3g} %"

    def one(self, *choices: Any) -> Any:
        """Return one of the choices."""
        return choices[int(self._rng.integers(len(choices)))]

    def by_chance(self, share: float) -> bool:
        """Return True in this share of cases."""
        return bool(self._rng.uniform() < share)

    def some(self, choices: Any, count: int) -> list[Any]:
        """Return `count` different ones of the choices, in their order."""
        places = self._rng.choice(len(choices), size=count, replace=False)
        return [choices[int(i)] for i in sorted(places)]


@cache
def _cards() -> tuple[TubeCard, ...]:
    return tuple(card_for(name) for name in card_types())


def build(seed: int, number: int) -> Data:
    """Return a build as plain data, ready to be written as YAML."""
    d = Draw(seed, number)
    detector = d.one(*(card for card in _cards() if card.kind != "triode"))
    audio = d.one(*_cards())
    first = d.one(*_cards()) if d.by_chance(0.25) else None
    tubes = [t for t in (detector, audio, first) if t is not None]
    line = max(_heater_volts(t) for t in tubes)
    volts = _supply_volts(d, tubes)
    supply = _supply(d, volts)
    out: Data = {
        "receiver_sim": 1,
        "title": f"Drawn set {seed} number {number}",
        "mains": d.one({"frequency": "50 Hz", "volts": "230 V"}, {"frequency": "60 Hz", "volts": "117 V"}),
        "supply": supply,
        "heater": _heater(d, line),
    }
    if d.by_chance(0.2):
        out["pickup"] = {"detector_load": d.part(2e-5, 2e-3, "V"), "output": d.part(2e-5, 1e-3, "V"),
                         "heater_field": d.part(1e-7, 2e-6, "V")}  # fmt: skip
    regulator = _regulator(d, volts) if d.by_chance(0.45) else None
    if regulator is not None:
        out["regulator"] = regulator
    feed = volts if regulator is None else _held(regulator)
    out["regeneration"] = _control(d, feed, detector)
    out["detector"] = _detector(d, detector, line)
    out["audio"] = _audio(d, audio, first, line, transformer=out["detector"]["load"]["kind"] == "transformer")
    out["phones"] = _phones(d, out["audio"])
    out["tuning"], out["bands"], by_link = coils.tuned_circuits(d)
    aerial = coils.aerial(d, by_link=by_link, highest_mhz=max(b["mhz"] for b in out["bands"]))
    for band in out["bands"]:
        del band["mhz"]
    if aerial is not None:
        out["aerial"] = aerial
    return forms.changed(Draw(seed, number + 10**9), out)


def _heater_volts(card: TubeCard) -> float:
    return card.heater.volts


def _supply_volts(d: Draw, tubes: list[TubeCard]) -> float:
    """Return volts for the plates: below the lowest rating among the tubes."""
    most = min(t.ratings.plate or 250.0 for t in tubes)
    return d.span(min(67.5, 0.7 * most), 0.97 * most)


def _supply(d: Draw, volts: float) -> Data:
    kind = d.one("dc", "dc", "rectifier", "battery", "bench")
    if kind == "battery":
        supply = {"kind": kind, "volts": write(volts, "V"), "resistance": d.part(20, 600, "ohm")}
        if d.by_chance(0.5):
            supply |= {"end_volts": write(0.7 * volts, "V"), "capacity": d.part(0.1, 3, "Ah")}
        return supply
    if kind == "bench":
        return {"kind": kind, "volts": write(volts, "V"), "resistance": d.part(0.1, 5, "ohm"),
                "current_limit": d.part(0.05, 0.3, "A"), "ripple": d.part(1e-4, 1e-2, "V"),
                "bleeder": d.part(33e3, 220e3, "ohm")}  # fmt: skip
    if kind == "dc":
        supply = {"kind": kind, "volts": write(volts, "V"), "resistance": d.part(100, 5e3, "ohm"),
                  "ripple": d.part(1e-3, 0.5, "V")}  # fmt: skip
        if d.by_chance(0.7):
            supply["bleeder"] = d.part(22e3, 220e3, "ohm")
        return supply
    return _rectifier(d, volts)


def _rectifier(d: Draw, volts: float) -> Data:
    circuit = d.one("full_wave", "bridge", "half_wave")
    valve = {"kind": "vacuum", "drop": d.part(15, 60, "V"), "current": d.part(0.04, 0.13, "A"),
             "peak_inverse": "1.4 kV", "peak_current": "0.4 A"}  # fmt: skip
    rectifier = d.one(valve, {"kind": "solid_state", "peak_inverse": "1 kV"})
    rating = write(1.9 * volts, "V")
    sections: list[Data] = [{"capacitor": d.part(4e-6, 40e-6, "F"), "rating": rating}]
    for _ in range(d.one(1, 1, 2)):
        ahead = d.one(
            {"choke": d.part(5, 30, "H"), "choke_resistance": d.part(150, 800, "ohm")},
            {"resistor": d.part(470, 4.7e3, "ohm")},
        )
        sections.append({**ahead, "capacitor": d.part(4e-6, 47e-6, "F"), "rating": rating,
                         "series_resistance": d.part(0.2, 5, "ohm")})  # fmt: skip
    return {
        "kind": "rectifier",
        "secondary": {"volts": write(0.88 * volts, "V"), "resistance": d.part(80, 500, "ohm")},
        "circuit": circuit,
        "rectifier": rectifier,
        "filter": sections,
        "bleeder": d.part(27e3, 150e3, "ohm"),
    }


def _heater(d: Draw, volts: float) -> Data:
    # filaments that are cathodes and cells go together
    supply = "dc" if volts < 2.0 else d.one("ac", "ac", "ac", "dc")
    heater: Data = {"volts": f"{volts:g} V", "supply": supply, "wiring": "one_side" if volts < 2.0 else d.one(
        "hum_pot", "centre_tap", "one_side")}  # fmt: skip
    if heater["wiring"] == "hum_pot":
        heater |= {"hum_pot": d.part(50, 500, "ohm"), "hum_pot_position": d.per_cent(30, 70)}
    if supply == "dc" and d.by_chance(0.5):
        heater["ripple"] = d.part(1e-3, 0.1, "V")
    return heater


def feed_of_heater(d: Draw, card: TubeCard, line: float) -> Data:
    """Return how the heater of a tube is fed, as a part of its stage."""
    own = _heater_volts(card)
    if getattr(card.heater, "direct", False):
        source = "line" if line == own else "cell"
        return {"heater_feed": {"source": source, "volts": f"{own:g} V", "chokes": d.part(50e-6, 1e-3, "H")}}
    if own == line:
        return {}
    return {"heater_feed": {"source": d.one("line", "winding"), "volts": f"{own:g} V"}}


def _regulator(d: Draw, supply: float) -> Data | None:
    """Return a regulator whose dropper leaves it within its currents at half the volts to spare, or None."""
    fitting = []
    for name in regulator_types.types():
        row = regulator_types.figures(name)
        if row.get("volts") is None or row.get("impedance") is None:
            continue
        if row["volts"] > 20.0 and max(row["volts"] * 1.25, (row.get("strike") or 0.0) * 1.05) < supply:
            fitting.append((name, row))
    if not fitting:
        return None
    name, row = d.one(*fitting)
    least, most = row.get("minimum_current") or 1e-3, row.get("maximum_current") or 20e-3
    current = d.span(max(2.0 * least, 1.5e-3), max(0.6 * most, 2.5 * least))
    regulator: Data = {"kind": "gas_tube" if row.get("strike") else "zener", "type": name,
                       "dropper": write((supply - row["volts"]) / (current + 2e-3), "ohm")}  # fmt: skip
    if d.by_chance(0.3):
        regulator["noise"] = d.part(1e-5, 5e-4, "V")
    return regulator


def _held(regulator: Data) -> float:
    return float(regulator_types.figures(regulator["type"])["volts"])


def _control(d: Draw, feed: float, card: TubeCard) -> Data:
    """Return a control that leaves the screen within its rating when it is fully up."""
    pot = d.span(10e3, 250e3)
    most = min(d.span(25.0, 120.0), 0.9 * (card.ratings.screen or 100.0))
    control: Data = {
        "pot": write(pot, "ohm"),
        "law": d.one("linear", "linear", "linear", "log", "antilog"),
        "rotation": f"{d.one(270, 280, 300)} deg",
        "bypass": d.part(0.01e-6, 2e-6, "F"),
    }
    if feed > 1.1 * most:
        control["top"] = write(pot * (feed / most - 1.0), "ohm")
    if d.by_chance(0.4):
        control["bottom"] = write(pot * d.span(0.01, 0.2), "ohm")
    if d.by_chance(0.5):
        control["stopper"] = d.part(470, 22e3, "ohm")
    return control


def _detector(d: Draw, card: TubeCard, line: float) -> Data:
    filter_: Data = {"choke": d.part(0.5e-3, 10e-3, "H"), "choke_resistance": d.part(10, 120, "ohm"),
                     "choke_capacitance": d.part(0.8e-12, 4e-12, "F"),
                     "plate_capacitor": d.one("0 pF", d.part(22e-12, 500e-12, "F")),
                     "output_capacitor": d.part(47e-12, 1000e-12, "F")}  # fmt: skip
    load = d.one(
        {"kind": "resistor", "resistance": d.part(47e3, 330e3, "ohm")},
        {"kind": "choke", "inductance": d.part(40, 1000, "H"), "resistance": d.part(1e3, 8e3, "ohm"),
         "capacitance": d.part(50e-12, 300e-12, "F")},
        {"kind": "transformer", "primary_inductance": d.part(20, 150, "H"),
         "primary_resistance": d.part(500, 3e3, "ohm"), "ratio": d.one(2, 3, 3.5, 5),
         "secondary_resistance": d.part(3e3, 15e3, "ohm"), "coupling": d.one(0.99, 0.995, 0.998),
         "capacitance": d.part(50e-12, 300e-12, "F")},
    )  # fmt: skip
    if load["kind"] != "resistor" and d.by_chance(0.5):
        load["shunt"] = d.part(100e3, 500e3, "ohm")
    detector: Data = {
        "tube": card.type,
        "grid_leak": d.part(47e3, 10e6, "ohm"),
        "grid_leak_to": d.one("tank", "tank", "cathode", "ground"),
        "grid_capacitor": d.part(47e-12, 470e-12, "F"),
        "rf_filter": filter_,
        "load": load,
        **feed_of_heater(d, card, line),
    }
    if d.by_chance(0.5):
        detector["strays"] = {"grid": d.part(2e-12, 8e-12, "F"), "cathode": d.part(2e-12, 12e-12, "F"),
                              "plate": d.part(2e-12, 10e-12, "F")}  # fmt: skip
    if d.by_chance(0.4):
        detector["heater_coupling"] = _coupling(d)
    return detector


def _coupling(d: Draw) -> Data:
    return {"grid_a": d.part(0.02e-12, 0.3e-12, "F"), "grid_b": d.part(0.02e-12, 0.3e-12, "F"),
            "cathode_a": d.part(2e-12, 8e-12, "F"), "cathode_b": d.part(2e-12, 8e-12, "F"),
            "leakage": d.part(20e6, 1e9, "ohm")}  # fmt: skip


def _bias(card: TubeCard) -> tuple[float, float]:
    """Return (cathode resistor, cathode current) of the first printed point with a negative grid."""
    for point in card.points:
        current = (point.plate_current or 0.0) + (point.screen_current or 0.0)
        if point.grid is not None and point.grid < 0.0 and current > 0.0:
            return -point.grid / current, current
    return 1e3, 3e-3  # printed at zero bias only


def _stage(d: Draw, card: TubeCard, line: float) -> Data:
    """Return tube, bias, screen and decoupling of an audio stage."""
    stage: Data = {"tube": card.type, **feed_of_heater(d, card, line)}
    own, current = _bias(card)
    if card.kind != "triode":
        if d.by_chance(0.25):
            stage["connection"] = "triode"
        else:
            direct = current > 15e-3 and d.by_chance(0.7)
            stage["screen"] = {"resistor": "0 ohm" if direct else d.part(22e3, 1e6, "ohm"),
                               "bypass": d.part(0.05e-6, 8e-6, "F")}  # fmt: skip
    if d.by_chance(0.12):
        stage |= {"bias": "grid_leak", "grid_leak": d.part(1e6, 10e6, "ohm"),
                  "grid_capacitor": d.part(2e-9, 50e-9, "F")}  # fmt: skip
    else:
        stage["cathode_resistor"] = write(own * d.span(0.7, 2.0), "ohm")
        if d.by_chance(0.8):
            stage["cathode_bypass"] = d.part(1e-6, 100e-6, "F")
    if d.by_chance(0.5):
        stage["decoupling"] = {"resistor": d.part(470, 22e3, "ohm"), "capacitor": d.part(2e-6, 33e-6, "F")}
    if d.by_chance(0.3):
        stage["heater_coupling"] = _coupling(d)
    return stage


def _audio(d: Draw, card: TubeCard, first: TubeCard | None, line: float, *, transformer: bool) -> Data:
    audio = _stage(d, card, line)
    if not transformer or d.by_chance(0.2):
        audio["coupling"] = d.part(2e-9, 100e-9, "F")
    if d.by_chance(0.3):
        audio["filter"] = d.one(
            {"kind": "low_pass", "resistance": d.part(4.7e3, 100e3, "ohm"),
             "capacitance": d.part(100e-12, 5e-9, "F"), "sections": d.one(1, 2, 3)},
            {"kind": "choke_low_pass", "inductance": d.part(0.5, 50, "H"),
             "resistance": d.part(50, 2e3, "ohm"), "capacitance": d.part(500e-12, 20e-9, "F")},
            {"kind": "resonant", "series": d.part(47e3, 470e3, "ohm"), "inductance": d.part(0.5, 20, "H"),
             "resistance": d.part(50, 1e3, "ohm"), "capacitance": d.part(2e-9, 50e-9, "F")},
        )  # fmt: skip
    audio["volume"] = {"pot": d.part(100e3, 1e6, "ohm"), "law": d.one("linear", "log", "log"),
                       "setting": d.per_cent(20, 100)}  # fmt: skip
    if d.by_chance(0.5):
        audio["grid_stopper"] = d.part(1e3, 47e3, "ohm")
    if first is not None:
        ahead = _stage(d, first, line)
        ahead |= {"plate_resistor": d.part(27e3, 270e3, "ohm"), "coupling": d.part(5e-9, 100e-9, "F")}
        audio["first"] = ahead
    after = d.by_chance(0.2)
    if after:
        audio["volume"]["place"] = "after"
        if first is None:
            audio["volume"]["capacitor"] = d.part(0.05e-6, 1e-6, "F")
    if after or first is not None:
        audio["grid_resistor"] = d.part(220e3, 1e6, "ohm")
    audio["output"] = _output(d)
    return audio


def _output(d: Draw) -> Data:
    kind = d.one("choke", "transformer", "resistor")
    if kind == "resistor":
        return {"kind": kind, "resistance": d.part(10e3, 100e3, "ohm")}
    if kind == "choke":
        return {"kind": kind, "inductance": d.part(10, 100, "H"), "resistance": d.part(300, 3e3, "ohm"),
                "capacitance": d.part(80e-12, 400e-12, "F")}  # fmt: skip
    windings = [
        {
            "name": name,
            "ratio": float(f"{d.span(low, high):.3g}"),
            "resistance": d.part(ohm / 2, ohm * 2, "ohm"),
        }
        for name, low, high, ohm in d.some(
            (("voice coil", 0.02, 0.05, 1.0), ("line", 0.15, 0.35, 30.0), ("headset", 0.4, 1.0, 200.0)),
            d.one(1, 1, 2),
        )
    ]
    return {
        "kind": kind,
        "primary_inductance": d.part(6, 60, "H"),
        "primary_resistance": d.part(150, 1.5e3, "ohm"),
        "primary_capacitance": d.part(80e-12, 600e-12, "F"),
        "leakage": d.part(0.02, 0.5, "H"),
        "secondaries": windings,
    }


def _phones(d: Draw, audio: Data) -> list[Data]:
    places = ["plate"]
    if audio["output"]["kind"] == "transformer":
        places = [w["name"] for w in audio["output"]["secondaries"]] + (["plate"] if d.by_chance(0.2) else [])
    if audio["volume"].get("place") == "after" and "first" not in audio:
        places = ["volume"]
    return [_phone(d, at, i) for i, at in enumerate(places)]


def _phone(d: Draw, at: str, index: int) -> Data:
    low = {"voice coil": (4.0, 16.0), "line": (150.0, 600.0)}.get(at, (1e3, 4e3))
    ohm = d.span(*low)
    phone: Data = {"name": f"phones {index + 1}", "at": at}
    if at == "plate":
        phone["capacitor"] = d.part(0.05e-6, 2e-6, "F")
        if d.by_chance(0.5):
            phone |= {"drain": d.part(47e3, 470e3, "ohm"), "capacitor_rating": "600 V"}
    form = d.one("figures", "figures", "figures", "kind", "measured" if d.by_chance(0.2) else "figures")
    if form == "kind":
        phone["kind"] = {"voice coil": "8_ohm", "line": "600_ohm"}.get(at, "high_impedance")
    elif form == "measured":
        # a coil with losses: magnitude and phase of its resistance and inductance, read with a bridge
        henry = ohm / d.span(2e3, 6e3) * 2.0
        phone["impedance"] = [
            {"frequency": f"{f:g} Hz", "magnitude": write(math.hypot(ohm, 2 * math.pi * f * henry), "ohm"),
             "phase": f"{math.degrees(math.atan2(2 * math.pi * f * henry, ohm)):.0f} deg"}
            for f in (200.0, 1000.0, 4000.0)
        ]  # fmt: skip
    else:
        phone |= {"resistance": write(ohm, "ohm"), "inductance": write(ohm / d.span(800, 8e3), "H"),
                  "capacitance": d.part(50e-12, 1e-9, "F"),
                  "sensitivity": d.one("95 dB", "100 dB", "108 dB")}  # fmt: skip
    if d.by_chance(0.04):
        phone["state"] = "open"
    return phone
