"""Which change would quieten the hum most? Each is tried on a changed build, none is guessed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from receiver_sim.results.hum import SILENT_DB, Remedy
from receiver_sim.schema import Build
from receiver_sim.schema.audio_stages import Decoupling
from receiver_sim.schema.supply import FilterSection, SettledSection, SettledSupply

ADDED_OHM, ADDED_FARAD = 2.2e3, 22e-6
"""A filter section or decoupling from stock, where one is added."""

SHIELDED = 0.1
"""What turning, moving or shielding a winding may leave of its pick-up (common practice, no source)."""

_POT_STEP = 0.005


def with_part(build: Build, path: str, **changes: Any) -> Build:
    """Return the build with keys of the part at a dotted path changed."""
    if not path:
        return build.model_copy(update=changes)
    head, _, rest = path.rpartition(".")
    part: Any = build
    for step in path.split("."):
        part = getattr(part, step)
    return with_part(build, head, **{rest: part.model_copy(update=changes)})


def changes(build: Build, null: float | None) -> Iterator[tuple[str, Build]]:
    """Give every change that applies to the build, in words and as a changed build.

    null: position of the hum pot at the null of the output that counts, None if it is not known.
    """
    yield from _heater_changes(build, null)
    yield from _supply_changes(build)
    for key, where in (
        ("detector_load", "the detector's choke or transformer"),
        ("output", "the output winding"),
    ):
        strength = getattr(build.pickup, key)
        if strength > 0.0:
            text = f"turn, move or shield {where} until a tenth of its pick-up is left"
            yield text, with_part(build, "pickup", **{key: SHIELDED * strength})
    yield from _stage_changes(build)


def _heater_changes(build: Build, null: float | None) -> Iterator[tuple[str, Build]]:
    heater = build.heater
    if heater.supply == "ac":
        if null is not None and heater.wiring == "hum_pot":
            # a pot that stands there already is no remedy
            if abs(null - heater.hum_pot_position) >= _POT_STEP:
                yield (
                    f"set the hum pot to {100.0 * null:.0f} %",
                    with_part(build, "heater", hum_pot_position=null),
                )
        elif null is not None:
            yield (
                f"fit a hum pot and set it to {100.0 * null:.0f} %",
                with_part(build, "heater", wiring="hum_pot", hum_pot_position=null),
            )
        if heater.wiring == "one_side":
            yield "ground a centre tap instead of one side", with_part(build, "heater", wiring="centre_tap")
        yield "heat with smooth d.c.", with_part(build, "heater", supply="dc", ripple=0.0)
    for stage, where in (("detector", "detector"), ("audio", "audio stage")):
        part = getattr(build, stage)
        if part is None:
            continue
        couple = part.heater_coupling
        yield (
            f"halve the heater-to-grid capacitance at the {where} (lead dress, shielded socket)",
            with_part(
                build, f"{stage}.heater_coupling", grid_a=couple.grid_a / 2.0, grid_b=couple.grid_b / 2.0
            ),
        )


def _supply_changes(build: Build) -> Iterator[tuple[str, Build]]:
    supply = build.supply
    if supply.kind == "rectifier":
        last = supply.filter[-1]
        doubled = (*supply.filter[:-1], last.model_copy(update={"capacitor": 2.0 * last.capacitor}))
        yield "double the last filter capacitor", with_part(build, "supply", filter=doubled)
        if len(supply.filter) < 5:
            one = FilterSection.model_construct(
                resistor=ADDED_OHM, choke=None, choke_resistance=0.0, capacitor=ADDED_FARAD,
                series_resistance=0.0, rating=last.rating,
            )  # fmt: skip
            yield (
                "add a filter section of 2.2 kohm and 22 uF",
                with_part(build, "supply", filter=(*supply.filter, one)),
            )
    elif supply.ripple > 0.0:
        section = SettledSection(
            resistance=ADDED_OHM, inductance=0.0, capacitor=ADDED_FARAD, series_resistance=0.0
        )
        filtered = SettledSupply.model_construct(
            kind="dc", volts=supply.volts, resistance=supply.resistance, ripple=supply.ripple,
            ripple_frequency=supply.ripple_frequency, bleeder=supply.bleeder, sections=(section,),
            harmonics=(), peak_volts=supply.volts,
        )  # fmt: skip
        yield "add a filter section of 2.2 kohm and 22 uF", build.model_copy(update={"supply": filtered})


def _stage_changes(build: Build) -> Iterator[tuple[str, Build]]:
    control, audio = build.regeneration, build.audio
    if control.acts_on != "throttle":
        what = "screen's by-pass capacitor" if control.acts_on == "screen" else "by-pass of the plate feed"
        yield f"double the {what}", with_part(build, "regeneration", bypass=2.0 * control.bypass)
    if build.detector.screen is not None:
        yield (
            "double the screen's by-pass capacitor",
            with_part(build, "detector.screen", bypass=2.0 * build.detector.screen.bypass),
        )
    if audio is None:
        return
    if audio.decoupling is None:
        part = Decoupling.model_construct(resistor=ADDED_OHM, capacitor=ADDED_FARAD)
        yield "decouple the audio stage with 2.2 kohm and 22 uF", with_part(build, "audio", decoupling=part)
    else:
        yield (
            "double the decoupling capacitor of the audio stage",
            with_part(build, "audio.decoupling", capacitor=2.0 * audio.decoupling.capacitor),
        )
    if audio.bias == "cathode" and audio.cathode_bypass is None:
        yield "by-pass the audio cathode with 22 uF", with_part(build, "audio", cathode_bypass=ADDED_FARAD)


def run(
    build: Build,
    *,
    measure: Callable[[str, Build], Sequence[float | None] | None],
    nulls: Sequence[float] | None,
) -> tuple[Remedy, ...]:
    """Try every change and rank by what it gains in the output that hums most.

    measure takes what is tried and the changed build and gives for each output how far its hum lies above the
    threshold of hearing (dB), None for silence: the study of the paths on that build; or None if it failed,
    and then the change is left out. nulls: place of the hum pot at the null of each output, None if not
    known.
    """
    present = measure("hum to hold remedies against", build)
    if present is None:
        return ()
    before = [SILENT_DB if level is None else level for level in present]
    worst = max(range(len(before)), key=lambda i: before[i])
    if before[worst] == SILENT_DB:
        return ()
    tried = []
    for text, changed in changes(build, None if nulls is None else nulls[worst]):
        levels = measure(f"remedy: {text}", changed)
        if levels is None:
            continue
        highest = max(SILENT_DB if level is None else level for level in levels)
        tried.append(Remedy(text, before[worst], highest, before[worst] - highest))
    return tuple(sorted(tried, key=lambda r: -r.gain_db))
