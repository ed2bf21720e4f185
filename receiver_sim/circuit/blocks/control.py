"""The regeneration control: what sets the detector's screen voltage, its plate feed, or the throttle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from receiver_sim.circuit.circuit import Block
from receiver_sim.circuit.control import Control, control_of
from receiver_sim.circuit.description import described
from receiver_sim.circuit.limits import CONTACT_OHM
from receiver_sim.circuit.registry import Site, filled, form
from receiver_sim.circuit.templates import TemplateFault
from receiver_sim.data import folder
from receiver_sim.schema import Build


def control_form(build: Build) -> str:
    """Return the form of the control that a build has."""
    said = build.regeneration
    if said.acts_on == "throttle":
        return "throttle"
    return f"{said.acts_on}_{said.connection}"


def plate_feed(build: Build) -> str:
    """Return the node that the detector's plate load is fed from."""
    return "bctl" if build.regeneration.acts_on == "plate" else "bplus"


def _regulated(build: Build) -> str:
    return "bplus" if build.regulator is None else "vreg"


def _track(site: Site) -> float:
    if site.build.regeneration.pot is None:
        raise TemplateFault("this control has a track: its resistance is needed")
    return site.build.regeneration.pot


def _declared(site: Site, template: str, whole: Mapping[str, float]) -> Control:
    said = site.build.regeneration
    declared = described(folder("netlists"), template).control
    assert declared is not None
    return control_of(declared, whole=whole, degrees=said.rotation, law=said.law, mid=said.mid)


def _potentiometer(site: Site, control: Control) -> dict[str, Any]:
    """Return the values of a potentiometer's parts with its wiper where `site` has it."""
    said, parts = site.build.regeneration, control.at(site.rotation)
    return {
        "feed": _regulated(site.build),
        "top": max(said.top, CONTACT_OHM),
        "bottom": max(said.bottom, CONTACT_OHM),
        "bypass": said.bypass,
        "pot_a": parts["rpota"],
        "pot_b": parts["rpotb"],
    }


@form("control", "screen_potentiometer")
def screen_potentiometer(site: Site) -> Sequence[Block]:
    """Return a potentiometer that sets the screen voltage, with its wiper where `site` has it."""
    control = _declared(site, "control", {"track": _track(site)})
    stopper = max(site.build.regeneration.stopper, CONTACT_OHM)
    values = {**_potentiometer(site, control), "stopper": stopper}
    return [filled("control.cir", values, control=control)]


@form("control", "plate_potentiometer")
def plate_potentiometer(site: Site) -> Sequence[Block]:
    """Return a potentiometer that sets the volts that the plate is fed with."""
    control = _declared(site, "control_plate_potentiometer", {"track": _track(site)})
    return [filled("control_plate_potentiometer.cir", _potentiometer(site, control), control=control)]


@form("control", "plate_resistor")
def plate_resistor(site: Site) -> Sequence[Block]:
    """Return a variable resistor in the plate feed."""
    said = site.build.regeneration
    control = _declared(site, "control_plate_resistor", {"track": _track(site)})
    values = {
        "feed": _regulated(site.build),
        "top": max(said.top, CONTACT_OHM),
        "bypass": said.bypass,
        "pot_a": control.at(site.rotation)["rpota"],
    }
    return [filled("control_plate_resistor.cir", values, control=control)]


@form("control", "throttle")
def throttle(site: Site) -> Sequence[Block]:
    """Return a variable capacitor between the filter's end of the tickler and ground."""
    said = site.build.regeneration
    if said.minimum is None or said.maximum is None:
        raise TemplateFault("a throttle needs its least and its largest capacitance")
    span = {"minimum": said.minimum, "maximum": said.maximum}
    control = _declared(site, "control_throttle", span)
    values = {"capacitance": control.at(site.rotation)["cthrottle"]}
    return [filled("control_throttle.cir", values, control=control)]


@form("screen", "fixed")
def fixed_screen(site: Site) -> Sequence[Block]:
    """Return what feeds the screen of a detector whose control is elsewhere."""
    said = site.build.detector.screen
    assert said is not None
    regulated = site.build.regeneration.acts_on == "throttle"
    values = {
        "feed": _regulated(site.build) if regulated else "bplus",
        "resistor": max(said.resistor, CONTACT_OHM),
        "to_ground": said.to_ground,
        "bypass": said.bypass,
    }
    return [filled("screen_fixed.cir", values)]
