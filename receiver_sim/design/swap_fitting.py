"""What does a constructor have to change to put another tube into a socket? (from the cards alone)"""

from __future__ import annotations

from receiver_sim.results.swap import Fitting
from receiver_sim.schema import Build
from receiver_sim.schema.card import TubeCard

HEATER_TOLERANCE = 0.05
"""A heater within 5 % of the supply's volts is at home (common practice, no source)."""


def fitting(build: Build, card: TubeCard, in_place: TubeCard, *, rf: bool, tap: bool = True) -> Fitting:
    """Compare a candidate with the tube in place and the build's heater supply.

    rf: a socket that carries r.f., the detector's or that of an r.f. stage; tap: its cathode may be on the
    coil's tap, as the detector's is.
    """
    other_base = card.base != in_place.base
    pins = () if other_base else _pin_changes(card, in_place)
    fits = abs(card.heater.volts / build.heater.volts - 1.0) <= HEATER_TOLERANCE
    same_cap = card.cap == in_place.cap
    return Fitting(
        heater_v=card.heater.volts,
        heater_a=card.heater.amps,
        heater_fits=fits and not card.heater.direct,
        heater=_heater(build, card, in_place, fits=fits, tap=rf and tap),
        base=card.base,
        other_base=other_base,
        pins=(f"{card.base} socket: {_all_pins(card)}",) if other_base else pins,
        cap=card.cap,
        shield=_shield(card, rf=rf),
        drop_in=fits and not other_base and not pins and same_cap and not card.heater.direct,
    )


def _all_pins(card: TubeCard) -> str:
    return ", ".join(f"{pin} {what}" for pin, what in card.pins.items())


def _pin_changes(card: TubeCard, in_place: TubeCard) -> tuple[str, ...]:
    changes = []
    for pin in sorted({*card.pins, *in_place.pins}):
        new, old = card.pins.get(pin, "free"), in_place.pins.get(pin, "free")
        if new != old:
            name = "cap" if pin == "cap" else f"pin {pin}"
            changes.append(f"{name}: {old} becomes {new}")
    return tuple(changes)


def _heater(build: Build, card: TubeCard, in_place: TubeCard, *, fits: bool, tap: bool) -> str:
    heater, line = card.heater, build.heater.volts
    need = f"{heater.volts:g} V, {heater.amps:g} A"
    if heater.direct:
        tapped = tap and build.bands[0].coil.tickler is None
        how = (
            "on a tap it needs d.c. through r.f. chokes, both leads by-passed to the tap"
            if tapped
            else "it needs d.c. (a.c. in it hums)"
        )
        line_too = "" if fits else f"; the line has {line:g} V"
        return f"{need}: the filament is the cathode; {how}{line_too}"
    if fits:
        if heater.amps == in_place.heater.amps:
            return f"{need}: as the tube in place"
        more = heater.amps - in_place.heater.amps
        return f"{need}: {abs(more):.3g} A {'more' if more > 0 else 'less'} than the tube in place"
    if heater.volts > line:
        return f"{need}: the line has {line:g} V; a winding of its own"
    drop = line - heater.volts
    resistor, power = drop / heater.amps, drop * heater.amps
    series = f"{resistor:.2g} ohm in series ({power:.2g} W)"
    return f"{need}: the line has {line:g} V; a winding of its own, or {series}"


def _shield(card: TubeCard, *, rf: bool) -> str:
    metal = [pin for pin, what in card.pins.items() if what in ("shell", "shield")]
    cap = "" if card.cap is None else "; shielded lead to the cap" if rf else "; lead to the cap kept short"
    if metal:
        return f"ground pin {metal[0]}{cap}"
    return ("shield can, grounded" if rf else "no shield needed") + cap
