"""What is said of bands in words."""

from __future__ import annotations

from receiver_sim.views import states


def test_what_is_the_same_of_several_bands_is_said_once() -> None:
    said = [("80 m", "it trips"), ("40 m", "it rings"), ("20 m", "it trips")]
    assert states.told_once(said) == ["80 m, 20 m: it trips", "40 m: it rings"]
