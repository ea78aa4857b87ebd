"""What a turbidity month is computed from: recordings of each channel, what is left out of them and why."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import cached_property
from itertools import pairwise

from wqverify.calculations.recordings import (
    Recording,
    Span,
    Summary,
    gaps,
    interval_of,
    marked,
    on_the_quarter,
    summary,
    without_flagged,
)
from wqverify.calculations.turbidity_pairs import QUARTER, Run, Start, broken, first_four_hours, runs_above
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.month_records import INVALIDATED, LeftOutBy, corrected_rows, windows_of
from wqverify.procedures.month_rules import NTU, analyzer_of
from wqverify.procedures.month_rules import Span as Month
from wqverify.procedures.month_sheet import OFF_LINE, Combined, Filter
from wqverify.procedures.rules import GOOD_FLAGS
from wqverify.terms import Given, Slices, TrendUse

# Flags that say nothing is wrong, or that it is on line; what is flagged otherwise does not count.
GOOD = GOOD_FLAGS | {"on", "on line", "online", "in service", "filtering", "run", "running"}
BLIND = timedelta(hours=4)  # without recordings: then a filter is sampled by hand, 40 CFR 141.174(b)
Row = tuple[datetime, Decimal | None, str]


@dataclass(frozen=True)
class Channel:
    """The recordings of one analyzer in the slice of its export, marked with what is left out."""

    tag: str
    title: str  # "combined effluent AIT-2210"
    use: TrendUse
    recordings: tuple[Recording, ...]
    left_out: tuple[LeftOutBy, ...]
    month: Month
    obvious_reason: str = ""
    never: tuple[str, ...] = ()  # words that were to say off line and flag no recording

    @cached_property
    def spans(self) -> tuple[Span, ...]:
        return tuple(one.span for one in self.left_out)

    @cached_property
    def apart(self) -> timedelta:
        """The usual time between two recordings."""
        return interval_of(self.recordings)

    @cached_property
    def of_month(self) -> tuple[Recording, ...]:
        return tuple(one for one in self.recordings if self.month.holds(one.at))

    @cached_property
    def quarters(self) -> tuple[Recording, ...]:
        """What the pair rules look at: every 15 minutes, or as far apart as was recorded."""
        return on_the_quarter(self.recordings, QUARTER)

    @property
    def step(self) -> timedelta:
        """The time between two recordings the pair rules look at."""
        return max(self.apart, QUARTER)

    @cached_property
    def summary(self) -> Summary | None:
        return summary(self.of_month)

    def runs(self, limit: Decimal) -> tuple[Run, ...]:
        """Return runs above a limit that begin in the month; each limit is asked for many times."""
        if limit not in self._runs:
            found = runs_above(self.quarters, limit, self.step)
            self._runs[limit] = tuple(run for run in found if self.month.holds(run.recordings[0].at))
        return self._runs[limit]

    @cached_property
    def _runs(self) -> dict[Decimal, tuple[Run, ...]]:
        return {}

    def broken(self, limit: Decimal) -> list[tuple[Recording, str]]:
        """Return recordings of the month above a limit whose neighbour is missing or left out."""
        inside = [one for one in self.quarters if self.month.holds(one.at)]
        return sorted(broken(inside, limit, self.step), key=lambda one: one[0].at)

    def blind(self, limit: Decimal) -> str:
        """Return why no pair above a limit may be one that nobody recorded; empty where that is not so.

        A recording that is missing breaks a pair, and hours of them do not say that there was none. A filter
        off line filters no water.
        """
        for span in self.spans:
            if span.why == INVALIDATED:
                first, last = (self.month.clock(at) for at in (span.start, span.end))
                return f"recordings are invalidated from {first} to {last}"
        for one, why in self.broken(limit):
            reason = why.partition(" is left out: ")[2]
            if reason and not reason.startswith(OFF_LINE):
                return f"{one.value} {NTU} at {self.month.clock(one.at)}, and {why}"
        longest = max(pairwise(self._seen), key=lambda two: two[1] - two[0])
        if longest[1] - longest[0] > BLIND:
            first, last = (self.month.clock(at) for at in longest)
            return f"nothing is recorded from {first} to {last}, which is more than 4 h"
        return ""

    @cached_property
    def _seen(self) -> list[datetime]:
        """When something is known of the filter in the month, its ends included."""
        begins, ends = (at.astimezone(UTC) for at in (self.month.begins, self.month.ends))
        known = [one.at for one in self.of_month if one.value is not None or one.left_out]
        for span in (one for one in self.spans if one.off_line):
            start, end = max(span.start, begins), min(span.end, ends)
            known += [start + n * BLIND for n in range(int((end - start) / BLIND) + 1)] + [end]
        return sorted([begins, *(at for at in known if begins <= at <= ends), ends])

    @cached_property
    def starts(self) -> tuple[Start, ...]:
        """Times the filter came back whose first four hours end in the month."""
        over = timedelta(hours=4)
        found = first_four_hours(self.quarters, self.spans, self.step)
        return tuple(one for one in found if self.month.holds(one.at + over))

    @cached_property
    def gaps(self) -> tuple[tuple[datetime, datetime], ...]:
        return tuple(gaps(self.of_month, self.apart))

    def corrected(self, given: Given) -> Channel | None:
        """Return the channel with the errors of records in doubt taken off; None where none touches it."""
        rows = [(one.at, one.value) for one in self.recordings]
        found = corrected_rows(self.tag, rows, self.month, given)
        if found is None:
            return None
        values, more = found
        left_out = (*self.left_out, *more)
        marks = marked([(one.at, one.value) for one in values], [one.span for one in left_out])
        return replace(
            self,
            recordings=tuple(
                new if new.left_out else replace(new, left_out=old.left_out, off_line=old.off_line)
                for new, old in zip(marks, self.recordings, strict=True)
            ),
            left_out=left_out,
        )


def channel_of(
    part: Combined | Filter, path: str, tag: str, month: Month, given: Given, slices: Slices
) -> Channel:
    """Return the recordings of one analyzer; raises ChooseAnother for an export that does not hold them."""
    use = next((use for use in given.trends if use.path == f"{path}.export"), None)
    what = "combined effluent" if isinstance(part, Combined) else "filter"
    if use is None:
        raise ChooseAnother(
            f"The export {part.export} of {tag} was not read; name a file in the folder trends/.",
            found=part.export,
            where=f"{path}.export",
        )
    analyzer = analyzer_of(tag, given)
    if use.unit not in ("", NTU):
        raise ChooseAnother(
            f"{use.file} holds {use.channel} in {use.unit}, the rules of a month speak of {NTU}; name an "
            f"export in {NTU}.",
            found=use.unit,
            expected=NTU,
            where=f"{path}.export",
        )
    rows = _rows(slices[use.slice])
    good = {*GOOD, analyzer.settings.get("good_flag", "")}
    words = [word.strip() for word in (part.off_when or "").split(",") if word.strip()]
    off, flags = {word.casefold() for word in words}, {flag.casefold() for _, _, flag in rows}
    left_out = (
        *_off_by_flag(rows, off),
        *_typed(part, path, given),
        *windows_of(tag, month, given),
    )
    marks = marked([(at, value) for at, value, _ in rows], [one.span for one in left_out])
    recordings = without_flagged(marks, [flag for _, _, flag in rows], good)
    found = Channel(
        tag,
        f"{what} {tag}",
        use,
        recordings,
        tuple(sorted((one for one in left_out if _touches(one, month)), key=lambda one: one.span.start)),
        month,
        (part.obvious_reason or "") if isinstance(part, Filter) else "",
        tuple(word for word in words if word.casefold() not in flags),
    )
    if not found.of_month:
        raise CorrectTheEntry(
            f"{use.file} holds no recording of {tag} in {month.words}; name the export of that month.",
            found="none",
            expected=month.name,
            where=f"{path}.export",
        )
    return found


def _touches(one: LeftOutBy, month: Month) -> bool:
    before = timedelta(hours=4)  # a start before the month may have its fourth hour in it
    return one.span.start < month.ends and one.span.end > month.begins - before


def _rows(slice_: bytes) -> Sequence[Row]:
    from wqverify.trends.slices import read_slice  # only where an export is attached

    return read_slice(slice_).rows


def _off_by_flag(rows: Sequence[Row], words: set[str]) -> Iterator[LeftOutBy]:
    """Give the stretches whose flag says off line, each until the first recording that does not."""
    since, said = None, ""
    for at, _, flag in rows:
        is_off = flag.casefold() in words
        if is_off and since is None:
            since, said = at, flag
        elif not is_off and since is not None:
            yield LeftOutBy(Span(since, at, f"off line, flagged {said}", off_line=True), "flag")
            since = None
    if since is not None:
        end = rows[-1][0] + timedelta(seconds=1)
        yield LeftOutBy(Span(since, end, f"off line, flagged {said}", off_line=True), "flag")


def _typed(part: Combined | Filter, path: str, given: Given) -> Iterator[LeftOutBy]:
    for index, row in enumerate(part.left_out):
        since, until = (
            datetime.fromisoformat(given.times[f"{path}.left_out.{index}.{end}"]).astimezone(UTC)
            for end in ("since", "until")
        )
        why = f"{row.what}: {row.why}" if row.why else row.what
        yield LeftOutBy(Span(since, until, why, off_line=row.what in OFF_LINE), "sheet")
