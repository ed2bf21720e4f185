"""The circuit as wired: every element of the deck between its nodes, worth the figure that the build states.

Drawn up from the circuit as a constructor wires it; the values are read from the build's text and the tubes'
cards
by PyYAML and `tests/helpers/reading.py`, so that no part of the program says what is expected.
"""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import pytest
import yaml

from receiver_sim import api
from receiver_sim.data import folder
from receiver_sim.schema import Build, changed_build
from receiver_sim.studies import coil_sheet
from tests.decks import receiver_deck
from tests.helpers import reading

FIRST = """
receiver_sim: 1
title: Three stages for the wiring
mains: {frequency: 50 Hz}
supply: {kind: dc, volts: 212 V, resistance: 390 ohm, bleeder: 91 kohm}
heater: {volts: 6.3 V, supply: ac, hum_pot: 120 ohm, hum_pot_position: 30 %}
regulator: {kind: zener, volts: 82 V, current: 4 mA, impedance: 160 ohm, dropper: 9.1 kohm}
regeneration: {pot: 33 kohm, law: linear, rotation: 270 deg, top: 12 kohm, bottom: 1.8 kohm,
  stopper: 5.6 kohm, bypass: 0.22 uF}
detector:
  tube: 6J7
  grid_leak: 1.8 Mohm
  grid_leak_to: cathode
  grid_capacitor: 120 pF
  suppressor: ground
  shell: cathode
  strays: {grid: 3.3 pF, cathode: 4.4 pF, plate: 5.5 pF}
  heater_coupling: {grid_a: 0.11 pF, grid_b: 0.07 pF, cathode_a: 3.1 pF, cathode_b: 2.3 pF, leakage: 31 Mohm}
  rf_filter: {choke: 2.7 mH, choke_resistance: 44 ohm, choke_capacitance: 1.7 pF, plate_capacitor: 82 pF,
    output_capacitor: 150 pF}
  load: {kind: transformer, primary_inductance: 61 H, primary_resistance: 1.9 kohm, capacitance: 77 pF,
    core_loss: 4.68 Mohm, ratio: 2.5, secondary_resistance: 4.7 kohm, coupling: 0.98, shunt: 390 kohm}
audio:
  tube: 6AU6
  grid_resistor: 330 kohm
  volume: {pot: 680 kohm, law: linear, setting: 40 %}
  grid_stopper: 6.8 kohm
  cathode_resistor: 180 ohm
  cathode_bypass: 39 uF
  screen: {resistor: 27 kohm, bypass: 3.9 uF}
  decoupling: {resistor: 1.5 kohm, capacitor: 18 uF}
  heater_coupling: {grid_a: 0.13 pF, grid_b: 0.09 pF, cathode_a: 3.7 pF, cathode_b: 2.9 pF, leakage: 37 Mohm}
  first:
    tube: 6J5
    cathode_resistor: 2.2 kohm
    cathode_bypass: 15 uF
    plate_resistor: 56 kohm
    coupling: 22 nF
    decoupling: {resistor: 8.2 kohm, capacitor: 12 uF}
    heater_coupling: {grid_a: 0.17 pF, grid_b: 0.05 pF, cathode_a: 4.1 pF, cathode_b: 1.9 pF,
      leakage: 41 Mohm}
  output:
    kind: transformer
    primary_inductance: 21 H
    primary_resistance: 470 ohm
    primary_capacitance: 190 pF
    core_loss: 1.7 Mohm
    leakage: 83 mH
    secondaries:
      - {name: line, ratio: 0.19, resistance: 17 ohm}
      - {name: low, ratio: 0.041, resistance: 0.9 ohm}
phones:
  - {name: at the plate, at: plate, capacitor: 0.68 uF, capacitor_rating: 630 V, drain: 270 kohm,
    resistance: 2.1 kohm, inductance: 1.3 H, capacitance: 330 pF}
  - {name: on the line, at: line, resistance: 310 ohm, inductance: 41 mH, capacitance: 220 pF}
tuning: {minimum: 11 pF, maximum: 150 pF, stray: 13 pF}
aerial: {coupling: 4.7 pF, resistance: 190 ohm, capacitance: 130 pF, inductance: 7 uH}
bands:
  - {name: 40 m, from: 7.0 MHz, to: 7.2 MHz, coil: {inductance: 5.6 uH, q: 150, tap: 5 %, coupling: 0.45}}
"""

WIRED = """
Vsupply psrc 0          | supply.volts
Rsupply psrc bplus      | supply.resistance
Rbleeder bplus 0        | supply.bleeder
Vheater ha hb           |
Rhuma ha 0              | 0.30 * heater.hum_pot
Rhumb hb 0              | 0.70 * heater.hum_pot
Vfreg bplus breg        |
Rdropper breg vreg      | regulator.dropper
Inreg 0 vreg            |
Creg vreg 0             | 10e-12
Dreg 0 vreg             |
Vfctl vreg ctlfeed      |
Rctop ctlfeed pothi     | regeneration.top
Rpota pothi wiper       | 0.63 * regeneration.pot
Rpotb wiper potlo       | 0.37 * regeneration.pot
Rcbot potlo 0           | regeneration.bottom
Rstopper wiper scr      | regeneration.stopper
Cscreen scr 0           | regeneration.bypass
Isig 0 top              |
Cgrid top gx            | detector.grid_capacitor
Rleak gx tap            | detector.grid_leak
Cgstray gx 0            | detector.strays.grid
Vprobe gx grid          |
Iprobe 0 grid           |
Xdet plate scr grid tap inj |
Vinj inj 0              |
Cdgk grid tap           | 6J7.cgk
Cdgp grid plate         | 6J7.cgp
Cdpk plate tap          | 0.05 * 6J7.cpk
Cdpsup plate 0          | 0.50 * 6J7.cpk
Cdpshell plate tap      | 0.45 * 6J7.cpk
Cdkstray tap 0          | detector.strays.cathode
Cdhga ha grid           | detector.heater_coupling.grid_a
Cdhgb hb grid           | detector.heater_coupling.grid_b
Cdhka ha tap            | detector.heater_coupling.cathode_a
Cdhkb hb tap            | detector.heater_coupling.cathode_b
Rdhk ha tap             | detector.heater_coupling.leakage
Cdpstray plate 0        | detector.strays.plate
Cfplate plate 0         | detector.rf_filter.plate_capacitor
Lrfc plate rfcx         | detector.rf_filter.choke
Rrfc rfcx dout          | detector.rf_filter.choke_resistance
Crfc plate dout         | detector.rf_filter.choke_capacitance
Cfout dout 0            | detector.rf_filter.output_capacitor
Vfdet bplus bdet        |
Vlpick bdet loadp       |
Lload loadp loadx       | detector.load.primary_inductance
Rcore loadp loadx       | detector.load.core_loss
Rload loadx dout        | detector.load.primary_resistance
Cload bdet dout         | detector.load.capacitance
Rshunt bdet dout        | detector.load.shunt
Lsec secx 0             | 6.25 * detector.load.primary_inductance
Rsec secx dsec          | detector.load.secondary_resistance
Kload Lload Lsec        | 0.98
Vfaud bplus bstage      |
Rvola dsec vwiper       | 0.60 * audio.volume.pot
Rvolb vwiper 0          | 0.40 * audio.volume.pot
Rgrid agin0 0           | audio.grid_resistor
Rfgstop vwiper fgrid    |
Vfpm fplate fp          |
Xfud fp fgrid fcath finj |
Vfinj finj 0            |
Cfgk fgrid fcath        | 6J5.cgk
Cfgp fgrid fplate       | 6J5.cgp
Cfpk fplate fcath       | 6J5.cpk
Rfcath fcath 0          | audio.first.cathode_resistor
Cfcath fcath 0          | audio.first.cathode_bypass
Rfdec bstage bfst       | audio.first.decoupling.resistor
Cfdec bfst 0            | audio.first.decoupling.capacitor
Rfload bfst fplate      | audio.first.plate_resistor
Cfnext fplate agin0     | audio.first.coupling
Cfhga ha fgrid          | audio.first.heater_coupling.grid_a
Cfhgb hb fgrid          | audio.first.heater_coupling.grid_b
Cfhka ha fcath          | audio.first.heater_coupling.cathode_a
Cfhkb hb fcath          | audio.first.heater_coupling.cathode_b
Rfhk ha fcath           | audio.first.heater_coupling.leakage
Ragstop agin0 agrid     | audio.grid_stopper
Vapm aplate ap          |
Xaud ap ascr agrid acath ainj |
Vainj ainj 0            |
Cagk agrid acath        | 6AU6.cgk
Cagp agrid aplate       | 6AU6.cgp
Capk aplate acath       | 6AU6.cpk
Racath acath 0          | audio.cathode_resistor
Cacath acath 0          | audio.cathode_bypass
Rascr baud ascr         | audio.screen.resistor
Cascr ascr 0            | audio.screen.bypass
Radec bstage baud       | audio.decoupling.resistor
Cadec baud 0            | audio.decoupling.capacitor
Cahga ha agrid          | audio.heater_coupling.grid_a
Cahgb hb agrid          | audio.heater_coupling.grid_b
Cahka ha acath          | audio.heater_coupling.cathode_a
Cahkb hb acath          | audio.heater_coupling.cathode_b
Rahk ha acath           | audio.heater_coupling.leakage
Vopick baud primp       |
Rprim primp primx       | audio.output.primary_resistance
Lleak primx primy       | audio.output.leakage
Lmag primy aplate       | audio.output.primary_inductance
Rocore primy aplate     | audio.output.core_loss
Cprim baud aplate       | audio.output.primary_capacitance
Esec0 sec0x 0 primy aplate | 0.19
Fsec0 aplate primy      |
Rsecw0 sec0x sec0       | 17
Esec1 sec1x 0 primy aplate | 0.041
Fsec1 aplate primy      |
Rsecw1 sec1x sec1       | 0.9
Cphone0 aplate phone0   | 0.68e-6
Rdrain0 phone0 0        | 270e3
Rphone0 phone0 phone0x  | 2.1e3
Lphone0 phone0x 0       | 1.3
Cacross0 phone0 0       | 330e-12
Rphone1 sec0 phone1x    | 310
Lphone1 phone1x 0       | 41e-3
Cacross1 sec0 0         | 220e-12
Caerial top ant         | aerial.coupling
Rstatic ant 0           | 100e6
Raerial ant antx        | aerial.resistance
Laerial antx anty       | aerial.inductance
Cantenna anty antz      | aerial.capacitance
Vaerial antz 0          |
Lup top tap             |
Llow tap 0              |
Kcoil Lup Llow          | 0.45
Rtank top 0             |
Ctune top 0             |
Rdin grid dinx          |
Cdin dinx tap           |
"""
"""Element, its nodes, what it is worth: a figure, a key of the build or of a card; nothing where another test
holds it. Signal sources and ammeters are worth 0."""


def elements(text: str) -> dict[str, tuple[str, ...]]:
    """Return the words of every element of a deck outside its subcircuits, continuation lines joined."""
    out: dict[str, tuple[str, ...]] = {}
    depth = 0
    for line in re.sub(r"\n\+", " ", text).splitlines():
        word = line.split()[0].lower() if line.split() else "*"
        depth += (word == ".subckt") - (word == ".ends")
        if depth == 0 and word[0].isalpha():
            assert word not in out, f"{word} stands twice"
            out[word] = tuple(w.lower() for w in line.split()[1:])
    return out


def figure(expression: str, build: dict[str, Any]) -> float:
    """Return what an entry of the list says: a number, or a key with a factor before it."""
    factor, _, key = expression.rpartition(" * ")
    scale = float(factor) if factor else 1.0
    if re.fullmatch(r"[\d.e-]+", key):
        return scale * float(key)
    tube, _, name = key.partition(".")
    if re.fullmatch(r"\d\w+", tube):
        card = yaml.safe_load((folder("models") / f"{tube}.yaml").read_text(encoding="utf-8"))
        return scale * reading.read(card["capacitances"][name]).value
    found: Any = build
    for part in key.split("."):
        found = found[part]
    return scale * reading.read(str(found)).value


def held(seen: dict[str, tuple[str, ...]], listed: str, build: dict[str, Any]) -> set[str]:
    """Hold the elements of a list; return their names."""
    names = set()
    for line in listed.strip().splitlines():
        wiring, _, expression = line.partition("|")
        name, *nodes = wiring.split()
        assert name.lower() in seen, f"no {name} in the deck"
        words = seen[name.lower()]
        assert list(words[: len(nodes)]) == [n.lower() for n in nodes], f"{name}: {words}"
        if expression.strip():
            worth = next(w for w in words[len(nodes) :] if w != "dc")
            due = figure(expression.strip(), build)
            assert float(worth) == pytest.approx(due, rel=1e-9), f"{name}: {worth}, not {due}"
        names.add(name.lower())
    return names


def deck_of(build: Build, band: int = 0) -> str:
    one = build.bands[band]
    deck = receiver_deck(build, api.cards_for(build), band=one, dial_hz=one.to, rotation=0.37)
    return deck.text


def test_three_stages_with_all_their_parts(tmp_path: Path) -> None:
    """Every element of the deck is in the list: one that is added must be drawn here, too."""
    path = tmp_path / "wired.yaml"
    path.write_text(FIRST.lstrip(), encoding="utf-8")
    seen = elements(deck_of(api.load_build(path)))
    names = held(seen, WIRED, yaml.safe_load(FIRST))
    assert set(seen) - names == set()
    # the signal sources and ammeters are at rest
    quiet = [n for n in seen if n[0] in "vi" and n not in ("vsupply",)]
    assert all(float(seen[n][seen[n].index("dc") + 1]) == 0.0 for n in quiet)
    # secondary currents come back to the primary through their own e.m.f.s, in the ratio of turns
    assert seen["fsec0"][2:] == ("esec0", "0.19") and seen["fsec1"][2:] == ("esec1", "0.041")


DEMO = """
Vfctl vreg ctlfeed      |
Rdropper breg vreg      | regulator.dropper
Rleak gx top            | detector.grid_leak
Vlpick bdet loadp       |
Lload loadp loadx       | detector.load.inductance
Rcore loadp loadx       | 77953.44151439772 * detector.load.inductance
Rload loadx dout        | detector.load.resistance
Cload bdet dout         | detector.load.capacitance
Rshunt bdet dout        | detector.load.shunt
Ccouple dout vtop       | audio.coupling
Vopick baud outp        |
Lout outp outx          | audio.output.inductance
Rocore outp outx        | 77953.44151439772 * audio.output.inductance
Rout outx aplate        | audio.output.resistance
Cout baud aplate        | audio.output.capacitance
Cphone0 aplate phone0   | 0.5e-6
"""


def test_choke_load_and_choke_output(demo: Build) -> None:
    written = yaml.safe_load(
        (Path(api.__file__).parent.parent / "schema/builds/demo.yaml").read_text(encoding="utf-8")
    )
    held(elements(deck_of(demo)), DEMO, written)


RF = """
Lhin hgrid hginx        | rf_stage.input.inductance
Rhin hginx 0            | rf_stage.input.resistance
Chin hgrid 0            | rf_stage.input.capacitance
Vhpm hplate hp          |
Xhud hp hscr hgrid hcath hinj |
Vhinj hinj 0            |
Chgk hgrid hcath        | 6SK7.cgk
Chgp hgrid hplate       | 6SK7.cgp
Chpk hplate hcath       | 0.05 * 6SK7.cpk
Chpsup hplate hcath     | 0.50 * 6SK7.cpk
Chpshell hplate 0       | 0.45 * 6SK7.cpk
Rhgin hgrid hgind       |
Chgin hgind hcath       |
Chgs hgrid 0            | 4e-12
Chps hplate 0           | 4e-12
Chgps hgrid hplate      | 0.01e-12
Rhcath hcath hcathx     | rf_stage.cathode_resistor
Rhgaink hgainx hcathx   | 4465
Rhgainx hcathx 0        | 235
Chcath hcath 0          | rf_stage.cathode_bypass
Rhscr hfeed hscr        | rf_stage.screen.resistor
Chscr hscr 0            | rf_stage.screen.bypass
Rhdec bplus hfeed       | rf_stage.decoupling.resistor
Chdec hfeed 0           | rf_stage.decoupling.capacitor
Chhga ha hgrid          | 0.15e-12
Chhgb hb hgrid          | 0.10e-12
Chhka ha hcath          | 4e-12
Chhkb hb hcath          | 4e-12
Rhhk ha hcath           | 200e6
Lhpl hfeed hplx         | rf_stage.plate.inductance
Rhpl hplx hplate        | rf_stage.plate.resistance
Chpl hfeed hplate       | rf_stage.plate.capacitance
Chout hplate top        | rf_stage.coupling
Cbplus bplus 0          | supply.capacitor
"""


def test_rf_stage_between_aerial_and_tank() -> None:
    """Every element of the stage, and the aerial's wire on its grid, not on the tank."""
    build = api.shipped_build("rf_stage")
    path = Path(api.shipped_build("rf_stage").path or "")
    seen = elements(deck_of(build))
    names = held(seen, RF, yaml.safe_load(path.read_text(encoding="utf-8")))
    assert {n for n in seen if n[1:2] == "h" and n not in ("vheater",)} - names - {"rhuma", "rhumb"} == set()
    assert seen["cwirest"][0] == "hgrid" and "caerial" not in seen


def test_strays_from_the_audio_stage_to_the_grid(demo: Build) -> None:
    strays = demo.detector.strays.model_copy(update={"audio_plate": 0.031e-12, "phone_lead": 0.017e-12})
    detector = demo.detector.model_copy(update={"strays": strays})
    seen = elements(deck_of(demo.model_copy(update={"detector": detector})))
    assert seen["csaplate"][:2] == ("aplate", "grid") and seen["csphone"][:2] == ("phone0", "grid")
    assert (float(seen["csaplate"][2]), float(seen["csphone"][2])) == pytest.approx((0.031e-12, 0.017e-12))
    assert "csaplate" not in elements(deck_of(demo))


CABIN = """
Rleak gx tap            | detector.grid_leak
Vfdet bplus bdet        |
Rload bdet dout         | detector.load.resistance
Ccouple dout vtop       | 6.8e-9
Rphone0 sec0 phone0x    | 290
Rphone1 sec1 phone1x    | 3.6
"""


def test_resistor_load_without_decoupling(cabin: Build) -> None:
    written = yaml.safe_load(
        (Path(api.__file__).parent.parent / "schema/builds/cabin.yaml").read_text(encoding="utf-8")
    )
    seen = elements(deck_of(cabin))
    held(seen, CABIN, written)
    # a log track with 20 % at half way: (16^x - 1)/15 of it lies below the wiper
    low = (16.0**0.37 - 1.0) / 15.0 * 25e3
    assert (float(seen["rpota"][2]), float(seen["rpotb"][2])) == pytest.approx((25e3 - low, low))
    # and one with 15 %, the usual figure (common practice), for the volume at 65 %
    base = (1.0 / 0.15 - 1.0) ** 2
    low = (base**0.65 - 1.0) / (base - 1.0) * 1e6
    assert (float(seen["rvola"][2]), float(seen["rvolb"][2])) == pytest.approx((1e6 - low, low))


TICKLER = """
Ltank top 0             | bands.2.coil.inductance
Rcath cath 0            | 1e-3
Rtick tick tickx        |
Ltick tickx plate       | bands.2.coil.tickler.inductance
Ktick Ltank Ltick       | 0.18
Cticktop plate top      | 0.7e-12
Rleak gx 0              | detector.grid_leak
Cdgk grid cath          | 6C6.cgk
Cdgp grid plate         | 6C6.cgp
Cdpk plate cath         | 0.05 * 6C6.cpk
Cdpsup plate cath       | 0.70 * 6C6.cpk
Cdpshell plate 0        | 0.25 * 6C6.cpk
Cfplate tick 0          | detector.rf_filter.plate_capacitor
Lrfc tick rfcx          | detector.rf_filter.choke
"""


PLATE_CONTROL = """
Rctop ctlfeed pothi     | regeneration.top
Rpota pothi bctl        | 0.63 * regeneration.pot
Rpotb bctl potlo        | 0.37 * regeneration.pot
Rcbot potlo 0           | regeneration.bottom
Cctl bctl 0             | regeneration.bypass
"""


def test_control_in_the_plate_feed() -> None:
    """The by-pass lies at the wiper, which feeds the plate load."""
    place = Path(api.__file__).parent.parent / "schema/builds/triode.yaml"
    seen = elements(deck_of(api.shipped_build("triode")))
    held(seen, PLATE_CONTROL, yaml.safe_load(place.read_text(encoding="utf-8")))
    assert seen["vfdet"][:2] == ("bctl", "bdet")


@pytest.mark.parametrize("direction", ["same", "opposite"])
def test_tickler_in_the_plate_lead(direction: str) -> None:
    """The ends named first move together: current from filter to plate feeds the swing if the first is the
    filter's, and takes from it if the windings run the other way. Loss of the coil: Q w L at the dial.
    """
    place = Path(api.__file__).parent.parent / "schema/builds/tickler.yaml"
    written = yaml.safe_load(place.read_text(encoding="utf-8"))
    coil = {**written["bands"][2]["coil"], "tickler": {"inductance": "0.4 uH", "coupling": 0.18,
            "capacitance": "0.7 pF", "direction": direction}}  # fmt: skip
    build = changed_build(api.shipped_build("tickler"), {"bands[2].coil": coil})
    seen = elements(deck_of(build, 2))
    keyed = {**written, "bands": {str(n): band for n, band in enumerate(written["bands"])}}
    listed = TICKLER if direction == "same" else TICKLER.replace("Ltick tickx plate", "Ltick plate tickx")
    held(seen, listed, keyed)
    assert seen["rtank"][:2] == ("top", "0")
    assert float(seen["rtank"][2]) == pytest.approx(150.0 * 2.0 * math.pi * 14.35e6 * 1.4e-6, rel=1e-9)
    assert {n for n in seen if n.startswith(("rtank", "rtick", "ltick", "ctick"))} == {
        "rtank", "rtick", "ltick", "cticktop",
    }  # fmt: skip


def test_a_ticklers_wire_has_the_resistance_of_its_length() -> None:
    """Two turns of 0.25 mm on 34 mm at 3.8 MHz: copper within a skin of 34 um, 1.724e-8 ohm m (IEC 60028).

    The current flows in a ring of the skin's depth, R = rho l / (pi d delta). What the turns crowd it by is
    at most 5.3 times, on a flat close-wound coil of many turns (Medhurst 1947, memory-high).
    """
    build = api.shipped_build("tickler")
    seen = elements(deck_of(build, 0))
    skin = math.sqrt(2.0 * 1.724e-8 / (2.0 * math.pi * 3.8e6 * 4e-7 * math.pi))
    plain = 1.724e-8 * 2.0 * math.pi * 34.25e-3 / (math.pi * 0.25e-3 * skin)
    assert plain < float(seen["rtick"][2]) < 5.3 * plain


def test_tank_and_link_of_a_wound_coil(wound: Build) -> None:
    """Sections and link: their couplings are mutual inductance over the root of both, here by the coil's
    sheet.
    """
    linked = next(n for n, band in enumerate(wound.bands) if band.coil.link is not None)
    seen = elements(deck_of(wound, linked))
    assert seen["lup"][:2] == ("top", "tap") and seen["llow"][:2] == ("tap", "0")
    assert seen["kcoil"][:2] == ("lup", "llow")
    assert seen["llink"][:2] == ("link", "linkx")
    assert seen["klup"][:2] == ("llink", "lup") and seen["kllow"][:2] == ("llink", "llow")
    assert seen["clink"][:2] == ("link", "top")
    upper, lower, link = (float(seen[n][2]) for n in ("lup", "llow", "llink"))
    k = {n: float(seen[n][2]) for n in ("kcoil", "klup", "kllow")}
    mutual = k["kcoil"] * math.sqrt(upper * lower)
    sheet = coil_sheet.sheet(wound.bands[linked])
    assert upper + lower + 2.0 * mutual == pytest.approx(sheet.inductance_henry, rel=1e-9)
    # flux of the link in both sections adds to that in the whole coil
    whole = k["klup"] * math.sqrt(link * upper) + k["kllow"] * math.sqrt(link * lower)
    assert sheet.link_coupling is not None
    assert whole / math.sqrt(link * sheet.inductance_henry) == pytest.approx(sheet.link_coupling, rel=1e-9)
    # the longer section has the larger mutual inductance but the link lies at the grounded end
    assert k["kllow"] > k["klup"] > 0.0
