"""The synthetic turbidity month of the combined effluent and its two filters: an export, and the sheet on it.

Nothing here is judged: the recordings come from a seeded model of filters that are backwashed, the outcomes
from wqverify.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from random import Random
from zoneinfo import ZoneInfo

from wqverify.demo.sheet import OPERATOR, Visit, not_done, opening, part, text, written

SEED = 2210
ZONE = ZoneInfo("America/Chicago")  # of the plant
QUARTER = timedelta(minutes=15)
COMBINED, FILTERS = "AIT-2210", ("AIT-2201", "AIT-2202")
BACKWASH = timedelta(hours=1)
# (analyzer, day, clock, recordings one after the other, NTU): an upset of filter 1; filter 2 with the film on
# its window that the check of the 12th finds; and what of the upset arrives in the combined effluent.
EVENTS = (
    ("AIT-2201", 17, "15:15", ("0.842", "1.124", "1.317", "0.906", "0.411")),
    ("AIT-2202", 11, "09:15", ("0.934", "1.018", "1.031", "0.877", "0.315")),
    ("AIT-2210", 17, "15:45", ("0.288", "0.336", "0.402", "0.371", "0.309", "0.262")),
)
LOST = (COMBINED, 22, "03:30", 4)  # recordings without a value: the archive was down


@dataclass
class Month:
    """The moments of a month, every 15 minutes in true time."""

    first: date
    times: list[datetime] = field(init=False)

    def __post_init__(self) -> None:
        at, end = (
            datetime(day.year, day.month, day.day, tzinfo=ZONE).astimezone(UTC)
            for day in (self.first, self.after)
        )
        self.times = []
        while at <= end:
            self.times.append(at)
            at += QUARTER

    @property
    def after(self) -> date:
        return (self.first.replace(day=28) + timedelta(days=4)).replace(day=1)

    @property
    def name(self) -> str:
        return f"{self.first:%Y-%m}"

    def index(self, day: int, clock: str) -> int:
        """Return which recording it is."""
        hour, minute = map(int, clock.split(":"))
        at = datetime(self.first.year, self.first.month, day, hour, minute, tzinfo=ZONE)
        return int((at.astimezone(UTC) - self.times[0]) / QUARTER)


def month_visits(month: date) -> Iterator[Visit]:
    """Yield the work at the desk on the turbidity of a month, in the first minutes of the next."""
    whole = Month(month)
    export = f"effluent {whole.name}.csv"
    yield Visit(
        whole.after,
        f"turbidity month {whole.name}",
        COMBINED,
        _sheet(whole, export),
        "the month by the rules of filtration; one filter above 1.0 NTU twice running",
        trend=export,
        shown=export_of(month),
    )


def export_of(month: date) -> str:
    """Return what the control system exports of a month: three analyzers and the state of the filters."""
    whole, random = Month(month), Random(SEED)
    columns = [_filter(whole, tag, turn, random) for turn, tag in enumerate(FILTERS)]
    combined = _combined(whole, columns, random)
    channels = [(COMBINED, combined), *zip(FILTERS, columns, strict=True)]
    head = ",".join(f"{_channel(tag)},{_channel(tag)} status" for tag, _ in channels)
    rows = [f"Time,{head}"]
    for n, at in enumerate(whole.times):
        cells = ",".join(",".join(column[n]) for _, column in channels)
        rows.append(f"{at.astimezone(ZONE):%Y-%m-%dT%H:%M:%S%z},{cells}")
    return "\n".join(rows) + "\n"


def _channel(tag: str) -> str:
    return f"{tag.replace('-', '')}.PV"


def _filter(month: Month, tag: str, turn: int, random: Random) -> list[tuple[str, str]]:
    """One filter: it ripens after each backwash, then lets a little more through from hour to hour."""
    found: list[tuple[str, str]] = []
    run = timedelta(hours=46 + 7 * turn)
    washed = month.times[0] + timedelta(hours=9 + 20 * turn)  # end of the next backwash
    for at in month.times:
        if at >= washed + run:
            washed += run
        off = washed - BACKWASH <= at < washed
        age = (at - washed if at >= washed else at - (washed - run)) / timedelta(hours=1)
        ripening = 0.24 * max(0.0, 1 - age / 1.5)
        value = 0.052 + 0.0004 * age + ripening + abs(random.gauss(0, 0.003))
        found.append((f"{value:.3f}", "BACKWASH" if off else "ON LINE"))
        if at >= washed + run - BACKWASH:
            found[-1] = (f"{value:.3f}", "BACKWASH")
    _put_events(month, tag, found)
    return found


def _combined(month: Month, filters: list[list[tuple[str, str]]], random: Random) -> list[tuple[str, str]]:
    """The effluent of both, and what the clearwell evens out of it."""
    found, level = [], 0.06
    for cells in zip(*filters, strict=True):
        fed = [float(value) for value, state in cells if state == "ON LINE"] or [level]
        level += 0.2 * (min(sum(fed) / len(fed), 0.3) - level)
        found.append((f"{level + abs(random.gauss(0, 0.002)):.3f}", "good"))
    _put_events(month, COMBINED, found)
    _tag, day, clock, count = LOST
    start = month.index(day, clock)
    found[start : start + count] = [("", "bad")] * count
    return found


def _put_events(month: Month, tag: str, found: list[tuple[str, str]]) -> None:
    for of, day, clock, values in EVENTS:
        if of == tag:
            start = month.index(day, clock)
            found[start : start + len(values)] = [
                (value, "good" if tag == COMBINED else "ON LINE") for value in values
            ]


def _sheet(month: Month, export: str) -> str:
    rows = opening(
        "turbidity_month",
        COMBINED,
        "EL-0530",
        month.after,
        "00:05",
        "T-11",
        method="Ellodale procedure EP-26 rev. 1 (invented)",
    )
    rows += part("cautions", read="yes")
    rows += part("operations_told", who=OPERATOR, how="in person", at="00:06")
    rows += not_done("output_held", "read at the desk, nothing is touched")
    rows += part("month", begins=f"{month.name}-01 00:00")
    rows += part(
        "rules",
        filtration="conventional or direct",
        value_of_4_h="value at 00, 04 ... 20 h",
        highest_of="every recording",
        rounding="as recorded",
        source="letter of the State of 2024-02-05 (invented)",
    )
    rows += part("combined", export=export)
    rows += ["", "[[combined.grabs]]", text("at", f"{month.name}-22 04:10"), text("result", "0.08")]
    rows += [text("source", "bench sheet of the night shift, 22nd (invented)")]
    for tag in FILTERS:
        rows += ["", "[[filter]]", text("tag", tag), text("export", export), text("off_when", "BACKWASH")]
    rows += part("status", state="in service")
    return written(rows)
