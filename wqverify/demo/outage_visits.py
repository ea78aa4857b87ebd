"""The outage of the filter analyzer that waits a day for its gasket: grabs in its place until it is returned.

Nothing here is judged: what a technician enters over two days, the outcomes from wqverify. The register has
to say within how many days AIT-2202 must be back (outage_working_days), or that is not evaluated.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from random import Random

from wqverify.demo.sheet import (
    OPERATOR,
    Visit,
    later,
    not_done,
    number_of,
    opening,
    part,
    signal,
    text,
    written,
)

SEED = 2202
TAG, SERIAL, BY = "AIT-2202", "EL-0523", "T-07"
OPENED, RETURNED = "turbidity 12 AIT-2202", "turbidity 13 AIT-2202"
NIGHT = "Perrin Vale"
# Clocks at which a grab was taken: none within the hours that are skipped or repeated when clocks change.
FIRST_DAY = ("09:50", "13:30", "17:20", "21:05")
SECOND_DAY = ("00:50", "04:40", "08:25")


def outage_visits(month: date) -> Iterator[Visit]:
    """Yield the outage of a month; its sheet is begun on the 12th and complete on the 13th."""
    random = Random(SEED)
    first, second = month.replace(day=12), month.replace(day=13)
    rows = opening(
        "monitor_outage",
        TAG,
        SERIAL,
        first,
        "09:46",
        BY,
        reason="call-out",
        method="EPA 180.1 rev. 2.0 as in Ellodale procedure EP-24",
        finished=f"{second} 11:20",
    )
    rows += part("clocks", laptop="09:46", control_system="09:47")
    rows += part("cautions", read="yes")
    rows += part("operations_told", who=OPERATOR, how="radio", at="09:47")
    known = "failed as found against the secondary standard, then its flow cell leaked"
    rows += part("failed", at="09:20", known_by=known, record=number_of(OPENED))
    rows += part("condition", as_arrived="flow cell open, sample line shut", alarms="none")
    rows += not_done("output_held", "held since the check that failed, released by the check of tomorrow")
    rows += not_done("loop_in_manual", "no dosing is controlled from this analyzer")
    rows += not_done("alarm_blocked", "no alarm on it")
    for at in FIRST_DAY:
        rows += _grab(random, at, NIGHT if at > "18:00" else "Ines Quarrow")
    for at in SECOND_DAY:
        rows += _grab(random, f"{second} {at}", NIGHT if at < "06:00" else "Ines Quarrow")
    rows += part("returned", record=number_of(RETURNED), shown="0.087", at=f"{second} 11:14")
    rows += signal("0.087", "0.087", 4 + 16 * 0.087 / 5, f"{second} 11:15")
    rows += part("operations_told_after", who=OPERATOR, how="radio", at=f"{second} 11:16")
    rows += part("status", state="in service")
    story = "out for a day: a grab every 4 h until the gasket is in and a check returns it"
    # Entered on the day after, when the record that returned it has its number.
    yield Visit(month.replace(day=14), f"outage {TAG}", TAG, written(rows), story)


def _grab(random: Random, at: str, by: str) -> list[str]:
    day, clock = at[:-5], at[-5:]
    rows = ["", "[[grab]]", text("collected", at), text("collected_by", by), text("instrument", "L-4")]
    rows += [text("result", f"{random.uniform(0.07, 0.10):.2f} NTU"), text("method", "EPA 180.1 rev. 2.0")]
    return [*rows, text("analysed", f"{day}{later(clock, 12)}")]
