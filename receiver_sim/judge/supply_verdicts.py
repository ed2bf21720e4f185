"""What a supply does to its own parts, and whether it gives what the receiver takes."""

from __future__ import annotations

from receiver_sim.results.bands import Grade, Verdict
from receiver_sim.results.supply import DropperChoice, Rectified, StartAndStop
from receiver_sim.schema import Build

DISCHARGE_LIMIT_S = 60.0
"""Longest time to safe volts that a bleeder may take (common practice, no source)."""


def judge_source(build: Build, drawn: float | None, choice: DropperChoice | None) -> list[Verdict]:
    """Judge the current limit of a bench supply and the dropper's load."""
    found = []
    limit = getattr(build.regulator, "dropper_power", None)
    if choice is not None and limit is not None and choice.fitted_w > limit:
        found.append(Verdict("dropper", "rating", Grade.BAD, choice.fitted_w, limit, "W", choice.text))
    if build.supply.kind == "bench" and build.supply.current_limit is not None and drawn is not None:
        limit_a = build.supply.current_limit
        bad = drawn > limit_a
        text = f"current {'above' if bad else 'within'} the limit it is set to"
        grade = Grade.BAD if bad else Grade.GOOD
        found.append(Verdict("bench supply", "rating", grade, drawn, limit_a, "A", text))
    return found


def judge_rectifier(build: Build, rectified: Rectified | None, start: StartAndStop | None) -> list[Verdict]:
    """Judge what a rectifier supply does to its parts, and how long it stays charged."""
    supply = build.supply
    if supply.kind != "rectifier" or rectified is None or start is None:
        return []
    found = []
    if supply.bleeder is not None and (start.discharge_s is None or start.discharge_s > DISCHARGE_LIMIT_S):
        found.append(
            Verdict(
                "supply", "discharge", Grade.BAD, start.discharge_s, DISCHARGE_LIMIT_S, "s",
                f"{start.text}; a lower bleeder is quicker",
            )
        )  # fmt: skip
    lines = [
        (f"filter capacitor {c.section}", "volts with the tubes cold and the mains 10 % high", c.highest_v,
         c.rating_v, "V")
        for c in rectified.capacitors
    ]  # fmt: skip
    lines += [
        ("rectifier", "peak inverse volts", rectified.inverse_v, supply.rectifier.peak_inverse, "V"),
        (
            "rectifier",
            "highest peak current with the mains 10 % high",
            start.surge_a,
            supply.rectifier.peak_current,
            "A",
        ),
        (
            "rectifier",
            "d.c. that receiver and bleeder take",
            rectified.load_a + rectified.bleeder_a,
            getattr(supply.rectifier, "output_current", None),
            "A",
        ),
    ]
    for part, what, value, limit, unit in lines:
        if limit is None:
            continue
        bad = value > limit
        text = f"{what} {'above' if bad else 'within'} the rating"
        grade = Grade.BAD if bad else Grade.GOOD
        found.append(Verdict(part, "rating", grade, value, limit, unit, text))
    return found
