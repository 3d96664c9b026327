"""Units that the farm shows and reads: records and tables for programs are metric whatever they are."""

import re
from dataclasses import dataclass
from typing import Literal

Quantity = Literal["length", "weight", "temperature"]
LengthUnit = Literal["cm", "inches"]
WeightUnit = Literal["kg", "lb"]
TemperatureUnit = Literal["C", "F"]

# Exact by definition: the international inch and pound (1959), and the Fahrenheit scale.
MM_AN_INCH, KG_A_POUND = 25.4, 0.45359237
_MM_A_CM = 10.0
_CM2_A_SQUARE_INCH = (MM_AN_INCH / _MM_A_CM) ** 2

#: What may stand behind a number, and how it is brought to mm, kg or degrees Celsius.
_UNITS: dict[Quantity, dict[str, float]] = {
    "length": {"mm": 1.0, "cm": _MM_A_CM, "in": MM_AN_INCH, "inch": MM_AN_INCH, "inches": MM_AN_INCH, '"': MM_AN_INCH},
    "weight": {"g": 0.001, "kg": 1.0, "lb": KG_A_POUND, "lbs": KG_A_POUND, "oz": KG_A_POUND / 16},
    "temperature": {"c": 1.0, "f": 1.0},
}
#: From here on weights are shown as whole numbers.
_WHOLE_FROM = 100.0
_NUMBER = re.compile(r"(?P<number>[-+]?(?:\d+(?:\.\d+|,\d{1,2})?|\.\d+)) *\N{DEGREE SIGN}? *(?P<unit>[a-zA-Z\"]*)")

#: Pounds and ounces, as scales show them.
_POUNDS = re.compile(r"(?P<lb>\d+) *lbs?[ ,]*(?P<oz>\d+(?:[.,]\d+)?) *oz", re.IGNORECASE)


@dataclass(frozen=True)
class Units:
    """The units of a farm, and numbers in them as texts."""

    lengths: LengthUnit = "cm"
    weights: WeightUnit = "kg"
    temperatures: TemperatureUnit = "C"

    def area(self, cm2: float) -> str:
        """An area, such as "1.5 cm2" or "0.23 sq in"."""
        return f"{cm2:.1f} cm2" if self.lengths == "cm" else f"{cm2 / _CM2_A_SQUARE_INCH:.2f} sq in"

    def small_length(self, mm: float, digits: int = 1) -> str:
        """A length of some millimetres, such as "3.2 mm" or "0.13 in"."""
        return f"{mm:.{digits}f} mm" if self.lengths == "cm" else f"{mm / MM_AN_INCH:.{digits + 1}f} in"

    def length(self, mm: float) -> str:
        """A length of some centimetres, such as "19 cm" or "7.5 in"."""
        return f"{mm / _MM_A_CM:.3g} cm" if self.lengths == "cm" else f"{mm / MM_AN_INCH:.3g} in"

    def weight(self, kg: float) -> str:
        """A weight, such as "2.5 kg" or "5.5 lb"."""
        number = self.weight_number(kg)
        return f"{number:.3g} {self.weights}" if abs(number) < _WHOLE_FROM else f"{number:.0f} {self.weights}"

    def weight_number(self, kg: float) -> float:
        """A weight in the farm's unit."""
        return kg if self.weights == "kg" else kg / KG_A_POUND

    def length_number(self, mm: float) -> float:
        """A small length in millimetres or inches."""
        return mm if self.lengths == "cm" else mm / MM_AN_INCH

    def temperature(self, celsius: float) -> str:
        """A temperature, such as "24 °C" or "75 °F"."""
        return f"{self.temperature_number(celsius):.3g} \N{DEGREE SIGN}{self.temperatures}"

    def temperature_number(self, celsius: float) -> float:
        """A temperature in the farm's degrees."""
        return celsius if self.temperatures == "C" else celsius * 9 / 5 + 32

    def unit_of(self, quantity: Quantity) -> str:
        """The unit of a number that is written without one."""
        return {"length": self.lengths, "weight": self.weights, "temperature": self.temperatures}[quantity]


def measure_of_text(text: object, quantity: Quantity, unit: str) -> object:
    """The number in mm, kg or degrees Celsius of a text such as "7.5 in", "19 cm", "5 lb", "3 lb 4 oz" or "68 F".

    unit: of a number without one. A text that is no number is given back as it is, for who checks it. Raises ValueError
    for a unit that is not one of the quantity's.
    """
    if quantity == "weight" and isinstance(text, str) and (both := _POUNDS.fullmatch(text.strip())) is not None:
        return (int(both["lb"]) + float(both["oz"].replace(",", ".")) / 16) * KG_A_POUND
    match = _NUMBER.fullmatch(str(text).strip()) if isinstance(text, str | int | float) else None
    if match is None:
        return text
    factors = _UNITS[quantity]
    named = (match["unit"] or unit).lower()
    if named not in factors:
        names = [one for one in factors if one.isalpha()]
        raise ValueError(
            "the unit is C or F" if quantity == "temperature" else f"the unit is one of {', '.join(names)}"
        )
    number = float(match["number"].replace(",", "."))
    if quantity == "temperature":
        return (number - 32) * 5 / 9 if named == "f" else number
    return number * factors[named]
