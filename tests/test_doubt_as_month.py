"""A doubt counts what a month counts: the same recordings, values every four hours, grabs."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from doubt_example import FACTS, TAG, ZONE, cited, failed, given, good, iso, judged, notes, run, sheet

from wqverify.calculations.turbidity_rule import due_times, exceeds, spot_values, with_grabs
from wqverify.procedures.month_case import channel_of
from wqverify.procedures.month_records import grabs_of_outages
from wqverify.procedures.month_rules import Span
from wqverify.procedures.month_sheet import Combined
from wqverify.terms import Cited, Window

MARCH = Span(
    "2026-03",
    datetime(2026, 3, 1, tzinfo=ZONE),
    datetime(2026, 4, 1, tzinfo=ZONE),
    ZoneInfo("America/Chicago"),
)
WORST = {"time": "worst case", "level": "offset", "start": "taken as none", "why": "to try"}
# The time of a doubt that is counted here: the whole days between the two checks.
COUNTED = {"counted_from": "2026-03-02 00:00", "counted_to": "2026-03-30 23:59"}
CFE = {"what": "95 % of the values", "each": "one every 4 h", **COUNTED}


def noise(every: int = 15, seed: int = 7, flags: tuple[str, ...] = ("", "good", "BAD")) -> bytes:
    """A month of recordings whose stamps wander, some missing, some flagged."""
    random, at = Random(seed), datetime(2026, 3, 1, tzinfo=ZoneInfo("UTC")) + timedelta(hours=6)
    lines = ["time,value,flag"]
    while at < datetime(2026, 4, 1, 6, tzinfo=ZoneInfo("UTC")):
        wandered = at + timedelta(seconds=random.randrange(-25 * every, 25 * every))
        value = f"{random.choice((0.05, 0.28, 0.31, 0.4, 1.2)):.3f}" if random.random() < 0.95 else ""
        flag = random.choices(flags, (90, 5, 5))[0]
        if random.random() < 0.97:
            lines.append(f"{wandered:%Y-%m-%dT%H:%M:%SZ},{value},{flag}")
        at += timedelta(minutes=every)
    return ("\n".join(lines) + "\n").encode()


def outage(since: str, until: str, grabs: str = "") -> Cited:
    facts = {**FACTS, "verifies": "no", "outage.from": iso(since), "outage.until": iso(until)}
    return cited("L1-2026-0115", since, procedure="monitor_outage", facts={**facts, "outage.grabs": grabs})


OTHERS = (
    cited("L1-2026-0110", "2026-03-09 03:40", ended_at="2026-03-09 04:30"),  # a standard, no hold entered
    cited(
        "L1-2026-0111", "2026-03-12 07:00", procedure="grab_comparison",
        windows=(Window("output held", iso("2026-03-12 07:30"), iso("2026-03-12 12:30")),),
    ),
    outage(
        "2026-03-20 07:00", "2026-03-21 09:00",
        f"{iso('2026-03-20 08:10')} 0.45; {iso('2026-03-20 12:05')} <0.02; {iso('2026-03-20 23:00')} 1.30",
    ),
)  # fmt: skip


def as_a_month(slice_: bytes, *records: Cited) -> tuple[int, int, int]:
    """Values every 4 h of the counted days: within 0.3, all of them; the pairs above 1.0."""
    raw = sheet()
    known = given(raw, failed(), good(), *records, slice_=slice_)
    known = replace(known, trends=(replace(known.trends[0], path="combined.export"),))
    combined = Combined.model_construct(export="march.csv", off_when=None, left_out=(), grabs=())
    channel = channel_of(combined, "combined", TAG, MARCH, known, {"trend-1.csv": slice_})
    first, last = (datetime(2026, 3, day, tzinfo=ZONE) for day in (2, 31))
    dues = [due for due in due_times("2026-03", ZONE) if first <= due.start < last]
    grabs = [one for one in grabs_of_outages(TAG, MARCH, known) if first <= one.at < last]
    found = with_grabs(spot_values(channel.recordings, dues, channel.spans, channel.apart / 2), grabs)
    values = [one.value for one in found if one.value is not None]
    inside = [one for one in channel.runs(Decimal("1.0")) if first <= one.recordings[0].at < last]
    return (
        sum(not exceeds(value, Decimal("0.3")) for value in values),
        len(values),
        sum(run.pairs for run in inside),
    )


@pytest.mark.parametrize("every", [1, 5, 15])
@pytest.mark.parametrize("seed", [7, 8])
def test_values_every_4_h_and_pairs_are_those_of_the_month(every: int, seed: int) -> None:
    slice_ = noise(every, seed)
    within, count, pairs = as_a_month(slice_, *OTHERS)
    uses = [CFE, {"what": "two in a row", **COUNTED}]
    result = run(sheet(model=WORST, used=uses), failed(), good(), *OTHERS, slice_=slice_)
    assert 100 < count < 174  # 29 days of six, some of them missing
    assert pairs > 0
    shown, _ = judged(result, "as_recorded.1")
    assert Decimal(shown) == (Decimal(100) * within / count).quantize(Decimal("0.000001")).normalize()
    assert f"{count - within} beyond of {count} as recorded" in notes(result)
    assert judged(result, "as_recorded.2")[0] == str(pairs)


HIGHEST = {"what": "never above", "limit": "0.5"}


def quarter_hours(special: str, value: str, flag: str = "") -> bytes:
    """March every 15 min at 0.1, one row of another value and flag."""
    at, lines = datetime(2026, 3, 1, 14, tzinfo=ZoneInfo("UTC")), ["time,value,flag"]
    there = datetime.fromisoformat(iso(special))
    while at < datetime(2026, 4, 1, tzinfo=ZoneInfo("UTC")):
        here = (value, flag) if at == there else ("0.1", "")
        lines.append(f"{at:%Y-%m-%dT%H:%M:%SZ},{','.join(here)}")
        at += timedelta(minutes=15)
    return ("\n".join(lines) + "\n").encode()


def highest(slice_: bytes, *records: Cited, **more: Any) -> tuple[str, str]:
    """The highest value as recorded, and all that is said."""
    result = run(sheet(model=WORST, used=[HIGHEST]), failed(), good(), *records, slice_=slice_, **more)
    return judged(result, "as_recorded.1")[0], notes(result)


@pytest.mark.parametrize(
    ("flag", "shown"), [("BAD", "0.1"), ("", "0.9"), ("Good", "0.9"), ("ON LINE", "0.9")]
)
def test_what_is_flagged_does_not_count(flag: str, shown: str) -> None:
    found, said = highest(quarter_hours("2026-03-10 04:00", "0.9", flag))
    assert found == shown
    assert ("1 left out, flagged BAD" in said) == (flag == "BAD")


@pytest.mark.parametrize(
    ("at", "shown"), [("03:45", "0.9"), ("04:00", "0.1"), ("04:15", "0.1"), ("04:30", "0.9")]
)
def test_a_check_on_a_standard_without_a_hold_is_left_out_from_its_beginning_to_its_end(
    at: str, shown: str
) -> None:
    visit = cited("L1-2026-0110", "2026-03-10 04:00", ended_at="2026-03-10 04:30")
    found, said = highest(quarter_hours(f"2026-03-10 {at}", "0.9"), visit)
    assert found == shown
    assert (
        "5 left out, turbidity standard check, no hold entered" in said
    )  # two, and three of the failed check
    assert "L1-2026-0110 (2026-03-10 04:00) holds no time of a held output" not in said


def test_an_outage_is_left_out_and_its_grabs_count_for_the_highest() -> None:
    out = outage("2026-03-10 04:00", "2026-03-11 04:00")
    assert highest(quarter_hours("2026-03-10 04:00", "0.9"), out)[0] == "0.1"
    assert highest(quarter_hours("2026-03-11 04:00", "0.9"), out)[0] == "0.9"
    grab = outage("2026-03-10 04:00", "2026-03-11 04:00", f"{iso('2026-03-10 08:00')} 0.7")
    assert highest(quarter_hours("2026-03-10 04:00", "0.9"), grab)[0] == "0.7"


def test_a_grab_stands_for_a_value_and_no_error_is_taken_off_it() -> None:
    grab = outage("2026-03-10 04:00", "2026-03-11 04:00", f"{iso('2026-03-10 08:00')} 0.7")
    model = {"time": "worst case", "level": "offset", "why": "to try"}
    result = run(
        sheet(model=model, used=[CFE]),
        failed(),
        good(),
        grab,
        slice_=quarter_hours("2026-03-10 04:00", "0.9"),
    )
    assert "174 values due, 168 recorded, grabs of an outage stand for 1" in notes(result)
    assert "1 beyond of 169 as recorded; of the values 0 decide otherwise" in notes(result)


def test_the_order_in_which_the_records_are_at_hand_changes_nothing() -> None:
    """A record that is run again has them in the order of their numbers; a hold and an outage overlap."""
    held = cited(
        "L1-2026-0140", "2026-03-10 03:00", procedure="grab_comparison",
        windows=(Window("output held", iso("2026-03-10 03:30"), iso("2026-03-10 12:30")),),
    )  # fmt: skip
    out = outage("2026-03-10 04:00", "2026-03-11 04:00")
    known, slice_ = [failed(), good(), held, out], quarter_hours("2026-03-10 04:00", "0.9")
    uses = [CFE, HIGHEST, {"what": "two in a row", "limit": "0.05"}]
    first = run(sheet(model=WORST, used=uses), *known, slice_=slice_)
    assert run(sheet(model=WORST, used=uses), *reversed(known), slice_=slice_) == first
