"""The tests' own ruler: 'approximately' is a share of what is due, however small that is in SI units."""

from pathlib import Path

import numpy as np
import pytest

from tests.conftest import LONGEST_FIRST


def test_a_picofarad_is_no_other_picofarad() -> None:
    """pytest accepts whatever lies within 1e-12 of what is due: 4.4 pF for 5.2 pF, none at all for 0.7 pF."""
    assert pytest.approx(5.2e-12, rel=1e-6) != 4.4e-12
    assert pytest.approx(0.7e-12) != 0.0
    assert pytest.approx({"grid": 0.11e-12}) != {"grid": 0.07e-12}
    assert pytest.approx([3.1e-13, 2.3e-13], rel=1e-3) != np.array([3.1e-13, 2.4e-13])
    assert pytest.approx(5.2e-12, rel=1e-6) == 5.2e-12 * (1 + 0.9e-6)
    assert pytest.approx(0.0, abs=1e-9) == 0.9e-9


def test_long_files_are_known_by_their_names() -> None:
    """Guards against a file that was renamed and begins last."""
    assert [name for name in LONGEST_FIRST if not (Path(__file__).parent / name).is_file()] == []
