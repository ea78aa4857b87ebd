"""Run a record again and say in one of four answers what came out.

*reproduced*, *differs as announced* (every difference stands in the list of changes to computed values),
*differs, unexplained*, *could not run, because*. Streams well: one record in, one answer out.
"""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fnmatch import fnmatchcase
from functools import cache
from importlib.resources import files
from typing import Any

from wqverify.errors import ResultsDiffer, WqverifyError
from wqverify.procedures import PROCEDURES
from wqverify.records.canonical import digest, plain_from, record_from, to_plain
from wqverify.records.earlier_labels import as_worded
from wqverify.records.record import FORMAT, Case, compute, draft, insist_on_given, typst_version
from wqverify.terms import Procedure, Raw, Record, Result, Slices


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
class ThenNow:
    """One check as it was recorded and as it would be today, in words; ``otherwise``: decided otherwise."""

    key: str
    label: str
    then: str
    now: str
    otherwise: bool


@dataclass(frozen=True)
class AsNow:
    """A record computed with what is known today; ``taken`` says what of today, empty for nothing new."""

    taken: tuple[str, ...] = ()
    checks: tuple[ThenNow, ...] = ()  # that are not as they were
    reason: str = ""  # why it could not be computed so


@dataclass(frozen=True)
class Rerun:
    """The answer for one record."""

    number: str
    answer: Answer
    reason: str = ""
    differences: tuple[Difference, ...] = ()
    page: str = ""  # what was found about the page, empty when it was not asked for
    note: str = ""  # what the book says of a record that does not stand any more
    now: AsNow | None = None  # None: not asked for

    def sentence(self) -> str:
        """Return the answer as one line."""
        because = f", because {self.reason}" if self.answer is Answer.COULD_NOT else ""
        more = f": {self.reason}" if self.reason and not because else ""
        page = f" ({self.page})" if self.page else ""
        note = f"; this record is {self.note}" if self.note else ""
        return f"{self.answer}{because}{more}{page}{note}"


@cache
def announced_changes() -> tuple[AnnouncedChange, ...]:
    """Return the list of changes to computed values that ships with the package."""
    text = (files("wqverify") / "records" / "changes.toml").read_text("utf-8")
    rows = tomllib.loads(text).get("change", [])
    return tuple(AnnouncedChange(**{**row, "places": tuple(row["places"])}) for row in rows)


# What a record from elsewhere may break in a computation; anything else is a fault of this program.
BROKEN = (ValueError, ArithmeticError, LookupError, TypeError, AttributeError, RecursionError)


def rerun(
    record: bytes,
    slices: Callable[[], Slices] = dict,
    *,
    procedures: Mapping[str, Procedure] = PROCEDURES,
    changes: Sequence[AnnouncedChange] | None = None,
    whole: bool = False,
) -> Rerun:
    """Repeat the calculation of a record from its bytes and compare every value of the result.

    ``slices`` gives what was attached and is called only for a record that names some. ``whole`` compares
    the rest of the record as well: a record from a file must say what its sheet says, and name every
    standard, person and table it was computed with. Stored bytes are held by the book's digest.
    """
    try:
        made = record_from(record)
    except ResultsDiffer as problem:
        return Rerun(_number(record), Answer.COULD_NOT, problem.message)
    procedure = procedures.get(made.procedure)
    if made.format != FORMAT:
        return Rerun(made.number, Answer.COULD_NOT, f"format {made.format} is not known to this version")
    if procedure is None:
        return Rerun(made.number, Answer.COULD_NOT, f"this version has no procedure {made.procedure}")
    if not 1 <= made.revision <= procedure.revision:
        reason = (
            f"it was made with revision {made.revision} of {procedure.name}, this version knows "
            f"{procedure.revision}; use the newer version"
        )
        return Rerun(made.number, Answer.COULD_NOT, reason)
    try:
        sheet = upgraded(procedure, dict(made.sheet), made.revision)
        case = Case(procedure, sheet, made.given, slices() if made.given.attached else {})
        result = compute(case)
        now = _again(case, result, made) if whole and made.revision == procedure.revision else None
    except WqverifyError as problem:
        return Rerun(made.number, Answer.COULD_NOT, problem.message)
    except BROKEN as problem:
        reason = f"what it holds cannot be computed with ({type(problem).__name__}: {problem})"
        return Rerun(made.number, Answer.COULD_NOT, reason)
    return compared(record, made, result, now, procedure, changes)


def _number(record: bytes) -> str:
    try:
        return str(plain_from(record)["number"])
    except (ValueError, KeyError, TypeError):
        return "?"


def _again(case: Case, result: Result, made: Record) -> Record:
    """The record as it would be made today, with what only its own entry could give it."""
    insist_on_given(case)
    today = draft(case, result)
    return replace(
        today,
        entries=as_worded(case.procedure.name, today.entries, made.entries),
        number=made.number,
        entered=made.entered,
        software=made.software,
        previous=made.previous,
        attachments=made.attachments,
    )


def upgraded(procedure: Procedure, sheet: Raw, revision: int) -> Raw:
    """Return a raw sheet of an older revision as the newest one, step by step."""
    for step in range(revision, procedure.revision):
        sheet = procedure.upgrade[step](sheet)
    return sheet


def compared(
    record: bytes,
    made: Record,
    result: Result,
    now: Record | None,
    procedure: Procedure,
    changes: Sequence[AnnouncedChange] | None = None,
) -> Rerun:
    """Return the answer for a record and its result of today; ``now`` is the whole record of today."""
    if result == made.result and now in (None, made):
        return Rerun(made.number, Answer.REPRODUCED)
    was = plain_from(record)
    differences = list(_in_result(was["result"], to_plain(result)))
    if now is not None:
        rest = {key: value for key, value in to_plain(now).items() if key != "result"}
        differences += differing({key: value for key, value in was.items() if key != "result"}, rest)
    if not differences:
        return Rerun(made.number, Answer.REPRODUCED)
    since = [
        c
        for c in (announced_changes() if changes is None else changes)
        if c.procedure == procedure.name and made.revision < c.revision <= procedure.revision
    ]
    places = [place for change in since for place in change.places]
    open_ones = [d for d in differences if not any(fnmatchcase(d.path, place) for place in places)]
    if open_ones:
        first = open_ones[0]
        reason = f"{first.path} was {first.was}, is now {first.now}"
        if len(open_ones) > 1:
            reason += f", and {len(open_ones) - 1} more"
        return Rerun(made.number, Answer.UNEXPLAINED, reason, tuple(differences))
    told = [f"{c.direction} by about {c.about} since revision {c.revision} ({c.why})" for c in since]
    return Rerun(made.number, Answer.AS_ANNOUNCED, "; ".join(told), tuple(differences))


def _in_result(was: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[Difference]:
    """Checks and values are compared by their keys, so that one more does not make all others differ."""
    kinds = ("checks", "values")
    rest = [{k: v for k, v in result.items() if k not in kinds} for result in (was, now)]
    yield from differing(rest[0], rest[1])
    for kind in kinds:
        keys = [[item["key"] for item in result.get(kind, ())] for result in (was, now)]
        twice = [key for key in keys[0] if keys[0].count(key) > 1]
        if twice:
            yield Difference(f"{kind}/{twice[0]}", "there twice", "there once")
        both = [[key for key in one if key in keys[0] and key in keys[1]] for one in keys]
        if not twice and both[0] != both[1]:
            yield Difference(f"{kind}/order", _short(both[0]), _short(both[1]))
        by_key = [{item["key"]: item for item in result.get(kind, ())} for result in (was, now)]
        yield from differing(by_key[0], by_key[1], kind)


_ABSENT = object()


def differing(was: Any, now: Any, path: str = "") -> Iterator[Difference]:
    """Yield the places where plain data differ; floats may differ by 1e-9 (another machine's libm).

    A key that one side lacks is as its empty default on the other: a field that a later version added.
    """
    if isinstance(was, dict) and isinstance(now, dict):
        for key in sorted(was.keys() | now.keys()):
            a, b = was.get(key, _ABSENT), now.get(key, _ABSENT)
            if (a is _ABSENT or b is _ABSENT) and not ((a is not _ABSENT and a) or (b is not _ABSENT and b)):
                continue
            yield from differing(a, b, f"{path}/{key}" if path else key)
    elif isinstance(was, list) and isinstance(now, list) and len(was) == len(now):
        for index, (a, b) in enumerate(zip(was, now, strict=True)):
            yield from differing(a, b, f"{path}/{index}")
    elif _is_number(was) and _is_number(now):
        if not math.isclose(was, now, rel_tol=1e-9, abs_tol=1e-15):
            yield Difference(path, repr(was), repr(now))
    elif was != now or type(was) is not type(now):
        yield Difference(path, _short(was), _short(now))


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _short(value: Any) -> str:
    text = "absent" if value is _ABSENT else value if isinstance(value, str) else json.dumps(value)
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
        return True, f"page not compared: made with {made.software.typst}, here {here}"
    if make_page(made, record, others).rstrip() != page.rstrip():
        return False, "the page is not the one this record gives"
    if places:
        expected = signature_places(made, record, others)
        for role, (number, box) in places.items():
            if role not in expected or (number, box) != (expected[role][0], _whole(expected[role][1])):
                return False, f"the signature of the {role.lower()} is not shown at its place"
    return True, "page compared byte for byte"
