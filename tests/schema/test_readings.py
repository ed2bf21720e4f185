"""Files of readings: what is read of them, and the whole message for a faulty one."""

from __future__ import annotations

import pytest

from receiver_sim.schema.readings import ReadingsFaults, load_readings

GOOD = """receiver_sim_readings: 1
meter: 20 kohm/V
control: 29 %
volts:
  - {pin: V1 plate, volts: 143 V}
  - {pin: V1 grid, volts: -0.2 V, meter: 10 Mohm}
  - {pin: V2 cathode, volts: 8.1 V, range: 10 V, tube: out}
onset:
  - {band: 80 m, at: 37 %}
  - {band: 40 m}
heard: weak
"""


def test_readings_are_read(tmp_path):
    path = tmp_path / "readings.yaml"
    path.write_text(GOOD)
    found = load_readings(path)
    assert (found.meter, found.control, found.error, found.heard) == ("20 kohm/V", 0.29, 0.03, "weak")
    plate, grid, cathode = found.volts
    assert (plate.pin, plate.volts, plate.meter, plate.range, plate.tube) == (
        "V1 plate",
        143.0,
        None,
        None,
        "in",
    )
    assert (grid.volts, grid.meter) == (-0.2, "10 Mohm")
    assert (cathode.range, cathode.tube) == (10.0, "out")
    assert [(o.band, o.at) for o in found.onset] == [("80 m", 0.37), ("40 m", None)]


def test_faulty_readings_are_told_all_at_once(tmp_path):
    path = tmp_path / "readings.yaml"
    path.write_text("receiver_sim_readings: 1\nvolts:\n  - {pin: V1 plate, volts: 143}\nheard: crackles\n")
    with pytest.raises(ReadingsFaults) as caught:
        load_readings(path)
    faults = {fault.key: str(fault) for fault in caught.value.faults}
    assert set(faults) == {"volts[0].volts", "heard"}
    assert "readings.yaml:3" in faults["volts[0].volts"] and "readings.yaml:4" in faults["heard"]
