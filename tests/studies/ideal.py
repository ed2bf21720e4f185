"""The demo build made ideal: perfect tap, no capacitances, no losses but the tank's; for closed forms."""

from receiver_sim.circuit.registry import Cards
from receiver_sim.schema import Build


def ideal(build: Build, *, tap: float = 0.1) -> Build:
    """Return the build with an ideal tap, a grid capacitor that passes all RF, no strays and no aerial."""
    none = {"grid": 0.0, "cathode": 0.0, "plate": 0.0}
    quiet = {"grid_a": 0.0, "grid_b": 0.0, "cathode_a": 0.0, "cathode_b": 0.0, "leakage": 1e11}
    detector = build.detector.model_copy(
        update={
            "grid_capacitor": 10e-9,
            "strays": build.detector.strays.model_copy(update=none),
            "heater_coupling": build.detector.heater_coupling.model_copy(update=quiet),
        }
    )
    bands = tuple(
        band.model_copy(update={"coil": band.coil.model_copy(update={"tap": tap, "coupling": 1.0})})
        for band in build.bands
    )
    return build.model_copy(update={"detector": detector, "bands": bands, "aerial": None})


def bare(cards: Cards) -> Cards:
    """Return the cards with the detector's capacitances, input loading and grid current taken away."""
    card = cards.detector
    none = card.capacitances.model_copy(update={"cgk": 0.0, "cgp": 0.0, "cpk": 0.0})
    loading = card.input_loading.model_copy(update={"kc_per_mhz": 0.0, "kh_per_mhz2": 0.0})
    assert card.fit is not None
    grid = card.fit.parameters["grid_perveance"].model_copy(update={"value": 0.0})
    fit = card.fit.model_copy(update={"parameters": {**card.fit.parameters, "grid_perveance": grid}})
    update = {"capacitances": none, "input_loading": loading, "fit": fit}
    return Cards(card.model_copy(update=update), cards.audio)
