"""Checks between the keys of an r.f. stage and those of coils and aerial."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from receiver_sim.schema.validated import Finding, Glimpse


def rf_coupling(g: Glimpse) -> Iterator[Finding]:
    """A plate on a choke or resistor reaches the tank through a capacitor, one on a link through the link."""
    kind = g.word("rf_stage", "plate", "kind")
    if kind in ("choke", "resistor") and not g.given("rf_stage", "coupling"):
        yield Finding(
            ("rf_stage", "coupling"),
            f"a capacitor to the detector's tank, since the plate is fed by a {kind}",
            "add a line such as 'coupling: 4 pF'",
            missing=True,
        )
    if kind != "link":
        return
    if g.given("rf_stage", "coupling"):
        yield Finding(
            ("rf_stage", "coupling"), "no capacitor beside a link in the plate lead", "remove one of the two"
        )
    if not g.given("rf_stage", "decoupling"):
        yield Finding(
            ("rf_stage", "decoupling"),
            "a resistor and a capacitor, since nothing else by-passes the cold end of the link",
            "add a line such as 'decoupling: {resistor: 1 kohm, capacitor: 22 nF}'",
            missing=True,
        )
    for i in range(g.count("bands")):
        coil = ("bands", i, "coil")
        if g.given(*coil, "tickler"):
            yield Finding(
                ("rf_stage", "plate", "kind"),
                "'choke' or 'resistor', since a link in its plate lead beside a tickler is not covered yet",
                "write 'kind: choke' with its 'inductance', and 'coupling: 4 pF'",
            )
            return
        if g.given(*coil) and not g.given(*coil, "link"):
            yield Finding(
                (*coil, "link"),
                "a link, since the r.f. stage has its plate on one",
                "add a 'link' to the coil, or feed the plate by a choke and add 'coupling: 4 pF'",
                missing=True,
            )


def rf_coils(g: Glimpse) -> Iterator[Finding]:
    """A tuned r.f. stage has a coil for each band; an untuned one has none."""
    tuned = g.word("rf_stage", "input", "kind") == "tuned"
    for i in range(g.count("bands")):
        here = g.given("bands", i, "rf_coil")
        if tuned and not here and g.given("bands", i):
            yield Finding(
                ("bands", i, "rf_coil"),
                "a coil, since the r.f. stage is tuned",
                "add a line such as 'rf_coil: {inductance: 5.6 uH, q: 120}'",
                missing=True,
            )
        if here and not tuned:
            yield Finding(
                ("bands", i, "rf_coil"), "no coil, since no r.f. stage is tuned",
                "remove it, or write 'input: {kind: tuned}' at the r.f. stage",
            )  # fmt: skip


RF_CHECKS: tuple[Callable[[Glimpse], Iterator[Finding]], ...] = (rf_coupling, rf_coils)
