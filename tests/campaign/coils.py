"""The coil end of a build drawn at random: tuning capacitor, plug-in coils, aerial."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tests.campaign.draw import Draw

Data = dict[str, Any]

TUBE_PF = 10.0
"""What tube and socket add across the coil (common practice, no source)."""


def tuned_circuits(d: Draw) -> tuple[Data, list[Data], bool]:
    """Return tuning capacitor, bands and whether the aerial comes by a link on each coil."""
    from tests.campaign.draw import BANDS, write

    chosen = d.some(BANDS, d.one(1, 2))
    wide = any(high / low > 1.3 for _, low, high in chosen)
    tuning = {
        "minimum": f"{d.span(6, 14):.2g} pF",
        "maximum": f"{d.span(320, 400) if wide else d.span(50, 250):.3g} pF",
        "stray": f"{d.span(5, 20):.2g} pF",
    }
    if d.by_chance(0.4):
        tuning["law"] = d.one("capacitance", "wavelength", "frequency")
    if d.by_chance(0.2):
        tuning["bandspread"] = {"minimum": "3 pF", "maximum": f"{d.span(10, 30):.2g} pF"}
    by_link = d.by_chance(0.35)
    bands = []
    for name, low, high in chosen:
        farad = _capacitance(d, tuning, high / low)
        henry = 1.0 / ((2.0 * math.pi * low * 1e6) ** 2 * farad)
        band: Data = {"name": name, "mhz": high, "from": f"{low:g} MHz", "to": f"{high:g} MHz"}
        if by_link or d.by_chance(0.4):
            band["coil"] = _wound(d, henry, _tap(d, henry, high, q=150.0), by_link=by_link)
        else:
            q = d.span(50, 250)
            band["coil"] = {"inductance": write(henry, "H"), "q": round(q),
                            "tap": f"{100 * _tap(d, henry, high, q=q):.2g} %"}  # fmt: skip
            if d.by_chance(0.8):
                band["coil"]["coupling"] = float(f"{d.span(0.3, 0.95):.2g}")
        bands.append(band)
    return tuning, bands, by_link


def _capacitance(d: Draw, tuning: Data, ratio: float) -> float:
    """Return farads across the coil at the low end of a band, so that both ends lie on the dial."""
    low, high, stray = (float(tuning[key].split()[0]) for key in ("minimum", "maximum", "stray"))
    fixed = stray + TUBE_PF
    least = ratio**2 * (low + fixed) * 1.1
    most = 0.92 * high + fixed
    return 1e-12 * (d.span(least, most) if least < most else most)


def _wheeler_turns(henry: float, *, diameter: float, pitch: float) -> float:
    """Return turns of a single-layer coil of that inductance (Wheeler 1928, metres)."""
    turns = 4.0
    for _ in range(60):
        length = turns * pitch
        # L in microhenry, radius a and length b in inches: a^2 n^2 / (9 a + 10 b)
        a, b = diameter / 2 / 0.0254, length / 0.0254
        turns = math.sqrt(henry * 1e6 * (9.0 * a + 10.0 * b)) / a
    return turns


def _winding(d: Draw, henry: float) -> tuple[float, float, float]:
    """Return (former, pitch, turns) with a length of 0.25 to 3 diameters, as handbooks advise."""
    best = (1e9, (0.03, 1e-3, 10.0))
    for _ in range(60):
        former, pitch = d.span(0.016, 0.05), d.span(0.25e-3, 3e-3)
        turns = _wheeler_turns(henry, diameter=former + 0.8 * pitch, pitch=pitch)
        shape = turns * pitch / former
        if 0.25 <= shape <= 3.0 and turns >= 3.5:
            return former, pitch, turns
        best = min(best, (abs(math.log(shape)), (former, pitch, turns)))
    return best[1]


def _wound(d: Draw, henry: float, tap: float, *, by_link: bool) -> Data:
    kind = (
        d.one("solenoid", "solenoid", "sections", "toroid") if not by_link else d.one("solenoid", "sections")
    )
    if kind == "toroid":
        factor = d.span(4e-9, 60e-9)
        turns = max(math.sqrt(henry / factor), 3.0)
        return {
            "winding": {"kind": kind, "factor": f"{henry / turns**2 * 1e9:.4g} nH", "turns": f"{turns:.3g}",
                        "tap": _turn(turns, tap)},
            "measured": {"q": round(d.span(80, 250)), "coupling": float(f"{d.span(0.6, 0.97):.2g}")},
        }  # fmt: skip
    former, pitch, turns = _winding(d, henry)
    turns = round(4 * turns) / 4
    wire = d.one(0.5, 0.6, 0.7) * pitch
    size: Data = {"former": f"{former * 1e3:.3g} mm"}
    wound: Data = {"wire": f"{wire * 1e3:.3g} mm", "pitch": f"{pitch * 1e3:.3g} mm", "covering": "0.02 mm"}
    coil: Data = {}
    if kind == "solenoid":
        coil["winding"] = {"kind": kind, **size, "turns": turns, **wound, "tap": _turn(turns, tap)}
        if d.by_chance(0.15) and not by_link:
            length = turns * pitch
            coil["can"] = {"diameter": f"{2.0 * (former + pitch) * 1e3:.3g} mm",
                           "height": f"{(length + 1.5 * former) * 1e3:.3g} mm"}  # fmt: skip
    else:
        low = max(round(d.span(0.15, 0.4) * turns), 1)
        parts = [{**size, "turns": low, **wound},
                 {**size, "turns": turns - low, **wound, "gap": f"{d.span(0.5, 4):.2g} mm"}]  # fmt: skip
        coil["winding"] = {"kind": kind, "sections": parts, "tap": _turn(turns, tap)}
    if d.by_chance(0.5):
        coil["winding"]["former_loss"] = {"permittivity": float(f"{d.span(2.3, 6):.2g}"),
                                          "loss_tangent": float(f"{d.span(5e-4, 0.05):.2g}")}  # fmt: skip
    if d.by_chance(0.4):
        coil["measured"] = {"q": round(d.span(60, 220))}
    if by_link:
        coil["link"] = _link(d, turns)
    return coil


def _tap(d: Draw, henry: float, mhz: float, *, q: float) -> float:
    """Return the tap as part of all turns: where 0.5 mA/V just pays for a tank of 0.6 of the coil's Q, times
    0.5 to 4, as nobody hits it at once."""
    ohm = 0.6 * q * 2.0 * math.pi * mhz * 1e6 * henry
    return min(max(d.span(0.5, 4.0) / (0.5e-3 * ohm), 0.01), 0.33)


def _turn(turns: float, tap: float) -> float:
    """Return the turn of the tap, in quarters and in the lower half of the coil."""
    return float(max(min(round(4.0 * turns * tap), math.floor(2.0 * turns)), 1)) / 4.0


def _link(d: Draw, turns: float) -> Data:
    place = d.one("below", "over")
    link: Data = {"turns": max(round(d.span(0.05, 0.25) * turns), 1), "wire": f"{d.span(0.2, 0.5):.2g} mm",
                  "place": place, "gap": f"{d.span(1, 5):.2g} mm",
                  "cold_end": d.one("chassis", "chassis", "feeder")}  # fmt: skip
    if place == "below" or d.by_chance(0.3):
        link["capacitance"] = f"{d.span(0.3, 3):.2g} pF"
    if d.by_chance(0.3):
        link["shield"] = d.one(
            {"kind": "leaves", "capacitance": "0.05 pF"},
            {"kind": "comb", "wire": "0.3 mm", "spacing": "1.5 mm", "to_link": "2 mm", "to_coil": "2 mm"},
        )
    return link


def aerial(d: Draw, *, by_link: bool, highest_mhz: float) -> Data | None:
    """Return the aerial; none in one build of twelve that needs none."""
    if not by_link and d.by_chance(0.08):
        return None
    kind = d.one("series", "series", "dummy", "wire")
    out: Data = {"kind": kind}
    if not by_link:
        out["coupling"] = f"{d.span(1.5, 15):.2g} pF"
    if kind == "series":
        out |= {"resistance": f"{d.span(30, 600):.2g} ohm", "capacitance": f"{d.span(60, 400):.2g} pF",
                "inductance": f"{d.span(2, 25):.2g} uH"}  # fmt: skip
    if kind == "wire":
        height, flat = d.span(2.5, 10), d.one(0.0, d.span(3, 20))
        out["wire"] = {"height": f"{height:.2g} m", "flat": f"{flat:.2g} m",
                       "diameter": f"{d.span(0.8, 2.5):.2g} mm"}  # fmt: skip
    if d.by_chance(0.2):
        out["swing"] = d.per_cent(2, 20)
    return out
