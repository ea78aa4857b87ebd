"""What follows from a turbidity month and by when: report, profile, self-assessment, evaluation, telling."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from wqverify.calculations.outage import next_business_day
from wqverify.calculations.turbidity_rule import report_due
from wqverify.procedures.month_case import Channel
from wqverify.procedures.month_judged import CORRECTED, Known, Version
from wqverify.procedures.month_rules import (
    EVALUATED,
    EVALUATION,
    HIGHEST,
    MONTHS,
    NTU,
    PAIR,
    START,
    is_large,
    month_of,
)
from wqverify.procedures.rules import holidays
from wqverify.terms import Given, Raw, RunningClock

PROFILE_DAYS, ASSESSMENT_DAYS = 7, 14
EVALUATION_LARGE, EVALUATION_SMALL = (30, 90), (60, 120)  # days: arranged, done
REPORT = "40 CFR 141.175, 141.570"


@dataclass(frozen=True, slots=True)
class FollowUp:
    """Something to be done by a day, and what asks for it."""

    key: str
    what: str
    due: date
    source: str

    @property
    def words(self) -> str:
        return f"{self.what}: by {self.due:%A} {self.due.isoformat()}."


def follow_ups(known: Known) -> tuple[FollowUp, ...]:
    """Return what is due after the month, in the order of its dates; what correcting adds says so."""
    found = {one.key: one for version in reversed(known.versions) for one in _of(known, version)}
    return tuple(sorted(found.values(), key=lambda one: (one.due, one.key)))


def _of(known: Known, version: Version) -> Iterator[FollowUp]:
    due = report_due(known.month.name)
    yield FollowUp("report", f"Report of {known.month.words} to the State", due, REPORT)
    yield from _above_the_highest(known, version)
    for channel in version.filters:
        yield from _profiles(known, version, channel)
        yield from _months(known, version, channel)


def _if_corrected(version: Version) -> str:
    return f" ({CORRECTED})" if version.name == CORRECTED else ""


def _above_the_highest(known: Known, version: Version) -> Iterator[FollowUp]:
    limit = known.high(HIGHEST)
    above = [one for one in version.standing if one.value is not None and one.value > limit]
    days = {one.at or one.due.start for one in above}  # a mean has no moment of its own
    days |= {one.at for one in version.idle if one.value > limit}
    if known.sheet.rules.highest_of == "every recording":
        days |= {one.at for one in version.combined.of_month if one.above(limit)}
    for day in sorted({at.astimezone(known.month.zone).date() for at in days}):
        yield FollowUp(
            f"told.{day.isoformat()}",
            f"State told that the combined effluent exceeded {limit} {NTU} on {day.isoformat()}"
            f"{_if_corrected(version)}",
            next_business_day(day, holidays(known.given)),
            "40 CFR 141.175(c), end of the next business day",
        )


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
            day + timedelta(days=PROFILE_DAYS),
            "40 CFR 141.175(b)(1)-(2), within 7 days",
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
                day + timedelta(days=ASSESSMENT_DAYS),
                "40 CFR 141.175(b)(3), 141.563(b), within 14 days",
            )
            continue
        large = is_large(known.given)
        days = EVALUATION_LARGE if large else EVALUATION_SMALL
        source = f"40 CFR {'141.175(b)(4)' if large else '141.563(c)'}, {days[0]} and {days[1]} days"
        for word, count in zip(("arranged", "done"), days, strict=True):
            due = day + timedelta(days=count)
            yield FollowUp(f"evaluation.{word}.{tag}", f"{why}: evaluation {word}", due, source)


def clocks(raw: Raw, given: Given) -> tuple[RunningClock, ...]:
    """Return what runs on the open sheet of a month: the report to the State.

    On a sheet whose status is decided nothing runs: when it was reported is told elsewhere.
    """
    status = raw.get("status")
    if "month.begins" not in given.times or (isinstance(status, dict) and status.get("state")):
        return ()
    month = month_of(given)
    due = report_due(month.name)
    at = datetime(due.year, due.month, due.day, 23, 59, tzinfo=month.zone)
    what = f"report of {month.words} to the State"
    return (RunningClock(what, at.isoformat(timespec="minutes"), REPORT),)
