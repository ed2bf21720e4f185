"""Other forms of the set, made of a drawn one: tickler for tap, triode for pentode, phones for audio stage,
an r.f. stage ahead.

The chance of a form is a stream of its own, so that what the set was drawn as does not change.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from receiver_sim.schema.card import card_for, card_types

if TYPE_CHECKING:
    from tests.campaign.draw import Draw

Data = dict[str, Any]

FORMS = (
    "tap", "tap", "tap", "tickler", "tickler", "triode with tickler", "triode with tap", "one tube",
    "r.f. stage with tap", "r.f. stage with tickler",
)  # fmt: skip
"""Forms by their share; the first is the set as drawn."""


def changed(d: Draw, build: Data) -> Data:
    """Return the build in a form of its own, or as it is where that form does not go with its coils."""
    form = d.one(*FORMS)
    if form == "tap" or ("tap" not in form and not _ticklers_fit(build)):
        return build
    if "tap" not in form:
        _give_ticklers(d, build)
    if form.startswith("r.f."):
        _give_rf_stage(d, build)
    if form.startswith("triode"):
        _give_triode(d, build)
    if form == "one tube":
        _take_audio(build)
    return build


def _ticklers_fit(build: Data) -> bool:
    """Return whether a tickler can be wound beside each coil: single layers, and coils told by figures."""
    coils = [band["coil"] for band in build["bands"]]
    plain = [coil.get("winding", {"kind": "solenoid"})["kind"] == "solenoid" for coil in coils]
    return all(plain) and not any("link" in coil or "can" in coil for coil in coils)


def _give_ticklers(d: Draw, build: Data) -> None:
    """Take the taps away and feed back by a winding of 3 to 12 % of the coil's flux (common practice)."""
    for band in build["bands"]:
        coil = band["coil"]
        if "winding" in coil:
            del coil["winding"]["tap"]
            coil.get("measured", {}).pop("coupling", None)
            turns = max(round(2 * d.span(0.06, 0.2) * coil["winding"]["turns"]) / 2, 1.0)
            coil["tickler"] = {"turns": turns, "wire": "0.25 mm", "gap": f"{d.span(2, 10):.2g} mm"}
            continue
        del coil["tap"]
        coil.pop("coupling", None)
        share, coupling = d.span(0.03, 0.12), d.span(0.12, 0.45)
        number, unit = coil["inductance"].split()
        own = float(number) * (share / coupling) ** 2
        least = {"nH": 60.0, "uH": 0.06, "mH": 6e-5}[unit]  # a turn
        coil["tickler"] = {
            "inductance": f"{max(own, least):.3g} {unit}",
            "coupling": float(f"{coupling:.2g}"),
        }
    # the way back of the tickler's r.f. current
    build["detector"]["rf_filter"]["plate_capacitor"] = d.part(100e-12, 500e-12, "F")
    build["detector"].get("heater_feed", {}).pop("chokes", None)


def _give_triode(d: Draw, build: Data) -> None:
    """Put a triode in the detector's socket, its plate fed through the control."""
    from tests.campaign.draw import feed_of_heater

    line = float(build["heater"]["volts"].split()[0])
    triodes = [card for card in map(card_for, card_types()) if card.kind == "triode"]
    card = d.one(*[c for c in triodes if c.heater.volts <= line] or triodes)
    detector = build["detector"]
    detector.pop("heater_feed", None)
    detector |= {"tube": card.type, **feed_of_heater(d, card, line)}
    if "tap" not in str(build["bands"][0]["coil"].get("winding", build["bands"][0]["coil"])):
        detector.get("heater_feed", {}).pop("chokes", None)
    control = build["regeneration"]
    control["acts_on"] = "plate"
    control.pop("stopper", None)


def _take_audio(build: Data) -> None:
    """Hear the detector itself: phones in its plate lead, as sets of one tube on a battery have them."""
    del build["audio"]
    build.pop("pickup", None)
    build["detector"]["load"] = {"kind": "phones"}
    build["phones"] = [{"name": "phones 1", "at": "load", "kind": "high_impedance"}]


def _give_rf_stage(d: Draw, build: Data) -> None:
    """Put a tube with a screen between aerial and tank: one that a cathode resistor can bias on any line."""
    from tests.campaign.draw import feed_of_heater

    line = float(build["heater"]["volts"].split()[0])
    screened = [c for c in map(card_for, card_types()) if c.kind != "triode" and not c.heater.direct]
    fitting = [c for c in screened if c.heater.volts <= line]
    aerial = build.get("aerial")
    if aerial is None or not fitting:
        return
    card, by_link = d.one(*fitting), "coupling" not in aerial
    choke = {"kind": "choke", "inductance": d.part(0.5e-3, 2.5e-3, "H"), "resistance": d.part(15, 60, "ohm")}
    by_pass = d.part(5e-9, 1e-7, "F")
    stage: Data = {
        "tube": card.type, **feed_of_heater(d, card, line),
        "input": d.one(choke, {"kind": "resistor", "resistance": d.part(2e3, 5e4, "ohm")}, {"kind": "tuned"}),
        "plate": {"kind": "link"} if by_link
        else d.one(dict(choke), {"kind": "resistor", "resistance": d.part(2e3, 2e4, "ohm")}),
        "cathode_resistor": d.part(200, 1500, "ohm"), "cathode_bypass": by_pass,
        "screen": {"resistor": d.part(15e3, 150e3, "ohm"), "bypass": by_pass},
    }  # fmt: skip
    if by_link or d.by_chance(0.5):
        stage["decoupling"] = {"resistor": d.part(500, 5e3, "ohm"), "capacitor": by_pass}
    if not by_link:
        stage["coupling"] = aerial.pop("coupling")
        if d.by_chance(0.3):
            aerial["coupling"] = d.part(20e-12, 200e-12, "F")
    if d.by_chance(0.6):
        stage["gain"] = {
            "place": d.one("cathode", "screen"), "pot": d.part(5e3, 50e3, "ohm"),
            "setting": d.per_cent(20, 100),
        }  # fmt: skip
    if stage["input"]["kind"] == "tuned":
        for band in build["bands"]:
            farad, top = d.span(30e-12, 120e-12), 1e6 * float(band["to"].split()[0])
            henry = 1.0 / ((2.0 * math.pi * top) ** 2 * farad)
            band["rf_coil"] = {"inductance": f"{henry * 1e6:.3g} uH", "q": round(d.span(60, 200))}
    build["rf_stage"] = stage
