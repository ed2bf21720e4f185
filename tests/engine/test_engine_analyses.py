"""Analyses against closed forms of linear networks (textbook circuit theory; no source needed beyond it).

Values are asymmetric on purpose. Tolerances: ngspice solves linear networks to rounding in op, ac and dc, but
its gmin of 1e-12 S and a conductance sum in double precision leave about 1e-9 relative; a transient errs with
the square of its step (trapezoidal rule), see there.
"""

import math
import pickle

import numpy as np
import pytest

from receiver_sim.engine import Deck, EngineError, EngineFailed

LINEAR = 1e-8

DIVIDER = Deck("divider", "V1 in 0 dc 12\nR1 in out 3.3k\nR2 out 0 1.8k\n.options keepopinfo\n")
R, L, C = 47.0, 2.2e-3, 330e-9
SERIES_RLC = Deck(
    "series RLC", f"V1 in 0 dc 0 ac 1\nR1 in a {R}\nL1 a out {L}\nC1 out 0 {C}\n.options keepopinfo\n"
)


def rlc_transfer(frequency, resistance=R):
    s = 2j * math.pi * frequency
    return 1 / (1 + s * resistance * C + s * s * L * C)


def test_operating_point(bench):
    with bench.session(DIVIDER) as session:
        op = session.op()
    assert op["out"] == pytest.approx([12 * 1.8 / 5.1], rel=LINEAR)
    assert op["V1#branch"] == pytest.approx([-12 / 5100], rel=LINEAR)
    assert set(op) == {"in", "out", "v1#branch"}
    assert (op.kind, op.title, op.scale, op.op) == ("op", "divider", "", None)
    assert op.engine_seconds > 0


@pytest.mark.parametrize(
    ("scale", "points", "count"),
    [("lin", 7, 7), ("lin", 3, 3), ("lin", 2, 2), ("dec", 5, 11), ("oct", 2, 14)],
)
def test_ac_of_series_rlc(bench, scale, points, count):
    with bench.session(SERIES_RLC) as session:
        ac = session.ac(100, 10_000, points, scale)
    frequency = ac["frequency"]
    assert frequency.dtype == np.float64 and ac["out"].dtype == np.complex128
    assert len(frequency) == count and frequency[0] == 100
    np.testing.assert_allclose(ac["out"], rlc_transfer(frequency), rtol=LINEAR)
    np.testing.assert_allclose(
        ac["l1#branch"], rlc_transfer(frequency) * 2j * math.pi * frequency * C, rtol=LINEAR
    )


def test_operating_point_of_an_ac_run(bench):
    deck = Deck("op with ac", "V1 in 0 dc 9 ac 1\nR1 in out 1k\nR2 out 0 2k\n.options keepopinfo\n")
    with bench.session(deck) as session:
        ac = session.ac(1e3, 1e3, 1)
        assert ac.op is not None and ac.op.kind == "op"
        assert ac.op["out"] == pytest.approx([6.0], rel=LINEAR)
        session.alter("V1", 4.5)
        again = session.ac(1e3, 1e3, 1, vectors=["out"])
        assert again.op is not None
        assert again.op["out"] == pytest.approx([3.0], rel=LINEAR)
    with bench.session(Deck("without", "V1 in 0 dc 9 ac 1\nR1 in out 1k\nR2 out 0 2k\n")) as session:
        assert session.ac(1e3, 1e3, 1).op is None


def test_dc_sweeps(bench):
    with bench.session(DIVIDER) as session:
        volts = session.dc("V1", -3, 6, 1.5)
        assert volts.scale == "v-sweep"
        np.testing.assert_allclose(volts["v-sweep"], [-3, -1.5, 0, 1.5, 3, 4.5, 6], atol=1e-12)
        np.testing.assert_allclose(volts["out"], volts["v-sweep"] * 1.8 / 5.1, rtol=LINEAR, atol=1e-12)
        ohms = session.dc("r2", 1000, 3000, 500, vectors=["out"])
        assert ohms.scale == "res-sweep" and set(ohms) == {"res-sweep", "out"}
        np.testing.assert_allclose(
            ohms["out"], 12 * ohms["res-sweep"] / (ohms["res-sweep"] + 3300), rtol=LINEAR
        )


def test_transient_of_rc_and_its_order(bench):
    """Charging through R: v = 1 - exp(-t/RC).

    With the step held at h the trapezoidal rule errs by (h/RC)^2 / 12 * (t/RC) exp(-t/RC) < (h/RC)^2 / 30 to
    leading order; step control only makes steps shorter. Twice that is allowed (higher orders, the first
    step), and half the step must bring about a quarter of the error.
    """
    tau = 4.7e3 * 22e-9
    deck = Deck(
        "RC", "V1 in 0 dc 1\nR1 in out 4.7k\nC1 out 0 22n ic=0\n.options reltol=1e-6 trtol=100 method=trap\n"
    )
    errors = []
    with bench.session(deck) as session:
        for h in (tau / 20, tau / 40):
            run = session.tran(h, 5 * tau, max_step=h, uic=True, vectors=["out"])
            assert run["time"][-1] == pytest.approx(5 * tau, rel=1e-9)
            errors.append(np.max(np.abs(run["out"] - (1 - np.exp(-run["time"] / tau)))))
    assert errors[0] < 2 * (1 / 20) ** 2 / 30
    assert errors[1] < 0.3 * errors[0]


def test_transient_start_and_sine_source_by_alter(bench):
    deck = Deck("sine", "V1 a 0 dc 0 sin(0 1 1k)\nR1 a 0 50\n")
    with bench.session(deck) as session:
        session.alter("v1", np.array([0.0, 2.5, 400.0]), "sin")
        run = session.tran(1e-5, 5e-3, start=1e-3, max_step=1e-5, vectors=["a"])
    # The run begins at the first step at or after `start`.
    assert 1e-3 <= run["time"][0] < 1e-3 + 1.1e-5
    np.testing.assert_allclose(run["a"], 2.5 * np.sin(2 * np.pi * 400 * run["time"]), atol=1e-9)


def test_noise_of_a_divider_is_johnson_noise(bench):
    """Open-circuit noise of R1 parallel R2: sqrt(4 k T R) (Nyquist 1928), k as in the SI since 2019, 27 degC.

    ngspice may carry an older value of k, which differed in the sixth digit, hence 1e-5.
    """
    parallel = 3300 * 1800 / 5100
    density = math.sqrt(4 * 1.380649e-23 * 300.15 * parallel)
    deck = Deck("noise", "V1 in 0 dc 12 ac 1\nR1 in out 3.3k\nR2 out 0 1.8k\n")
    with bench.session(deck) as session:
        run = session.noise("out", "V1", 100, 10_000, 5)
        np.testing.assert_allclose(run["onoise_spectrum"], density, rtol=1e-5)
        np.testing.assert_allclose(run["inoise_spectrum"], density * 5.1 / 1.8, rtol=1e-5)
        assert run["onoise_total"] == pytest.approx([density * math.sqrt(9900)], rel=1e-4)
        only = session.noise("v(out)", "v1", 100, 10_000, 5, vectors=["onoise_spectrum", "onoise_total"])
        assert set(only) == {"frequency", "onoise_spectrum", "onoise_total"}
        parts = session.noise("v(out,0)", "v1", 100, 10_000, 1, contributions=True)
        powers = parts["onoise_r1"] ** 2 + parts["onoise_r2"] ** 2
        np.testing.assert_allclose(powers, parts["onoise_spectrum"] ** 2, rtol=1e-6)


def test_alter_sweep_equals_reload(bench):
    values = [10.0, 47.0, 220.0]
    with bench.session(SERIES_RLC) as session:
        swept = []
        for value in values:
            session.alter("R1", value)
            session.alter("v1", 2.0, "acmag")
            swept.append(session.ac(2e3, 9e3, 5, vectors=["out"])["out"])
    for value, sweep in zip(values, swept, strict=True):
        deck = Deck("reload", SERIES_RLC.text.replace(f"a {R}", f"a {value}").replace("ac 1", "ac 2"))
        with bench.session(deck) as session:
            np.testing.assert_array_equal(session.ac(2e3, 9e3, 5)["out"], sweep)
        np.testing.assert_allclose(sweep, 2 * rlc_transfer(np.linspace(2e3, 9e3, 5), value), rtol=LINEAR)


@pytest.mark.parametrize(
    ("element", "value", "node", "expected"),
    [
        ("r2", 1e3, "b", 10 * 1 / 3),
        ("v1", 5.0, "b", 2.5),
        ("i1", 3e-3, "e", 3.0),
        ("g1", 2e-3, "c", -20.0),
        ("e1", 7.0, "d", 70.0),
        ("r.x1.r9", 3e3, "x1.m", 2.5),
    ],
)
def test_main_value_of_each_element(bench, element, value, node, expected):
    deck = Deck(
        "elements",
        "V1 a 0 dc 10\nR1 a b 2k\nR2 b 0 2k\nI1 0 e dc 1m\nR5 e 0 1k\nG1 c 0 a 0 1m\nR3 c 0 1k\n"
        "E1 d 0 a 0 2\nR4 d 0 1k\nX1 a s\n.subckt s 1\nR9 1 m 1k\nR8 m 0 1k\n.ends\n",
    )
    with bench.session(deck) as session:
        session.alter(element, value)
        assert session.op()[node] == pytest.approx([expected], rel=LINEAR)


def test_restricted_vectors_come_and_go(bench):
    with bench.session(SERIES_RLC) as session:
        some = session.ac(1e3, 2e3, 2, vectors=["OUT", "l1#branch"])
        assert list(some) == ["frequency", "out", "l1#branch"]
        everything = session.ac(1e3, 2e3, 2)
        assert set(everything) == {"frequency", "in", "a", "out", "l1#branch", "v1#branch"}
        other = session.ac(1e3, 2e3, 2, vectors=["a"])
        assert list(other) == ["frequency", "a"]
        np.testing.assert_array_equal(some["out"], everything["out"])
    with bench.session(DIVIDER) as session:  # no order left over from the circuit before
        assert set(session.op()) == {"in", "out", "v1#branch"}


@pytest.mark.parametrize("vectors", [["nosuch"], ["out", "nosuch"]])
def test_absent_vector_is_a_failure(bench, vectors):
    with (
        bench.session(DIVIDER) as session,
        pytest.raises(EngineFailed, match=r"'op': .* no nosuch; the deck"),
    ):
        session.op(vectors=vectors)


def test_element_currents_on_request(bench):
    deck = Deck("currents", DIVIDER.text + ".options savecurrents\n")
    with bench.session(deck) as session:
        assert session.op(vectors=["@r1[i]"])["@r1[i]"] == pytest.approx([12 / 5100], rel=LINEAR)


def test_vectors_behave_as_a_read_only_mapping(bench):
    with bench.session(SERIES_RLC) as session:
        ac = session.ac(1e3, 2e3, 2)
    assert "OUT" in ac and "nosuch" not in ac and 3 not in ac
    with pytest.raises(KeyError, match=r"no vector 'nosuch' in this ac run; there are: .*frequency"):
        ac["nosuch"]
    with pytest.raises(ValueError, match="read-only"):
        ac["out"][0] = 1
    copy = pickle.loads(pickle.dumps(ac))
    assert list(copy) == list(ac) and copy.op is not None
    np.testing.assert_array_equal(copy["out"], ac["out"])
    assert repr(ac) == "<ac of 'series RLC': 6 vectors of 2 points>"


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda s: s.alter("r1; shell x", 1), "'r1; shell x' is no element name"),
        (lambda s: s.alter("r1", 1, "x = 1; quit"), "'x = 1; quit' is no parameter"),
        (lambda s: s.alter("r1", math.nan), "the value of r1 must be a finite number, not nan"),
        (lambda s: s.alter("v1", [0, 1]), "a sequence of values needs a parameter such as 'sin' or 'pwl'"),
        (lambda s: s.ac(0, 1, 3, "dec"), "a sweep needs 0 < start <= stop, not 0 and 1"),
        (lambda s: s.ac(1, 2, 3, "log"), "scale must be one of lin, dec, oct, not 'log'"),
        (lambda s: s.ac(1, 2, 1), "1 points from 1 to 2 Hz: one point is for start = stop"),
        (lambda s: s.ac(1, 1, 3), "3 points from 1 to 1 Hz: one point is for start = stop"),
        (lambda s: s.ac(1, 2, 0), "points must be a whole number above 0, not 0"),
        (lambda s: s.dc("v1", 0, 1, -0.1), "a step of -0.1 never leads from 0 to 1"),
        (
            lambda s: s.noise("out) ; quit", "v1", 1, 2, 3),
            "'v(out) ; quit)' is no output of a noise analysis",
        ),
        (lambda s: s.op(vectors="out"), "vectors must be a sequence of at least one name, or None for all"),
        (lambda s: s.op(vectors=["out > file"]), "'out > file' is no vector name"),
        (
            lambda s: s.tran(1e-3, 1e-4),
            "a run needs 0 < step <= stop and 0 <= start < stop, not step=0.001, start=0.0, stop=0.0001",
        ),
    ],
)
def test_arguments_that_cannot_be_meant(bench, call, message):
    with bench.session(DIVIDER) as session:
        with pytest.raises(ValueError) as caught:
            call(session)
        assert str(caught.value) == message
        assert session.op()["out"] == pytest.approx([12 * 1.8 / 5.1], rel=LINEAR)  # nothing was sent


def test_many_settings_in_one_exchange(bench):
    """Each sweep is that of its setting, and what is altered stays altered; against the closed form."""
    with bench.session(SERIES_RLC) as session:
        settings = [{"R1": 33.0}, {"R1": 91.0}, {}]
        sweeps = [(one, 1000, 9000) for one in settings]
        runs = session.ac_each(sweeps, 5, vectors=["frequency", "out"])
        after = session.ac(1000, 9000, 5)
        assert session.evaluations == 4
    assert len(runs) == 3
    for run, ohm in zip([*runs, after], [33.0, 91.0, 91.0, 91.0], strict=True):
        np.testing.assert_allclose(run["out"], rlc_transfer(run["frequency"], ohm), rtol=LINEAR)
        assert set(runs[0]) == {"frequency", "out"} and runs[0].op["out"] == pytest.approx([0.0])


def test_one_of_many_that_fails_ends_the_session(bench):
    """And the next session has a worker that knows nothing of it."""
    with bench.session(SERIES_RLC) as session:
        assert (
            session.ac_each([({"R1": 33.0}, 1e3, 9e3), ({"R9": 1.0}, 1e3, 9e3)], 5, vectors=["out"]) is None
        )
        assert session.over
        with pytest.raises(EngineError, match="one of many analyses had no solution"):
            session.op()
    with bench.session(DIVIDER) as session:
        assert session.op()["out"] == pytest.approx([12 * 1.8 / 5.1], rel=LINEAR)
