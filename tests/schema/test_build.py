"""The build: values in SI, defaults, warnings, the starter, and nothing but BuildFaults from any text."""

import hashlib
import math
import pickle
import typing

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from receiver_sim import api
from receiver_sim.schema import (
    Build,
    BuildFaults,
    changed_build,
    load_build,
    load_build_text,
    shipped_tubes,
    write_starter,
)
from receiver_sim.schema import loading as loading_module
from receiver_sim.schema.checks import TUBE_INPUT_FARAD, tank_capacitance
from receiver_sim.schema.quantity import Quantity
from receiver_sim.schema.validated import keys_of, shape_of
from receiver_sim.views.page import page
from tests.conftest import BUILDS

TUBES = ("6SJ7", "6SK7", "6J7", "6K7", "6J5", "6C5", "6SN7", "6AU6")
STARTER = loading_module._STARTER.read_text(encoding="utf-8")


def load(text: str) -> Build:
    return load_build_text(text, "b.yaml", known_tubes=lambda: TUBES)


def changed(*pairs: tuple[str, str]) -> str:
    text = STARTER
    for old, new in pairs:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def test_values_are_si_floats(tmp_path):
    path = write_starter(tmp_path / "set.yaml")
    build = load_build(path, known_tubes=lambda: TUBES)
    assert build.path == path
    assert build.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert build.detector.grid_leak == 3.3e6
    assert build.detector.tube == "6K7"
    assert build.regeneration.rotation == 280.0
    assert build.audio.volume.setting == 0.75
    assert build.regulator is not None and build.regulator.kind == "gas_tube"
    assert build.regulator.strike == 120.0
    assert build.bands[0].from_ == 3.5e6
    assert build.bands[0].coil.tap == pytest.approx(0.0407)
    assert build.bands[2].padding is not None and build.bands[2].padding.series == 68e-12
    assert build.detector.load.kind == "transformer" and build.detector.load.ratio == 3.0
    assert build.audio.coupling is None
    assert build.phones[1].capacitor == 0.1e-6


def test_the_starter_has_nothing_to_warn_of_and_names_the_cautions():
    assert load(STARTER).warnings == ()
    head = STARTER[: STARTER.index("receiver_sim: 1")]
    for word in (
        "KILL",
        "discharge",
        "measure",
        "bleeder",
        "headphone lead",
        "isolating",
        "fuse",
        "transmits",
    ):
        assert word in head


def test_the_starter_loads_with_the_shipped_cards(tmp_path):
    assert {"6K7", "6C5"} <= set(shipped_tubes())
    load_build(write_starter(tmp_path / "set.yaml"))


def test_a_build_keeps_the_text_it_was_read_from(tmp_path):
    """Its file may be edited, or gone, by the time a page of it is written or a tube of it refused."""
    text = BUILDS.joinpath("demo.yaml").read_text(encoding="utf-8")
    file = tmp_path / "set.yaml"
    file.write_text(text, encoding="utf-8-sig")
    build = load_build(file)
    changed = changed_build(build, {"detector.tube": "6J5"})
    file.unlink()
    assert build.written == changed.written == text  # without the byte-order mark
    assert build.model_copy(update={"title": "x"}).written == text
    assert pickle.loads(pickle.dumps(build)).written == text
    assert load_build_text(text).written == text
    with pytest.raises(BuildFaults) as caught:
        api.cards_for(changed)
    (fault,) = caught.value.faults
    lines = text.splitlines()
    assert fault.file == str(file) and lines[fault.line - 1].strip().startswith("tube: 6SJ7")
    assert page._text_of(build) == text


def test_the_starter_shows_every_key_of_the_models():
    def keys(model: type[BaseModel]) -> typing.Iterator[str]:
        for key, info in keys_of(model).items():
            yield key
            for part in shape_of(info.annotation, info.metadata).models:
                yield from keys(part)

    thresholds = set(keys_of(keys_of(Build)["verdicts"].annotation))
    for key in set(keys(Build)) - thresholds:
        assert f"{key}:" in STARTER, key


@pytest.mark.parametrize(
    "build", sorted(loading_module._STARTER.parent.glob("builds/*.yaml")), ids=lambda p: p.stem
)
def test_shipped_builds_load(build):
    load_build(build)


def test_the_starter_never_overwrites(tmp_path):
    path = tmp_path / "set.yaml"
    path.write_text("mine")
    with pytest.raises(FileExistsError):
        write_starter(path)
    assert path.read_text() == "mine"


def test_ripple_is_at_twice_the_mains_unless_given():
    line = "  ripple_frequency: 100 Hz        # (optional) default: twice the mains\n"
    assert (
        load(changed((line, ""), ("  frequency: 50 Hz", "  frequency: 60 Hz"))).supply.ripple_frequency
        == 120.0
    )
    assert load(changed((line, "  ripple_frequency: 50 Hz\n"))).supply.ripple_frequency == 50.0


def test_optional_parts_may_be_left_out_or_empty():
    build = load(changed(("  bleeder: 56 kohm", "  bleeder:")))
    assert build.supply.bleeder is None
    assert build.warnings == (
        "supply: no bleeder, so its capacitors stay charged when off: discharge and measure first",
    )


def test_a_build_is_frozen_and_survives_pickling():
    build = load(STARTER)
    with pytest.raises(ValidationError):
        build.title = "other"
    again = pickle.loads(pickle.dumps(build))
    assert again == build
    assert again.sha256 == build.sha256


def test_no_attribute_can_be_set_from_the_file():
    for key in ("path", "sha256", "_sha256", "_warnings", "warnings", "from_", "model_config"):
        with pytest.raises(BuildFaults):
            load(STARTER + f"{key}: x\n")


def test_a_tube_named_by_digits_is_a_name():
    text = changed(("  tube: 6K7 ", "  tube: 807 "), ("  tube: 6C5", "  tube: 6E5"))
    build = load_build_text(text, known_tubes=lambda: ("807", "6E5"))
    assert (build.detector.tube, build.audio.tube) == ("807", "6E5")


# Resonance C = 1/((2 pi f)^2 L), worked by hand: 14 uH at 3.5 MHz needs 147.7 pF; 140 pF with 12 pF strays,
# 10 pF tube and 5 pF aerial give 167 pF. A capacitor of 110 pF gives 137 pF: too little at 3.5 MHz only.
def test_a_dial_that_misses_the_band_is_a_warning():
    build = load(changed(("  maximum: 140 pF", "  maximum: 110 pF")))
    assert build.warnings == (
        "band '80 m': 3.5 MHz needs 148 pF across the coil, but tuning capacitor, padding, strays and tube "
        "give 37 pF to 137 pF: the dial does not reach it",
    )


def test_capacitance_across_the_coil():
    build = load(STARTER)
    # 68 pF in series with 140 pF is 45.769 pF (product over sum); 56 pF padder, 12 pF strays
    got = tank_capacitance(build.tuning, build.bands[2].padding, 140e-12)
    assert got == pytest.approx((68 * 140 / (68 + 140) + 56 + 12) * 1e-12 + TUBE_INPUT_FARAD, rel=1e-12)
    assert tank_capacitance(build.tuning, None, 140e-12) == pytest.approx(
        152e-12 + TUBE_INPUT_FARAD, rel=1e-12
    )


def test_a_gas_tube_that_cannot_light_is_a_warning():
    build = load(changed(("  strike: 120 V", "  strike: 240 V")))
    assert build.warnings == ("regulator: it strikes at 240 V, above the supply of 220 V: it will not light",)


def test_a_changed_build_takes_text_and_si_numbers():
    build = load(STARTER)
    other = changed_build(
        build,
        {
            "detector.tube": "6SK7",
            "detector.grid_leak": 1.8e6,
            "bands[1].coil.tap": "4 %",
            "supply.bleeder": None,
        },
        known_tubes=lambda: TUBES,
    )
    assert (other.detector.tube, other.detector.grid_leak, other.bands[1].coil.tap) == ("6SK7", 1.8e6, 0.04)
    assert other.supply.bleeder is None
    assert other.changes[1] == ("detector.grid_leak", "1800000.0")
    assert other.sha256 != build.sha256
    assert (build.detector.tube, build.changes) == ("6K7", ())
    again = changed_build(other, {"bands[1].coil.tap": 0.03}, known_tubes=lambda: TUBES)
    assert (again.bands[1].coil.tap, again.detector.grid_leak, len(again.changes)) == (0.03, 1.8e6, 5)


def test_a_change_may_fill_a_section_that_was_left_out():
    other = changed_build(load(STARTER), {"bands[0].padding.parallel": 10e-12}, known_tubes=lambda: TUBES)
    assert other.bands[0].padding is not None and other.bands[0].padding.parallel == 10e-12


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            {"detector.grid_leak": 100.0},
            "changed build: detector.grid_leak: value '100.0': expected a resistance from 10 kohm to 100 "
            "Mohm such as '2.2 Mohm'; it is out of range; write it as '2.2 Mohm'",
        ),
        (
            {"detector.gridleak": 1e6},
            "changed build: detector.gridleak: value '1000000.0': expected a key of 'detector'; nearest key "
            "'grid_leak'; rename or remove it",
        ),
        (
            {"regulator.volts": 300.0},
            "changed build: regulator.strike: value '120 V': expected volts above that of 'volts'; swap the "
            "two or correct one\nchanged build: regulator.volts: value '300.0': expected less than the 220 V "
            "of the supply; raise the supply or take a lower regulator",
        ),
        (
            {"bands[7].coil.q": 100.0},
            "changed build: bands[7]: expected a key of the build; check the key path",
        ),
        (
            {"bands.coil.q": 100.0},
            "changed build: bands.coil: expected a key of the build; check the key path",
        ),
        (
            {"a b": 1.0},
            "changed build: a b: expected a key path such as 'bands[0].coil.tap'; check its spelling",
        ),
    ],
)
def test_a_faulty_change_is_refused(change, message):
    with pytest.raises(BuildFaults) as caught:
        changed_build(load(STARTER), change, known_tubes=lambda: TUBES)
    assert str(caught.value) == message


def quantities(model: type[BaseModel]) -> typing.Iterator[tuple[str, Quantity, object]]:
    for key, info in keys_of(model).items():
        shape = shape_of(info.annotation, info.metadata, info.default)
        if isinstance(shape.mark, Quantity):
            yield f"{model.__name__}.{key}", shape.mark, shape.default
        for part in shape.models:
            yield from quantities(part)


FIELDS = {name: (mark, default) for name, mark, default in quantities(Build)}


@pytest.mark.parametrize("name", FIELDS)
def test_bounds_examples_and_defaults_are_sound(name):
    mark, default = FIELDS[name]
    low, high = mark.bounds()
    assert 0 <= low < high
    mark.read(mark.example or mark.dimension.example)
    if isinstance(default, str | float):
        mark.read(default)


def test_every_field_is_documented():
    def undocumented(model: type[BaseModel]) -> typing.Iterator[str]:
        for key, info in keys_of(model).items():
            if not info.description:
                yield f"{model.__name__}.{key}"
            for part in shape_of(info.annotation, info.metadata).models:
                yield from undocumented(part)

    assert list(undocumented(Build)) == []


def only_faults(text: str | bytes) -> None:
    """Load; anything but a Build or BuildFaults fails the test."""
    try:
        build = load_build_text(text, "b.yaml", known_tubes=lambda: TUBES)
    except BuildFaults as error:
        assert error.faults
        message = str(error)
        assert all(c.isprintable() or c == "\n" for c in message)
        assert message.count("\n") == len(error.faults) - 1
    else:
        names = [build.title, *(b.name for b in build.bands), *(p.name for p in build.phones)]
        assert all(name.isprintable() and not set(name) & set('`;$\\"{}|<>\n') for name in names)
        floats = (v for v in _leaves(build.model_dump()) if isinstance(v, float))
        assert all(math.isfinite(v) for v in floats)


def _leaves(data: object) -> typing.Iterator[object]:
    if isinstance(data, dict):
        data = list(data.values())
    if isinstance(data, list | tuple):
        for item in data:
            yield from _leaves(item)
    else:
        yield data


@given(st.text(max_size=200) | st.binary(max_size=200))
def test_any_file_gives_faults_only(content):
    only_faults(content)


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None, max_examples=60)
@given(
    st.integers(0, len(STARTER)),
    st.integers(0, 40),
    st.text(max_size=20) | st.sampled_from(["\t", "[", "- ", "&a *a"]),
)
def test_a_starter_with_a_wound_gives_faults_only(start, length, scar):
    only_faults(STARTER[:start] + scar + STARTER[start + length :])


_PLACES = []


def _places(data: object, path: tuple[str | int, ...] = ()) -> None:
    if isinstance(data, dict | list):
        for step, inside in data.items() if isinstance(data, dict) else enumerate(data):
            _PLACES.append((*path, step))
            _places(inside, (*path, step))


_places(yaml.safe_load(STARTER))
_JUNK = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=12)
    | st.sampled_from(["choke", "4k7", "1 V"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["kind", "volts", "choke", "name", "x"]), inner, max_size=3)
    ),
    max_leaves=6,
)


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None, max_examples=150)
@given(st.sampled_from(_PLACES), _JUNK)
def test_junk_at_any_key_gives_faults_at_that_key(place, junk):
    data = yaml.safe_load(STARTER)
    parent = data
    for step in place[:-1]:
        parent = parent[step]
    parent[place[-1]] = junk
    only_faults(yaml.safe_dump(data, allow_unicode=True))


HANDBOOK = {
    "grid_leak: 2.7 Mohm": "grid_leak: 2.7 meg.",
    "grid_capacitor: 130 pF": "grid_capacitor: .00013 mfd",
    "coupling: 15 nF": "coupling: .015 mfd.",
    "cathode_bypass: 33 uF": "cathode_bypass: 33 MFD",
    "volume: {pot: 470 kohm": "volume: {pot: .47 megohm",
    "tuning: {minimum: 9 pF, maximum: 160 pF, stray: 14 pF}":
        "tuning: {minimum: 9 mmf, maximum: 160 mmfd, stray: 14 uuF}",
    "inductance: 420 H": "inductance: 420 henries",
    "minimum_current: 5 mA": "minimum_current: 5 ma",
    "volts: 190 V": "volts: 190 volts",
}  # fmt: skip


def test_a_build_in_handbook_units_is_the_same_build() -> None:
    text = (BUILDS / "demo.yaml").read_text(encoding="utf-8")
    ours = loading_module.load_build_text(text)
    for new, old in HANDBOOK.items():
        assert text.count(new) == 1, new
        text = text.replace(new, old)
    assert loading_module.load_build_text(text).model_dump() == ours.model_dump()


def test_a_plate_choke_of_the_catalogues_is_accepted() -> None:
    """1080 H was printed for plate chokes of regenerative sets (from memory, high); the limit was 1000 H."""
    build = changed_build(api.shipped_build("demo"), {"detector.load.inductance": "1080 H"})
    assert build.detector.load.inductance == 1080.0


def test_what_is_taken_by_the_kind_of_phones_is_said_once() -> None:
    """Guards against one note a pair of phones, word for word the same, on every verb."""
    build = api.shipped_build("mains_set")
    notes = [text for text in build.warnings if "usual figures" in text]
    assert notes == [
        "phones 'magnetic headset' (high_impedance) and 'modern headset' (32_ohm): usual figures of their "
        "kind are used for what is left out (common practice, no source): measure yours"
    ]
    stated = {
        "inductance": "1.7 H",
        "capacitance": "180 pF",
        "resistance": "1.9 kohm",
        "sensitivity": "103 dB",
    }
    changes = {f"phones[0].{key}": text for key, text in stated.items()}
    (note,) = [text for text in changed_build(build, changes).warnings if "usual figures" in text]
    assert note.startswith("phones 'modern headset' (32_ohm): usual figures")
