"""What is known of a measurand beforehand: sizes for the budget of a grab, and how long a grab keeps.

Sizes are of the whole way from bottle to slip, until the plant has pooled its own; the register can set each.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from wqverify import tables
from wqverify.calculations import turbidity
from wqverify.procedures.inputs import Sizes
from wqverify.terms import Analyzer, Given, SizeFrom

MEMORY: SizeFrom = "memory"
HOURS_48 = 48 * 60
HOLDING = "40 CFR 136.3, table II (from memory)"


@dataclass(frozen=True, slots=True)
class Measurand:
    """What the budget of a grab needs to know of what is measured."""

    name: str
    gain_percent: str  # standard uncertainty of the laboratory instrument, % of the value
    meter: str  # or in the unit, where it is no share of the value
    zero: str  # name of the size: stray light, junction, blank
    loss: str  # name of the size: what the grab gains or loses before it is read, empty for none
    floor: str  # standard deviation of one grab, in the unit
    share: Decimal  # of the value, besides
    larger_of: bool  # the larger of floor and share; else their root sum of squares
    dof: int  # of that standard deviation
    agree: str  # name of the setting: how far two grabs may lie apart
    holding_min: int | None
    holding: str = ""

    def repeatability(self, value: Decimal, settings: Mapping[str, str]) -> Decimal:
        """Return the standard deviation of one grab at a value, two places finer than its floor."""
        if "grab_repeatability" in settings:
            return Decimal(settings["grab_repeatability"])
        floor, share = Decimal(self.floor), abs(value) * self.share
        found = max(floor, share) if self.larger_of else (floor * floor + share * share).sqrt()
        return found.quantize(Decimal(1).scaleb(int(floor.as_tuple().exponent) - 2))


PH = Measurand(
    "pH", "0", "0.012", "grab_junction_ph", "grab_loss_ph", "0.015", Decimal(0), True, 12, "grabs_agree_ph",
    15, HOLDING,
)  # fmt: skip
TURBIDITY = Measurand(
    "turbidity", "1", "0", "grab_zero", "", "0.010", Decimal("0.04"), True, 19, "grabs_agree",
    HOURS_48, "EPA method 180.1 rev. 2.0, 48 h at 4 °C",
)  # fmt: skip
CHLORINE = Measurand(
    "chlorine", "1.5", "0", "grab_zero", "", "0.015", Decimal("0.015"), False, 19, "grabs_agree",
    15, HOLDING,
)  # fmt: skip
CONDUCTIVITY = Measurand(
    "conductivity", "1", "0", "grab_zero", "", "1.0", Decimal("0.005"), True, 19, "grabs_agree", None
)  # fmt: skip
OTHER = Measurand(
    "other", "2", "0", "grab_zero", "", "0.000", Decimal("0.02"), True, 19, "grabs_agree", None
)  # fmt: skip

# Half widths (rectangular).
_ZERO: Mapping[str, tuple[str, SizeFrom, str]] = {
    "turbidity": ("0.02", MEMORY, "stray light of the laboratory instrument, within ±{size}"),
    "chlorine": ("0.02", MEMORY, "blank of the laboratory instrument and its reagents, within ±{size}"),
    "conductivity": ("0", MEMORY, "zero of the laboratory instrument, within ±{size}"),
    "other": ("0", MEMORY, "zero of the laboratory instrument, within ±{size}"),
}
_PH: Sizes = {
    "grab_junction_ph": ("0.03", MEMORY, "liquid junctions of the two sensors, within ±{size} pH"),
    "grab_loss_ph": ("0.03", MEMORY, "carbon dioxide lost or gained before reading, within ±{size} pH"),
}
REPORTING = ("turbidity_reporting", "EPA 180.1 rev 2.0")


def measurand_of(analyzer: Analyzer) -> Measurand:
    """Return what an analyzer measures, by the words and the unit of the register."""
    words = f"{analyzer.measures} {analyzer.species}".casefold()
    if analyzer.unit == "pH" or words.split()[:1] == ["ph"]:
        return PH
    for word, found in (("turbidity", TURBIDITY), ("chlor", CHLORINE), ("conduct", CONDUCTIVITY)):
        if word in words:
            return found
    return OTHER


def sizes_of(measurand: Measurand) -> Sizes:
    """Return the half widths of the budget of a grab, by the names the register sets them under."""
    return _PH if measurand is PH else {"grab_zero": _ZERO[measurand.name]}


def reported_step(value: Decimal, given: Given) -> Decimal:
    """Return the step a turbidity is reported in by EPA method 180.1, NTU."""
    use = given.tables.get(" ".join(REPORTING))
    bands = tables.load(*REPORTING, use.digest if use else "").nodes("increment")
    return turbidity.band(max(value, Decimal(0)), bands)[1]


def holding_minutes(measurand: Measurand, settings: Mapping[str, str]) -> tuple[int | None, str]:
    """Return how many minutes a grab keeps, None where it is not known, and where that comes from."""
    if "grab_holding_min" in settings:
        return int(settings["grab_holding_min"]), "set in the register"
    return measurand.holding_min, measurand.holding
