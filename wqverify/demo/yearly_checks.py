"""The invented year of chlorine checks that ships with the history: ``python -m`` this module FOLDER DAY.

FOLDER is a plant folder with the year of the demo in its book, DAY the first day that is left out.
"""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path

from wqverify.book import open_book, stored_of_tag
from wqverify.lists.history import plain_of
from wqverify.lists.history_series import Kept, kept_in
from wqverify.plant.folder import Plant, open_plant

TAG = "AIT-2301"
KEYS = (
    "as_found.error",
    "as_found.control_system",
    "as_left.error",
    "as_left.control_system",
    "cell.sensitivity",
)


def checks_json(plant: Plant, until: str) -> str:
    """Return the example: the records of a tag before a day, as far as the history reads them."""
    analyzer = plant.analyzers[TAG]
    rows = stored_of_tag(open_book(plant.book, plant.device), TAG)
    kept = [_short(one) for one in (kept_in(*row) for row in rows) if one.performed < until]
    serials = dict.fromkeys(one.serial for one in kept)
    head = {
        "synthetic": "an invented analyzer of the invented plant Ellodale, made by wqverify demo --year",
        "tag": TAG,
        "measures": analyzer.measures,
        "unit": analyzer.unit,
        "intervals": [
            {"serial": serial, "procedure": name, "days": days}
            for serial in serials
            for name, days in analyzer.intervals_days.items()
        ],
    }
    records = ",\n".join(json.dumps(one, ensure_ascii=False) for one in plain_of(kept))
    return f'{json.dumps(head, ensure_ascii=False)[:-1]}, "records": [\n{records}\n]}}\n'


def _short(one: Kept) -> Kept:
    return replace(one, told=tuple(told for told in one.told if told.key in KEYS))


if __name__ == "__main__":
    print(checks_json(open_plant(Path(sys.argv[1])), sys.argv[2]), end="")
