"""The public functions, a file a verb: each takes a build, answers one question and returns a frozen result.

    >>> build = load_build("my-set.yaml")
    >>> report = check(build)

A Bench (the pool of ngspice workers) is opened and closed by each call unless one is given. Names are fetched
when they are first asked for, so that a verb brings along what it needs and no more.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # what stands here is public; _HOMES says the same to whoever asks at run time
    from receiver_sim.api._audio import INPUTS as INPUTS
    from receiver_sim.api._audio import audio as audio
    from receiver_sim.api._audio import audio_in_depth as audio_in_depth
    from receiver_sim.api._bias import cathode_transconductance as cathode_transconductance
    from receiver_sim.api._bias import operating_points as operating_points
    from receiver_sim.api._calibrate import calibrate as calibrate
    from receiver_sim.api._calibrate import measured_values as measured_values
    from receiver_sim.api._check import check as check
    from receiver_sim.api._coils import ERA as ERA
    from receiver_sim.api._coils import REGION as REGION
    from receiver_sim.api._coils import coils as coils
    from receiver_sim.api._common import Progress as Progress
    from receiver_sim.api._common import prepare as prepare
    from receiver_sim.api._common import provenance as provenance
    from receiver_sim.api._deck import deck_text as deck_text
    from receiver_sim.api._deck import export as export
    from receiver_sim.api._detect import detect as detect
    from receiver_sim.api._draw import draw as draw
    from receiver_sim.api._fault_table import fault_table as fault_table
    from receiver_sim.api._faults import faults as faults
    from receiver_sim.api._found import no_onset as no_onset
    from receiver_sim.api._found import with_screen_resistance as with_screen_resistance
    from receiver_sim.api._hum import hum_in_depth as hum_in_depth
    from receiver_sim.api._hum import hum_study as hum_study
    from receiver_sim.api._listen import listen as listen
    from receiver_sim.api._listen import onset_path as onset_path
    from receiver_sim.api._live import deeper as deeper
    from receiver_sim.api._live import for_the_bench as for_the_bench
    from receiver_sim.api._live import quick as quick
    from receiver_sim.api._live import sounds as sounds
    from receiver_sim.api._loop import SWEEP as SWEEP
    from receiver_sim.api._loop import loop as loop
    from receiver_sim.api._new import new_build as new_build
    from receiver_sim.api._onset import failed as failed
    from receiver_sim.api._onset import onset as onset
    from receiver_sim.api._onset import verify as verify
    from receiver_sim.api._page import page as page
    from receiver_sim.api._page import page_html as page_html
    from receiver_sim.api._page import page_verdict as page_verdict
    from receiver_sim.api._sheet import sheet as sheet
    from receiver_sim.api._spread import spread_of_sets as spread_of_sets
    from receiver_sim.api._supply import supply as supply
    from receiver_sim.api._supply import supply_in_depth as supply_in_depth
    from receiver_sim.api._swap import candidates_for as candidates_for
    from receiver_sim.api._swap import in_socket as in_socket
    from receiver_sim.api._swap import swap_tubes as swap_tubes
    from receiver_sim.api._tap import find_taps as find_taps
    from receiver_sim.api._tubes import FitRefused as FitRefused
    from receiver_sim.api._tubes import FittedCard as FittedCard
    from receiver_sim.api._tubes import check_fit as check_fit
    from receiver_sim.api._tubes import check_tubes as check_tubes
    from receiver_sim.api._tubes import curves as curves
    from receiver_sim.api._tubes import fit_tube as fit_tube
    from receiver_sim.api._tubes import fit_tubes as fit_tubes
    from receiver_sim.api._tubes import fitted_tubes as fitted_tubes
    from receiver_sim.api._tubes import leave_one_out as leave_one_out
    from receiver_sim.api._tubes import write_fits as write_fits
    from receiver_sim.api._wind import design_coil as design_coil
    from receiver_sim.builds import band_named as band_named
    from receiver_sim.builds import bands_named as bands_named
    from receiver_sim.builds import shipped_build as shipped_build
    from receiver_sim.builds import shipped_builds as shipped_builds
    from receiver_sim.circuit.signals import Sampled as Sampled
    from receiver_sim.circuit.signals import Signal as Signal
    from receiver_sim.design.winding import Wish as Wish
    from receiver_sim.engine import Bench as Bench
    from receiver_sim.engine import Deck as Deck
    from receiver_sim.errors import Superseded as Superseded
    from receiver_sim.receiver import cards_for as cards_for
    from receiver_sim.receiver import dial_frequencies as dial_frequencies
    from receiver_sim.receiver import settle as settle
    from receiver_sim.schema import BuildFaults as BuildFaults
    from receiver_sim.schema import changed_build as changed_build
    from receiver_sim.schema import load_build as load_build
    from receiver_sim.schema.card import card_for as card_for
    from receiver_sim.schema.card import card_types as card_types
    from receiver_sim.schema.card import load_card as load_card

_HOMES = {
    "receiver_sim.api._audio": "INPUTS audio audio_in_depth",
    "receiver_sim.api._bias": "cathode_transconductance operating_points",
    "receiver_sim.api._calibrate": "calibrate measured_values",
    "receiver_sim.api._check": "check",
    "receiver_sim.api._coils": "ERA REGION coils",
    "receiver_sim.api._common": "Progress prepare provenance",
    "receiver_sim.api._deck": "deck_text export",
    "receiver_sim.api._detect": "detect",
    "receiver_sim.api._draw": "draw",
    "receiver_sim.api._fault_table": "fault_table",
    "receiver_sim.api._faults": "faults",
    "receiver_sim.api._found": "no_onset with_screen_resistance",
    "receiver_sim.api._hum": "hum_in_depth hum_study",
    "receiver_sim.api._listen": "listen onset_path",
    "receiver_sim.api._live": "deeper for_the_bench quick sounds",
    "receiver_sim.api._loop": "SWEEP loop",
    "receiver_sim.api._new": "new_build",
    "receiver_sim.api._onset": "failed onset verify",
    "receiver_sim.api._page": "page page_html page_verdict",
    "receiver_sim.api._sheet": "sheet",
    "receiver_sim.api._spread": "spread_of_sets",
    "receiver_sim.api._supply": "supply supply_in_depth",
    "receiver_sim.api._swap": "candidates_for in_socket swap_tubes",
    "receiver_sim.api._tap": "find_taps",
    "receiver_sim.api._tubes": (
        "FitRefused FittedCard check_fit check_tubes curves fit_tube fit_tubes fitted_tubes leave_one_out "
        "write_fits"
    ),
    "receiver_sim.api._wind": "design_coil",
    "receiver_sim.design.winding": "Wish",
    "receiver_sim.builds": "band_named bands_named shipped_build shipped_builds",
    "receiver_sim.receiver": "cards_for dial_frequencies settle",
    "receiver_sim.circuit.signals": "Sampled Signal",
    "receiver_sim.engine": "Bench Deck",
    "receiver_sim.errors": "Superseded",
    "receiver_sim.schema": "BuildFaults changed_build load_build",
    "receiver_sim.schema.card": "card_for card_types load_card",
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names.split()}

__all__ = list(_HOME_OF)


def __getattr__(name: str) -> Any:
    if name not in _HOME_OF:
        raise AttributeError(f"module 'receiver_sim.api' has no attribute '{name}'")
    found = getattr(importlib.import_module(_HOME_OF[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted(_HOME_OF)
