"""What a turbidity month is judged by, each limit with its source, and what is refused."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from functools import cached_property
from zoneinfo import ZoneInfo

from wqverify.calculations.turbidity_rule import month_after
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.month_sheet import LeftOut, MonthSheet
from wqverify.procedures.rules import refuse_visit
from wqverify.terms import Analyzer, Given, Tolerance

NTU = "NTU"
LARGE = 10_000  # people served from which 40 CFR 141 subpart P holds, below it subpart T
ONCE_A_DAY = 500  # people up to which a State may allow one value a day
MONTHS, EVALUATED = 3, 2  # months in a row until a self-assessment, until an evaluation

PERCENT, LIMIT, HIGHEST = "cfe_percent", "cfe_95", "cfe_max"
PAIR, START, EVALUATION = "ife_pair", "ife_4h", "ife_evaluation"
TOLERANCES = (PERCENT, LIMIT, HIGHEST, PAIR, START, EVALUATION)
PEOPLE = "people_served"


def _rule(source: str, high: str = "", low: str = "", unit: str = NTU) -> Tolerance:
    return Tolerance(
        unit=unit,
        rule="as the method states",
        basis="rule",
        source=source,
        low=Decimal(low) if low else None,
        high=Decimal(high) if high else None,
    )


_OF_FILTERS = {
    PAIR: _rule("40 CFR 141.175(b)(1), 141.563(a)", "1.0"),
    START: _rule("40 CFR 141.175(b)(2)", "0.5"),
    EVALUATION: _rule("40 CFR 141.175(b)(4), 141.563(c)", "2.0"),
}
# By filtration; what the register of an analyzer holds comes first.
SHIPPED: Mapping[str, Mapping[str, Tolerance]] = {
    "conventional or direct": {
        PERCENT: _rule("40 CFR 141.173(a)(1), 141.551(a)(1)", low="95", unit="%"),
        LIMIT: _rule("40 CFR 141.173(a)(1), 141.551(a)(1)", "0.3"),
        HIGHEST: _rule("40 CFR 141.173(a)(2), 141.551(b)(1)", "1"),
        **_OF_FILTERS,
    },
    "slow sand": {
        PERCENT: _rule("40 CFR 141.73(b) (from memory)", low="95", unit="%"),
        LIMIT: _rule("40 CFR 141.73(b) (from memory)", "1"),
        HIGHEST: _rule("40 CFR 141.73(b) (from memory)", "5"),
        **_OF_FILTERS,
    },
    "diatomaceous earth": {
        PERCENT: _rule("40 CFR 141.73(c) (from memory)", low="95", unit="%"),
        LIMIT: _rule("40 CFR 141.73(c) (from memory)", "1"),
        HIGHEST: _rule("40 CFR 141.73(c) (from memory)", "5"),
        **_OF_FILTERS,
    },
    "older rule 0.5 and 5 NTU": {
        PERCENT: _rule("40 CFR 141.73(a)", low="95", unit="%"),
        LIMIT: _rule("40 CFR 141.73(a)", "0.5"),
        HIGHEST: _rule("40 CFR 141.73(a)", "5"),
        **_OF_FILTERS,
    },
    "set by the State": {
        PERCENT: _rule("40 CFR 141.173(b), 141.551(a)(2)", low="95", unit="%"),
        **_OF_FILTERS,
    },
}


def limit_of(name: str, filtration: str, analyzer: Analyzer, given: Given) -> Tolerance | None:
    """Return a limit: of the analyzer's own entry in the register, of the combined effluent's, as shipped."""
    own, combined = analyzer.tolerances.get(name), given.analyzer.tolerances.get(name)
    return own or combined or SHIPPED[filtration].get(name)


def people_served(given: Given) -> int | None:
    """Return how many people are served, None where the register does not say."""
    typed = given.analyzer.settings.get(PEOPLE)
    return int(Decimal(typed)) if typed else None


def is_large(given: Given) -> bool:
    """Whether the rules of 10 000 people and more hold; where the register does not say, they do."""
    people = people_served(given)
    return people is None or people >= LARGE


def analyzer_of(tag: str, given: Given) -> Analyzer:
    """Return the analyzer of a tag the sheet names."""
    return given.analyzer if tag == given.analyzer.tag else given.others[tag]


# ---------------------------------------------------------------- the month


@dataclass(frozen=True)
class Span:
    """The month by the clock of the plant: its name, its first instant, the first instant of the next."""

    name: str
    begins: datetime
    ends: datetime
    zone: ZoneInfo

    @property
    def words(self) -> str:
        """The month in words: March 2026."""
        return f"{self.begins:%B %Y}"

    def clock(self, at: datetime) -> str:
        """Return a moment as the clock of the plant showed it.

        An hour that is there twice is told apart by its offset.
        """
        local = at.astimezone(self.zone)
        twice = local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()
        offset = f" {local.isoformat()[-6:]}" if twice else ""
        return f"{local:%Y-%m-%d %H:%M}{f':{local:%S}' if local.second else ''}{offset}"

    def holds(self, at: datetime) -> bool:
        """Whether a moment lies in it."""
        first, end = self._utc
        return first <= at < end

    @cached_property
    def _utc(self) -> tuple[datetime, datetime]:
        return self.begins.astimezone(UTC), self.ends.astimezone(UTC)


def month_of(given: Given) -> Span:
    """Return the month a case is about; raises CorrectTheEntry where it does not begin with its first day."""
    if "month.begins" not in given.times:
        raise CorrectTheEntry(
            "No month is entered; type the one that is judged, from its first day: 2026-03-01 00:00.",
            expected="2026-03-01 00:00",
            where="month.begins",
        )
    zone = ZoneInfo(given.site.time_zone)
    typed = datetime.fromisoformat(given.times["month.begins"]).astimezone(zone)
    if (typed.day, typed.hour, typed.minute) != (1, 0, 0):
        raise CorrectTheEntry(
            f"The month is to begin at {typed:%Y-%m-%d %H:%M}; a month begins with its first day at 00:00. "
            f"Type {typed:%Y-%m}-01 00:00.",
            found=f"{typed:%Y-%m-%d %H:%M}",
            expected=f"{typed:%Y-%m}-01 00:00",
            where="month.begins",
        )
    after = month_after(f"{typed:%Y-%m}")
    ends = datetime(int(after[:4]), int(after[5:]), 1, tzinfo=zone)
    return Span(f"{typed:%Y-%m}", typed, ends, zone)


# ---------------------------------------------------------------- refused


def refuse(sheet: MonthSheet, given: Given) -> None:
    """Raise CorrectTheEntry or ChooseAnother for what cannot be taken as typed."""
    refuse_visit(sheet, given)
    if "month.begins" not in given.times:
        return
    month = month_of(given)
    _refuse_early(month, given)
    _refuse_unit(given.analyzer, "tag")
    for index, one in enumerate(sheet.filter):
        if one.tag in given.others:
            _refuse_unit(given.others[one.tag], f"filter.{index}.tag")
        _refuse_times(f"filter.{index}.left_out", one.left_out, month, given)
    _refuse_times("combined.left_out", sheet.combined.left_out, month, given)
    for index, grab in enumerate(sheet.combined.grabs):
        _refuse_outside(f"combined.grabs.{index}.at", month, given)
        if grab.lab.value < 0:
            raise CorrectTheEntry(
                f"The grab reads {grab.result}, and no turbidity lies below 0; type what the slip says.",
                found=grab.result,
                expected="0 or more",
                where=f"combined.grabs.{index}.result",
            )
    if sheet.rules.filters_by == "the combined effluent" and is_large(given):
        people = people_served(given)
        known = f"{people} people are served" if people else "the register does not say how many are served"
        raise CorrectTheEntry(
            f"The combined effluent may stand for the filters only below {LARGE} people (40 CFR 141.562), "
            f"and {known}. Enter the filters, or the people served in the settings of {given.analyzer.tag}.",
            found=str(people or "not known"),
            expected=f"below {LARGE}",
            where="rules.filters_by",
        )
    for analyzer in (given.analyzer, *given.others.values()):
        _refuse_odd_limits(analyzer)
    if sheet.rules.filtration == "set by the State":
        _refuse_without_limits(given)


def _refuse_early(month: Span, given: Given) -> None:
    started = datetime.fromisoformat(given.times["started"])
    if started < month.ends:
        raise CorrectTheEntry(
            f"{month.words} was not over when the work started ({month.clock(started)}); a month is judged "
            f"when it is over: type an earlier month, or start after {month.clock(month.ends)}.",
            found=month.clock(started),
            expected=f"not before {month.clock(month.ends)}",
            where="month.begins",
        )


def _refuse_unit(analyzer: Analyzer, where: str) -> None:
    if analyzer.unit != NTU:
        raise ChooseAnother(
            f"{analyzer.tag} measures {analyzer.measures} in {analyzer.unit}; the rules of a month speak of "
            f"turbidity in {NTU}. Name the analyzer of the filter effluent.",
            found=analyzer.unit,
            expected=NTU,
            where=where,
        )


def _refuse_times(path: str, rows: tuple[LeftOut, ...], month: Span, given: Given) -> None:
    for index, row in enumerate(rows):
        here = f"{path}.{index}"
        if f"{here}.since" not in given.times or f"{here}.until" not in given.times:
            continue
        since, until = (datetime.fromisoformat(given.times[f"{here}.{end}"]) for end in ("since", "until"))
        if until <= since:
            raise CorrectTheEntry(
                f"The time left out ends at {month.clock(until)}, not after it began ({month.clock(since)}); "
                f"correct one of them.",
                found=row.until,
                expected=f"after {row.since}",
                where=f"{here}.until",
            )
        if since >= month.ends or until <= month.begins:
            raise CorrectTheEntry(
                f"The time left out, {month.clock(since)} to {month.clock(until)}, lies outside "
                f"{month.words}; correct its date, or delete it.",
                found=row.since,
                expected=month.name,
                where=f"{here}.since",
            )


def _refuse_outside(path: str, month: Span, given: Given) -> None:
    typed = given.times.get(path)
    if typed is not None and not month.holds(datetime.fromisoformat(typed)):
        shown = month.clock(datetime.fromisoformat(typed))
        raise CorrectTheEntry(
            f"The grab of {shown} was not taken in {month.words}; correct its date, or delete it.",
            found=shown,
            expected=month.name,
            where=path,
        )


def _refuse_odd_limits(analyzer: Analyzer) -> None:
    for name in TOLERANCES:
        held = analyzer.tolerances.get(name)
        end, unit = ("low", "%") if name == PERCENT else ("high", NTU)
        if held is not None and (getattr(held, end) is None or held.unit != unit):
            raise CorrectTheEntry(
                f"The tolerance {name} of {analyzer.tag} is in {held.unit} and has "
                f"{'no' if getattr(held, end) is None else 'a'} {end} limit; a month takes its {end} limit "
                f"in {unit}. Correct it in analyzers.toml.",
                found=held.unit,
                expected=f"{end} in {unit}",
                where="analyzers.toml",
            )


def _refuse_without_limits(given: Given) -> None:
    lacking = [name for name in (LIMIT, HIGHEST) if name not in given.analyzer.tolerances]
    if lacking:
        raise CorrectTheEntry(
            f"The limits are set by the State, and the register of {given.analyzer.tag} does not hold "
            f"{' and '.join(lacking)}; enter what the State wrote as tolerances of that name in "
            f"analyzers.toml, with its letter as source.",
            found="no limit",
            expected=" and ".join(lacking),
            where="rules.filtration",
        )
