"""The public functions, a file a verb: each takes a build, answers one question and returns a frozen result.

    >>> build = load_build("my-set.yaml")
    >>> report = check(build)

A Bench (the pool of ngspice workers) is opened and closed by each call unless one is given. Names are fetched
when they are first asked for, so that a verb brings along what it needs and no more.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from receiver_sim.api._audio import INPUTS, audio_in_depth, hum_in_depth, supply_in_depth
    from receiver_sim.api._check import (
        audio,
        cathode_transconductance,
        check,
        deck_text,
        export,
        hum_study,
        loop,
        operating_points,
        prepare,
        provenance,
        supply,
    )
    from receiver_sim.api._coils import ERA, REGION, Wish, coils, design_coil, find_taps
    from receiver_sim.api._onset import detect, failed, listen, no_onset, onset, onset_path, verify
    from receiver_sim.api._swap import candidates_for, swap_tubes
    from receiver_sim.api._tubes import (
        FitRefused,
        FittedCard,
        check_fit,
        check_tubes,
        curves,
        fit_tube,
        fit_tubes,
        fitted_tubes,
        leave_one_out,
        write_fits,
    )
    from receiver_sim.builds import (
        band_named,
        bands_named,
        cards_for,
        dial_frequencies,
        settle,
        shipped_build,
        shipped_builds,
    )
    from receiver_sim.circuit.signals import Sampled, Signal
    from receiver_sim.engine import Bench, Deck
    from receiver_sim.schema import BuildFaults, changed_build, load_build
    from receiver_sim.schema.card import card_for, card_types, load_card

_HOMES = {
    "receiver_sim.api._audio": ("INPUTS", "audio_in_depth", "hum_in_depth", "supply_in_depth"),
    "receiver_sim.api._check": (
        "audio",
        "cathode_transconductance",
        "check",
        "deck_text",
        "export",
        "hum_study",
        "loop",
        "operating_points",
        "prepare",
        "provenance",
        "supply",
    ),
    "receiver_sim.api._coils": ("ERA", "REGION", "Wish", "coils", "design_coil", "find_taps"),
    "receiver_sim.api._onset": (
        "detect",
        "failed",
        "listen",
        "no_onset",
        "onset",
        "onset_path",
        "verify",
    ),
    "receiver_sim.api._swap": ("candidates_for", "swap_tubes"),
    "receiver_sim.api._tubes": (
        "FitRefused",
        "FittedCard",
        "check_fit",
        "check_tubes",
        "curves",
        "fit_tube",
        "fit_tubes",
        "fitted_tubes",
        "leave_one_out",
        "write_fits",
    ),
    "receiver_sim.builds": (
        "band_named",
        "bands_named",
        "cards_for",
        "dial_frequencies",
        "settle",
        "shipped_build",
        "shipped_builds",
    ),
    "receiver_sim.circuit.signals": ("Sampled", "Signal"),
    "receiver_sim.engine": ("Bench", "Deck"),
    "receiver_sim.schema": ("BuildFaults", "changed_build", "load_build"),
    "receiver_sim.schema.card": ("card_for", "card_types", "load_card"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

__all__ = [
    "ERA",
    "INPUTS",
    "REGION",
    "Bench",
    "BuildFaults",
    "Deck",
    "FitRefused",
    "FittedCard",
    "Sampled",
    "Signal",
    "Wish",
    "audio",
    "audio_in_depth",
    "band_named",
    "bands_named",
    "candidates_for",
    "card_for",
    "card_types",
    "cards_for",
    "cathode_transconductance",
    "changed_build",
    "check",
    "check_fit",
    "check_tubes",
    "coils",
    "curves",
    "deck_text",
    "design_coil",
    "detect",
    "dial_frequencies",
    "export",
    "failed",
    "find_taps",
    "fit_tube",
    "fit_tubes",
    "fitted_tubes",
    "hum_in_depth",
    "hum_study",
    "leave_one_out",
    "listen",
    "load_build",
    "load_card",
    "loop",
    "no_onset",
    "onset",
    "onset_path",
    "operating_points",
    "prepare",
    "provenance",
    "settle",
    "shipped_build",
    "shipped_builds",
    "supply",
    "supply_in_depth",
    "swap_tubes",
    "verify",
    "write_fits",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME_OF:
        raise AttributeError(f"module 'receiver_sim.api' has no attribute '{name}'")
    found = getattr(importlib.import_module(_HOME_OF[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted(__all__)
