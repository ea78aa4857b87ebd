"""What a conductivity standard is worth at its temperature, and what a compensated display should show in
it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Any

from wqverify import tables
from wqverify.calculations import conductivity
from wqverify.calculations.conductivity import IN_US_CM, REFERENCE_C, converted
from wqverify.calculations.interpolation import interpolate
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.conductivity_sheet import Adjusted, Compensation, ConductivitySheet
from wqverify.procedures.workings import plain
from wqverify.terms import Given, Standard

FACTORS = ("conductivity_f25", "ISO 7888:1985")
COLUMN = "f25"
# A bottle that states one value at 25 °C and no table: change per °C of salt solutions, and how far from 25
# °C that is trusted. From memory; standards of the trade lie between 1.7 and 2.2 % per °C.
SALT_PER_C, ALONE_WITHIN_C = Decimal("0.02"), Decimal(5)

Nodes = tuple[tuple[Decimal, Decimal], ...]
Floats = tuple[tuple[float, float], ...]


# ---------------------------------------------------------------- compensation


@dataclass(frozen=True, slots=True)
class Set:
    """The compensation a transmitter works with: method, coefficient per °C, reference temperature."""

    method: str  # "linear", "ISO 7888", "none"
    a: Decimal
    reference: Decimal
    source: str  # "menu", "register"
    factors: Nodes = ()

    @property
    def at_reference(self) -> Decimal:
        """The factor of ISO 7888 at the reference temperature."""
        found: Decimal = interpolate(self.factors, self.reference)
        return found

    @property
    def words(self) -> str:
        to = f" to {self.reference.normalize():f} °C"
        if self.method == "linear":
            return f"linear, {plain(self.a * 100)} %/°C{to}"
        return "no compensation" if self.method == "none" else f"ISO 7888{to}"

    def why_not(self, temperature: Decimal) -> str:
        """Why nothing is known of a display with it at a temperature; empty where it is."""
        if self.method != "ISO 7888":
            return ""
        low, high = self.factors[0][0], self.factors[-1][0]
        if low <= temperature <= high:
            return ""
        return f"ISO 7888 states its factors for {low} to {high} °C, and the standard was at {temperature} °C"

    def shown(self, kappa: Any, temperature: Any) -> Any:
        """Return what is displayed of a conductivity at a temperature: Decimals, floats or dual numbers."""
        exact = isinstance(temperature, Decimal)
        if self.method == "none":
            return kappa
        if self.method == "ISO 7888":
            at = self.at_reference if exact else float(self.at_reference)
            return conductivity.by_factor(kappa, temperature, self.factors, at)
        a, reference = (self.a, self.reference) if exact else (float(self.a), float(self.reference))
        return conductivity.linear(kappa, temperature, a, reference)


def compensation(stage: str, sheet: ConductivitySheet, given: Given) -> Set | None:
    """Return the compensation set at a stage: by the menu, else by the register, None for neither."""
    typed = sheet.compensation if isinstance(sheet.compensation, Compensation) else None
    found = _typed(typed, given) if typed is not None else registered(given)
    changed = sheet.adjusted if isinstance(sheet.adjusted, Adjusted) else None
    if stage == "as_left" and changed is not None and changed.compensation_to is not None:
        a = changed.coefficient_to.value / 100 if changed.coefficient_to is not None else Decimal(0)
        reference = found.reference if found is not None else REFERENCE_C
        return _set(changed.compensation_to, a, reference, "menu", given)
    return found


def _typed(typed: Compensation, given: Given) -> Set:
    a = typed.coefficient.value / 100 if typed.coefficient is not None else Decimal(0)
    reference = typed.reference_c.value if typed.reference_c is not None else REFERENCE_C
    return _set(typed.method, a, reference, "menu", given)


def registered(given: Given) -> Set | None:
    """Return the compensation the register holds for this analyzer."""
    held = given.analyzer.settings
    reference = Decimal(held.get("reference_c", str(REFERENCE_C)))
    if held.get("iso_7888") == "1":
        return _set("ISO 7888", Decimal(0), reference, "register", given)
    percent = held.get("coefficient_percent")
    if percent is None:
        return None
    a = Decimal(percent) / 100
    return _set("linear" if a else "none", a, reference, "register", given)


def _set(method: str, a: Decimal, reference: Decimal, source: str, given: Given) -> Set:
    return Set(method, a, reference, source, factors(given) if method == "ISO 7888" else ())


def factors(given: Given) -> Nodes:
    """Return the factors of ISO 7888 that a case was computed with."""
    use = given.tables.get(" ".join(FACTORS))
    return tables.load(*FACTORS, use.digest if use else "").nodes(COLUMN)


# ---------------------------------------------------------------- standards


@dataclass(frozen=True, slots=True)
class Worth:
    """What a bottle is worth at a temperature, in the analyzer's unit, and how that follows temperature."""

    standard: Standard
    exact: Decimal
    source: str
    table: str = ""  # its cause, empty for a bottle with one value
    nodes: Floats = ()
    per_c: Decimal | None = None  # assumed change per °C of a bottle with one value
    nominal: Decimal = Decimal(0)  # at 25 °C where that is known
    stated_c: Decimal = REFERENCE_C  # the temperature at which a bottle with one value has it

    def at(self, temperature: Any, per_c: Any) -> Any:
        """Return its conductivity at a temperature near that of the visit: floats or dual numbers."""
        if self.nodes:
            return interpolate(self.nodes, temperature)
        return float(self.nominal) * (1 + per_c * (temperature - float(self.stated_c)))


def worth(standard: Standard, temperature: Decimal, given: Given) -> Worth:
    """Return the conductivity of a bottle at the temperature of the standard, in the analyzer's unit.

    Its own table comes before a published one; nothing is extrapolated. One value without a table counts as
    that at 25 °C, changed by what salt solutions change. Raises ChooseAnother for a standard that has no
    conductivity, and CorrectTheEntry for a temperature outside its table.
    """
    unit = given.analyzer.unit
    if standard.unit not in IN_US_CM or not (standard.own or standard.table or standard.value is not None):
        raise ChooseAnother(
            f"{standard.id} ({standard.name}) has no conductivity in standards_on_hand.toml; name a "
            f"conductivity standard.",
            found=standard.id,
            expected="a conductivity standard",
        )
    if standard.value is not None and not standard.own and not standard.table:
        value = converted(standard.value, standard.unit, unit)
        exact = value * (1 + SALT_PER_C * (temperature - REFERENCE_C))
        source = "one value at 25 °C, no table of temperature"
        return Worth(standard, exact, source, per_c=SALT_PER_C, nominal=value)
    nodes, source, cause = _nodes(standard, given)
    low, high = nodes[0][0], nodes[-1][0]
    if not low <= temperature <= high:
        raise CorrectTheEntry(
            f"{temperature} °C is outside the {source}, which goes from {low} to {high} °C; nothing is "
            f"extrapolated. Bring the standard to between them and read again.",
            found=str(temperature),
            expected=f"{low} to {high}",
        )
    rows = tuple((t, converted(value, standard.unit, unit)) for t, value in nodes)
    exact = rows[0][1] if len(rows) == 1 else interpolate(rows, temperature)
    if len(rows) == 1:
        return Worth(standard, exact, source, per_c=SALT_PER_C, nominal=exact, stated_c=rows[0][0])
    floats = tuple((float(t), float(value)) for t, value in rows)
    nominal = interpolate(rows, REFERENCE_C) if low <= REFERENCE_C <= high else exact
    return Worth(standard, exact, source, cause, floats, nominal=nominal)


def _nodes(standard: Standard, given: Given) -> tuple[Nodes, str, str]:
    if standard.own:
        return standard.own, f"own table of {standard.id}", f"table:own of {standard.id}"
    use = given.tables.get(f"{standard.table} {standard.edition}")
    digest = use.digest if use else ""
    nodes = _published(standard.table, standard.edition, standard.column, digest)
    where = f"{standard.table}, edition {standard.edition}, column {standard.column}"
    return nodes, f"table {where}", f"table:{where}"


@lru_cache(maxsize=64)
def _published(name: str, edition: str, column: str, digest: str) -> Nodes:
    return tables.load(name, edition, digest).nodes(column)


def why_alone(found: Worth, temperature: Decimal) -> str:
    """Why a bottle with one value says nothing at a temperature; empty where it does."""
    if found.per_c is None or abs(temperature - found.stated_c) <= ALONE_WITHIN_C:
        return ""
    return (
        f"{found.standard.id} states one value at 25 °C and no table, and was at {temperature} °C: more than "
        f"{ALONE_WITHIN_C} °C away nothing is known of it"
    )


def settings_differ(sheet: ConductivitySheet, given: Given) -> str:
    """Say where the menu has another compensation than the register; empty where they agree."""
    typed = sheet.compensation if isinstance(sheet.compensation, Compensation) else None
    held = registered(given)
    if typed is None or held is None:
        return ""
    menu = _typed(typed, given)
    if (menu.method, menu.a, menu.reference) == (held.method, held.a, held.reference):
        return ""
    return f"The menu of {given.analyzer.tag} has {menu.words}; the register has {held.words}."
