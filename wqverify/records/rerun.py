"""Run a record again and say in one of four answers what came out.

*reproduced*, *differs as announced* (every difference stands in the list of changes to computed values),
*differs, unexplained*, *could not run, because*. Streams well: one record in, one answer out.
"""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fnmatch import fnmatchcase
from functools import cache
from importlib.resources import files
from typing import Any

from wqverify.errors import WqverifyError
from wqverify.procedures import PROCEDURES
from wqverify.records.canonical import digest, given_from, plain_from, record_from, to_plain
from wqverify.records.record import FORMAT, Case, compute, typst_version
from wqverify.terms import Procedure, Raw, Slices


class Answer(StrEnum):
    """What running a record again can come to."""

    REPRODUCED = "reproduced"
    AS_ANNOUNCED = "differs as announced"
    UNEXPLAINED = "differs, unexplained"
    COULD_NOT = "could not run"


@dataclass(frozen=True)
class Difference:
    """One place where the result of today is not the recorded one."""

    path: str
    was: str
    now: str


@dataclass(frozen=True)
class AnnouncedChange:
    """A change to computed values: from ``revision`` of ``procedure`` on, these places may differ."""

    procedure: str
    revision: int
    version: str
    places: tuple[str, ...]
    direction: str
    about: str
    why: str
    old_records: str


@dataclass(frozen=True)
class Rerun:
    """The answer for one record."""

    number: str
    answer: Answer
    reason: str = ""
    differences: tuple[Difference, ...] = ()
    page: str = ""  # what was found about the page, empty when it was not asked for

    def sentence(self) -> str:
        """Return the answer as one line."""
        because = f", because {self.reason}" if self.answer is Answer.COULD_NOT else ""
        more = f": {self.reason}" if self.reason and not because else ""
        page = f" ({self.page})" if self.page else ""
        return f"{self.answer}{because}{more}{page}"


@cache
def announced_changes() -> tuple[AnnouncedChange, ...]:
    """Return the list of changes to computed values that ships with the package."""
    text = (files("wqverify") / "records" / "changes.toml").read_text("utf-8")
    rows = tomllib.loads(text).get("change", [])
    return tuple(AnnouncedChange(**{**row, "places": tuple(row["places"])}) for row in rows)


def rerun(
    record: bytes,
    slices: Slices | None = None,
    *,
    procedures: Mapping[str, Procedure] = PROCEDURES,
    changes: Sequence[AnnouncedChange] | None = None,
) -> Rerun:
    """Repeat the calculation of a record from its bytes and compare every value of the result."""
    try:
        plain = plain_from(record)
        number = str(plain["number"])
    except (ValueError, KeyError, TypeError):
        return Rerun("?", Answer.COULD_NOT, "these bytes are not a record.json of this program")
    if plain.get("format") != FORMAT:
        return Rerun(number, Answer.COULD_NOT, f"format {plain.get('format')} is not known to this version")
    procedure = procedures.get(plain["procedure"])
    if procedure is None:
        return Rerun(number, Answer.COULD_NOT, f"this version has no procedure {plain['procedure']}")
    if plain["revision"] > procedure.revision:
        reason = (
            f"it was made with revision {plain['revision']} of {procedure.name}, "
            f"this version knows {procedure.revision}; use the newer version"
        )
        return Rerun(number, Answer.COULD_NOT, reason)
    try:
        raw = upgraded(procedure, plain["sheet"], plain["revision"])
        result = compute(Case(procedure, raw, given_from(plain["given"]), slices or {}))
    except WqverifyError as problem:
        return Rerun(number, Answer.COULD_NOT, problem.message)
    if to_plain(result, checked=False) == plain["result"]:
        return Rerun(number, Answer.REPRODUCED)
    now = to_plain(result)
    return _compared(number, procedure, plain, now, announced_changes() if changes is None else changes)


def upgraded(procedure: Procedure, sheet: Raw, revision: int) -> Raw:
    """Return a raw sheet of an older revision as the newest one, step by step."""
    for step in range(revision, procedure.revision):
        sheet = procedure.upgrade[step](sheet)
    return sheet


def _compared(
    number: str,
    procedure: Procedure,
    plain: Mapping[str, Any],
    now: Mapping[str, Any],
    changes: Sequence[AnnouncedChange],
) -> Rerun:
    differences = tuple(differing(_by_key(plain["result"]), _by_key(now)))
    if not differences:
        return Rerun(number, Answer.REPRODUCED)
    since = [
        c
        for c in changes
        if c.procedure == procedure.name and plain["revision"] < c.revision <= procedure.revision
    ]
    places = [place for change in since for place in change.places]
    open_ones = [d for d in differences if not any(fnmatchcase(d.path, place) for place in places)]
    if open_ones:
        first = open_ones[0]
        reason = f"{first.path} was {first.was}, is now {first.now}"
        if len(open_ones) > 1:
            reason += f", and {len(open_ones) - 1} more"
        return Rerun(number, Answer.UNEXPLAINED, reason, differences)
    reason = "; ".join(
        f"{c.direction} by about {c.about} since revision {c.revision} ({c.why})" for c in since
    )
    return Rerun(number, Answer.AS_ANNOUNCED, reason, differences)


def _by_key(result: Mapping[str, Any]) -> dict[str, Any]:
    """Checks and values by their keys, so that one more check does not make all others differ."""
    keyed = {k: v for k, v in result.items() if k not in ("checks", "values")}
    for kind in ("checks", "values"):
        keyed[kind] = {item["key"]: item for item in result[kind]}
    return keyed


def differing(was: Any, now: Any, path: str = "") -> Iterator[Difference]:
    """Yield the places where two plain results differ; floats may differ by 1e-9 (another machine's libm)."""
    if isinstance(was, dict) and isinstance(now, dict):
        for key in sorted(was.keys() | now.keys()):
            yield from differing(was.get(key), now.get(key), f"{path}/{key}" if path else key)
    elif isinstance(was, list) and isinstance(now, list) and len(was) == len(now):
        for index, (a, b) in enumerate(zip(was, now, strict=True)):
            yield from differing(a, b, f"{path}/{index}")
    elif isinstance(was, float) and isinstance(now, int | float):
        if not math.isclose(was, now, rel_tol=1e-9, abs_tol=1e-15):
            yield Difference(path, repr(was), repr(now))
    elif was != now and (was or now):  # a field that later versions added is absent or at its empty default
        yield Difference(path, _short(was), _short(now))


def _short(value: Any) -> str:
    text = "absent" if value is None else value if isinstance(value, str) else json.dumps(value)
    return text if len(text) <= 80 else text[:79] + "…"


def _whole(box: Sequence[float]) -> tuple[int, ...]:
    return tuple(round(edge) for edge in box)


def page_again(
    record: bytes,
    attachments: Mapping[str, bytes],
    page: bytes,
    places: Mapping[str, tuple[int, tuple[int, ...]]] | None = None,
) -> tuple[bool, str]:
    """Render the page from the attachments and compare byte for byte.

    ``places`` are those of the signatures in the file: a stamp as large as the page would cover it. Returns
    whether nothing speaks against the page, and what was found. Another typst writes other bytes, so then
    the page is not compared.
    """
    from wqverify.show.page import make_page, signature_places

    made = record_from(record)
    others = {name: data for name, data in attachments.items() if name != "record.json"}
    wrong = sorted(
        name
        for name in made.attachments.keys() | others.keys()
        if name not in others or digest(others[name]) != made.attachments.get(name)
    )
    if wrong:
        return False, f"the attachment {wrong[0]} is not the one the record was made with"
    here = typst_version()
    if made.software.typst != here:
        return True, f"page not compared: made with typst {made.software.typst}, here {here}"
    if make_page(made, record, others).rstrip() != page.rstrip():
        return False, "the page is not the one this record gives"
    if places:
        expected = signature_places(made, record, others)
        for role, (number, box) in places.items():
            if role not in expected or (number, box) != (expected[role][0], _whole(expected[role][1])):
                return False, f"the signature of the {role.lower()} is not shown at its place"
    return True, "page compared byte for byte"
