"""Range, dial, aerial, losses and breakthrough of an ideal tank: every figure in closed form, with complex
arithmetic.

The tank is ideal (tap of coupling 1, no strays, of the tube its input loading alone), so Y = 1/(j w L) + j w
C + 1/Rp
holds exactly; the aerial hangs on the hot end by a capacitor, as R, L and C in series.
"""

from __future__ import annotations

import dataclasses
import math

import pytest

from receiver_sim.circuit.registry import Cards
from receiver_sim.engine import Bench
from receiver_sim.measure import onset
from receiver_sim.physics.tube_law import small_signal
from receiver_sim.receiver import Receiver
from receiver_sim.results.base import Status
from receiver_sim.results.onset import Onset
from receiver_sim.schema import Band, Build, changed_build
from receiver_sim.studies import aerial, breakthrough, dial_sweep, operating_point, tuning_range
from tests.studies.ideal import bare, ideal

TAP = 0.024
COUPLING, OHM, FARAD, HENRY = 3.3e-12, 250.0, 180e-12, 6e-6
"""The demo's aerial."""


@pytest.fixture(scope="module")
def plain(demo: Build, demo_cards: Cards) -> tuple[Build, Cards]:
    cards = bare(demo_cards)
    loading = demo_cards.detector.input_loading
    build = changed_build(demo, {"detector.grid_leak_to": "cathode"})
    return ideal(build, tap=TAP).model_copy(update={"aerial": demo.aerial}), dataclasses.replace(
        cards, detector=cards.detector.model_copy(update={"input_loading": loading})
    )


def branch(frequency: float, farad: float = FARAD) -> complex:
    """Return the admittance of the aerial behind its coupling capacitor."""
    s = 2j * math.pi * frequency
    return 1.0 / (OHM + s * HENRY + 1.0 / (s * farad) + 1.0 / (s * COUPLING))


def loading(cards: Cards, frequency: float) -> float:
    """Return what the tube's input takes across the whole tank, S: kc f + kh f^2 at the share 1 - n of its
    volts.
    """
    one, mega = cards.detector.input_loading, frequency / 1e6
    return (1.0 - TAP) ** 2 * (one.kc_per_mhz * mega + one.kh_per_mhz2 * mega**2)


def coil(band: Band, frequency: float) -> float:
    return 1.0 / (band.coil.q * 2.0 * math.pi * frequency * band.coil.inductance)


def test_range_with_the_capacitor_meshed_and_open(bench: Bench, plain: tuple[Build, Cards]) -> None:
    """160 and 9 pF, 14 pF of strays: f = 1/(2 pi sqrt(L C)), with what the aerial adds to C there."""
    build, cards = plain
    band = build.bands[2]
    found = tuning_range.run(Receiver(build, bench, cards=cards), band=band)
    for frequency, variable in ((found.low_hz, 160e-12), (found.high_hz, 9e-12)):
        w = 2.0 * math.pi * frequency
        total = variable + 14e-12 + branch(frequency).imag / w
        # the block of the input loading is a capacitance of G/(20 w): 1.4e-4 of f at the top
        assert frequency == pytest.approx(1.0 / (2.0 * math.pi * math.sqrt(5.6e-6 * total)), rel=5e-4)
    assert found.low_hz < found.from_hz < found.to_hz < found.high_hz
    # the dial: straight in capacitance, meshed at 1; the band's edges by the capacitance each needs
    for place, frequency in ((found.band_low, band.from_), (found.band_high, band.to)):
        w = 2.0 * math.pi * frequency
        needed = 1.0 / (w * w * 5.6e-6) - 14e-12 - branch(frequency).imag / w
        assert place == pytest.approx((needed - 9e-12) / 151e-12, abs=2e-4)
    # thirteen marks from open to meshed; df/d(degree) = -f/(2 C) dC/d(degree)
    assert [m.rotation for m in found.marks] == pytest.approx([n / 12 for n in range(13)])
    middle = found.marks[6]
    total = (
        9e-12
        + 0.5 * 151e-12
        + 14e-12
        + branch(middle.frequency_hz).imag / (2 * math.pi * middle.frequency_hz)
    )
    slope = -middle.frequency_hz / (2.0 * total) * 151e-12 / found.travel_deg
    # a parabola through neighbours a twelfth of the dial away
    assert middle.slope_hz_per_deg == pytest.approx(slope, rel=0.06)
    assert (found.dial, found.travel_deg) == ("main", 180.0)


@pytest.fixture(scope="module")
def searched(bench: Bench, plain: tuple[Build, Cards]) -> Onset:
    build, cards = plain
    found = onset.run(Receiver(build, bench, cards=cards).at(build.bands[2], 7.1e6))
    assert found.status is Status.OSCILLATES
    return found


def test_what_makes_the_loop_gain(bench: Bench, plain: tuple[Build, Cards], searched: Onset) -> None:
    """Shares of the losses by their conductances; Z = n (1 - n) Rp; T = g_k Z with g_k of the tube's law."""
    build, cards = plain
    band = build.bands[2]
    rotation = 0.35
    point = dial_sweep.point(Receiver(build, bench, cards=cards).at(band, search=searched), rotation=rotation)
    parts = {
        "coil": coil(band, 7.1e6), "tube": loading(cards, 7.1e6), "leak": (1.0 - TAP) ** 2 / 2.7e6,
        "aerial": branch(7.1e6).real,
    }  # fmt: skip
    whole = sum(parts.values())
    # blocking capacitor of the loading 0.25 %, the fit of the mode 0.1 %
    assert point.rp_ohm == pytest.approx(1.0 / whole, rel=5e-3)
    assert point.loaded_q == pytest.approx(1.0 / (whole * 2.0 * math.pi * 7.1e6 * 5.6e-6), rel=5e-3)
    shares = (point.coil_loss, point.input_loss, point.leak_loss, point.other_loss)
    assert shares == pytest.approx([p / whole for p in parts.values()], abs=4e-3)
    assert sum(shares) == pytest.approx(1.0)
    # each is large enough to be told from the others
    assert min(parts[k] / whole for k in ("coil", "tube", "aerial")) > 0.01
    assert point.coil_q == 150.0 and point.coil_rp_ohm == pytest.approx(1.0 / parts["coil"], rel=1e-9)
    assert point.tap_ratio == pytest.approx(TAP)
    assert point.transfer_ohm == pytest.approx(TAP * (1.0 - TAP) / whole, rel=6e-3)
    (here,) = operating_point.run(
        Receiver(build, bench, cards=cards).at(band, 7.1e6), settings=[("here", rotation)]
    )
    tube = here.tubes[0]
    assert tube.screen_v is not None
    law_gk = small_signal(
        cards.detector.law(), grid_v=tube.grid_v, plate_v=tube.plate_v, screen_v=tube.screen_v
    ).gk
    # screen and plate hold on to the cathode's current: below 1 % each
    assert point.transconductance_siemens == pytest.approx(law_gk, rel=0.02)
    assert point.gain == pytest.approx(law_gk * point.transfer_ohm, rel=0.02)


def test_the_aerial_as_it_swings_and_what_it_radiates(
    bench: Bench, plain: tuple[Build, Cards], searched: Onset
) -> None:
    """Shift by what the aerial's reactance changes of C; Q by its resistance; current by V/(sqrt 2
    |Z|).
    """
    build, cards = plain
    band = build.bands[2]
    found = aerial.run(Receiver(build, bench, cards=cards).at(band, search=searched), tank_volts=2.5)
    w, total = 2.0 * math.pi * 7.1e6, 1.0 / ((2.0 * math.pi * 7.1e6) ** 2 * 5.6e-6)
    states = {state.state: state for state in found.states}
    assert list(states) == ["calm", "less", "more", "none"]
    own = coil(band, 7.1e6) + loading(cards, 7.1e6) + (1.0 - TAP) ** 2 / 2.7e6
    for name, farad in (("calm", FARAD), ("less", 0.9 * FARAD), ("more", 1.1 * FARAD), ("none", None)):
        state = states[name]
        assert state.capacitance_farad == (None if farad is None else pytest.approx(farad))
        there = 0j if farad is None else branch(7.1e6, farad)
        change = (there - branch(7.1e6)).imag / w
        shift = 7.1e6 * (1.0 / math.sqrt(1.0 + change / total) - 1.0)
        # the branch's own reactance at the shifted frequency: a per cent
        assert state.shift_hz == pytest.approx(shift, rel=0.02, abs=1.0)
        # the losses stay what they are at the dial: Q = R sqrt(C/L)
        across = math.sqrt((total + change) / 5.6e-6)
        assert state.q == pytest.approx(across / (own + there.real), rel=5e-3)
        assert state.onset is not None and searched.onset is not None
    # less damping, earlier onset
    assert states["none"].onset.rotation < states["calm"].onset.rotation  # type: ignore[union-attr]
    assert states["calm"].onset == searched.onset
    assert states["less"].shift_hz > 0.0 > states["more"].shift_hz
    assert (found.coupling, found.resistance_ohm) == ("capacitor", pytest.approx(OHM))
    assert found.reactance_ohm == pytest.approx(w * HENRY - 1.0 / (w * FARAD))
    out = found.radiation
    assert (out.tank_v, out.tank_assumed, out.height_m, out.height_assumed) == (2.5, False, 2.0, True)
    assert out.aerial_a == pytest.approx(2.5 / math.sqrt(2.0) * abs(branch(7.1e6)), rel=2e-3)
    # 160 pi^2 (h/lambda)^2 and sqrt(90 P)/d over perfect ground (textbook)
    wave = 299792458.0 / 7.1e6
    assert out.radiation_ohm == pytest.approx(160.0 * math.pi**2 * (2.0 / wave) ** 2, rel=1e-3)
    assert out.power_w == pytest.approx(out.aerial_a**2 * out.radiation_ohm)
    assert out.field_v_per_m == pytest.approx(math.sqrt(90.0 * out.power_w) / 100.0)


def test_breakthrough_of_a_station(bench: Bench, plain: tuple[Build, Cards], searched: Onset) -> None:
    """A divider of the aerial's branch into the tank: V = E Y_a/(Y_a + Y), of which 1 - n lies from grid to
    cathode.
    """
    build, cards = plain
    band = build.bands[2]
    found = breakthrough.run(Receiver(build, bench, cards=cards).at(band, search=searched))
    assert searched.tuning_farad is not None

    def ratio(frequency: float) -> float:
        s = 2j * math.pi * frequency
        own = coil(band, 7.1e6) + loading(cards, 7.1e6) + (1.0 - TAP) ** 2 / 2.7e6
        tank = own + 1.0 / (s * 5.6e-6) + s * searched.tuning_farad  # type: ignore[operator]
        part = branch(frequency)
        return (1.0 - TAP) * abs(part / (part + tank))

    assert (found.station_hz, found.emf_v) == (1e6, 0.5)
    # at 1 MHz the coil is nearly a short; losses do not matter there
    assert found.station_v == pytest.approx(0.5 * ratio(1e6), rel=0.01)
    assert found.wanted == pytest.approx(ratio(7.1e6), rel=0.03)
    assert found.equal_v == pytest.approx(found.station_v / found.wanted)
    assert found.station_shielded_v is None and found.shielded is None
    for frequency, seen in zip(found.frequency_hz[::29], found.unshielded[::29], strict=True):
        # the loading, a parallel resistance as at the dial, is blocked by its capacitor far below it
        near = abs(frequency / 7.1e6 - 1.0) < 0.03
        assert seen == pytest.approx(ratio(float(frequency)), rel=0.05 if near else 0.01)
