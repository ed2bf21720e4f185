"""One resonance, and two beside each other, in responses made of their poles."""

from __future__ import annotations

import numpy as np
import pytest

from receiver_sim.physics.mode import Resonance, residues, resonance

CENTRE = 7e6
FREQUENCY = np.linspace(6.8e6, 7.2e6, 11)


def response(*terms: tuple[complex, complex]) -> np.ndarray:
    """Return the sum of residue/(j (w - w0) + pole) over (residue, pole), and a constant."""
    away = 2j * np.pi * (FREQUENCY - CENTRE)
    return np.asarray(sum(residue / (away + pole) for residue, pole in terms) + (35.0 - 20.0j))


TALL = (4e9 + 3e8j, complex(2.1e5, -3.4e5))
"""Residue and pole: some 19 kohm high, 54 kHz above the centre."""
LOW = (2.2e9 - 5e8j, complex(4.7e5, 6.1e5))
"""Some 5 kohm high, 97 kHz below it."""


def fitted(h: np.ndarray) -> Resonance:
    return resonance(FREQUENCY, response=h, reference_hz=CENTRE)


def test_one_resonance_has_none_beside_it() -> None:
    found = fitted(response(TALL))
    assert found.beside is None
    # exact but for rounding, as the response has the form that is fitted
    assert (found.residue, found.pole) == (pytest.approx(TALL[0]), pytest.approx(TALL[1]))
    assert found.background == pytest.approx(35.0 - 20.0j) and found.misfit < 1e-9


@pytest.mark.parametrize("terms", [(TALL, LOW), (LOW, TALL)])
def test_of_two_resonances_the_taller_is_told_and_the_other_kept_out_of_it(
    terms: tuple[tuple[complex, complex], ...],
) -> None:
    found = fitted(response(*terms))
    assert (found.residue, found.pole) == (pytest.approx(TALL[0]), pytest.approx(TALL[1]))
    assert found.beside == pytest.approx(LOW[1])
    assert found.background == pytest.approx(35.0 - 20.0j, rel=1e-4) and found.misfit < 1e-9


def test_the_share_of_a_second_electrode_is_told_beside_a_second_resonance() -> None:
    """Its residues are its own: here 0.3 of the taller, -0.8 of the lower."""
    h = response((0.3 * TALL[0], TALL[1]), (-0.8 * LOW[0], LOW[1]))
    found = fitted(response(TALL, LOW))
    residue, background, misfit = residues(
        FREQUENCY, response=h, reference_hz=CENTRE, pole=found.pole, beside=found.beside
    )
    assert residue / found.residue == pytest.approx(0.3, rel=1e-6)
    assert background == pytest.approx(35.0 - 20.0j, rel=1e-4) and misfit < 1e-9


def test_a_weak_second_resonance_is_left_in_the_misfit() -> None:
    """A hundredth of the taller one's height: what is left is told, and no second pole."""
    weak = 0.01 * abs(TALL[0]) / TALL[1].real * LOW[1].real
    found = fitted(response(TALL, (weak + 0j, LOW[1])))
    assert found.beside is None and 1e-5 < found.misfit < 0.02
