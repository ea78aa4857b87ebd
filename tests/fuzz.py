"""Throw damaged sheets, records and pages at the readers: an answer or a sentence comes out, no traceback.

Bytes are damaged, and so is what they say: entries left out, doubled, exchanged, of another type.

python tests/fuzz.py [SECONDS] [SEED]     not collected by pytest; prints its seed, counts and every escape.
"""

from __future__ import annotations

import contextlib
import copy
import faulthandler
import json
import random
import resource
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

from plant_example import NOW, bytes_of, case_of, plant_in

from wqverify import acts
from wqverify.errors import WqverifyError
from wqverify.gather import gather
from wqverify.plant.folder import Plant
from wqverify.procedures.sheets import parse
from wqverify.records.record import Case, compute, draft
from wqverify.records.rerun import Answer, rerun
from wqverify.signing.examine import examine

SECONDS = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
SEED = int(sys.argv[2]) if len(sys.argv) > 2 else random.randrange(10**6)
ODD = [
    "0", "-0", "-1", "7,05", "7.0O", "1e3", "nan", "inf", "9" * 400, "７.05", "\x00", "\u202e", "\u2028",
    "7.05 pH", "[", "]", "{", "}", "=", '"', "'", "\\", "\\u0000", "not_done", "same_as", "as_found", "25:61",
    "2026-02-30", "01:30", "AIT-2101", "B7-4471", "information only", "yes", "null", "true", "1.5",
]  # fmt: skip
# Values of a sheet, of no sheet, and of another type; the long number is one that JSON can hold.
OTHER: list[Any] = [
    *ODD, "7.00", "14", "-14", "0.000001", "9999999.999999", "50", "08:20", "23:59", "2026-05-04 00:10",
    "after_cleaning", "B10-2188", "B10-1990", "T-17", "M-3", "offset", "two-point", "replace", "leave alone",
    "grab", "L1-2026-0001", None, True, 1, 1.5, -1, 1e308, 10**400, [], {}, [[]], [{}],
    {"not_done": "x"}, {"same_as": "as_found"},
]  # fmt: skip
NAMES = ["x", "not_done", "same_as", "use", "at", "mv", "control_system", "temperature_c"]


def damaged(data: bytes, rng: random.Random) -> bytes:
    """Return bytes with one to four small damages: flips, cuts, doubled lines, swapped values."""
    out = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        if not out:
            break
        at, kind = rng.randrange(len(out)), rng.randrange(6)
        if kind == 0:
            out[at] ^= 1 << rng.randrange(8)
        elif kind == 1:
            del out[at : at + rng.randint(1, 40)]
        elif kind == 2:
            out[at:at] = rng.choice(ODD).encode()
        elif kind == 3:
            lines = bytes(out).split(b"\n")
            lines.insert(rng.randrange(len(lines)), rng.choice(lines))
            out = bytearray(b"\n".join(lines))
        elif kind == 4:
            pieces = bytes(out).split(b'"')
            if len(pieces) > 2:
                pieces[rng.randrange(1, len(pieces), 2)] = rng.choice(ODD).encode()
            out = bytearray(b'"'.join(pieces))
        else:
            del out[rng.randrange(len(out)) :]
    return bytes(out)


def places(tree: Any, place: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the place of everything below the root."""
    items = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, value in items:
        yield (*place, key)
        yield from places(value, (*place, key))


def at(tree: Any, place: tuple[Any, ...]) -> Any:
    for key in place:
        tree = tree[key]
    return tree


def rearranged(tree: Any, rng: random.Random) -> Any:
    """Return plain data with one to three entries left out, replaced, doubled, renamed or shuffled."""
    tree = copy.deepcopy(tree)
    for _ in range(rng.randint(1, 3)):
        known = list(places(tree))
        if not known:
            break
        *group, key = rng.choice(known)
        holder, kind = at(tree, tuple(group)), rng.randrange(5)
        if kind == 0:
            del holder[key]
        elif kind == 1:
            holder[key] = copy.deepcopy(rng.choice(OTHER))
        elif kind == 2:
            holder[key] = copy.deepcopy(at(tree, rng.choice(known)))
        elif isinstance(holder, dict):
            holder[rng.choice(NAMES)] = holder.pop(key) if kind == 3 else copy.deepcopy(holder[key])
        elif kind == 3:
            holder.insert(key, copy.deepcopy(holder[key]))
        else:
            rng.shuffle(holder)
    return tree


def computed(plant: Plant, case: Case, sheet: Any) -> None:
    """Do with a sheet what ``acts.perform`` does before it enters anything."""
    parse(case.procedure, sheet)
    now = Case(case.procedure, sheet, *gather(plant, None, case.procedure, sheet))
    draft(now, compute(now))


def main() -> int:
    resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30))  # what eats the memory is an escape, too
    faulthandler.dump_traceback_later(SECONDS + 60, exit=True)  # and so is what does not end
    rng = random.Random(SEED)
    counted: Counter[str] = Counter()
    escaped = 0
    with tempfile.TemporaryDirectory() as folder:
        plant = plant_in(Path(folder) / "plant")
        sheets = [path.read_bytes() for path in sorted((plant.folder / "field_sheets").glob("*.toml"))]
        names = ("pass", "fail", "close", "information", "night")
        cases, records = [case_of(plant, name) for name in names], [bytes_of(plant, name) for name in names]
        page = (Path(__file__).parent / "old_records" / "record_1.pdf").read_bytes()
        trial = plant.folder / "field_sheets" / "trial.toml"
        end = time.monotonic() + SECONDS
        while time.monotonic() < end:
            kind = rng.choices(("sheet", "answers", "record", "page"), (6, 4, 5, 1))[0]
            try:
                with contextlib.redirect_stderr(None):
                    if kind == "sheet":
                        trial.write_bytes(damaged(rng.choice(sheets), rng))
                        acts.compute_only(plant, [trial], NOW + timedelta(days=1))
                        counted["sheet computed"] += 1
                    elif kind == "answers":
                        case = rng.choice(cases)
                        computed(plant, case, rearranged(case.sheet, rng))
                        counted["answers computed"] += 1
                    elif kind == "record":
                        data = rng.choice(records)
                        if rng.random() < 0.5:
                            data = damaged(data, rng)
                        else:
                            data = json.dumps(rearranged(json.loads(data), rng), ensure_ascii=False).encode()
                        answer = rerun(data, whole=rng.random() < 0.8).answer
                        counted[f"record: {answer}"] += 1
                        if answer is Answer.AS_ANNOUNCED:
                            raise AssertionError("nothing is announced")
                    else:
                        found = examine(damaged(page, rng), None)
                        counted[f"page: {'damaged' if found.damaged else 'nothing found'}"] += 1
            except WqverifyError as problem:
                counted[f"{kind} refused"] += 1
                if not problem.message.strip() or "Traceback" in problem.message:
                    raise
            except Exception:  # what this script is for
                escaped += 1
                print(f"ESCAPED from a {kind}:")
                traceback.print_exc(limit=-3)
    print(f"seed {SEED}, {SECONDS:.0f} s, {sum(counted.values())} trials, {escaped} escaped")
    for name, number in sorted(counted.items()):
        print(f"  {number:7d}  {name}")
    return 1 if escaped else 0


if __name__ == "__main__":
    sys.exit(main())
