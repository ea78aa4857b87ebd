"""The invented year of a pair of instruments that ships with the yearly review: ``python -m`` this module."""

from __future__ import annotations

import math
import random
from datetime import datetime, timedelta

COLUMNS = ("time", "bench_pH", "bench_again_pH", "AIT_2101_pH")
_FIRST = datetime(2025, 1, 6, 9, 5)
_VISITS = 104  # twice a week
_SEED = 2101


def pair_csv() -> str:
    """Return a synthetic export: a bench meter, its second reading, and AIT-2101 at the same minute.

    Water of Ellodale through the year, 6.9 to 7.9; the online meter reads 0.03 high at pH 7 and 5 % steep.
    """
    dice = random.Random(_SEED)
    rows, wander = [",".join(COLUMNS)], 0.0
    for visit in range(_VISITS):
        at = _FIRST + timedelta(days=7 * (visit // 2) + 3 * (visit % 2))
        wander = 0.8 * wander + dice.gauss(0, 0.06)
        water = 7.4 + 0.3 * math.sin(2 * math.pi * visit / _VISITS) + wander
        bench, again = (water + dice.gauss(0, 0.015) for _ in range(2))
        online = 7.03 + 1.05 * (water - 7) + dice.gauss(0, 0.02)
        rows.append(f"{at:%Y-%m-%d %H:%M},{bench:.2f},{again:.2f},{online:.2f}")
    return "\n".join([*rows, ""])


if __name__ == "__main__":
    print(pair_csv(), end="")
