"""The limits that recorded values decide by: of the register, of a rule, as typed; with its source."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from wqverify.calculations.recorded_limits import Direction
from wqverify.procedures.doubt_sheet import Used, UsedFor
from wqverify.terms import Basis, Given, Tolerance

PERCENT = Decimal(95)
HOURS = Decimal(4)


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit in the unit of the analyzer, on which side it counts, and where it is from."""

    size: Decimal
    direction: Direction
    basis: Basis
    source: str


_SURFACE = "40 CFR 141.173(a)(1), 141.551(a)"
# (name in the register, unit, limit): what a rule has where the register has nothing.
SHIPPED: dict[UsedFor, tuple[str, str, Limit]] = {
    "95 % of the values": ("cfe_95", "NTU", Limit(Decimal("0.3"), "above", "rule", _SURFACE)),
    "never above": (
        "cfe_max",
        "NTU",
        Limit(Decimal(1), "above", "rule", "40 CFR 141.173(a)(2), 141.551(b)"),
    ),
    "two in a row": (
        "ife_pair",
        "NTU",
        Limit(Decimal("1.0"), "above", "rule", "40 CFR 141.175(b)(1), 141.563(a)"),
    ),
    "two in a row after 4 h": (
        "ife_4h",
        "NTU",
        Limit(Decimal("0.5"), "above", "rule", "40 CFR 141.175(b)(2)"),
    ),
    "lowest of the day": (
        "residual_low",
        "mg/L",
        Limit(Decimal("0.2"), "below", "rule", "40 CFR 141.74(c)(2), 141.72(b)(2)"),
    ),
    "too low for 4 h": (
        "residual_low",
        "mg/L",
        Limit(Decimal("0.2"), "below", "rule", "40 CFR 141.72(a)(3), (b)(2)"),
    ),
}
_NAMES: dict[Direction, str] = {"above": "alarm_high", "below": "alarm_low"}
TOLERANCES = ("cfe_95", "cfe_max", "ife_pair", "ife_4h", "residual_low", *_NAMES.values())


def limit_of(used: Used, given: Given) -> Limit | None:
    """Return the limit a use goes by, None where neither sheet nor register nor rule has one for its unit."""
    if used.limit is None:
        return known_limit(used.what, used.direction, given)
    shipped = SHIPPED.get(used.what)
    direction = used.direction or (shipped[2].direction if shipped else "above")
    return Limit(used.limit.value, direction, "local", used.source or "as typed on the sheet")


def known_limit(what: UsedFor, direction: Direction | None, given: Given) -> Limit | None:
    """Return the limit of a decision where the sheet types none: of the register, else of the rule."""
    name, unit, shipped = SHIPPED.get(what, ("", "", None))
    direction = direction or (shipped.direction if shipped else "above")
    held = given.analyzer.tolerances.get(name or _NAMES[direction])
    if held is not None and held.unit == given.analyzer.unit:
        size = held.high if direction == "above" else held.low
        return None if size is None else Limit(size, direction, held.basis, held.source)
    return shipped if shipped is not None and unit == given.analyzer.unit else None


def judged_by(used: Used, limit: Limit, unit: str, guarded: bool) -> Tolerance:
    """Return the bounds of the quantity a use is judged by.

    What was recorded is compared as the rule has it; what is corrected is no surer than its error, so U of
    the error guards the limit.
    """
    plain = Tolerance(unit, "guarded" if guarded else "as the method states", limit.basis, limit.source)
    if used.what == "95 % of the values":
        return replace(plain, unit="%", low=PERCENT)
    if used.what in ("two in a row", "two in a row after 4 h"):
        return replace(plain, unit="pairs", high=Decimal(0))
    if used.what == "too low for 4 h":
        return replace(plain, unit="h", high=HOURS)
    side = "high" if limit.direction == "above" else "low"
    return replace(plain, **{side: limit.size})  # type: ignore[arg-type]


def why_no_limit(used: Used, given: Given) -> str:
    """Return why there is no limit, for a check that cannot be judged."""
    return (
        f"no limit for {used.what!r} in {given.analyzer.unit} is typed, nor in the register; none is shipped "
        f"for this unit"
    )
