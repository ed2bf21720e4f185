"""Checks between the keys of a build (faults), and what is allowed but probably unintended (warnings)."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator

from receiver_sim.schema import regulator_types
from receiver_sim.schema.build import Band, Build
from receiver_sim.schema.coil import Padding, Tuning
from receiver_sim.schema.coil_checks import COIL_CHECKS
from receiver_sim.schema.coil_figures import coil_figures
from receiver_sim.schema.faults import KeyPath, nearest
from receiver_sim.schema.phones import DEFAULTS, Phones
from receiver_sim.schema.practice import unusual
from receiver_sim.schema.quantity import CAPACITANCE, FREQUENCY, VOLTAGE, format_quantity
from receiver_sim.schema.rf_stage_checks import RF_CHECKS
from receiver_sim.schema.supply_and_audio_checks import SUPPLY_AND_AUDIO_CHECKS
from receiver_sim.schema.tube_names import type_of
from receiver_sim.schema.validated import Finding, Glimpse

# What a receiving tube, its socket and the grid lead add across the tank; common practice, no source.
TUBE_INPUT_FARAD = 10e-12


def _ordered(g: Glimpse, low: KeyPath, high: KeyPath, what: str) -> Iterator[Finding]:
    a, b = g.number(*low), g.number(*high)
    if a is not None and b is not None and not a < b:
        yield Finding(high, f"{what} above that of '{low[-1]}'", "swap the two or correct one")


def _held_volts(g: Glimpse) -> float | None:
    """Return the volts the regulator holds, all in series, None if unknown."""
    one = g.number("regulator", "volts")
    if one is None:
        one = regulator_types.figures(g.word("regulator", "type") or "").get("volts")
    return None if one is None else one * (g.number("regulator", "count") or 1.0)


def supply_order(g: Glimpse) -> Iterator[Finding]:
    """A shunt regulator needs volts to drop, must strike above what it holds, and has a least current."""
    supply, held = g.number("supply", "volts"), _held_volts(g)
    if supply is not None and held is not None and not held < supply:
        volts = format_quantity(supply, VOLTAGE, 4)
        yield Finding(("regulator", "volts"), f"less than the {volts} of the supply",
                      "raise the supply or take a lower regulator")  # fmt: skip
    yield from _ordered(g, ("regulator", "volts"), ("regulator", "strike"), "volts")
    yield from _ordered(g, ("regulator", "minimum_current"), ("regulator", "maximum_current"), "a current")


_POT = "a resistance from 100 ohm to 10 Mohm such as '50 kohm'"


def control_keys(g: Glimpse) -> Iterator[Finding]:
    """A control has the parts of its kind, and no other."""
    if not g.given("regeneration"):
        return
    acts_on = g.word("regeneration", "acts_on")
    if acts_on == "throttle":
        yield from _throttle_keys(g)
        return
    for key in ("minimum", "maximum"):
        if g.given("regeneration", key):
            cure = "take the line out, or write 'acts_on: throttle'"
            yield Finding(("regeneration", key), f"no {key}, since this control is no capacitor", cure)
    if not g.given("regeneration", "pot"):
        yield Finding(("regeneration", "pot"), _POT, "add a line such as 'pot: 50 kohm'", missing=True)
    if acts_on == "plate":
        series = g.word("regeneration", "connection") == "resistor"
        useless = [("stopper", "screen")] + ([("bottom", "lower end")] if series else [])
        for key, what in useless:
            if g.given("regeneration", key):
                cure = "take the line out"
                yield Finding(("regeneration", key), f"no {key}, since this control has no {what}", cure)
    if acts_on == "screen":
        if g.word("regeneration", "connection") == "resistor":
            yield Finding(
                ("regeneration", "connection"), "'potentiometer', since the control acts on the screen",
                "take the line out, or write 'acts_on: plate'",
            )  # fmt: skip
        if g.given("detector", "screen"):
            yield Finding(
                ("detector", "screen"), "no fixed feed, since the regeneration control feeds the screen",
                "take it out, or let the control act elsewhere ('regeneration.acts_on')",
            )  # fmt: skip


def _throttle_keys(g: Glimpse) -> Iterator[Finding]:
    for key, example in (("minimum", "12 pF"), ("maximum", "150 pF")):
        if not g.given("regeneration", key):
            yield Finding(
                ("regeneration", key), f"the {key} of the throttle, from 0.5 pF to 10 nF",
                f"add a line such as '{key}: {example}'", missing=True,
            )  # fmt: skip
    yield from _ordered(g, ("regeneration", "minimum"), ("regeneration", "maximum"), "a capacitance")
    for key in ("pot", "top", "bottom", "stopper", "bypass", "connection"):
        if g.given("regeneration", key):
            yield Finding(
                ("regeneration", key), f"no {key}, since the control is a capacitor", "take the line out"
            )
    for i in range(g.count("bands")):
        if not g.given("bands", i, "coil", "tickler"):
            yield Finding(
                ("bands", i, "coil"), "a coil with a tickler, which the throttle stands behind",
                "add the key 'tickler' to this coil, or take another control",
            )  # fmt: skip
    if g.given("regulator") and not g.given("detector", "screen"):
        yield Finding(
            ("regulator",), "no regulator, since it feeds the control or a fixed screen and there is neither",
            "take it out",
        )  # fmt: skip


def pot_laws(g: Glimpse) -> Iterator[Finding]:
    """The value at half rotation must agree with the law of the track."""
    for control in (("regeneration",), ("audio", "volume")):
        law, mid = g.word(*control, "law"), g.number(*control, "mid")
        if mid is None:
            continue
        span = {"linear": "50 %", "log": "less than 50 %", "antilog": "more than 50 %"}
        fits = {"linear": mid == 0.5, "log": mid < 0.5, "antilog": mid > 0.5}
        if law in fits and not fits[law]:
            yield Finding(
                (*control, "mid"), f"{span[law]} for the law '{law}'", "change the law or leave 'mid' out"
            )


def tuning_order(g: Glimpse) -> Iterator[Finding]:
    """The capacitor meshes from minimum to maximum, a band runs from low to high."""
    yield from _ordered(g, ("tuning", "minimum"), ("tuning", "maximum"), "a capacitance")
    for i in range(g.count("bands")):
        yield from _ordered(g, ("bands", i, "from"), ("bands", i, "to"), "a frequency")


def _repeated(g: Glimpse, path: KeyPath, what: str) -> Iterator[Finding]:
    seen: set[str] = set()
    for i in range(g.count(*path)):
        name = g.word(*path, i, "name")
        if name is None:
            continue
        if name.casefold() in seen:
            yield Finding((*path, i, "name"), f"a name that no other {what} has", "rename one of them")
        seen.add(name.casefold())


def names(g: Glimpse) -> Iterator[Finding]:
    """Bands, phones and secondaries are distinguished by name; 'plate', 'volume' and 'load' are taken."""
    yield from _repeated(g, ("bands",), "band")
    yield from _repeated(g, ("phones",), "load")
    windings: KeyPath = ("audio", "output", "secondaries")
    yield from _repeated(g, windings, "secondary")
    for i in range(g.count(*windings)):
        name = (g.word(*windings, i, "name") or "").casefold()
        if name in ("plate", "volume", "load"):
            yield Finding((*windings, i, "name"), f"a name other than '{name}'", "rename it")


_TUBES: tuple[KeyPath, ...] = (("detector", "tube"), ("audio", "tube"), ("audio", "first", "tube"))


def known_types(known_tubes: Callable[[], Collection[str]]) -> Callable[[Glimpse], Iterator[Finding]]:
    """Return the check that a card is on hand for each tube."""

    def tubes(g: Glimpse) -> Iterator[Finding]:
        for path in (("rf_stage", "tube"), *_TUBES):
            tube = g.word(*path)
            if tube is None or type_of(tube) in (known := known_tubes()):
                continue
            halves = [f"{tube}-P", f"{tube}-T"]  # two tubes in one bulb
            if set(halves) <= set(known):
                expected = f"'{halves[0]}', its pentode, or '{halves[1]}', its triode"
                yield Finding(path, expected, "a bulb of two tubes has a card for each")
                continue
            near = nearest(tube, known)
            on_hand = "" if near else f" ({', '.join(sorted(known)) or 'none'})"
            cure = f"did you mean '{near}'?" if near else "make a card for it or take another tube"
            yield Finding(path, f"a tube with a card on hand{on_hand}", cure)

    return tubes


CHECKS: tuple[Callable[[Glimpse], Iterator[Finding]], ...] = (
    supply_order,
    control_keys,
    pot_laws,
    tuning_order,
    names,
    *SUPPLY_AND_AUDIO_CHECKS,
    *COIL_CHECKS,
    *RF_CHECKS,
)


def tank_capacitance(tuning: Tuning, padding: Padding | None, variable: float) -> float:
    """Return the farads across a coil, tube included, with the tuning capacitor at `variable` farads.

    The series padder is in series with the tuning capacitor; parallel padder, strays and tube are across the
    coil.
    """
    if padding is not None and padding.series is not None:
        variable = variable * padding.series / (variable + padding.series)
    return variable + (padding.parallel if padding else 0.0) + tuning.stray + TUBE_INPUT_FARAD


def warnings_of(build: Build) -> tuple[str, ...]:
    """Return what is allowed but probably unintended, a sentence each."""
    return (
        *_coverage(build),
        *_supply_cautions(build),
        *_throttle_cautions(build),
        *_recalled_regulator(build),
        *_load_cautions(build),
        *_reversed(build),
        *unusual(build),
    )


def _coverage(build: Build) -> Iterator[str]:
    for band in build.bands:
        least, most = (tank_capacitance(build.tuning, band.padding, c) + _extra(build, band, meshed=c)
                       for c in (build.tuning.minimum, build.tuning.maximum))  # fmt: skip
        for edge in (band.from_, band.to):
            needed = 1.0 / ((2.0 * math.pi * edge) ** 2 * band.coil.inductance)
            if not least <= needed <= most:
                span = f"{format_quantity(least, CAPACITANCE, 3)} to {format_quantity(most, CAPACITANCE, 3)}"
                yield (
                    f"band '{band.name}': {format_quantity(edge, FREQUENCY, 4)} needs "
                    f"{format_quantity(needed, CAPACITANCE, 3)} across the coil, but tuning capacitor, "
                    f"padding, strays and tube give {span}: the dial does not reach it"
                )


def _reversed(build: Build) -> Iterator[str]:
    for band in build.bands:
        fed = coil_figures(band.coil).tickler
        if fed is not None and fed.reversed:
            yield (
                f"band '{band.name}': the tickler is reversed and works against the swing: swap its two ends "
                "('plate_end') or wind it the other way ('direction')"
            )


def _extra(build: Build, band: Band, *, meshed: float) -> float:
    """Return the farads across the coil that aerial, winding and a band-spread capacitor add."""
    figures, spread = coil_figures(band.coil), build.tuning.bandspread
    extra = figures.self_capacitance
    if build.rf_stage is not None:
        extra += build.rf_stage.coupling or 0.0
    elif build.aerial is not None:
        link = figures.link.capacitance if figures.link is not None else 0.0
        extra += build.aerial.coupling if build.aerial.coupling is not None else link
    if spread is not None:
        part = spread.maximum if meshed == build.tuning.maximum else spread.minimum
        series = band.padding.bandspread_series if band.padding is not None else None
        extra += part if series is None else part * series / (part + series)
    return extra


def _recalled_regulator(build: Build) -> Iterator[str]:
    regulator = build.regulator
    row = regulator_types.row_of(regulator.type or "") if regulator is not None else None
    stated = (build._data or {}).get("regulator") or {}
    left = row is not None and any(row[key] and stated.get(key) is None for key in regulator_types.FIGURES)
    if row is not None and left and "memory-low" in row["flag"]:
        yield (
            f"regulator: figures of the {row['type']} that are left out come from memory ({row['flag']}): "
            "state yours"
        )


def _throttle_cautions(build: Build) -> Iterator[str]:
    if build.regeneration.acts_on == "throttle":
        yield (
            "regeneration: the stator of the throttle stands at PLATE POTENTIAL, and plates that touch short "
            "the plate to ground: ground its rotor, cover the stator, put some nanofarads rated for it "
            "in series"
        )
        if build.detector.rf_filter.plate_capacitor > 0.0:
            yield (
                "detector.rf_filter.plate_capacitor: it is across the throttle, which cannot go below it: "
                "write 0 pF"
            )


def _supply_cautions(build: Build) -> Iterator[str]:
    stored = build.supply.kind != "battery" or build.supply.capacitor is not None
    if build.supply.bleeder is None and stored:
        yield "supply: no bleeder, so its capacitors stay charged when off: discharge and measure first"
    if (
        build.regulator is not None
        and build.regulator.kind == "gas_tube"
        and build.supply.kind != "rectifier"
    ):
        strike = build.regulator.strike
        if strike > build.supply.volts:
            yield (
                f"regulator: it strikes at {format_quantity(strike, VOLTAGE, 4)}, above the supply of "
                f"{format_quantity(build.supply.volts, VOLTAGE, 4)}: it will not light"
            )


def _load_cautions(build: Build) -> Iterator[str]:
    for phone in build.phones:
        if phone.at == "load":
            yield (
                f"phones '{phone.name}' stand in the plate lead: cord, terminals and windings carry the "
                "PLATE SUPPLY; keep to a low-voltage battery, touch no bare metal with the set on, or feed "
                "them from a choke or resistor through a blocking capacitor and a drain"
            )
        if phone.at == "plate" and phone.drain is None:
            when = "open" if phone.state == "open" else "once the plug is pulled"
            yield (
                f"phones '{phone.name}': {when}, with no drain behind the capacitor, the free lead floats up "
                "to PLATE POTENTIAL; add a line such as 'drain: 100 kohm'"
            )
    usual = [f"'{phone.name}' ({phone.kind})" for phone in _by_kind(build)]
    if usual:
        yield (
            f"phones {' and '.join(usual)}: usual figures of their kind are used for what is left out "
            "(common practice, no source): measure yours"
        )


def _by_kind(build: Build) -> Iterator[Phones]:
    """Give the phones of which a figure comes from their kind."""
    written = (build._data or {}).get("phones") or [{}] * len(build.phones)
    for phone, stated in zip(build.phones, written, strict=True):
        usual = () if phone.kind is None or phone.impedance else DEFAULTS[phone.kind]
        if any(stated.get(key) is None for key in usual):
            yield phone
