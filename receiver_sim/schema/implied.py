"""Values that follow from other keys where they are left out: by the mains, by a type, by a kind."""

from __future__ import annotations

from typing import Any

from receiver_sim.physics.core_loss import usual_core_resistance
from receiver_sim.schema import rectifier_card, regulator_types
from receiver_sim.schema.build import Build
from receiver_sim.schema.phones import DEFAULTS, NO_KIND, Phones
from receiver_sim.schema.supply import Vacuum
from receiver_sim.schema.tube_names import type_of


def filled(build: Build) -> Build:
    """Return the build with what follows from other keys filled in; nothing stated is changed."""
    changes: dict[str, Any] = {}
    supply = build.supply
    if supply.kind in ("dc", "bench") and supply.ripple_frequency is None:
        ripple = {"ripple_frequency": 2.0 * build.mains.frequency}
        changes["supply"] = supply.model_copy(update=ripple)
    if supply.kind == "rectifier" and supply.rectifier.kind == "vacuum":
        changes["supply"] = supply.model_copy(update={"rectifier": _vacuum(supply.rectifier)})
    regulator = build.regulator
    if regulator is not None and regulator.type is not None:
        printed = regulator_types.figures(regulator.type)
        missing = {k: v for k, v in printed.items() if getattr(regulator, k, 0.0) is None}
        changes["regulator"] = regulator.model_copy(update=missing)
    control = build.regeneration
    if control.acts_on == "throttle" and "rotation" not in control.model_fields_set:
        changes["regeneration"] = control.model_copy(update={"rotation": 180.0})
    build = _throttled(build)
    named = _named_by_card(build)
    changes |= named | _with_iron(build.model_copy(update=named))
    changes["phones"] = tuple(_phones(phone) for phone in build.phones)
    return build.model_copy(update=changes)


def _throttled(build: Build) -> Build:
    """Return the build without a filter capacitor that nobody stated where it would be part of a throttle."""
    rf_filter = build.detector.rf_filter
    if build.regeneration.acts_on != "throttle" or "plate_capacitor" in rf_filter.model_fields_set:
        return build
    alone = {"rf_filter": rf_filter.model_copy(update={"plate_capacitor": 0.0})}
    return build.model_copy(update={"detector": build.detector.model_copy(update=alone)})


def _named_by_card(build: Build) -> dict[str, Any]:
    """Return r.f. stage, detector and audio with their tubes under the names of the cards, as results show
    them."""
    audio, rf = build.audio, build.rf_stage
    if audio is not None:
        audio = audio.model_copy(update={"tube": type_of(audio.tube)})
        if audio.first is not None:
            first = audio.first.model_copy(update={"tube": type_of(audio.first.tube)})
            audio = audio.model_copy(update={"first": first})
    return {
        "rf_stage": None if rf is None else rf.model_copy(update={"tube": type_of(rf.tube)}),
        "detector": build.detector.model_copy(update={"tube": type_of(build.detector.tube)}),
        "audio": audio,
    }


def _with_iron(build: Build) -> dict[str, Any]:
    """Return detector and audio with the core loss of their iron-cored windings."""
    audio = build.audio
    if audio is not None:
        audio = audio.model_copy(update={"output": _iron(audio.output)})
    detector = build.detector.model_copy(update={"load": _iron(build.detector.load)})
    return {"detector": detector, "audio": audio}


def _iron(winding: Any) -> Any:
    if getattr(winding, "core_loss", 0.0) is not None:
        return winding
    inductance = winding.inductance if winding.kind == "choke" else winding.primary_inductance
    return winding.model_copy(update={"core_loss": float(usual_core_resistance(inductance))})


def _vacuum(rectifier: Vacuum) -> Vacuum:
    printed = {} if rectifier.type is None else rectifier_card.figures(rectifier.type)
    missing = {key: value for key, value in printed.items() if key not in rectifier.model_fields_set}
    return rectifier.model_copy(update=missing) if missing else rectifier


def _phones(phone: Phones) -> Phones:
    usual = dict(NO_KIND if phone.kind is None else DEFAULTS[phone.kind])
    if phone.impedance:  # the fitted network stands for R, L and C
        usual.pop("resistance", None)
    missing = {key: value for key, value in usual.items() if getattr(phone, key) is None}
    return phone.model_copy(update=missing) if missing else phone
