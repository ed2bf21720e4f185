"""`receiver-sim listen`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from receiver_sim.cli.common import (
    BAND,
    BUILD,
    JSON,
    PHONES,
    Pool,
    answer,
    at_option,
    bench_for,
    file_option,
    phones_named,
    prepared,
    progress_bars,
    rotation_of,
    simulating,
    writable_file,
)
from receiver_sim.cli.ends import complain, folded
from receiver_sim.errors import UserError

if TYPE_CHECKING:
    from receiver_sim.circuit.signals import Signal


@click.command(short_help="What the headphones give for signals at the aerial, as a sound file.")
@BUILD
@BAND
@PHONES
@click.option("--carrier", "carriers", multiple=True, metavar="LEVEL@OFFSET", help="A carrier: 100uV@800Hz.")
@click.option(
    "--morse", "keyed", multiple=True, metavar="LEVEL@OFFSET:TEXT", help="A keyed one: '30uV@700Hz:CQ TEST'."
)
@click.option(
    "--am",
    "broadcast",
    multiple=True,
    metavar="LEVEL@OFFSET[:FILE]",
    help="AM, of a 400 Hz tone or a sound file.",
)
@click.option(
    "--ssb", "voices", multiple=True, metavar="LEVEL@OFFSET:FILE", help="Upper sideband of a sound file."
)
@click.option(
    "--lsb", "lower", multiple=True, metavar="LEVEL@OFFSET:FILE", help="Lower sideband of a sound file."
)
@click.option(
    "--no-signal", "alone", is_flag=True, help="The set alone: howl, squegging, the thump at onset."
)
@click.option("--fade", metavar="DB,TIME", help="Fading of all signals: depth and period, e.g. 15,4s.")
@at_option("through onset and back")
@click.option(
    "--of-onset",
    metavar="PERCENT",
    help="Setting in % of that at onset, e.g. 102% for just beyond it.",
)
@click.option(
    "--path",
    "path",
    metavar="TIME:PERCENT,...",
    help="Follow the control, in % of its travel: 0s:35%,4s:45%.",
)
@click.option("--seconds", metavar="TIME", default="5s", show_default=True, help="Length of the sound.")
@click.option(
    "--tune",
    metavar="TIME:OFFSET,...",
    help="Turn the dial, by its distance from where it stands at first: 0s:-3kHz,6s:3kHz.",
)
@click.option(
    "--place",
    type=click.Choice(["city", "residential", "rural", "quiet-rural"]),
    default="residential",
    show_default=True,
    help="Where the aerial stands, for the noise of the band (ITU-R P.372).",
)
@click.option("--no-noise", "clean", is_flag=True, help="A clean sound: without noise of band and set.")
@click.option(
    "--seed",
    type=click.IntRange(0, 2**32),
    default=1,
    show_default=True,
    metavar="N",
    help="Number from which the noise is drawn.",
)
@click.option(
    "--full-scale",
    metavar="VOLTS",
    help="Volts across the phones at full scale of the file; default: the highest peak at 90 % of it.",
)
@click.option(
    "--whole",
    is_flag=True,
    help="Compute all of a set that squegs fast, however long it takes; without it such a sound ends early.",
)
@file_option("heard.wav", default=Path("heard.wav"))
@JSON
@simulating
def listen(
    build: Path,
    band: str | None,
    phones: str | None,
    carriers: tuple[str, ...],
    keyed: tuple[str, ...],
    broadcast: tuple[str, ...],
    voices: tuple[str, ...],
    lower: tuple[str, ...],
    alone: bool,
    fade: str | None,
    at: str | None,
    of_onset: str | None,
    path: str | None,
    seconds: str,
    tune: str | None,
    place: str,
    clean: bool,
    seed: int,
    full_scale: str | None,
    whole: bool,
    output: Path,
    as_json: bool,
    pool: Pool,
) -> None:
    """What the headphones give for signals at the aerial, as a sound file (WAV, FLAC, Ogg, MP3).

    Without --at, --of-onset or --path the control is turned slowly through onset and back. LEVEL is the
    r.m.s. e.m.f. in the aerial, OFFSET the distance from the frequency of oscillation at onset. The file
    is always loud; the true level in the phones is printed. --full-scale makes files comparable. Noise of
    the band, the tank and the tubes is in it, and its level is printed; --no-noise leaves it out.
    """
    from dataclasses import replace  # inside, for start-up's sake

    import numpy as np

    from receiver_sim import api
    from receiver_sim.views import envelope_tables, sound

    length = _time("--seconds", seconds)
    signals = _signals(carriers, keyed, broadcast, voices, lower, fade, length)
    if not signals and not alone:
        raise UserError(
            "nothing to hear: give at least one of --carrier, --morse, --am, --ssb, --lsb, or --no-signal"
        )
    if signals and alone:
        raise UserError("--no-signal: signals are given, too; leave out the one or the others")
    moves, relative = _control(at, of_onset, path)
    dial = None if tune is None else _tuning(tune)
    scale = None if full_scale is None else _volts(full_scale)
    try:
        sound.format_of(output)
    except ValueError as error:
        raise UserError(f"--output {error}") from None
    writable_file(output)
    loaded = prepared(build, bands=[band], told=True)
    index = phones_named(loaded, phones)
    with bench_for(pool) as bench, progress_bars(as_json) as progress:
        heard = api.listen(
            loaded,
            signals=signals,
            seconds=length,
            band=band,
            output=index,
            path=moves,
            relative=relative,
            tune=dial,
            place=None if clean else place,
            seed=seed,
            whole=whole,
            bench=bench,
            progress=progress,
        )
    lost = 0.0 if scale is None else sound.clipped(heard, full_scale_v=scale)
    if lost > 0.0 and not as_json:
        complain(folded(f"note: {100.0 * lost:.2g} % of the samples were clipped; raise --full-scale"))
    answer(
        "listen", replace(heard, volts=np.zeros(0)), build=loaded, bench=bench, as_json=as_json,
        sheet=lambda: envelope_tables.sound_note(heard, where=str(output)),
        then=lambda: sound.write_sound(heard, output, full_scale_v=scale),
    )  # fmt: skip


def _time(option: str, text: str) -> float:
    from receiver_sim.schema.quantity import TIME, Quantity  # inside, for start-up's sake

    try:
        return Quantity(TIME, "10 ms", "10 min", example="5 s").read(text)
    except ValueError as error:
        raise UserError(f"{option} {text!r}: expected a time from 10ms to 10min; {error}") from None


def _volts(text: str) -> float:
    from receiver_sim.schema.quantity import VOLTAGE, Quantity  # inside, for start-up's sake

    try:
        return Quantity(VOLTAGE, "1 uV", "1 kV", example="10 V").read(text)
    except ValueError as error:
        raise UserError(f"--full-scale {text!r}: expected volts such as 10V; {error}") from None


def _tuning(text: str) -> list[tuple[float, float]]:
    """Return the path of the dial: (s, Hz off its own setting) at rising times."""
    from receiver_sim.circuit.signals import DialPath  # inside, for start-up's sake
    from receiver_sim.schema.quantity import TIME, Quantity

    points = []
    try:
        for part in text.split(","):
            moment, _, place = part.partition(":")
            seconds = Quantity(TIME, "0 s", "10 min", zero=True, example="2 s").read(moment.strip())
            points.append((seconds, _offset(place)))
        DialPath(tuple(points))
    except ValueError as error:
        raise UserError(
            f"--tune {text!r}: expected times and offsets such as 0s:-3kHz,6s:3kHz; {error}"
        ) from None
    return points


def _offset(text: str) -> float:
    """Read a distance in frequency with its sign, Hz. Raises ValueError."""
    from receiver_sim.schema.quantity import FREQUENCY, Quantity  # inside, for start-up's sake

    size = text.strip().lstrip("+-")
    hertz = Quantity(FREQUENCY, "0 Hz", "50 kHz", zero=True, example="800 Hz").read(size)
    return -hertz if text.strip().startswith("-") else hertz


def _control(
    at: str | None, of_onset: str | None, path: str | None
) -> tuple[list[tuple[float, float]] | None, float | None]:
    """Return the path of the control and the part of the onset's setting at which it stands still."""
    given = [f"--{name}" for name, text in (("at", at), ("of-onset", of_onset), ("path", path)) if text]
    if len(given) > 1:
        raise UserError(f"{' and '.join(given)} both say where the control is; give one of them")
    if at is not None:
        try:
            return [(0.0, rotation_of(at) or 0.0)], None
        except UserError as error:
            raise UserError(f"{error}; a part of the onset's setting is --of-onset") from None
    moves = None if path is None else _path(path)
    return moves, None if of_onset is None else _relative(of_onset)


def _relative(text: str) -> float:
    from receiver_sim.schema.quantity import PERCENTAGE, Quantity  # inside, for start-up's sake

    try:
        return Quantity(PERCENTAGE, "1 %", "1000 %", example="102 %").read(text.strip())
    except ValueError as error:
        raise UserError(
            f"--of-onset {text!r}: expected a part of the onset's setting such as 102%; {error}"
        ) from None


def _path(text: str) -> list[tuple[float, float]]:
    from receiver_sim.schema.quantity import PERCENTAGE, TIME, Quantity  # inside, for start-up's sake

    points = []
    try:
        for part in text.split(","):
            moment, _, place = part.partition(":")
            points.append(
                (
                    Quantity(TIME, "0 s", "10 min", zero=True, example="2 s").read(moment.strip()),
                    Quantity(PERCENTAGE, "0 %", "100 %", zero=True, example="45 %").read(place.strip()),
                )
            )
    except ValueError as error:
        raise UserError(
            f"--path {text!r}: expected times and settings such as 0s:35%,4s:45%; {error}"
        ) from None
    return points


_LEAD = 0.1
"""Of the length of a sound: what passes at most before the signals begin."""


def _signals(
    carriers: tuple[str, ...],
    keyed: tuple[str, ...],
    broadcast: tuple[str, ...],
    voices: tuple[str, ...],
    lower: tuple[str, ...],
    fade: str | None,
    seconds: float,
) -> list[Signal]:
    from dataclasses import replace  # inside, for start-up's sake

    from receiver_sim.circuit.signals import Sampled, Signal
    from receiver_sim.views.sound import read_sound

    out: list[Signal] = []
    start = min(Signal.start_s, seconds * _LEAD)  # in a short sound they begin soon
    for option, kind, texts in (
        ("--carrier", "carrier", carriers),
        ("--morse", "morse", keyed),
        ("--am", "am", broadcast),
        ("--ssb", "ssb", voices),
        ("--lsb", "ssb", lower),
    ):
        for text in texts:
            level, offset, rest = _station(option, text)
            try:
                file = Path(rest) if rest and kind in ("am", "ssb") else None
                audio = None if file is None else Sampled(*read_sound(file, seconds=seconds))
                signal = Signal(level, offset, start_s=start)
                if kind == "morse":
                    signal = replace(signal, text=rest or "")
                elif kind == "am":
                    signal = replace(signal, kind="am", audio=audio, depth=0.8 if audio else 0.3)
                elif kind == "ssb":
                    side: Literal["upper", "lower"] = "lower" if option == "--lsb" else "upper"
                    signal = replace(signal, kind="ssb", audio=audio, sideband=side)
                out.append(signal)
            except ValueError as error:
                raise UserError(f"{option} {text!r}: {error}") from None
    if fade is not None:
        depth, _, period = fade.partition(",")
        try:
            decibels = float(depth.strip().removesuffix("dB"))
        except ValueError:
            raise UserError(f"--fade {fade!r}: expected a depth in dB and a period, such as 15,4s") from None
        if not 0.0 < decibels <= 80.0:
            raise UserError(f"--fade {fade!r}: the depth lies above 0 and up to 80 dB")
        if not period.strip():
            raise UserError(f"--fade {fade!r}: the period is missing; expected both, such as 15,4s")
        seconds = _time("--fade", period.strip())
        out = [replace(signal, fade_db=decibels, fade_s=seconds) for signal in out]
    return out


def _station(option: str, text: str) -> tuple[float, float, str]:
    from receiver_sim.schema.quantity import VOLTAGE, Quantity  # inside, for start-up's sake

    level, mark, rest = text.partition("@")
    offset, _, tail = rest.partition(":")
    try:
        if not mark:
            raise ValueError("there is no '@' in it")
        volts = Quantity(VOLTAGE, "1 nV", "10 V", example="100 uV").read(level.strip())
        hertz = _offset(offset)
    except ValueError as error:
        raise UserError(
            f"{option} {text!r}: expected a level and an offset such as 100uV@800Hz; {error}"
        ) from None
    return volts, hertz, tail
