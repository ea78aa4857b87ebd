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

from wqverify.demo.doubt_visits import doubt_visit
from wqverify.demo.sheet import OPERATOR, Visit, not_done, opening, part, text, written

SEED = 2210
ZONE = ZoneInfo("America/Chicago")  # of the plant
QUARTER = timedelta(minutes=15)
COMBINED, FILTERS = "AIT-2210", ("AIT-2201", "AIT-2202")
BACKWASH = timedelta(hours=1)
WASHED_UNTIL = 210  # minutes after midnight at which filter 2 is back on line
# (analyzer, day, clock, recordings one after the other, NTU): an upset of filter 1, and what of it arrives in
# the combined effluent.
EVENTS = (
    ("AIT-2201", 17, "15:15", ("0.842", "1.124", "1.317", "0.906", "0.411")),
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
    columns = [_filter_1(whole, random), _filter_2(whole, random)]
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


def _filter_1(month: Month, random: Random) -> list[tuple[str, str]]:
    """It ripens after each backwash, then lets a little more through from hour to hour."""
    found: list[tuple[str, str]] = []
    run, washed = timedelta(hours=46), month.times[0] + timedelta(hours=9)  # end of the next backwash
    for at in month.times:
        if at >= washed + run:
            washed += run
        ends = washed if at < washed else washed + run
        off = ends - BACKWASH <= at < ends
        age = (at - (washed if at >= washed else washed - run)) / timedelta(hours=1)
        ripening = 0.24 * max(0.0, 1 - age / 1.5)
        value = 0.052 + 0.0004 * age + ripening + abs(random.gauss(0, 0.003))
        found.append((f"{value:.3f}", "BACKWASH" if off else "ON LINE"))
    _put_events(month, FILTERS[0], found)
    return found


def _filter_2(month: Month, random: Random) -> list[tuple[str, str]]:
    """It is washed every night; around the film on its window the recordings are those of the doubt."""
    doubted = _doubted(month)
    found = []
    for at in month.times:
        clock = at.astimezone(ZONE)
        minute = clock.hour * 60 + clock.minute
        age = (minute - WASHED_UNTIL) % 1440
        value = 0.078 + 0.16 * 2.0 ** (-age / 45) + random.gauss(0, 0.002)
        off = WASHED_UNTIL - BACKWASH / timedelta(minutes=1) <= minute < WASHED_UNTIL
        found.append((doubted.get(at, f"{value:.3f}"), "BACKWASH" if off else "ON LINE"))
    return found


def _doubted(month: Month) -> dict[datetime, str]:
    """Return the recordings of filter 2 that the doubt of the month keeps: both exports hold the same."""
    lines = doubt_visit(month.first, "", "").shown.splitlines()[1:]
    cells = (line.split(",") for line in lines)
    return {datetime.fromisoformat(at).astimezone(UTC): value for at, value, _flag in cells if value}


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
    (day,) = (day for tag, day, _clock, _values in EVENTS if tag == FILTERS[0])
    rows += ["", "[[followed]]", text("what", f"profile.{FILTERS[0]}.{month.name}-{day:02d}")]
    rows += [text("done", f"{month.name}-{day + 3:02d} 15:00")]
    rows += [text("how", "by T-11, from one backwash to the next, folder 7 (invented)")]
    rows += part("status", state="in service")
    return written(rows)
