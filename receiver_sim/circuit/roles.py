"""What studies ask a circuit for: places (nodes) and parts (elements), whatever they are called in a
template.
"""

from __future__ import annotations

from enum import Enum


class Place(str, Enum):
    """A node of the circuit by its role."""

    HOT_END = "hot end"
    GRID = "grid"
    CATHODE = "cathode"
    PLATE = "plate"
    SCREEN = "screen"
    FEEDBACK = "feedback end"
    """Where the current that pays for the tank's losses leaves the tube, if that is not ground."""
    CONTROL_NODE = "control node"
    """Its volts drive the space current of the oscillating tube."""
    DETECTOR_OUTPUT = "detector output"
    SUPPLY = "supply"
    REGULATED = "regulated"
    """What the control is fed from: the regulator, or the supply where there is none."""
    KNOB = "knob"
    """Its volts are the share of the control's travel, in views that let it move."""
    AMPLITUDE = "amplitude"
    DRIVE = "drive"
    """What the tube gives the tank along its swing, 1 V for 1 mA."""
    CROSS = "cross"
    """The same across the swing."""
    IN_PHASE = "in phase"
    QUADRATURE = "quadrature"


class Role(str, Enum):
    """An element of the circuit by its role."""

    TUNING = "tuning capacitor"
    TANK_LOSS = "tank loss"
    INPUT_LOSS = "input loss"
    GRID_CAPACITOR = "grid capacitor"
    LOOP_GAIN = "loop-gain source"
    """Volts in series with the control node of the oscillating tube."""
    GRID_LEAD = "grid-lead source"
    """Volts in the grid lead; a great many silence the tube, which the passive circuit does not notice."""
    GRID_CURRENT = "grid-current source"
    TANK_CURRENT = "tank-current source"
    AERIAL = "aerial source"
    FEEDER = "feeder source"
    LINK_CAPACITANCE = "link capacitance"
    TICKLER = "tickler coupling"
    SUPPLY = "supply source"
    HEATER = "heater source"
    HUM_POT_A = "hum pot to end a"
    HUM_POT_B = "hum pot to end b"
    DETECTOR_FEED = "feed of the detector"
    SCREEN_FEED = "feed of the screen"
    AUDIO_FEED = "feed of the audio stages"
    LOAD_FIELD = "field in the load"
    OUTPUT_FIELD = "field in the output"
    REGULATOR_CURRENT = "regulator-current source"
    DROPPER = "dropper"
    CONTROL_TOP = "control's upper resistor"
    RECTIFIER_LOAD = "rectifier's load"
    RECTIFIER_WARMTH = "rectifier's warmth"
    # sources of the views in which the amplitude stands for the carrier
    KNOB = "knob source"
    AMPLITUDE = "amplitude source"
    SWEEP = "sweep source"
    GUESS = "guess source"
    IN_PHASE = "in-phase current"
    QUADRATURE = "quadrature current"
