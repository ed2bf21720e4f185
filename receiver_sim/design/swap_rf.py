"""Which of the tubes at hand does best in the r.f. stage of this build?

Each tube is looked at in the build as it stands, its gain control included, by what `coils` measures of the
stage: the signal it brings to the tank, what it lets back to the aerial, where the detector then begins.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from receiver_sim.design import rf_stage, swap
from receiver_sim.engine import EngineError
from receiver_sim.errors import NoAnswer
from receiver_sim.receiver import Tuned
from receiver_sim.results.swap import Fitting, RfBand, RfCandidate

SOCKET = "r.f."
"""Name of the socket among those of a build."""

WANDER = 0.02
"""Part of the knob's travel from which onset counts as moved (common practice, no source)."""


def candidate(one: Tuned, *, fitting: Fitting, in_place: bool) -> RfCandidate:
    """Return everything about one candidate, not yet ranked nor held against the tube in place.

    A simulation that fails is named in `failed`; what was found before it stays.
    """
    card = one.cards.of(SOCKET)
    found = RfCandidate(tube=card.type, in_place=in_place, fitting=fitting)
    try:
        tube, ratings = swap.biased(one, SOCKET)
        found = replace(
            found,
            plate_a=tube.plate_a,
            screen_a=tube.screen_a,
            cathode_v=tube.cathode_v,
            ratings=ratings,
            extrapolated=tube.outside,
        )
        for band in one.build.bands:
            tuned = one.receiver.at(band)
            front = rf_stage.front_end(tuned)
            found = replace(found, bands=(*found.bands, RfBand(band.name, tuned.dial_hz, front)))
    except (EngineError, NoAnswer) as error:
        return replace(found, failed=str(error))
    return found


def rank(candidates: Sequence[RfCandidate]) -> tuple[RfCandidate, ...]:
    """Return the candidates best first, held against the tube in place.

    In this order: simulations that failed go last; bands without an onset; ratings exceeded; then the larger
    signal at the tank leads, the mean of all bands in dB. Signals within a step of `swap.ALIKE` count as
    equal, and of equals the one easier to fit leads, the tube in place before its twins.
    """
    reference = {o.band: o for c in candidates if c.in_place for o in c.bands}
    held = [replace(c, bands=tuple(_against(o, reference.get(o.band)) for o in c.bands)) for c in candidates]
    return tuple(
        replace(c, rank=i, reasons=_reasons(c)) for i, c in enumerate(sorted(held, key=_key), start=1)
    )


def _against(one: RfBand, reference: RfBand | None) -> RfBand:
    if reference is None:  # the tube in place failed before this band
        return one
    mine, theirs = one.front, reference.front
    moved_rotation = None
    if mine.onset is not None and theirs.onset is not None:
        moved_rotation = mine.onset.rotation - theirs.onset.rotation
    return replace(
        one,
        gain_db=20.0 * math.log10(mine.aerial_gain / theirs.aerial_gain),
        radiation_db=10.0 * math.log10(mine.power_w / theirs.power_w),
        moved_rotation=moved_rotation,
    )


def _key(c: RfCandidate) -> tuple[bool, int, int, int, int, bool, float, str]:
    signal = sum(math.log(o.front.aerial_gain) for o in c.bands) / max(len(c.bands), 1)
    faults = (c.failed is not None, len(_mute(c)), sum(line.exceeded for line in c.ratings))
    step = round(signal / math.log(swap.ALIKE))
    return (*faults, -step, swap.effort(c.fitting), not c.in_place, -signal, c.tube)


def _mute(c: RfCandidate) -> list[str]:
    """Return the bands on which the control reaches no onset."""
    return [o.band for o in c.bands if o.front.onset is None]


def _reasons(c: RfCandidate) -> tuple[str, ...]:
    if c.failed is not None:
        return (f"the simulation failed: {c.failed}",)
    lacking = _mute(c)
    out = [f"no onset within the control on {', '.join(lacking)}" if lacking else
           f"oscillates on all {len(c.bands)} bands"]  # fmt: skip
    out += swap.over_ratings(c) or (["ratings kept"] if c.ratings else [])
    if c.in_place:
        return tuple(out)
    out.append(f"{_span([o.gain_db for o in c.bands])} dB of signal at the tank")
    out.append(f"{_span([o.radiation_db for o in c.bands])} dB radiated")
    moved = [(o.band, o.moved_rotation) for o in c.bands if o.moved_rotation is not None]
    far = [f"{100.0 * by:+.0f} % of the knob on {band}" for band, by in moved if abs(by) > WANDER]
    if far:
        out.append(f"onset moves by {', '.join(far)}")
    elif moved:
        out.append("onset stays where it is")
    return tuple(out)


def _span(values: Sequence[float]) -> str:
    low, high = (f"{v + 0.0:+.1f}" for v in (min(values), max(values)))
    return low if low == high else f"{low} to {high}"
