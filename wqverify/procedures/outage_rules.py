"""What an outage is judged by: figures of the rules with their sources, and settings of the plant."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from wqverify.procedures.grab_sizes import CHLORINE, TURBIDITY, measurand_of
from wqverify.procedures.outage_sheet import OutageSheet
from wqverify.procedures.parts import NotDone
from wqverify.terms import Basis, Given, Setting, Tolerance

BY_PEOPLE = "a number a day, by people served"
WORKING_DAYS, DAYS = "outage_working_days", "outage_days"
NOT_ADVICE = "a setting of the plant, not legal advice"
SETTINGS = {
    WORKING_DAYS: Setting("1", "60", whole=True),
    DAYS: Setting("1", "90", whole=True),
    "people_served": Setting("1", "9999999", whole=True),
    "entry_point": Setting("0", "1", whole=True),  # 0: its chlorine is not that of the entry point
    "residual_limit": Setting("0.01", "10"),  # mg/L
    "turbidity_consult": Setting("0.01", "1000"),  # NTU: above it the State is consulted
    "turbidity_notice": Setting("0.01", "1000"),  # NTU: above it the State is told, of a combined effluent
    "combined_effluent": Setting(
        "0", "1", whole=True
    ),  # 0: of a single filter, so that no such notice is due
    "outage_notice_days": Setting("1", "60", whole=True),  # business days, where the State wants to know
    "approved_protocol": Setting("0", "1", whole=True),  # 1: the State approved one for the chlorine monitor
    "grab_calibration_days": Setting("1", "31", whole=True),
}
GRABS, LOW = "outage_grab", "low_residual"  # tolerances of the register, in min
TOLERANCES = (GRABS, LOW)
CONSULT_MIN = 24 * 60
CALIBRATION_DAYS = 5
_FOUR_HOURS = Decimal(240)
_RESIDUAL, _RESIDUAL_SOURCE = "0.2", "40 CFR 141.72(a)(3) and (b)(2)"
_GROUND_SOURCE = "40 CFR 141.404(c) (from memory)"
_CONSULT, CONSULT_SOURCE = "5", "40 CFR 141.75(b)(3)(ii)"
LOW_NOTICE_SOURCE = "40 CFR 141.75(b)(3)(iii)"
GROUND_NOTICE_SOURCE = "40 CFR 141.405(a)(2) (from memory)"
PEOPLE_SOURCE = "40 CFR 141.74(c)(2), table by people served"
_NOTICE, _NOTICE_SOURCE = "1", "40 CFR 141.175(c), above 1 NTU"
_GRABS_SOURCE = {
    ("chlorine", WORKING_DAYS): "40 CFR 141.74(c)(2)",
    ("chlorine", DAYS): "40 CFR 141.403(b)(3)(i)(A)",
    ("turbidity", WORKING_DAYS): "40 CFR 141.174(b)",
    ("turbidity", DAYS): "40 CFR 141.561",
}
_OF_THE_RULE = {
    ("chlorine", WORKING_DAYS, 5): "surface water",
    ("chlorine", DAYS, 14): "ground water, more than 3 300 people",
    ("turbidity", WORKING_DAYS, 5): "10 000 people and more",
    ("turbidity", DAYS, 14): "fewer than 10 000 people",
}


# ---------------------------------------------------------------- figures with their sources


@dataclass(frozen=True, slots=True)
class RepairTime:
    """Within how many days a failed monitor must be back, and where that is from."""

    count: int
    working: bool
    source: str
    basis: Basis

    @property
    def words(self) -> str:
        return f"{self.count} {'working days' if self.working else 'days'}"


def repair_time(given: Given) -> RepairTime | None:
    """Return the repair time of the register, None where it holds none; two are refused before."""
    settings, what = given.analyzer.settings, measurand_of(given.analyzer).name
    name = next((one for one in (WORKING_DAYS, DAYS) if one in settings), "")
    if not name:
        return None
    count = int(settings[name])
    whom = _OF_THE_RULE.get((what, name, count))
    if whom is None:
        return RepairTime(count, name == WORKING_DAYS, "the plant's register", "local")
    return RepairTime(count, name == WORKING_DAYS, f"{_GRABS_SOURCE[what, name]}, {whom}", "rule")


def no_repair_time(given: Given) -> str:
    """Say which setting is missing, and what it may be."""
    figures = {
        "chlorine": "5 working days by 40 CFR 141.74(c)(2), 14 days by 141.403(b)(3)(i)(A)",
        "turbidity": "5 working days by 40 CFR 141.174(b), 14 days by 141.561",
    }.get(measurand_of(given.analyzer).name, "no federal figure is known here")
    return (
        f"the register does not say within how many days {given.analyzer.tag} must be back: enter the "
        "setting "
        f'"outage working days" or "outage days", with underscores, for it ({figures}; the State may ask for '
        f"less)"
    )


def grabs_tolerance(given: Given) -> Tolerance:
    """Return how long no grab may be taken, min: the register's, or four hours."""
    held = given.analyzer.tolerances.get(GRABS)
    if held is not None:
        return held
    what = measurand_of(given.analyzer).name
    names = [one for one in (WORKING_DAYS, DAYS) if one in given.analyzer.settings] or [WORKING_DAYS, DAYS]
    sources = [_GRABS_SOURCE[what, name] for name in names if (what, name) in _GRABS_SOURCE]
    if sources:
        return _most(_FOUR_HOURS, "min", "rule", f"{' and '.join(sources)}, grab every 4 h")
    return _most(_FOUR_HOURS, "min", "common practice", "every 4 h, common practice, no source")


def low_tolerance(given: Given) -> Tolerance:
    """Return how long a residual may stay below its limit, min: the register's, or four hours."""
    held = given.analyzer.tolerances.get(LOW)
    source = _GROUND_SOURCE if is_ground_water(given) else _RESIDUAL_SOURCE
    return held or _most(_FOUR_HOURS, "min", "rule", f"{source}, not below it for more than 4 h")


def most_days(days: int, repair: RepairTime) -> Tolerance:
    """Return how many days after the failure it may be back, as days of the calendar."""
    return _most(Decimal(days), "d", repair.basis, f"{repair.source}, {repair.words}")


def _most(high: Decimal, unit: str, basis: Basis, source: str) -> Tolerance:
    return Tolerance(unit=unit, rule="simple", basis=basis, source=source, high=high)


def at_most(high: int, unit: str, source: str, basis: Basis = "rule") -> Tolerance:
    """Return a limit of days or minutes, or of a count, with its source."""
    return _most(Decimal(high), unit, basis, source)


def at_least(low: int, unit: str, source: str) -> Tolerance:
    """Return a count that must be reached, with its source."""
    return Tolerance(unit=unit, rule="simple", basis="rule", source=source, low=Decimal(low))


@dataclass(frozen=True, slots=True)
class Limit:
    """A value of the water beyond which somebody is told, and where it is from."""

    value: Decimal
    source: str


def keeps_residual(given: Given) -> bool:
    """Whether a residual has to be kept where the analyzer is: chlorine at an entry point."""
    return is_chlorine(given) and given.analyzer.settings.get("entry_point") != "0"


def is_ground_water(given: Given) -> bool:
    """Whether the register names the repair time of ground-water chlorine."""
    return is_chlorine(given) and DAYS in given.analyzer.settings


def residual_limit(given: Given) -> Limit | None:
    """Return below which residual the State is told, None where none is known.

    For surface water it is a figure of the rule; for ground water the State sets it.
    """
    if not keeps_residual(given):
        return None
    if is_ground_water(given):
        set_ = given.analyzer.settings.get("residual_limit")
        return Limit(Decimal(set_), "set by the State, the plant's register") if set_ is not None else None
    return Limit(*_figure(given, "residual_limit", _RESIDUAL, _RESIDUAL_SOURCE))


def consult_limit(given: Given) -> Limit | None:
    """Return above which turbidity the State is consulted within 24 h; None as for the notice."""
    if measurand_of(given.analyzer) is not TURBIDITY or _of_a_filter("turbidity_consult", given):
        return None
    return Limit(*_figure(given, "turbidity_consult", _CONSULT, CONSULT_SOURCE))


def notice_limit(given: Given) -> Limit | None:
    """Return above which turbidity the State is told; None where the register says it is a single filter."""
    if measurand_of(given.analyzer) is not TURBIDITY or _of_a_filter("turbidity_notice", given):
        return None
    return Limit(*_figure(given, "turbidity_notice", _NOTICE, _NOTICE_SOURCE))


def _of_a_filter(name: str, given: Given) -> bool:
    """Whether it is that of a single filter, for which the register sets no figure of its own."""
    settings = given.analyzer.settings
    return settings.get("combined_effluent") == "0" and name not in settings


def whose_effluent(given: Given) -> str:
    """Say what to enter where the register leaves open whether it is a combined effluent; empty where not."""
    if {"combined_effluent", "turbidity_notice"} & set(given.analyzer.settings):
        return ""
    return (
        f"the register does not say whether {given.analyzer.tag} is that of a combined effluent: enter the "
        'setting "combined effluent", with an underscore, 1 or 0'
    )


def notice_days(given: Given) -> tuple[int, str] | None:
    """Return within how many business days the State wants to know of an outage, None where it does not."""
    set_ = given.analyzer.settings.get("outage_notice_days")
    return (int(set_), f"the plant's register, {set_} business days") if set_ is not None else None


def counts_calibration(given: Given) -> bool:
    """Whether the clock of five days runs: for chlorine, unless the State approved a protocol."""
    return is_chlorine(given) and given.analyzer.settings.get("approved_protocol") != "1"


def calibration_days(given: Given) -> tuple[int, str]:
    """Return every how many days a chlorine monitor is calibrated with a grab, and where that is from."""
    days = int(given.analyzer.settings.get("grab_calibration_days", CALIBRATION_DAYS))
    rule = f"40 CFR 141.74(a)(2), at least every {CALIBRATION_DAYS} days without an approved protocol"
    return days, rule if days == CALIBRATION_DAYS else "the plant's register"


def _figure(given: Given, name: str, figure: str, source: str) -> tuple[Decimal, str]:
    set_ = Decimal(given.analyzer.settings.get(name, figure))
    return set_, source if set_ == Decimal(figure) else "the plant's register"


def is_chlorine(given: Given) -> bool:
    return measurand_of(given.analyzer) is CHLORINE


def people_served(given: Given) -> int | None:
    """Return how many people are served, None where the register does not say."""
    typed = given.analyzer.settings.get("people_served")
    return int(typed) if typed is not None else None


def by_people(sheet: OutageSheet) -> bool:
    """Whether grabs are taken a number a day, as a small system may."""
    return sheet.schedule == BY_PEOPLE


def instant(iso: str) -> datetime:
    return datetime.fromisoformat(iso)


def clock(iso: str) -> str:
    """Return a moment as it is read: day and clock."""
    return iso[:16].replace("T", " ")


def not_back(sheet: OutageSheet) -> str:
    """Return why it is not back, empty where it is or nothing is said."""
    return sheet.returned.not_done if isinstance(sheet.returned, NotDone) else ""
