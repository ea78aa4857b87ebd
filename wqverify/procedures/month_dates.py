"""What follows from a turbidity month and by when: report, profile, self-assessment, evaluation, telling."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal

from wqverify.calculations.outage import next_business_day
from wqverify.calculations.turbidity_rule import report_due
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures import beside as b
from wqverify.procedures.month_case import Channel
from wqverify.procedures.month_judged import CORRECTED, Known, Version, known_of
from wqverify.procedures.month_records import INVALIDATED
from wqverify.procedures.month_rules import (
    EVALUATED,
    EVALUATION,
    HIGHEST,
    LIMIT,
    MONTHS,
    NTU,
    PAIR,
    START,
    Span,
    is_large,
    month_of,
    refuse,
)
from wqverify.procedures.month_sheet import MonthSheet
from wqverify.procedures.outage_rules import consult_limit
from wqverify.procedures.rules import holidays
from wqverify.terms import Given, Raw, RunningClock, Slices

PROFILE_DAYS, ASSESSMENT_DAYS = 7, 14
EVALUATION_LARGE, EVALUATION_SMALL = (30, 90), (60, 120)  # days: arranged, done
REPORT = "40 CFR 141.175, 141.570"
SINGLE = "40 CFR 141.203(b)(3) (from memory), within 24 h of learning of it"


@dataclass(frozen=True, slots=True)
class FollowUp:
    """Something to be done by a day, what asks for it, and when and how it was done where that is entered."""

    key: str
    what: str
    since: date  # it cannot be done before
    due: date
    source: str
    tag: str = ""  # of the analyzer it comes from; empty for what comes of the month itself
    done: datetime | None = None
    how: str = ""
    within: datetime | None = None  # the moment by which it is due, where the day alone does not say it

    def words(self, started: datetime) -> str:
        """Say it as seen from the start of the work: ahead, past, or done and how late."""
        clock = f" {self.within:%H:%M}" if self.within else ""
        by = f"by {self.due:%A} {self.due.isoformat()}{clock}"
        if self.done is not None:
            how = f"done {self.done:%Y-%m-%d %H:%M}, {self.how.removesuffix('.')}"
            return f"{self.what}: {how}; it was due {by}{self._late(self.done)}."
        if self.is_past(started):
            past = (started.date() - self.due).days
            return (
                f"{self.what}: was due {by}, {_days(past)} before this month was judged, and nothing entered "
                f"here says that it was done."
            )
        return f"{self.what}: {by}."

    def is_past(self, at: datetime) -> bool:
        return at > self.within if self.within else at.date() > self.due

    def _late(self, at: datetime) -> str:
        if not self.is_past(at):
            return ""
        late = (at.date() - self.due).days
        return f", {_days(late)} late" if late else ", late"

    def clock(self, month: Span) -> RunningClock:
        """Return it as a clock: its day ends with the last minute on the clock of the plant."""
        end = datetime(self.due.year, self.due.month, self.due.day, 23, 59, tzinfo=month.zone)
        since = datetime(self.since.year, self.since.month, self.since.day, tzinfo=month.zone)
        due, first = (one.isoformat(timespec="minutes") for one in (self.within or end, since))
        return RunningClock(self.what, due, self.source, self.done is not None, self.key, first)


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"


def follow_ups(known: Known) -> tuple[FollowUp, ...]:
    """Return what is due after the month, in the order of its dates; what correcting adds says so."""
    found = {one.key: one for version in reversed(known.versions) for one in _of(known, version)}
    if known.corrected is not None:
        found |= dict(_fallen_away(found, known, known.corrected))
    done = {row.what: (n, row) for n, row in enumerate(known.sheet.followed)}
    for what, (n, row) in done.items():
        if what in found:
            at = datetime.fromisoformat(known.given.times[f"followed.{n}.done"])
            found[what] = replace(found[what], done=at.astimezone(known.month.zone), how=row.how)
    return tuple(sorted(found.values(), key=lambda one: (one.due, one.key)))


def _fallen_away(
    found: Mapping[str, FollowUp], known: Known, corrected: Version
) -> Iterator[tuple[str, FollowUp]]:
    """Give what the month asks for as recorded and no longer as corrected: both are said, people decide."""
    kept = {one.key for one in _of(known, corrected)}
    channels = (*corrected.filters, *((corrected.combined,) if corrected.of_combined else ()))
    # What is invalidated is not known: nothing falls away by it.
    judged = {one.tag for one in channels if not any(s.span.why == INVALIDATED for s in one.left_out)}
    for key, one in found.items():
        if key not in kept and one.tag in judged:
            yield key, replace(one, what=f"{one.what} (as recorded; {CORRECTED} it falls away)")


def overdue(known: Known) -> list[FollowUp]:
    """Return what was due before the work began and is not said to be done."""
    started = datetime.fromisoformat(known.given.times["started"]).astimezone(known.month.zone)
    return [one for one in follow_ups(known) if one.done is None and one.is_past(started)]


def refuse_unknown(known: Known) -> None:
    """Raise ChooseAnother for a follow-up the month does not have.

    Raises CorrectTheEntry for one that is entered twice, before what it follows from or after the sheet.
    """
    found = {one.key: one for one in follow_ups(known)}
    keys = list(found)
    typed = [row.what for row in known.sheet.followed]
    for n, what in enumerate(typed):
        if what not in keys:
            raise ChooseAnother(
                f"{what!r} does not follow from {known.month.words}; what does is {', '.join(keys)}. Name "
                f"one of them, or delete it.",
                found=what,
                expected=", ".join(keys),
                where=f"followed.{n}.what",
            )
        if what in typed[:n]:
            raise CorrectTheEntry(
                f"{what} is entered as done twice; keep one of both.",
                found=what,
                expected="once",
                where=f"followed.{n}.what",
            )
        _refuse_time(found[what], n, known)


def _refuse_time(one: FollowUp, n: int, known: Known) -> None:
    started = datetime.fromisoformat(known.given.times["started"])
    since = datetime(one.since.year, one.since.month, one.since.day, tzinfo=known.month.zone)
    if one.done is not None and not since <= one.done <= started:
        first, last = (known.month.clock(at) for at in (since, started))
        raise CorrectTheEntry(
            f"{one.key} is entered as done at {known.month.clock(one.done)}; it can have been done from "
            f"{first} to the start of this work, {last}. Correct the time, or enter it later by "
            f"wqverify follow-up.",
            found=known.month.clock(one.done),
            expected=f"{first} to {last}",
            where=f"followed.{n}.done",
        )


def _of(known: Known, version: Version) -> Iterator[FollowUp]:
    if version.name != CORRECTED:
        yield _report(known.month, _figures(known))
    yield from _above_the_highest(known, version)
    for channel in version.filters:
        yield from _profiles(known, version, channel)
        yield from _months(known, version, channel)


def _figures(known: Known) -> str:
    """What is reported in short: a month judged anew with other figures is reported anew."""
    version, highest = known.recorded, known.highest(known.recorded)
    pairs = sum(run.pairs for one in version.filters for run in one.runs(known.high(PAIR, one.tag)))
    most = f", highest {highest[0]} {NTU}" if highest is not None else ""
    count = f"{known.within(version)} of {len(version.standing)} at or below {known.high(LIMIT)} {NTU}"
    return f" ({count}{most}, {pairs or 'no'} {'pair' if pairs == 1 else 'pairs'})"


def _report(month: Span, figures: str = "") -> FollowUp:
    what = f"Report of {month.words} to the State{figures}"
    return FollowUp("report", what, month.ends.date(), report_due(month.name), REPORT)


def _if_corrected(version: Version) -> str:
    return f" ({CORRECTED})" if version.name == CORRECTED else ""


def _above_the_highest(known: Known, version: Version) -> Iterator[FollowUp]:
    """Tell the State by the next business day, and consult it within 24 h, for each day above the highest."""
    limit, said = known.high(HIGHEST), _if_corrected(version)
    higher = consult_limit(known.given)
    for day, (first, most) in sorted(_days_above(known, version).items()):
        yield FollowUp(
            f"told.{day.isoformat()}",
            f"State told that the combined effluent exceeded {limit} {NTU} on {day.isoformat()}{said}",
            day,
            next_business_day(day, holidays(known.given)),
            "40 CFR 141.175(c), end of the next business day",
            version.combined.tag,
        )
        beyond = higher is not None and most > higher.value
        within = (first + timedelta(days=1)).astimezone(known.month.zone)
        yield FollowUp(
            f"consulted.{day.isoformat()}",
            f"State consulted whether the public is told of {most} {NTU} on {day.isoformat()}{said}",
            day,
            within.date(),
            f"{higher.source}, within 24 h; {SINGLE}" if beyond and higher is not None else SINGLE,
            version.combined.tag,
            within=within,
        )


def _days_above(known: Known, version: Version) -> dict[date, tuple[datetime, Decimal]]:
    """Return the days on which the combined effluent exceeded the highest value: since when, and its most."""
    limit, found = known.high(HIGHEST), dict[date, tuple[datetime, Decimal]]()
    # A mean has no moment of its own: the start of its four hours stands for it.
    above = [(one.at or one.due.start, one.value) for one in version.standing]
    above += [(one.at, one.value) for one in version.idle]
    if known.sheet.rules.highest_of == "every recording":
        above += [(one.at, one.value) for one in version.combined.of_month if one.above(limit)]
    for at, value in above:
        if value is not None and value > limit:
            day = at.astimezone(known.month.zone).date()
            first, most = found.get(day, (at, value))
            found[day] = min(at, first), max(value, most)
    return found


def _profiles(known: Known, version: Version, channel: Channel) -> Iterator[FollowUp]:
    """A profile of the filter within 7 days, unless its reason is obvious and said."""
    if channel.obvious_reason or not is_large(known.given):
        return
    above = [run.recordings[1].at for run in channel.runs(known.high(PAIR, channel.tag))]
    limit = known.high(START, channel.tag)
    above += [one.pair[1].at for one in channel.starts if one.pair is not None and one.exceeds(limit)]
    for day in sorted({at.astimezone(known.month.zone).date() for at in above}):
        yield FollowUp(
            f"profile.{channel.tag}.{day.isoformat()}",
            f"{channel.tag}: profile of the filter for {day.isoformat()}, unless an obvious reason is "
            f"reported{_if_corrected(version)}",
            day,
            day + timedelta(days=PROFILE_DAYS),
            "40 CFR 141.175(b)(1)-(2), within 7 days",
            channel.tag,
        )


def _months(known: Known, version: Version, channel: Channel) -> Iterator[FollowUp]:
    tag, said = channel.tag, _if_corrected(version)
    for name, months in ((PAIR, MONTHS), (EVALUATION, EVALUATED)):
        limit = known.high(name, tag)
        runs = channel.runs(limit)
        run, _unknown = known.in_a_row(version, tag, name, sum(one.pairs for one in runs))
        if not runs or run < months:
            continue
        day = runs[0].recordings[1].at.astimezone(known.month.zone).date()
        why = f"{tag}, above {limit} {NTU} in {run} months in a row{said}"
        if name == PAIR:
            yield FollowUp(
                f"assessment.{tag}",
                f"{why}: self-assessment of the filter",
                day,
                day + timedelta(days=ASSESSMENT_DAYS),
                "40 CFR 141.175(b)(3), 141.563(b), within 14 days",
                tag,
            )
            continue
        large = is_large(known.given)
        days = EVALUATION_LARGE if large else EVALUATION_SMALL
        source = f"40 CFR {'141.175(b)(4)' if large else '141.563(c)'}, {days[0]} and {days[1]} days"
        for word, count in zip(("arranged", "done"), days, strict=True):
            due = day + timedelta(days=count)
            yield FollowUp(f"evaluation.{word}.{tag}", f"{why}: evaluation {word}", day, due, source, tag)


def clocks(raw: Raw, given: Given, slices: Slices) -> tuple[RunningClock, ...]:
    """Return what follows from the month of an open sheet: the report, the rest once it can be judged."""
    try:
        month = month_of(given)
    except CorrectTheEntry:  # none is typed yet, or a wrong one: that is refused elsewhere
        return ()
    return tuple(one.clock(month) for one in _so_far(raw, month, given, slices))


def _so_far(raw: Raw, month: Span, given: Given, slices: Slices) -> Sequence[FollowUp]:
    sheet: MonthSheet = b.so_far(MonthSheet, raw)
    if sheet.rules is None or sheet.combined is None:
        return (_report(month),)
    try:
        refuse(sheet, given)
        return follow_ups(known_of(sheet, given, slices))
    except (ChooseAnother, CorrectTheEntry, KeyError):  # what is still lacking is refused when it is run
        return (_report(month),)
