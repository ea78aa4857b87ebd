"""The doubt that the fouled window of filter 2 opens in the synthetic month: sheet and recorded values.

The values come from a seeded model, the decisions from wqverify. A film grew over the week before the check
that found it, so the analyzer read high; a short breakthrough came on top. From the check to the day after,
when its cell is tight again, the output is held.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from random import Random
from zoneinfo import ZoneInfo

from wqverify.demo.sheet import OPERATOR, Visit, not_done, number_of, opening, part, text, written

SEED = 2202
TAG, SERIAL = "AIT-2202", "EL-0523"
BY = "T-07"
GOOD_DAY, FAILED_DAY, BACK_DAY, DAY = 5, 12, 13, 14  # of the month: good, failed, back in service, the doubt
ENDED, BEGAN, HELD, RELEASED = "09:46", "09:05", "09:11", "11:02"
ZONE = ZoneInfo("America/Chicago")  # of the plant
STEP = timedelta(minutes=15)
FILM = 0.127  # share of the value that the film adds in the end


def doubt_visits(month: date) -> Iterator[Visit]:
    """Yield the doubt of the month, which names the two checks by their visits."""
    yield doubt_visit(
        month, number_of(f"turbidity {FAILED_DAY} {TAG}"), number_of(f"turbidity {GOOD_DAY} {TAG}")
    )


def doubt_visit(month: date, failed: str, last_good: str) -> Visit:
    """Return the sheet of the doubt and its export, for the numbers of the failed and the good check."""
    day = month.replace(day=DAY)
    since = f"{month.replace(day=GOOD_DAY).isoformat()} {ENDED}"
    until = f"{month.replace(day=BACK_DAY).isoformat()} {RELEASED}"
    event = f"{month.replace(day=9).isoformat()} 03:30"
    export = f"{TAG} {month:%Y-%m}.csv"
    rows = opening("values_in_doubt", TAG, SERIAL, day, "10:20", BY, method="Ellodale procedure EP-50 rev. 1")
    rows += [text("trend", export)]
    rows += [text("others", "S-05 gave AIT-2201 and AIT-2210 values inside their tolerance that morning")]
    rows += part("cautions", read="yes")
    rows += part("operations_told", who=OPERATOR, how="radio", at="10:21")
    rows += part("failed", record=failed)
    rows += part("last_good", record=last_good)
    rows += part("period", basis="last good check", since=since, until=until)
    rows += part(
        "model",
        time="linear",
        level="gain",
        why="a film grows, and scatters more where there is more light; the trace shows no step",
    )
    rows += ["", "[[used]]", text("what", "two in a row")]
    rows += ["", "[[used]]", text("what", "two in a row after 4 h"), text("on_line", event)]
    rows += ["", "[[used]]", text("what", "alarm"), text("limit", "0.30"), text("direction", "above")]
    rows += [text("source", "Ellodale alarm list, item 22 (invented)")]
    rows += ["", "[[decided]]", text("decision", "correct"), text("decided_by", "S-02")]
    rows += [text("why", "the film is seen, its size measured, and the values stand beside as recorded")]
    rows += [text("report", "monthly report, remark on filter 2")]
    rows += ["", "[[decided]]", text("decision", "notify"), text("decided_by", "S-02")]
    rows += [text("why", "a pair above 1.0 NTU was about to be reported as such")]
    rows += ["", "[[informed]]", text("who", "the superintendent of Ellodale"), text("how", "phone")]
    rows += [text("at", f"{day.isoformat()} 10:05"), text("of", "pair of filter 2, recorded and corrected")]
    rows += part("prevention", what="window wiped every Monday while the coagulant is on trial")
    rows += not_done("operations_told_after", "nothing was touched")
    rows += part("status", state="in service")
    rows += part("cause", opinion="film on the window after the change of coagulant", author=BY)
    story = "a week of filter 2 without the film: the pair above 1.0 NTU is none"
    name = f"doubt {TAG}"
    return Visit(day, name, TAG, written(rows), story, trend=export, shown=_export(month, Random(SEED)))


def _export(month: date, random: Random) -> str:
    """Return the recorded values from the day before the good check to the day of the doubt."""
    rows = ["Time,AIT2202.PV (NTU),Quality"]
    at = datetime(month.year, month.month, GOOD_DAY - 1, 0, 0, tzinfo=ZONE)
    end = datetime(month.year, month.month, DAY, 12, 0, tzinfo=ZONE)
    held, released = _local(month, FAILED_DAY, HELD), _local(month, BACK_DAY, RELEASED)
    last = ""
    while at <= end:
        last = last if held <= at < released else f"{_shown(month, at, random):.3f}"
        rows.append(f"{at.isoformat()},{last},good")
        at = (at.astimezone(UTC) + STEP).astimezone(ZONE)
    return "\r\n".join(rows) + "\r\n"


def _local(month: date, day: int, clock: str) -> datetime:
    return datetime.fromisoformat(f"{month.replace(day=day).isoformat()} {clock}").replace(tzinfo=ZONE)


def _shown(month: date, at: datetime, random: Random) -> float:
    good = datetime.fromisoformat(f"{month.replace(day=GOOD_DAY).isoformat()} {ENDED}").replace(tzinfo=ZONE)
    failed = datetime.fromisoformat(f"{month.replace(day=FAILED_DAY).isoformat()} {BEGAN}").replace(
        tzinfo=ZONE
    )
    grown = min(1.0, max(0.0, (at - good) / (failed - good))) if at <= failed else 0.0
    return (1 + FILM * grown) * (_water(month, at) + random.gauss(0, 0.002))


def _water(month: date, at: datetime) -> float:
    """Return what is in the water: a backwash a day, one of them followed by a short breakthrough."""
    into_run = (at.hour * 60 + at.minute - 210) % 1440  # minutes since the filter came on line at 03:30
    ripening: float = 0.16 * 2.0 ** (-into_run / 45)
    through = 0.0
    if at.date() == month.replace(day=10):
        minute = at.hour * 60 + at.minute
        through = {870: 0.58, 885: 0.895, 900: 0.905, 915: 0.46, 930: 0.21}.get(minute, 0.0)
    return 0.078 + ripening + through
