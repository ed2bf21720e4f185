"""Is the Q of each coil one that a coil of the trade has? (guide page 'verdicts')"""

from __future__ import annotations

from collections.abc import Iterator

from receiver_sim.results.bands import Grade, Verdict
from receiver_sim.schema import Band, Build
from receiver_sim.schema.coil_figures import coil_q, former_assumed, former_by_name


def judge_coils(build: Build) -> Iterator[Verdict]:
    """Judge the Q of each coil over its band, tube and aerial apart: the one farthest from the limits."""
    for band in build.bands:
        yield _q(build, band)


def _q(build: Build, band: Band) -> Verdict:
    limits = build.verdicts
    ends = [coil_q(band.coil, frequency) for frequency in (band.from_, band.to)]
    low, high = min(ends), max(ends)
    former = former_by_name(band.coil)
    rests = "" if former is None else f", by its winding on {former}"
    rests += " (assumed: set 'winding.material')" if former_assumed(band.coil) else ""
    span = f"{low:.0f}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}"
    said = f"the coil alone has a Q of {span} in the band{rests}"
    if low < limits.coil_q_min:
        cure = "thicker wire, a wider pitch, a better former or a wider can; or see that the figure is right"
        return Verdict(
            band.name, "coil_q_min", Grade.DOUBTFUL, low, limits.coil_q_min, "1", f"{said}: poor; {cure}"
        )
    if high > limits.coil_q_max:
        text = (
            f"{said}: plug-in coils of the trade measured 100 to 250, so onset and selectivity may be worse "
            "than shown here; measure it and set 'q' or 'measured: {q: ...}'"
        )
        return Verdict(band.name, "coil_q_max", Grade.DOUBTFUL, high, limits.coil_q_max, "1", text)
    return Verdict(band.name, "coil_q", Grade.GOOD, high, limits.coil_q_max, "1", said)
