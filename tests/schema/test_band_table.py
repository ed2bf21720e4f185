"""Checks of receiver_sim.schema.band_table."""

from itertools import pairwise

import pytest

from receiver_sim.schema.band_table import REGIONS, SERVICES, all_bands, bands_of


def names(service, year, region):
    return [band.name for band in bands_of(service, year=year, region=region)]


def test_eras():
    # rows are recalled (flag in the file): the tests hold the look-up to well-known turns of history
    assert names("amateur", 1936, 2) == ["160 m", "80 m", "40 m", "20 m", "10 m"]
    assert "15 m" in names("amateur", 1955, 1)
    assert "30 m" not in names("amateur", 1975, 3)
    assert "30 m" in names("amateur", 1985, 3)
    forty = {year: bands_of("amateur", year=year, region=1)[2].high for year in (1936, 1955)}
    assert forty[1936] == 7.3e6
    assert [b.high for b in bands_of("amateur", year=2020, region=1) if b.name == "40 m"] == [7.2e6]
    assert [b.high for b in bands_of("amateur", year=2020, region=2) if b.name == "40 m"] == [7.3e6]


def test_rows_do_not_overlap_within_a_service_year_and_region():
    for service in SERVICES:
        for region in REGIONS:
            for year in range(1929, 2027):
                bands = bands_of(service, year=year, region=region)
                assert bands
                for one, two in pairwise(bands):
                    assert one.high <= two.low, (service, region, year, one, two)


def test_every_row_carries_source_and_flag():
    for band in all_bands():
        assert band.source
        assert band.flag in {"seen", "memory-high", "memory-medium"}
        assert 0.5e6 < band.low < band.high < 30.1e6


def test_refusals():
    with pytest.raises(ValueError, match=r"^service must be one of amateur, broadcast, got 'marine'$"):
        bands_of("marine", year=1950, region=1)
    with pytest.raises(ValueError, match=r"^region must be 1, 2 or 3 \(ITU\), got 4$"):
        bands_of("amateur", year=1950, region=4)
    with pytest.raises(
        ValueError, match=r"^year must be 1929 or later, the first year of a common table, got 1912$"
    ):
        bands_of("amateur", year=1912, region=1)
