"""What the history of a tag over ten years of weekly checks costs, among the records of other tags.

Run: python tests/benchmarks/bench_history.py [--quick]    (520 weeks, 5 other tags; budget 1 s)

The records are those of the demo, as whole as a visit makes them; their errors and days are made up.
"""

from __future__ import annotations

import json
import random
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from plant_example import bytes_of, plant_in

from wqverify.book import open_book
from wqverify.lists import history_shown
from wqverify.lists.due import due
from wqverify.lists.history import history
from wqverify.lists.plan_kept import plan_kept
from wqverify.plant.folder import Plant
from wqverify.records.canonical import canonical

FIRST = date(2016, 6, 6)
BUDGET_S = 1.0


def weekly(data: bytes, weeks: int, dice: random.Random) -> Iterator[tuple[str, bytes]]:
    """Yield a record week by week: its checks drift and scatter, everything else stays."""
    record = json.loads(data)
    quantities = [check["quantity"] for check in record["result"]["checks"] if check["quantity"]]
    texts = [float(one["text"]) for one in quantities]
    for week in range(weeks):
        began = f"{FIRST + timedelta(weeks=week)}T08:05-05:00"
        for one, text in zip(quantities, texts, strict=True):
            one["text"] = f"{text + 0.0005 * (week % 26) + dice.gauss(0, 0.01):.3f}"
        yield began, canonical({**record, "performed": began})


def fill(plant: Plant, name: str, tags: list[str], weeks: int) -> int:
    """Enter the weeks of all tags, in the order of the work; returns the bytes of a record."""
    dice, data = random.Random(520), bytes_of(plant, name)
    series = {tag: weekly(data, weeks, dice) for tag in tags}
    with open_book(plant.book, plant.device, create=True).writing() as writer:
        for week in range(weeks):
            for tag, rows in series.items():
                began, stored = next(rows)
                number = writer.next_number(2016 + week // 52)
                adjusted = "yes" if week % 26 == 25 else "no"
                body: dict[str, Any] = {
                    "tag": tag,
                    "serial": "EL-0417",
                    "procedure": "ph_calibration",
                    "performed": began,
                    "visit": f"{tag} {began}",
                    "by": "T-07",
                    "outcomes": [["as_found at the analyzer", "fail" if week % 26 == 25 else "pass"]],
                    "facts": {"adjusted": adjusted},
                }
                writer.append("performed", key=number, record=number, at=began, stored=stored, body=body)
    return len(data)


def timed(what: Callable[[], Any]) -> tuple[float, Any]:
    """Return the least of three runs: others may use this computer meanwhile."""
    least = float("inf")
    for _ in range(3):
        start = time.perf_counter()
        found = what()
        least = min(least, time.perf_counter() - start)
    return least, found


def main() -> None:
    weeks = 52 if "--quick" in sys.argv else 520
    others = 5
    with tempfile.TemporaryDirectory() as folder:
        plant = plant_in(Path(folder) / "plant")
        tags = ["AIT-2101", *(f"AIT-9{n:03d}" for n in range(others))]
        size = fill(plant, "pass", tags, weeks)
        print(f"{weeks} weeks of {len(tags)} tags, {size} bytes a record")
        history(plant, "AIT-2101")  # what is imported when it is first used is no part of it
        spent, found = timed(lambda: history(plant, "AIT-2101"))
        print(f"history of one tag               {spent:6.3f} s of {BUDGET_S:.1f} s")
        shown, _ = timed(
            lambda: [history_shown.section(found, heading) for heading in history_shown.HEADINGS]
        )
        print(f"its lists                        {shown:6.3f} s")
        from datetime import UTC, datetime

        now = datetime(2026, 6, 1, 12, tzinfo=UTC)
        print(f"what is due                      {timed(lambda: due(plant, now))[0]:6.3f} s")
        print(f"how the plan of a month was kept {timed(lambda: plan_kept(plant, '2026-05', now))[0]:6.3f} s")
        sys.exit(spent + shown > BUDGET_S)


if __name__ == "__main__":
    main()
