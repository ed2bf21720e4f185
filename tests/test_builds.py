"""Bands by their names as people type them."""

import pytest

from receiver_sim import api
from receiver_sim.builds import band_named
from receiver_sim.errors import UnknownName
from receiver_sim.schema import Build
from tests.conftest import BUILDS
from tests.test_cli import call


@pytest.fixture(scope="module")
def demo() -> Build:
    return api.load_build(BUILDS / "demo.yaml")


@pytest.mark.parametrize("typed", ["40 m", "40m", "40 M", "40-m", " 40  m "])
def test_a_band_is_found_without_its_space_or_case(demo: Build, typed: str) -> None:
    assert band_named(demo, typed).name == "40 m"


def test_two_bands_that_read_alike_are_not_guessed_between(demo: Build) -> None:
    first, second = demo.bands[:2]
    bands = (first.model_copy(update={"name": "40 m"}), second.model_copy(update={"name": "40-M"}))
    two = demo.model_copy(update={"bands": bands})
    assert band_named(two, "40-M").from_ == second.from_
    with pytest.raises(UnknownName) as caught:
        band_named(two, "40m")
    assert str(caught.value) == "'40m' may be '40 m' and '40-M': write the name as in the build"


def test_the_command_line_takes_it_too() -> None:
    answer = call("deck", BUILDS / "demo.yaml", "--band", "40m")
    # the middle of 7.0 to 7.2 MHz
    assert answer.code == 0 and "receiver at 7.0993 MHz" in answer.out
