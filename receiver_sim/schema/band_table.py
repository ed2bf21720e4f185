"""Amateur and broadcast bands of a year and region, read from `bands.csv` beside this file."""

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from receiver_sim.errors import WrongValue

SERVICES = ("amateur", "broadcast")
REGIONS = (1, 2, 3)
FIRST_YEAR = 1929  # before the Washington convention took effect there was no common table


@dataclass(frozen=True)
class ServiceBand:
    """A band of a radio service: limits in Hz, years of validity (last None: still so), source with flag."""

    service: str
    name: str
    region: int  # 0: all three
    low: float
    high: float
    first_year: int
    last_year: int | None
    source: str
    flag: str


@cache
def all_bands() -> tuple[ServiceBand, ...]:
    """Return every row of the table, in file order; ValueError with the line of a row without sense."""
    path = Path(__file__).with_name("bands.csv")
    lines = path.read_text(encoding="utf-8").splitlines()
    numbered = [(n, line) for n, line in enumerate(lines, 1) if line.strip() and not line.startswith("#")]
    rows = csv.DictReader(line for _, line in numbered)
    return tuple(_row(row, number) for row, (number, _) in zip(rows, numbered[1:], strict=True))


def _row(row: dict[str, str], number: int) -> ServiceBand:
    try:
        band = ServiceBand(
            service=row["service"],
            name=row["name"],
            region=int(row["region"]),
            low=float(row["low_mhz"]) * 1e6,
            high=float(row["high_mhz"]) * 1e6,
            first_year=int(row["first_year"]),
            last_year=int(row["last_year"]) if row["last_year"] else None,
            source=row["source"],
            flag=row["flag"],
        )
    except (KeyError, TypeError, ValueError) as fault:
        raise ValueError(f"bands.csv:{number}: not a band: {fault}") from fault
    if band.service not in SERVICES or band.region not in (0, *REGIONS) or not 0 < band.low < band.high:
        raise ValueError(f"bands.csv:{number}: not a band: {row}")
    return band


def bands_of(service: str, *, year: int, region: int) -> list[ServiceBand]:
    """Return the bands of a service in a year and ITU region, rising in frequency.

    `service` is one of `SERVICES`, `region` 1, 2 or 3; `year` from 1929. Rows are recalled from the
    conferences' tables (flag in each); national licences differ. Raises ValueError for an unknown service or
    region or an earlier year.
    """
    if service not in SERVICES:
        raise WrongValue(f"service must be one of {', '.join(SERVICES)}, got {service!r}")
    if region not in REGIONS:
        raise WrongValue(f"region must be 1, 2 or 3 (ITU), got {region!r}")
    if year < FIRST_YEAR:
        raise WrongValue(f"year must be {FIRST_YEAR} or later, the first year of a common table, got {year}")
    found = [
        band
        for band in all_bands()
        if band.service == service
        and band.region in (0, region)
        and band.first_year <= year
        and (band.last_year is None or year <= band.last_year)
    ]
    return sorted(found, key=lambda band: band.low)
