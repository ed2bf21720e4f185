"""How a fault of a file is said: place, value, expectation, cure; what stands first, is cut or escaped."""

from __future__ import annotations

import pickle

import pytest

from receiver_sim.errors import ReceiverSimError
from receiver_sim.schema.faults import BuildFaults, Fault, FileFaults, dotted, listed, nearest, show
from receiver_sim.schema.rating import Rating
from receiver_sim.schema.readings import Readings, ReadingsFaults, load_readings

# ---------------------------------------------------------------------------- words


@pytest.mark.parametrize(
    ("length", "shown"), [(59, "x" * 59), (60, "x" * 60), (61, "x" * 57 + "..."), (500, "x" * 57 + "...")]
)
def test_a_value_is_repeated_up_to_sixty_characters(length: int, shown: str) -> None:
    assert show("x" * length) == shown


def test_control_characters_of_a_value_do_not_reach_a_terminal() -> None:
    """Escape sequences could write over what stands there; letters of any script stay."""
    assert show("\x1b[2J red\n") == "\\x1b[2J red\\n"
    assert show("Übertrager 4,7 kΩ") == "Übertrager 4,7 kΩ"
    assert show(12.5) == "12.5"


@pytest.mark.parametrize(
    ("path", "text"),
    [((), ""), (("bands",), "bands"), (("bands", 0, "coil"), "bands[0].coil"), ((0, "a"), "[0].a"),
     (("a", 1, 2), "a[1][2]"), (("a\x07", "b"), "a\\x07.b")],
)  # fmt: skip
def test_a_key_path_is_written_with_dots_and_numbers(path: tuple[str | int, ...], text: str) -> None:
    assert dotted(path) == text


@pytest.mark.parametrize(
    ("word", "known", "due"),
    [
        ("capacitr", ("resistor", "capacitor", "choke"), "capacitor"),
        ("CAPACITOR", ("capacitor",), "capacitor"),
        ("volts", ("Volts",), "Volts"),
        # six of ten letters in common are near, five are not (Ratcliff and Obershelp's ratio)
        ("abcdefghij", ("abcdefwxyz",), "abcdefwxyz"),
        ("abcdefghij", ("abcdevwxyz",), None),
        ("x", (), None),
    ],
)
def test_the_nearest_key_is_one_that_reads_alike(word: str, known: tuple[str, ...], due: str | None) -> None:
    assert nearest(word, known) == due


def test_of_two_keys_that_differ_by_capitals_the_first_in_order_is_meant() -> None:
    assert nearest("volts", {"volts", "Volts"}) == "Volts"


@pytest.mark.parametrize(("words", "text"), [("a", "'a'"), ("ab", "'a' or 'b'"), ("abc", "'a', 'b' or 'c'")])
def test_words_are_listed_as_a_sentence_has_them(words: str, text: str) -> None:
    assert listed(words) == text


# ---------------------------------------------------------------------------- one fault


@pytest.mark.parametrize(
    ("given", "text"),
    [
        ({}, "set.yaml:7: a.b: expected volts"),
        ({"line": 0}, "set.yaml: a.b: expected volts"),
        ({"key": ""}, "set.yaml:7: expected volts"),
        ({"value": "12"}, "set.yaml:7: a.b: value '12': expected volts"),
        ({"value": ""}, "set.yaml:7: a.b: value '': expected volts"),
        ({"missing": True, "value": "12"}, "set.yaml:7: a.b: missing: expected volts"),
        ({"near": "a.c"}, "set.yaml:7: a.b: expected volts; nearest key 'a.c'"),
        ({"cure": "write 12 V"}, "set.yaml:7: a.b: expected volts; write 12 V"),
        ({"near": "a.c", "cure": "write 12 V"},
         "set.yaml:7: a.b: expected volts; nearest key 'a.c'; write 12 V"),
        ({"value": "y" * 99}, f"set.yaml:7: a.b: value '{'y' * 57}...': expected volts"),
    ],
)  # fmt: skip
def test_the_whole_message_of_a_fault(given: dict[str, object], text: str) -> None:
    plain = {"file": "set.yaml", "line": 7, "key": "a.b", "expected": "volts"}
    assert str(Fault(**{**plain, **given})) == text  # type: ignore[arg-type]


def test_faults_stand_by_line_then_key_then_expectation_and_each_once() -> None:
    def fault(line: int, key: str, expected: str) -> Fault:
        return Fault("f", line, key, expected)

    given = [
        fault(9, "a", "x"),
        fault(2, "b", "y"),
        fault(2, "b", "x"),
        fault(2, "a", "z"),
        fault(9, "a", "x"),
    ]
    error = BuildFaults(given)
    assert [(f.line, f.key, f.expected) for f in error.faults] == [
        (2, "a", "z"), (2, "b", "x"), (2, "b", "y"), (9, "a", "x"),
    ]  # fmt: skip
    assert str(error).split("\n") == [str(f) for f in error.faults]
    assert isinstance(error, FileFaults) and isinstance(error, ReceiverSimError)


@pytest.mark.parametrize("kind", [FileFaults, BuildFaults, ReadingsFaults])
def test_faults_come_back_whole_from_another_process(kind: type[FileFaults]) -> None:
    error = kind([Fault("f", 3, "a", "volts", value="12")])
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is kind and again.faults == error.faults and str(again) == str(error)


# ---------------------------------------------------------------------------- readings and ratings


def refused(lines: str, tmp_path) -> dict[str, str]:  # type: ignore[no-untyped-def]
    path = tmp_path / "readings.yaml"
    path.write_text("receiver_sim_readings: 1\n" + lines)
    try:
        load_readings(path)
    except ReadingsFaults as error:
        return {f.key: f.expected for f in error.faults}
    return {}


def test_a_file_that_says_nothing_has_the_meter_and_error_of_the_bench() -> None:
    """10 Mohm is what any digital meter has; 3 % holds a good pointer and the eye (common practice)."""
    found = Readings.model_validate({"receiver_sim_readings": 1})
    assert (found.meter, found.error, found.control, found.heard) == ("10 Mohm", 0.03, None, None)
    assert (found.volts, found.onset) == ((), ())


@pytest.mark.parametrize(
    ("line", "key"),
    [
        ("error: {} %", ("error", (0.1, 30.0), (0.09, 31.0))),
        ("control: {} %", ("control", (0.0, 100.0), (-1.0, 101.0))),
        ("volts: [{{pin: V1 plate, volts: {} V}}]", ("volts[0].volts", (-1000.0, 1000.0), (-1001.0, 1001.0))),
        ("volts: [{{pin: V1 plate, volts: 1 V, range: {} V}}]",
         ("volts[0].range", (0.1, 2000.0), (0.09, 2010.0))),
        ("onset: [{{band: 40 m, at: {} %}}]", ("onset[0].at", (0.0, 100.0), (-1.0, 101.0))),
    ],
)  # fmt: skip
def test_figures_of_a_reading_have_their_ends(
    line: str, key: tuple[str, tuple[float, float], tuple[float, float]], tmp_path
) -> None:  # type: ignore[no-untyped-def]
    """A meter shows at most a kilovolt either way; a range below 0.1 V or an error above 30 % is a slip."""
    name, kept, refused_at = key
    for value in kept:
        assert refused(line.format(f"{value:g}"), tmp_path) == {}
    for value in refused_at:
        assert set(refused(line.format(f"{value:g}"), tmp_path)) == {name}


@pytest.mark.parametrize(
    ("line", "key", "words"),
    [
        ("meter: 5 kohm/V", "meter", ("1 kohm/V", "20 kohm/V", "10 Mohm")),
        ("heard: buzz", "heard", ("nothing", "weak", "normal", "loud hum")),
        ("volts: [{pin: V1 plate, volts: 1 V, tube: off}]", "volts[0].tube", ("in", "out")),
    ],
)
def test_words_of_a_reading_are_named_where_another_stands(
    line: str, key: str, words: tuple[str, ...], tmp_path
) -> None:  # type: ignore[no-untyped-def]
    found = refused(line, tmp_path)
    assert set(found) == {key}
    assert all(f"'{word}'" in found[key] or word in found[key] for word in words)
    for word in words:
        assert refused(line.replace(line.rpartition(": ")[2].rstrip("}]"), word, 1), tmp_path) == {}


def test_a_reading_needs_its_pin_and_its_volts(tmp_path) -> None:  # type: ignore[no-untyped-def]
    assert set(refused("volts: [{}]\nonset: [{}]", tmp_path)) == {
        "volts[0].pin", "volts[0].volts", "onset[0].band",
    }  # fmt: skip
    assert set(refused("ohms: []", tmp_path)) == {"ohms"}


def test_a_rating_says_what_it_knows_and_each_in_its_own_unit() -> None:
    bare = Rating(part="R6")
    assert (bare.withstands, bare.dissipates, bare.carries) == (None, None, None)
    whole = Rating.model_validate(
        {"part": "C2", "withstands": "450 V", "dissipates": "2 W", "carries": "60 mA"}
    )
    assert (whole.withstands, whole.dissipates, whole.carries) == (450.0, 2.0, pytest.approx(0.06))
    for key, wrong in (("withstands", "2 W"), ("dissipates", "450 V"), ("carries", "2 W")):
        with pytest.raises(ValueError, match=key):
            Rating.model_validate({"part": "C2", key: wrong})
