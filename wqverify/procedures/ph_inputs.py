"""What is put into the budget of a pH calibration: bottles at their temperature, sizes and their sources.

Sizes that no certificate of the plant states are common practice or memory; they carry that word into the
budget and the page prints them as assumed. Names of causes are shared on purpose: one bottle, one
thermometer and one table act on every point they were used for, so what they have in common cancels or
adds up by itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from wqverify import tables
from wqverify.calculations.interpolation import interpolate
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.inputs import ROOT12, Inputs, Sizes
from wqverify.terms import Given, Input, Reading, Standard

ENDS_WITHIN = 12  # places; an interpolated value that has more does not end

# Half widths (rectangular) unless said otherwise; each can be set in the register under this name.
SIZES: Sizes = {
    "opened_ph": ("0.005", "memory", "change of an opened bottle, within ±{size} pH"),
    "opened_alkaline_ph": ("0.02", "memory", "an opened alkaline buffer takes up carbon dioxide, ±{size} pH"),
    "gradient_c": ("1", "common practice", "buffer, glass and sensor not yet equal, within ±{size} °C"),
    "creep_mv": ("0.5", "common practice", "rest of the creep of the voltage, within ±{size} mV"),
    "electrode_c": ("0.5", "common practice", "temperature of the electrode itself, within ±{size} °C"),
    "junction_ph": ("0", "memory", "liquid junction in the water against buffers, within ±{size} pH"),
    "grab_junction_ph": ("0.03", "memory", "liquid junctions of the two sensors, within ±{size} pH"),
    "grab_loss_ph": ("0.03", "memory", "carbon dioxide lost or gained before reading, within ±{size} pH"),
}
ALKALINE = Decimal(9)
TEMPERATURE_OF_WATER = (-0.008, 0.004)  # change of pH per °C in drinking water, half width; memory


@dataclass(frozen=True, slots=True)
class TableOf:
    """The table a bottle goes by: its points, the digit it is printed to, and where it comes from."""

    nodes: tuple[tuple[Decimal, Decimal], ...]
    floats: tuple[tuple[float, float], ...]  # the same for the derivative
    digit: Decimal
    source: str
    cause: str
    family: str  # buffers of different families do not fit one line; empty for a bottle's own table


@dataclass(frozen=True, slots=True)
class BufferValue:
    """What a bottle is worth at a temperature, exactly, and the table that says so, if one does."""

    standard: Standard
    exact: Decimal
    table: TableOf | None
    source: str

    @property
    def family(self) -> str:
        return self.table.family if self.table else ""

    @property
    def follows_temperature(self) -> bool:
        return self.table is not None and len(self.table.nodes) > 1


@dataclass(frozen=True)
class Measured:
    """The analyzer in one buffer at one stage."""

    stage: str
    path: str
    id: str
    buffer: BufferValue
    temperature: Reading | None
    reading: Reading
    mv: Reading | None
    control_system: Reading | None
    unsteady: str  # why the readings are no result, empty when they held still
    information: str  # why it is shown without a pass or fail
    error: Decimal  # reading minus buffer, exact

    @property
    def in_line(self) -> bool:
        return not self.unsteady and not self.information


def buffer_value(standard: Standard, temperature: Decimal | None, given: Given) -> BufferValue:
    """Return the value of a bottle at the temperature of the buffer.

    The bottle's own table comes before a published one; nothing is extrapolated. Raises ChooseAnother for
    a standard without a pH value and CorrectTheEntry for a temperature that is missing or outside.
    """
    if standard.unit != "pH" or not (standard.own or standard.table or standard.value is not None):
        raise ChooseAnother(
            f"{standard.id} ({standard.name}) has no pH value in standards_on_hand.toml; name a buffer.",
            found=standard.id,
            expected="a pH buffer",
        )
    if standard.value is not None and not standard.own and not standard.table:
        return BufferValue(standard, standard.value, None, "value entered for the bottle, at any temperature")
    if temperature is None:
        raise CorrectTheEntry(
            f"{standard.id} has its pH by a table of temperature; enter the temperature of the buffer, "
            f"measured in it with the reference thermometer.",
            expected="temperature_c",
        )
    table = _own_table(standard.id, standard.own) if standard.own else _published_table(standard, given)
    low, high = table.nodes[0][0], table.nodes[-1][0]
    if not low <= temperature <= high:
        raise CorrectTheEntry(
            f"{temperature} °C is outside the {table.source}, which goes from {low} to {high} °C; nothing is "
            f"extrapolated.",
            found=str(temperature),
            expected=f"{low} to {high}",
        )
    exact = table.nodes[0][1] if len(table.nodes) == 1 else _ended(interpolate(table.nodes, temperature))
    return BufferValue(standard, exact, table, table.source)


@lru_cache(maxsize=256)
def _own_table(name: str, own: tuple[tuple[Decimal, Decimal], ...]) -> TableOf:
    digit = min(Decimal(1).scaleb(int(value.as_tuple().exponent)) for _, value in own)
    return TableOf(own, _floats(own), digit, f"own table of {name}", f"table:own of {name}", "")


def _published_table(standard: Standard, given: Given) -> TableOf:
    use = given.tables.get(f"{standard.table} {standard.edition}")
    return _published(standard.table, standard.edition, standard.column, use.digest if use else "")


@lru_cache(maxsize=256)
def _published(name: str, edition: str, column: str, digest: str) -> TableOf:
    table = tables.load(name, edition, digest)
    nodes = table.nodes(column)
    where = f"{name} {edition} {column}"
    source = f"table {name}, edition {edition}, column {column}"
    return TableOf(nodes, _floats(nodes), table.columns[column].digit, source, f"table:{where}", name)


def _floats(nodes: tuple[tuple[Decimal, Decimal], ...]) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in nodes)


def _ended(value: Decimal) -> Decimal:
    """An interpolated value between round temperatures ends; one that does not is fixed at six places."""
    return value if -int(value.as_tuple().exponent) < ENDS_WITHIN else round(value, 6)


# ---------------------------------------------------------------- inputs


class PhInputs(Inputs):
    """The inputs of a pH calibration."""

    def __init__(self, settings: Mapping[str, str]) -> None:
        super().__init__(settings, SIZES)

    def buffer(self, value: BufferValue) -> list[str]:
        """Enter what makes the value of a bottle uncertain."""
        standard = value.standard
        bottle = f"bottle:{standard.id} lot {standard.lot}"
        if bottle not in self:
            self[bottle] = _certificate(value)
        alkaline = "opened_alkaline_ph" if value.exact > ALKALINE else "opened_ph"
        causes = [bottle, self.half_width(f"opened:{standard.id}", alkaline)]
        if value.table is not None:
            if value.table.cause not in self:
                self[value.table.cause] = _printed(value.table.digit, value.source)
            causes.append(value.table.cause)
        return causes


@lru_cache(maxsize=1024)
def _printed(digit: Decimal, source: str) -> Input:
    return Input(
        0.0,
        float(digit) / ROOT12,
        "rectangular",
        size_from="resolution",
        source=f"printed to {digit}: {source}",
    )


def _certificate(value: BufferValue) -> Input:
    standard = value.standard
    if standard.expanded is not None:
        k = standard.k if standard.k is not None else Decimal(2)
        named = f", certificate {standard.certificate}" if standard.certificate else ""
        return Input(
            0.0, float(standard.expanded / k), source=f"U {standard.expanded} pH, k {k}, of the bottle{named}"
        )
    return Input(
        0.0, 0.01, size_from="memory", source="U 0.02 pH, k 2, usual for bottles; no certificate entered"
    )
