"""The drawing descriptions: where the parts of each form of a block stand.

A sheet is rows of columns, from the aerial to the phones; a column stands only if one of its parts is there.
A spot names parts by their leading element (a glob), the offset in its column, the level and the turn: 'v' is
upright, 'h' lies along the signal; a capital turns a pot's wiper to the right. A part that no spot names is
placed by the general placer, so a new form draws before it has a description here.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Spot:
    """glob: of the leading element; dx: in the column; y: level; turn; step: from one to the next of a glob;
    when: 'grounded' or 'floating', whether the part has an end on ground; 'with' or 'without' another part;
    'meets' others, one of whose nets it is on.
    """

    glob: str
    dx: int
    y: int
    turn: str = "v"
    step: tuple[int, int] = (0, 0)
    when: str = ""


@dataclass(frozen=True)
class Column:
    """width: in steps of the grid; repeat: more width for each further part of a glob."""

    width: int
    spots: tuple[Spot, ...]
    repeat: int = 0


RAIL = 30
FEED = 25
LEAD = 20
"""Level of the signal at plates."""
AXIS = 17
"""Middle of the tubes."""
GRID = AXIS - 1

_AERIAL = (
    Column(5, (Spot("aerial.counterpoise", 1, 4), Spot("aerial.aerial", 1, GRID + 2))),
    Column(6, (Spot("caerial", 0, GRID, "h"),)),
)
_RF_STAGE = (
    Column(5, (Spot("lhin", 1, GRID), Spot("rhin", 1, GRID))),
    Column(5, (Spot("chtune", 0, GRID),)),
    Column(9, (Spot("xhud", 4, AXIS), Spot("rhcath", 3, AXIS - 5), Spot("chcath", 7, AXIS - 5),
               Spot("rhgaink", 3, AXIS - 10), Spot("lhpl", 4, FEED), Spot("rhpl", 4, FEED),
               Spot("rhdec", 4, RAIL))),
    Column(6, (Spot("rhscr", 1, FEED), Spot("chscr", 1, GRID - 2))),
    Column(7, (Spot("rhgaina", 3, FEED),)),
    Column(5, (Spot("chdec", 0, FEED + 1),)),
    Column(6, (Spot("chout", 0, LEAD, "h"),)),
)  # fmt: skip
_COIL = (
    Column(10, (Spot("lup", 4, GRID), Spot("ltank", 4, GRID))),
    Column(6, (Spot("cpadpar", 0, GRID),)),
    Column(8, (Spot("cspreadser", 0, GRID), Spot("cspread", 0, GRID - 5, when="with cspreadser"),
               Spot("cspread", 0, GRID))),
    Column(9, (Spot("cpadser", 0, GRID), Spot("ctune", 0, GRID - 5, when="with cpadser"),
               Spot("ctune", 0, GRID))),
)  # fmt: skip
_DETECTOR = (
    Column(6, (Spot("cgrid", 0, GRID, "h"), Spot("rleak", 0, GRID + 4, "h", when="meets ctune"))),
    Column(5, (Spot("rleak", 1, GRID),)),
    Column(10, (Spot("xdet", 4, AXIS),)),
    Column(7, (Spot("cthrottle", 1, LEAD),)),
    Column(4, (Spot("cfplate", 1, LEAD), Spot("cscreen", 1, 10))),
    Column(6, (Spot("lrfc", 0, LEAD, "h"), Spot("rstopper", 1, 10, "h"))),
    Column(10, (Spot("cfout", 1, LEAD), Spot("rload", 1, FEED), Spot("lload", 3, FEED),
               Spot("rshunt", -1, FEED),
               Spot("rctop", 3, 17), Spot("rpota", 3, 12), Spot("rcbot", 3, 7),
               Spot("rsfeed", 3, 15), Spot("rsgnd", 3, 10))),
    Column(7, (Spot("rdropper", 1, FEED), Spot("dreg", 1, 16))),
)  # fmt: skip
_COUPLING = (
    Column(6, (Spot("ccouple", 0, LEAD, "h"),)),
    Column(5, (Spot("cfilt1", 0, LEAD, when="without rfilt1"),)),
    Column(6, (Spot("rfilts", 0, LEAD, "h"), Spot("lfilt", 0, LEAD, "h", when="floating"))),
    *(Column(9, (Spot(f"rfilt{i}", 0, LEAD, "h"), Spot(f"cfilt{i}", 5, LEAD))) for i in range(1, 21)),
    Column(5, (Spot("lfilt", 0, LEAD),)),
    Column(5, (Spot("cfilt*", 0, LEAD),)),
)
_FIRST_GRID = (
    Column(6, (Spot("rvola", 1, GRID + 2, "V", when="meets ccouple,lload,rfilt*,rfilts,lfilt"),)),
    Column(5, (Spot("rgrid", 0, GRID, when="meets ccouple,lload,rfilt*,rfilts,lfilt"),)),
)
_BETWEEN = (
    Column(6, (Spot("cfnext", 0, LEAD, "h"),)),
    Column(6, (Spot("rvola", 1, GRID + 2, "V", when="meets cfnext"),)),
    Column(5, (Spot("rgrid", 0, GRID),)),
)


def _stage(x: str, others: tuple[Spot, ...]) -> tuple[Column, ...]:
    """Return the columns of an audio stage, its tube in the middle; others: what else stands above it."""
    return (
        Column(6, (Spot(f"c{x}gleak", 0, GRID, "h"),)),
        Column(4, (Spot(f"r{x}gleak", 0, GRID),)),
        Column(6, (Spot(f"r{x}gstop", 0, GRID, "h"),)),
        Column(9, (Spot(f"x{x}ud", 4, AXIS), Spot(f"r{x}cath", 3, AXIS - 5), Spot(f"c{x}cath", 7, AXIS - 5),
                   Spot(f"r{x}load", 4, FEED), Spot(f"r{x}dec", 4, RAIL), *others)),
        Column(5, (Spot(f"r{x}scr", 0, FEED), Spot(f"c{x}scr", 0, GRID - 2))),
        Column(5, (Spot(f"c{x}dec", 0, FEED + 1),)),
    )  # fmt: skip


_OUTPUT = (
    Spot("lout", 4, FEED), Spot("rout", 4, FEED),
)  # fmt: skip
_PHONES = (
    Column(6, (Spot("cvol", 1, LEAD, "h"),)),
    Column(6, (Spot("rvola", 1, LEAD, "V"),)),
    Column(6, (Spot("lmag", 1, FEED),)),
    Column(6, (Spot("cphone*", 0, 9, "h", step=(0, -6), when="with lmag"),
               Spot("cphone*", 0, LEAD, "h", step=(0, -6)))),
    Column(5, (Spot("rdrain*", 1, 9, step=(0, -6), when="with lmag"),
               Spot("rdrain*", 1, LEAD, step=(0, -6)))),
    Column(8, (Spot("rphone*", 1, FEED - 1, step=(0, -6), when="meets lmag"),
               Spot("rphone*", 1, 8, step=(0, -6), when="with lmag"),
               Spot("rphone*", 1, LEAD - 1, step=(0, -6)))),
)  # fmt: skip
_BASE = -4
_SUPPLY = (
    Column(6, (Spot("vsupply*", 1, _BASE), Spot("vwind.supply", 1, _BASE),
               Spot("vwindb.supply", 1, _BASE - 5))),
    Column(5, (Spot("[bd]d3.supply", 0, _BASE - 7),)),
    Column(2, (Spot("[bd]d4.supply", 0, _BASE - 7),)),
    Column(8, (Spot("[bd]d1.supply", 0, _BASE, "h"),
               Spot("[bd]d2.supply", 0, _BASE - 4, "h", when="with dd4.supply"),
               Spot("[bd]d2.supply", 0, _BASE - 4, "h", when="with bd4.supply"),
               Spot("[bd]d2.supply", 0, _BASE - 8, "h"))),
    *(column for i in range(1, 6) for column in (
        Column(6, (Spot(f"[lr]sec{i}.supply", 0, _BASE, "h"),)),
        Column(5, (Spot(f"csec{i}.supply", 0, _BASE - 1),)))),
    Column(5, (Spot("cbplus", 0, _BASE - 1),)),
    Column(6, (Spot("rbleed*", 1, _BASE - 1),)),
)  # fmt: skip
_HEATERS = (
    Column(3, ()),
    Column(10, (Spot("heater.line", 1, _BASE),)),
    Column(7, (Spot("heater.pot", 0, _BASE, "V"),)),
    *(column for name in ("rf", "detector", "first", "audio") for column in (
        Column(6, (Spot(f"heater.{name}.source", 2, _BASE),)),
        Column(6, (Spot(f"heater.{name}.dropper", 0, _BASE, "h"),)),
        Column(6, (Spot(f"heater.{name}.choke1", 0, _BASE, "h"),
                   Spot(f"heater.{name}.choke2", 0, _BASE - 4, "h"))),
        Column(8, (Spot(f"heater.{name}", 1, _BASE),)))),
    Column(6, (Spot("heater.*", 1, _BASE, step=(6, 0)),)),
)  # fmt: skip
ROWS: tuple[tuple[Column, ...], ...] = (
    (
        *_AERIAL, *_RF_STAGE, *_COIL, *_DETECTOR, *_COUPLING, *_FIRST_GRID, *_stage("f", ()), *_BETWEEN,
        *_stage("a", _OUTPUT), *_PHONES,
    ),
    (*_SUPPLY, *_HEATERS),
)  # fmt: skip
"""The rows of a sheet: receiver, then supply and heaters."""

FURTHER = -26
"""Level of parts that no description speaks of."""
