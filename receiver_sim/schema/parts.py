"""What is physically sensible for each kind of part: the field types of a build, with their bounds.

The bounds only catch slips (a misread prefix, a lost zero); they are common practice, no source, and generous
on purpose. Whether a value is wise is a question for the studies.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import PydanticCustomError, core_schema

from receiver_sim.physics.wire import astm_gauge_diameter
from receiver_sim.schema import handbook
from receiver_sim.schema.quantity import (
    ANGLE,
    CAPACITANCE,
    CHARGE,
    CURRENT,
    DECIBEL,
    FREQUENCY,
    INDUCTANCE,
    LENGTH,
    NUMBER,
    PERCENTAGE,
    POWER,
    RESISTANCE,
    TIME,
    VOLTAGE,
    Quantity,
    QuantityError,
)


@dataclass(frozen=True)
class Word:
    """Marks a str field as a checked word: `pattern` must match whole; `what` names it in messages."""

    what: str
    pattern: str
    longest: int
    cure: str

    def expected(self) -> str:
        """Return what a message says was expected."""
        return self.what

    def read(self, value: object) -> str:
        """Return the checked word; whole numbers (a tube named 807) pass as text. Raises ValueError."""
        if isinstance(value, int) and not isinstance(value, bool):
            value = str(value)
        if not isinstance(value, str):
            raise ValueError("put it in quotes" if isinstance(value, float) else "write a word or two")
        if not value.strip():
            raise ValueError("it is empty")
        if not value.isprintable():
            raise ValueError("it holds a line break or a control character: remove it")
        if len(value) > self.longest:
            raise ValueError(f"it is {len(value)} characters long: shorten it")
        if not re.fullmatch(self.pattern, value):
            raise ValueError(self.cure)
        return value

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        """Plug into pydantic."""

        def validate(value: Any) -> str:
            try:
                return self.read(value)
            except ValueError as error:
                detail = {"expected": self.expected(), "cure": str(error)}
                raise PydanticCustomError("fault", "{expected}; {cure}", detail) from None

        return core_schema.no_info_plain_validator_function(validate)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Plug into the JSON Schema for editors."""
        return {"type": ["string", "integer"], "pattern": f"^(?:{self.pattern})$", "maxLength": self.longest}


@dataclass(frozen=True)
class WireSize(Quantity):
    """Marks a float field as the diameter of a wire, or (`number`) as its number in the American gauge.

    Either way '24 AWG', '#24' and 'No. 24' are read: as a diameter by ASTM B258, or as the number itself.
    """

    number: bool = False

    def read(self, value: object, si: bool = False) -> float:
        """Return the value of what a file holds, as `Quantity.read` does. Raises QuantityError."""
        if isinstance(value, str):
            text = value.strip(" ")
            gauge = handbook.gauge(text)
            if handbook.british_gauge(text):
                cure = "write the bare diameter in mm, as 'wire'"
                raise QuantityError("the British gauge is not covered yet", cure)
            if gauge is not None:
                size = float(gauge if self.number or gauge > THINNEST_GAUGE else astm_gauge_diameter(gauge))
                if not self.allows(size):
                    raise QuantityError("it is out of range", "check the number of the gauge")
                return size
        return super().read(value, si)

    def patterns(self) -> list[str]:
        """Return the regular expressions (ECMA-262) of all ways to write it as text."""
        return [*super().patterns(), f"^(?:{handbook.GAUGE})$"]


THINNEST_GAUGE = 56
"""The highest number that ASTM B258 lists."""


# Letters of any script, digits and the signs that titles and bands are written with. Quotes, backticks,
# braces, semicolons, dollars and backslashes have no business in a name.
_NAME = r'[^\s`;$\\"{}|<>](?:[^`;$\\"{}|<>]*[^\s`;$\\"{}|<>])?'
Name = Annotated[
    str,
    Word(
        'a name of 1 to 60 printable characters without any of ` ; $ \\ " { } | < >',
        _NAME,
        60,
        "take those signs out, and any space at either end",
    ),
]
TubeName = Annotated[
    str,
    Word(
        "the type of a tube such as '6SJ7' (letters, digits, '/', '-', '_')",
        r"[0-9A-Za-z/_-]{1,20}",
        20,
        "write the type alone, as printed on the tube",
    ),
]

RegulatorType = Annotated[
    str,
    Word(
        "the type of a regulator such as '0A2' or '1N4764'",
        r"[0-9A-Za-z./_-]{1,20}",
        20,
        "write the type alone, as printed on it",
    ),
]

# Supplies
MainsFrequency = Annotated[float, Quantity(FREQUENCY, "15 Hz", "500 Hz", example="50 Hz")]
RippleFrequency = Annotated[float, Quantity(FREQUENCY, "10 Hz", "100 kHz", example="100 Hz")]
PlateSupply = Annotated[float, Quantity(VOLTAGE, "6 V", "600 V", example="180 V", spread=True)]
Ripple = Annotated[float, Quantity(VOLTAGE, "1 uV", "100 V", zero=True, example="0.2 V")]
HeaterVolts = Annotated[float, Quantity(VOLTAGE, "1 V", "120 V", example="6.3 V", spread=True)]
RegulatorVolts = Annotated[float, Quantity(VOLTAGE, "2 V", "500 V", example="90 V", spread=True)]
StrikeVolts = Annotated[float, Quantity(VOLTAGE, "2 V", "1000 V", example="115 V")]
RegulatorCurrent = Annotated[float, Quantity(CURRENT, "1 uA", "1 A", example="5 mA")]
MainsVolts = Annotated[float, Quantity(VOLTAGE, "20 V", "500 V", example="230 V")]
WindingVolts = Annotated[float, Quantity(VOLTAGE, "3 V", "700 V", example="180 V", spread=True)]
DiodeDrop = Annotated[float, Quantity(VOLTAGE, "0.2 V", "150 V", example="22 V")]
RatedCurrent = Annotated[float, Quantity(CURRENT, "1 uA", "500 A", example="60 mA")]
PeakVolts = Annotated[float, Quantity(VOLTAGE, "3 V", "10 kV", example="450 V")]
PickupVolts = Annotated[float, Quantity(VOLTAGE, "1 nV", "1 V", zero=True, example="0.5 mV")]
Drift = Annotated[float, Quantity(VOLTAGE, "1 uV", "2 V", zero=True, example="60 mV")]
WarmUp = Annotated[float, Quantity(TIME, "0.1 s", "2 min", zero=True, example="11 s")]
Capacity = Annotated[float, Quantity(CHARGE, "1 mAh", "1000 Ah", example="0.5 Ah")]
PartPower = Annotated[float, Quantity(POWER, "10 mW", "100 W", example="2 W")]

# Resistances
Resistor = Annotated[float, Quantity(RESISTANCE, "1 ohm", "10 Mohm", example="4.7 kohm", spread=True)]
ResistorOrLink = Annotated[
    float, Quantity(RESISTANCE, "0.1 ohm", "10 Mohm", zero=True, example="10 kohm", spread=True)
]
PlateResistor = Annotated[float, Quantity(RESISTANCE, "100 ohm", "10 Mohm", example="150 kohm", spread=True)]
CoreResistance = Annotated[float, Quantity(RESISTANCE, "1 kohm", "100 Gohm", example="5 Mohm", spread=True)]
Bleeder = Annotated[float, Quantity(RESISTANCE, "1 kohm", "10 Mohm", example="68 kohm", spread=True)]
GridLeak = Annotated[float, Quantity(RESISTANCE, "10 kohm", "100 Mohm", example="2.2 Mohm", spread=True)]
Leakage = Annotated[float, Quantity(RESISTANCE, "10 kohm", "100 Gohm", example="200 Mohm", spread=True)]
HumPot = Annotated[float, Quantity(RESISTANCE, "1 ohm", "10 kohm", example="100 ohm", spread=True)]
Pot = Annotated[float, Quantity(RESISTANCE, "100 ohm", "10 Mohm", example="50 kohm", spread=True)]
WindingResistance = Annotated[
    float, Quantity(RESISTANCE, "1 mohm", "100 kohm", zero=True, example="35 ohm", spread=True)
]
SourceResistance = Annotated[
    float, Quantity(RESISTANCE, "1 mohm", "100 kohm", zero=True, example="470 ohm", spread=True)
]
LoadResistance = Annotated[float, Quantity(RESISTANCE, "0.1 ohm", "1 Mohm", example="1.8 kohm", spread=True)]

# Capacitances
GridCapacitor = Annotated[float, Quantity(CAPACITANCE, "1 pF", "10 nF", example="120 pF", spread=True)]
FilterCapacitor = Annotated[
    float, Quantity(CAPACITANCE, "0.1 pF", "100 nF", zero=True, example="100 pF", spread=True)
]
BypassCapacitor = Annotated[float, Quantity(CAPACITANCE, "10 pF", "10 mF", example="0.22 uF", spread=True)]
CouplingCapacitor = Annotated[float, Quantity(CAPACITANCE, "10 pF", "100 uF", example="10 nF", spread=True)]
TuningCapacitor = Annotated[float, Quantity(CAPACITANCE, "0.5 pF", "10 nF", example="150 pF", spread=True)]
AerialCapacitance = Annotated[float, Quantity(CAPACITANCE, "0.01 pF", "1 uF", example="4 pF", spread=True)]
StrayCapacitance = Annotated[
    float, Quantity(CAPACITANCE, "0.0001 pF", "100 nF", zero=True, example="3 pF", spread=True)
]

# Inductances
RfChoke = Annotated[float, Quantity(INDUCTANCE, "1 uH", "1 H", example="2.5 mH", spread=True)]
# plate chokes of 1080 H were in the catalogues, and windings at a fraction of a milliampere reach more
AudioInductance = Annotated[float, Quantity(INDUCTANCE, "1 mH", "5000 H", example="40 H", spread=True)]
LeakageInductance = Annotated[
    float, Quantity(INDUCTANCE, "1 uH", "10 H", zero=True, example="30 mH", spread=True)
]
LoadInductance = Annotated[
    float, Quantity(INDUCTANCE, "1 uH", "100 H", zero=True, example="1.6 H", spread=True)
]
TankInductance = Annotated[float, Quantity(INDUCTANCE, "0.05 uH", "1 H", example="4.2 uH", spread=True)]
AerialInductance = Annotated[
    float, Quantity(INDUCTANCE, "1 nH", "10 mH", zero=True, example="5 uH", spread=True)
]

# Sound
AudioFrequency = Annotated[float, Quantity(FREQUENCY, "1 Hz", "200 kHz", example="1 kHz")]
Phase = Annotated[float, Quantity(ANGLE, "0.01 deg", "90 deg", zero=True, example="75 deg")]
SoundLevel = Annotated[float, Quantity(DECIBEL, "20 dB", "140 dB", example="100 dB")]

# Plain figures
Count = Annotated[float, Quantity(NUMBER, "1", "20", example="2")]
BandEdge = Annotated[float, Quantity(FREQUENCY, "10 kHz", "300 MHz", example="3.5 MHz")]
Rotation = Annotated[float, Quantity(ANGLE, "30 deg", "3600 deg", example="270 deg")]
Setting = Annotated[float, Quantity(PERCENTAGE, "0 %", "100 %", example="50 %")]
MidFraction = Annotated[float, Quantity(PERCENTAGE, "1 %", "99 %", example="15 %")]
Tap = Annotated[float, Quantity(PERCENTAGE, "0.1 %", "50 %", example="6 %", spread=True)]
CoilQ = Annotated[float, Quantity(NUMBER, "2", "5000", example="140", spread=True)]
TurnsRatio = Annotated[float, Quantity(NUMBER, "0.0001", "100", example="0.05")]
TransformerCoupling = Annotated[float, Quantity(NUMBER, "0.1", "0.99999", example="0.995", spread=True)]
CoilCoupling = Annotated[float, Quantity(NUMBER, "0.01", "1", example="0.6", spread=True)]
CoilShape = Annotated[float, Quantity(NUMBER, "0.05", "20", example="0.8")]
TicklerCoupling = Annotated[float, Quantity(NUMBER, "0.001", "0.98", example="0.2", spread=True)]

# Coils and aerials
FormerDiameter = Annotated[float, Quantity(LENGTH, "2 mm", "500 mm", example="32 mm")]
WireDiameter = Annotated[float, WireSize(LENGTH, "0.02 mm", "20 mm", example="0.5 mm")]
WireGauge = Annotated[float, WireSize(NUMBER, "1", "44", example="24", number=True)]
Covering = Annotated[float, Quantity(LENGTH, "1 um", "3 mm", zero=True, example="0.05 mm")]
Pitch = Annotated[float, Quantity(LENGTH, "0.02 mm", "50 mm", example="0.9 mm")]
Turns = Annotated[float, Quantity(NUMBER, "1", "2000", example="18.5")]
TapTurns = Annotated[float, Quantity(NUMBER, "0.05", "1000", example="1.25")]
WindingGap = Annotated[float, Quantity(LENGTH, "0.05 mm", "500 mm", zero=True, example="3 mm")]
Permittivity = Annotated[float, Quantity(NUMBER, "1", "20", example="4.5")]
LossTangent = Annotated[float, Quantity(NUMBER, "0.00001", "0.5", zero=True, example="0.02")]
InductanceFactor = Annotated[float, Quantity(INDUCTANCE, "0.01 nH", "1 mH", example="5.5 nH")]
CanSize = Annotated[float, Quantity(LENGTH, "5 mm", "1 m", example="65 mm")]
Resistivity = Annotated[float, Quantity(NUMBER, "1e-9", "1e-6", example="2.8e-8")]
CapacitorTravel = Annotated[float, Quantity(ANGLE, "30 deg", "3600 deg", example="180 deg")]
WireLength = Annotated[float, Quantity(LENGTH, "5 cm", "200 m", zero=True, example="4.5 m")]
EffectiveHeight = Annotated[float, Quantity(LENGTH, "1 cm", "100 m", example="2 m")]
AerialEmf = Annotated[float, Quantity(VOLTAGE, "1 uV", "100 V", example="0.5 V")]
Swing = Annotated[float, Quantity(PERCENTAGE, "0 %", "50 %", example="10 %")]
