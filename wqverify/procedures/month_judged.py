"""A turbidity month as it is judged, as recorded and as corrected: values, pairs, months in a row."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cached_property

from wqverify.calculations.judgement import judge, not_evaluated
from wqverify.calculations.turbidity_pairs import months_in_a_row
from wqverify.calculations.turbidity_rule import (
    EVERY_4_H,
    By,
    Due,
    State,
    Taken,
    Value4h,
    due_times,
    exceeds,
    percent_text,
    spot_values,
    window_values,
    with_grabs,
)
from wqverify.procedures.left_out import OUT_OF_SERVICE
from wqverify.procedures.month_case import Channel, channel_of
from wqverify.procedures.month_records import LESS, changes_values, doubts_of, grabs_of_outages
from wqverify.procedures.month_rules import (
    EVALUATED,
    EVALUATION,
    HIGHEST,
    LIMIT,
    MONTHS,
    NTU,
    PAIR,
    PERCENT,
    START,
    Span,
    analyzer_of,
    is_large,
    limit_of,
    month_of,
)
from wqverify.procedures.month_sheet import MonthSheet
from wqverify.terms import Check, Given, Quantity, Slices, Tolerance

NAME = "turbidity_month"
STAGE = "month"
# Stages of the checks, each with a verdict of its own: the second fails where a filter is to be reported.
LIMITS, NO_FILTER = "limits_of_the_water", "no_filter_to_report"
RECORDED, CORRECTED = "as recorded", "as corrected"
_WINDOWS: Mapping[str, By] = {"mean of 4 h": "mean", "highest of 4 h": "highest"}
ONE_A_DAY = "one value a day"
NO_FILTERS = f"{STAGE}.filters"
_HALF = timedelta(hours=2)


@dataclass(frozen=True)
class Version:
    """The month as recorded, or as corrected for what is in doubt: then of the analyzers that are."""

    name: str
    combined: Channel
    filters: tuple[Channel, ...]
    values: tuple[Value4h, ...]
    of_combined: bool = True  # whether the combined effluent is judged in it
    grabs: tuple[Taken, ...] = ()  # in place of the analyzer, whether they stand for a value or not

    def count(self, *states: State) -> int:
        """Return how many of the values that are due are of these states."""
        return sum(one.state in states for one in self.values)

    @property
    def expected(self) -> int:
        return len(self.values) - self.count("off line")

    @property
    def standing(self) -> list[Value4h]:
        """What has a value: recorded, or a grab in its place."""
        return [one for one in self.values if one.value is not None]

    @property
    def idle(self) -> list[Taken]:
        """The grabs that stand for no value that is due."""
        used = {(one.at, one.value) for one in self.values if one.state == "grab"}
        return [one for one in self.grabs if (one.at, one.value) not in used]

    @property
    def stage(self) -> str:
        """The stage of its values."""
        return STAGE if self.name == RECORDED else "corrected"

    @property
    def limits(self) -> str:
        """The stage of what breaks a limit of the water or was not measured."""
        return f"{LIMITS}{self.suffix}"

    @property
    def to_report(self) -> str:
        """The stage of what asks for a report or work on a filter, and breaks no limit of the water."""
        return f"{NO_FILTER}{self.suffix}"

    @property
    def suffix(self) -> str:
        """What the keys of its checks end in."""
        return "" if self.name == RECORDED else "_corrected"


@dataclass(frozen=True)
class Known:
    """One case: the month, its limits, its versions."""

    sheet: MonthSheet
    given: Given
    month: Span
    recorded: Version
    corrected: Version | None

    @property
    def versions(self) -> tuple[Version, ...]:
        return (self.recorded,) if self.corrected is None else (self.recorded, self.corrected)

    def limit(self, name: str, tag: str = "") -> Tolerance | None:
        """Return a limit for the combined effluent or a filter."""
        analyzer = analyzer_of(tag or self.given.analyzer.tag, self.given)
        return limit_of(name, self.sheet.rules.filtration, analyzer, self.given)

    def high(self, name: str, tag: str = "") -> Decimal:
        """Return the value that must not be exceeded; the procedure refuses a case without one."""
        found = self.limit(name, tag)
        assert found is not None
        assert found.high is not None
        return found.high

    @cached_property
    def rounded(self) -> bool:
        return self.sheet.rules.rounding == "to the digits of the limit"

    def within(self, version: Version) -> int:
        """Return how many values that stand lie within the limit of the percentage."""
        limit = self.high(LIMIT)
        values = [one.value for one in version.standing if one.value is not None]
        return sum(not exceeds(value, limit, rounded=self.rounded) for value in values)

    def highest(self, version: Version) -> tuple[Decimal, datetime] | None:
        """Return the highest combined value with its moment, None where there is none."""
        found = [(one.value, one.at or one.due.start) for one in version.standing if one.value is not None]
        found += [(one.value, one.at) for one in version.idle]  # a grab stands for its moment in any case
        whole = version.combined.summary
        if self.sheet.rules.highest_of == "every recording" and whole is not None:
            found.append((whole.most, whole.most_at))
        return max(found, key=lambda one: (one[0], -one[1].timestamp()), default=None)

    @cached_property
    def earlier(self) -> Mapping[str, Mapping[str, str]]:
        """What records of earlier months tell, by month; of several the newest."""
        found: dict[str, Mapping[str, str]] = {}
        for one in self.given.earlier:
            name = one.facts.get("month", "")
            if one.procedure == NAME and name and one.number != (self.sheet.replaces or ""):
                found.setdefault(name, one.facts)
        return found

    def in_a_row(self, version: Version, tag: str, name: str, pairs: int) -> tuple[int, str]:
        """Return in how many months in a row a filter had pairs, and the month that is not known.

        A month that was corrected counts as corrected where this one does too.
        """
        key = pairs_fact(tag, self.high(name, tag))
        then = f"{key}{version.suffix}"
        known = {
            month: int(facts.get(then, facts[key])) for month, facts in self.earlier.items() if key in facts
        }
        return months_in_a_row({**known, self.month.name: pairs}, self.month.name)


def pairs_fact(tag: str, limit: Decimal) -> str:
    """Return the fact under which the pairs of a filter above a limit are told to later months.

    It goes by the number, however the register writes it.

    >>> pairs_fact("AIT-2201", Decimal("1.0")), pairs_fact("AIT-2201", Decimal("10"))
    ('ife.AIT-2201.pairs.1', 'ife.AIT-2201.pairs.10')
    """
    return f"ife.{tag}.pairs.{limit.normalize():f}"


def known_of(sheet: MonthSheet, given: Given, slices: Slices) -> Known:
    """Return a case as it is judged."""
    month = month_of(given)
    combined = channel_of(sheet.combined, "combined", given.analyzer.tag, month, given, slices)
    filters = tuple(
        channel_of(one, f"filter.{n}", one.tag, month, given, slices) for n, one in enumerate(sheet.filter)
    )
    if sheet.rules.filters_by == "the combined effluent":
        filters = (combined,)
    grabs = tuple(_grabs(sheet, given, month))
    values = _values(sheet, month, combined, grabs)
    recorded = Version(RECORDED, combined, filters, values, grabs=grabs)
    return Known(sheet, given, month, recorded, _corrected(recorded, sheet, given, month))


def _corrected(recorded: Version, sheet: MonthSheet, given: Given, month: Span) -> Version | None:
    combined = recorded.combined.corrected(given)
    filters = tuple(new for one in recorded.filters if (new := one.corrected(given)) is not None)
    if combined is None and not filters:
        return None
    now = combined or recorded.combined
    values = _values(sheet, month, now, recorded.grabs)
    return Version(CORRECTED, now, filters, values, combined is not None, recorded.grabs)


def _values(sheet: MonthSheet, month: Span, combined: Channel, grabs: Iterable[Taken]) -> tuple[Value4h, ...]:
    how = sheet.rules.value_of_4_h
    dues = _dues(how, month)
    if how in _WINDOWS:
        found = window_values(combined.recordings, dues, combined.spans, _WINDOWS[how], combined.apart)
    else:
        found = spot_values(combined.recordings, dues, combined.spans, combined.apart / 2)
    return with_grabs(found, grabs, _HALF if how != ONE_A_DAY else 6 * _HALF)


def _dues(how: str, month: Span) -> tuple[Due, ...]:
    return due_times(month.name, month.zone, (8,) if how == ONE_A_DAY else EVERY_4_H)


def _grabs(sheet: MonthSheet, given: Given, month: Span) -> Iterator[Taken]:
    for index, one in enumerate(sheet.combined.grabs):
        at = datetime.fromisoformat(given.times[f"combined.grabs.{index}.at"])
        yield Taken(at, one.lab.value, f"{LESS if one.lab.below else ''}{one.source}")
    yield from grabs_of_outages(given.analyzer.tag, month, given)


# ---------------------------------------------------------------- checks


def expected(sheet: MonthSheet, given: Given) -> Iterator[str]:
    """Give the keys of the checks that a sheet asks for."""
    month = month_of(given)
    tag = given.analyzer.tag
    watched = (
        [tag] if sheet.rules.filters_by == "the combined effluent" else [one.tag for one in sheet.filter]
    )
    for suffix in ("", "_corrected"):
        judged = {name for name in (tag, *watched) if not suffix or _in_doubt(name, month, given)}
        if tag in judged:
            yield from (f"{STAGE}.combined.{word}{suffix}" for word in ("percent", "highest"))
        if not suffix:
            yield f"{STAGE}.combined.missing"
            if not watched and _needs_filters(sheet):
                yield NO_FILTERS
        for name in [one for one in watched if one in judged]:
            yield f"{STAGE}.{name}.pairs{suffix}"
            if is_large(given):
                yield f"{STAGE}.{name}.starts{suffix}"
            yield f"{STAGE}.{name}.three_months{suffix}"
            yield f"{STAGE}.{name}.two_months{suffix}"


def _needs_filters(sheet: MonthSheet) -> bool:
    """Whether each filter is watched: 40 CFR 141.174(a), 141.560, of conventional and direct filtration."""
    return sheet.rules.filtration == "conventional or direct"


def _in_doubt(tag: str, month: Span, given: Given) -> bool:
    return any(changes_values(one) for one in doubts_of(tag, month, given))


def checks_of(known: Known) -> Iterator[Check]:
    """Give every check of the month: as recorded first, then as corrected."""
    for version in known.versions:
        if version.of_combined:
            yield _percent(known, version)
            yield _highest(known, version)
        if version.name == RECORDED:
            yield _missing(known)
            if not version.filters and _needs_filters(known.sheet):
                yield not_evaluated(NO_FILTERS, version.limits, "Individual filters", "no filter is entered")
        for channel in version.filters:
            yield from _of_filter(known, version, channel)


def _percent(known: Known, version: Version) -> Check:
    share, limit = known.limit(PERCENT), known.limit(LIMIT)
    assert share is not None
    assert limit is not None
    tolerance = _with_source(share, f"at or below {limit.high} {NTU}", limit)
    key = f"{STAGE}.combined.percent{version.suffix}"
    label = f"Combined effluent, values at or below {limit.high} {NTU}"
    count, within = len(version.standing), known.within(version)
    observed = f"{within} of {count}"
    if not count:
        reason = "no value of the month stands"
        return not_evaluated(key, version.limits, label, reason, observed=observed, tolerance=tolerance)
    text = percent_text(within, count, share.low if share.low is not None else Decimal(0))
    return judge(key, version.limits, label, Quantity(text, "%", float(text)), tolerance, observed=observed)


def _with_source(tolerance: Tolerance, what: str, limit: Tolerance) -> Tolerance:
    """A tolerance whose source names that of the limit it counts by, where it is another."""
    if limit.source == tolerance.source:
        return tolerance
    return replace(tolerance, source=f"{tolerance.source}; {what}: {limit.source}")


def _highest(known: Known, version: Version) -> Check:
    key = f"{STAGE}.combined.highest{version.suffix}"
    label = f"Combined effluent, highest ({known.sheet.rules.highest_of})"
    found, tolerance = known.highest(version), known.limit(HIGHEST)
    if found is None:
        return not_evaluated(key, version.limits, label, "no value of the month stands", tolerance=tolerance)
    return judge(key, version.limits, label, Quantity(f"{found[0]:f}", NTU, float(found[0])), tolerance)


def _none_of(limit: Tolerance, what: str) -> Tolerance:
    """The tolerance of a count that must be none."""
    return _at_most(0, limit, what)


def _at_most(count: int, limit: Tolerance, what: str) -> Tolerance:
    return Tolerance(
        unit="",
        rule="as the method states",
        basis=limit.basis,
        source=f"{what}: {limit.source}",
        high=Decimal(count),
        date=limit.date,
    )


def _missing(known: Known) -> Check:
    """A value that is due and has neither a recording nor a grab: an analyzer out of service is no reason.

    What else is left out without a grab, by a hold or by who judges the month, leaves it open.
    """
    left = [one for one in known.recorded.values if one.state == "left out"]
    out = [one for one in left if one.why.startswith(OUT_OF_SERVICE)]
    count, open_ = known.recorded.count("missing") + len(out), len(left) - len(out)
    tolerance = Tolerance(
        unit="",
        rule="as the method states",
        basis="rule",
        source="40 CFR 141.74(c)(1), every four hours; continuous may replace it",
        high=Decimal(0),
    )
    key, label = f"{STAGE}.combined.missing", "Combined effluent, values due without a recording or a grab"
    observed = f"{count} of {known.recorded.expected}"
    if open_ and not count:
        reason = f"{open_} values are left out and no grab stands for them; whether one was due is not known"
        return not_evaluated(
            key, known.recorded.limits, label, reason, observed=observed, tolerance=tolerance
        )
    quantity = Quantity(str(count), "", float(count))
    return judge(key, known.recorded.limits, label, quantity, tolerance, observed=observed)


def _of_filter(known: Known, version: Version, channel: Channel) -> Iterator[Check]:
    tag = channel.tag
    pair, twice = known.limit(PAIR, tag), known.limit(EVALUATION, tag)
    assert pair is not None
    assert twice is not None
    pairs = sum(run.pairs for run in channel.runs(known.high(PAIR, tag)))
    key = f"{STAGE}.{tag}.pairs{version.suffix}"
    label = f"{tag}, pairs of recordings running above {pair.high} {NTU}"
    tolerance, blind = _none_of(pair, "reported where there is one"), channel.blind(known.high(PAIR, tag))
    if blind and not pairs:
        yield not_evaluated(key, version.to_report, label, blind, observed="0 known", tolerance=tolerance)
    else:
        quantity = Quantity(str(pairs), "", float(pairs))
        yield judge(key, version.to_report, label, quantity, tolerance)
    if is_large(known.given):
        yield _starts(known, version, channel)
    yield _in_a_row(known, version, channel, PAIR, MONTHS)
    yield _in_a_row(known, version, channel, EVALUATION, EVALUATED)


def _starts(known: Known, version: Version, channel: Channel) -> Check:
    tag = channel.tag
    limit = known.limit(START, tag)
    assert limit is not None
    assert limit.high is not None
    key = f"{STAGE}.{tag}.starts{version.suffix}"
    label = f"{tag}, starts above {limit.high} {NTU} at the end of their first 4 h"
    tolerance = _none_of(limit, "reported where there is one")
    above = sum(one.exceeds(limit.high) for one in channel.starts)
    blind = [one for one in channel.starts if one.pair is None and "again" not in one.why]
    observed = f"{above} of {len(channel.starts)}"
    if not channel.starts:
        reason = "no time off line or backwash of it is entered or flagged, so no start is known"
        return not_evaluated(key, version.to_report, label, reason, tolerance=tolerance)
    if blind and not above:
        reason = f"{len(blind)} of {len(channel.starts)} starts have no two recordings at the end of 4 h"
        return not_evaluated(key, version.to_report, label, reason, observed=observed, tolerance=tolerance)
    return judge(
        key, version.to_report, label, Quantity(str(above), "", float(above)), tolerance, observed=observed
    )


_WORDS = {MONTHS: ("three_months", "a self-assessment"), EVALUATED: ("two_months", "an evaluation")}


def _in_a_row(known: Known, version: Version, channel: Channel, name: str, months: int) -> Check:
    """Whether a filter had pairs in so many months in a row, this one included."""
    tag = channel.tag
    limit = known.limit(name, tag)
    assert limit is not None
    assert limit.high is not None
    word, asks = _WORDS[months]
    pairs = sum(run.pairs for run in channel.runs(limit.high))
    run, unknown = known.in_a_row(version, tag, name, pairs)
    key = f"{STAGE}.{tag}.{word}{version.suffix}"
    label = f"{tag}, months in a row with such a pair above {limit.high} {NTU}"
    source = "40 CFR 141.175(b)(3), 141.563(b)" if months == MONTHS else limit.source
    what = f"{months} of them ask for {asks}"
    tolerance = _at_most(months - 1, limit, what)
    if source != limit.source:
        tolerance = replace(tolerance, source=f"{what}: {source}")
    blind = channel.blind(limit.high)
    if blind and not pairs:
        return not_evaluated(
            key, version.to_report, label, blind, observed=f"{run} known", tolerance=tolerance
        )
    if unknown and run < months and run > 0:
        reason = f"there is no record of {unknown} in the book, so the months before are not known"
        return not_evaluated(
            key, version.to_report, label, reason, observed=f"{run} known", tolerance=tolerance
        )
    return judge(key, version.to_report, label, Quantity(str(run), "", float(run)), tolerance)
