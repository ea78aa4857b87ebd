"""What an outage is judged by: figures of the rules with their sources, settings, and what is refused."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from wqverify.calculations.outage import SMALL_SYSTEM
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.grab_compare import other_unit
from wqverify.procedures.grab_sizes import CHLORINE, TURBIDITY, measurand_of
from wqverify.procedures.outage_sheet import Failed, OutageSheet, Returned
from wqverify.procedures.parts import NotDone
from wqverify.procedures.rules import refuse_visit
from wqverify.procedures.tail import OUT_OF_SERVICE
from wqverify.terms import Basis, Cited, Given, Setting, Tolerance

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
_CONSULT = "5"
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
    """Return above which turbidity the State is consulted within 24 h."""
    if measurand_of(given.analyzer) is not TURBIDITY:
        return None
    return Limit(*_figure(given, "turbidity_consult", _CONSULT, "40 CFR 141.75(b)(3)(ii)"))


def notice_limit(given: Given) -> Limit | None:
    """Return above which turbidity of a combined effluent the State is told; None where none is set."""
    set_ = given.analyzer.settings.get("turbidity_notice")
    if measurand_of(given.analyzer) is not TURBIDITY or set_ is None:
        return None
    rule = "40 CFR 141.175(c), above 1 NTU"
    return Limit(Decimal(set_), rule if Decimal(set_) == 1 else "the plant's register")


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


# ---------------------------------------------------------------- refused


def refuse(sheet: OutageSheet, given: Given) -> None:
    """Raise CorrectTheEntry or ChooseAnother where the sheet cannot be computed as it stands."""
    refuse_visit(sheet, given)
    _refuse_two_times(given)
    _refuse_schedule(sheet, given)
    _refuse_opening(sheet, given)
    for path, earlier, words in _ordered(sheet):
        _refuse_before(path, earlier, words, given)
    _refuse_units(sheet, given)
    _refuse_return(sheet, given)


def _refuse_two_times(given: Given) -> None:
    if WORKING_DAYS in given.analyzer.settings and DAYS in given.analyzer.settings:
        raise CorrectTheEntry(
            f"{given.analyzer.tag} has both {WORKING_DAYS} and {DAYS} in analyzers.toml, and one repair time "
            f"holds: keep {WORKING_DAYS} (5 for surface-water chlorine and for turbidity with 10 000 people "
            f"and more) or {DAYS} (14 for turbidity of smaller systems and for ground-water chlorine).",
            found=f"{WORKING_DAYS} and {DAYS}",
            expected="one of them",
            where="tag",
        )


def _refuse_schedule(sheet: OutageSheet, given: Given) -> None:
    people = people_served(given)
    if not by_people(sheet):
        return
    if not is_chlorine(given):
        why = f"holds for chlorine alone, and {given.analyzer.tag} measures {given.analyzer.measures}"
    elif people is None:
        why = f"needs the setting people_served of {given.analyzer.tag} in analyzers.toml"
    elif is_ground_water(given):
        why = (
            f"is that of surface water, and {DAYS} of {given.analyzer.tag} is the repair time of ground water"
        )
    elif people > SMALL_SYSTEM:
        why = f"holds up to {SMALL_SYSTEM} people served, and the register says {people}"
    else:
        return
    raise CorrectTheEntry(
        f"schedule: a number of grabs a day {why} (40 CFR 141.74(c)(2)). Take it out: grabs are then due "
        "every "
        f"4 hours.",
        found=BY_PEOPLE,
        where="schedule",
    )


def _refuse_opening(sheet: OutageSheet, given: Given) -> None:
    number = sheet.failed.record if isinstance(sheet.failed, Failed) else None
    known = given.records.get(number or "")
    if known is not None and known.tag != given.analyzer.tag:
        raise _another("failed.record", known, given, "name a record of this analyzer, or leave it out")


def _another(path: str, known: Cited, given: Given, way: str) -> ChooseAnother:
    return ChooseAnother(
        f"{path}: record {known.number} is of {known.tag}, and this sheet is of {given.analyzer.tag}; {way}.",
        found=known.tag,
        expected=given.analyzer.tag,
        where=path,
    )


def _ordered(sheet: OutageSheet) -> Iterator[tuple[str, str, str]]:
    """Give the times that may not lie before another one: path, path of the earlier, both in words."""
    start = "failed.at"
    yield "failed.found_at", start, "It was found at {}, before it failed at {}"
    for n in range(len(sheet.grab)):
        here = f"grab.{n}"
        yield f"{here}.collected", start, f"Grab {n + 1} was collected at {{}}, before the failure at {{}}"
        words = f"Grab {n + 1} was analysed at {{}}, before it was collected at {{}}"
        yield f"{here}.analysed", f"{here}.collected", words
    for n in range(len(sheet.standstill)):
        here = f"standstill.{n}"
        words = f"Standstill {n + 1} ended at {{}}, before it began at {{}}"
        yield f"{here}.until", f"{here}.since", words
    for n in range(len(sheet.notice)):
        words = f"Notice {n + 1} was given at {{}}, before the failure at {{}}"
        yield f"notice.{n}.at", start, words
    yield "returned.at", start, "It was back in service at {}, before it failed at {}"


def _refuse_before(path: str, earlier: str, words: str, given: Given) -> None:
    here, there = given.times.get(path), given.times.get(earlier)
    if here and there and instant(here) < instant(there):
        raise CorrectTheEntry(
            f"{words.format(clock(here), clock(there))}; correct one of them, and give the date too where it "
            f"is that of another day.",
            found=here,
            expected=f"not before {there}",
            where=path,
        )


def _refuse_units(sheet: OutageSheet, given: Given) -> None:
    for n, grab in enumerate(sheet.grab):
        if wrong := other_unit(grab.lab, given):
            raise CorrectTheEntry(
                f"Grab {n + 1}: {wrong}.",
                found=grab.result,
                expected=given.analyzer.unit,
                where=f"grab.{n}.result",
            )
        if grab.lab.value < 0:
            raise CorrectTheEntry(
                f"Grab {n + 1}: its result is {grab.result}, and neither a residual nor a turbidity lies "
                f"below 0; type what the slip says.",
                found=grab.result,
                expected="0 or more",
                where=f"grab.{n}.result",
            )


def _refuse_return(sheet: OutageSheet, given: Given) -> None:
    if not isinstance(sheet.returned, Returned):
        return
    path = "returned.record"
    known = given.records.get(sheet.returned.record)
    if known is None:
        return
    if known.tag != given.analyzer.tag:
        raise _another(path, known, given, "name the check that returned this one to service")
    if known.ended:
        raise ChooseAnother(
            f"{path}: record {known.number} is {known.ended}; name the one that stands in its place.",
            found=known.ended,
            where=path,
        )
    if known.status == OUT_OF_SERVICE:
        raise ChooseAnother(
            f"{path}: record {known.number} left {known.tag} out of service; name the check that returned "
            "it, "
            f'or say returned.not_done = "because ..." while it is out.',
            found=known.status,
            where=path,
        )
    _refuse_check_before(path, known, given)


def _refuse_check_before(path: str, known: Cited, given: Given) -> None:
    failed, back = given.times.get("failed.at"), given.times.get("returned.at")
    ended = worked_until(known)
    if failed and instant(ended) <= instant(failed):
        raise ChooseAnother(
            f"{path}: the work of record {known.number} ended at {clock(ended)}, and it failed at "
            f"{clock(failed)}; a check before the failure returns nothing to service.",
            found=ended,
            expected=f"after {failed}",
            where=path,
        )
    if back and instant(back) < instant(known.performed):
        raise CorrectTheEntry(
            f"It was back in service at {clock(back)}, before the check of record {known.number} began at "
            f"{clock(known.performed)}; correct the time, or name another check.",
            found=back,
            expected=f"not before {known.performed}",
            where="returned.at",
        )


def worked_until(known: Cited) -> str:
    """Return when the work of a record ended, its beginning where that is not known."""
    return next((one.end for one in known.windows if one.what == "visit" and one.end), known.performed)


def instant(iso: str) -> datetime:
    return datetime.fromisoformat(iso)


def clock(iso: str) -> str:
    """Return a moment as it is read: day and clock."""
    return iso[:16].replace("T", " ")


def not_back(sheet: OutageSheet) -> str:
    """Return why it is not back, empty where it is or nothing is said."""
    return sheet.returned.not_done if isinstance(sheet.returned, NotDone) else ""
