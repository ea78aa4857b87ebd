"""What was taken out of use and not taken back, as sheets and records state it."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from typing import Any

from wqverify.errors import CorrectTheEntry, RepairTheFolder
from wqverify.plant.clock import resolve
from wqverify.procedures import PROCEDURES
from wqverify.procedures.tail import OUT_OF_SERVICE
from wqverify.procedures.tail import OUT_OF_USE as PARTS

OUT_OF_USE = tuple((done, undone, called.replace(" ", " still ", 1)) for done, undone, called in PARTS)


@dataclass(frozen=True)
class Where:
    """The visit or record that something is known from; ``sheet`` is relative to the plant folder."""

    tag: str
    procedure: str
    by: str = ""
    sheet: str = ""
    number: str = ""  # of the record; empty for a sheet

    @property
    def title(self) -> str:
        """What the procedure is called; its name where this version does not know it."""
        return PROCEDURES[self.procedure].title if self.procedure in PROCEDURES else self.procedure


@dataclass(frozen=True)
class OutOfUse:
    """Something that was taken out of use and not taken back: since when, and why it was left so."""

    what: str  # "output still held", "out of service"
    where: Where
    since: datetime | None
    left_because: str = ""
    problem: str = ""  # why nobody can tell since when


def left_by_visit(where: Where, raw: Mapping[str, Any], zone: tzinfo) -> Iterator[OutOfUse]:
    """Give what a visit took out of use and has not taken back, from its answers as typed."""
    for done, undone, what in OUT_OF_USE:
        typed = _typed_time(raw, done)
        if not typed or _typed_time(raw, undone):
            continue
        one = OutOfUse(what, where, None, _because(raw, undone))
        try:
            yield replace(one, since=resolve(str(raw.get("date", "")), typed, zone))
        except CorrectTheEntry as problem:
            yield replace(one, problem=problem.message)


def left_by_records(tag: str, newest_first: Iterable[tuple[str, bytes]]) -> Iterator[OutOfUse]:
    """Give what the records of an analyzer left out of use: of each kind as the newest that states it says.

    A record that does not speak of a hold says nothing of it: what an older one left held is still held.
    Records are read until each kind is settled. Raises RepairTheFolder for one that is no record.
    """
    waiting = {what: _marks(f'"{done}":{{"at":', f'"{undone}":{{"at":') for done, undone, what in OUT_OF_USE}
    waiting[OUT_OF_SERVICE] = _marks('"status":{')
    service: OutOfUse | None = None
    for number, data in newest_first:
        if not waiting:
            break
        if not any(mark in data for marks in waiting.values() for mark in marks):
            continue  # hundreds may lie between: a look at the bytes is enough for those
        stated = _stated(tag, number, data)
        for what in [what for what in stated if what in waiting]:
            one = stated[what]
            if what == OUT_OF_SERVICE and one is not None:
                # The newest says why; since when, the first of those that say so one after the other.
                service = replace(service or one, since=one.since)
                continue
            del waiting[what]
            if one is not None:
                yield one
    if service is not None:
        yield service


def _marks(*texts: str) -> tuple[bytes, ...]:
    """Return what stands in the canonical bytes of a record that speaks of something."""
    return tuple(text.encode() for text in texts)


def _stated(tag: str, number: str, data: bytes) -> dict[str, OutOfUse | None]:
    """Return what a record states of each kind: how it was left out of use, or None where it is in use."""
    found: dict[str, OutOfUse | None] = {}
    try:
        record = json.loads(data)
        sheet, times = record["sheet"], record["given"]["times"]
        where = Where(tag, record["procedure"], record["performed_by"], number=number)
        for done, undone, what in OUT_OF_USE:
            if _typed_time(sheet, undone):
                found[what] = None
            elif _typed_time(sheet, done):
                since = datetime.fromisoformat(times[f"{done}.at"])
                found[what] = OutOfUse(what, where, since, _because(sheet, undone))
        if "status" in sheet:
            facts = record.get("result", {}).get("facts", {})
            began = facts.get("outage.from") if not facts.get("outage.until") else None
            latest = max(map(datetime.fromisoformat, [began] if began else times.values()))
            is_out = sheet["status"]["state"] == OUT_OF_SERVICE
            left = OutOfUse(OUT_OF_SERVICE, where, latest, sheet["status"].get("note", ""))
            found[OUT_OF_SERVICE] = left if is_out else None
    except (ValueError, KeyError, TypeError) as problem:
        raise RepairTheFolder(
            f"What the book keeps of record {number} of {tag} is no record; run `wqverify book examine`, and "
            f"put back the newest good copy of the book.",
            found=number,
        ) from problem
    return found


def _typed_time(raw: Mapping[str, Any], part: str) -> str:
    said = raw.get(part)
    typed = said.get("at") if isinstance(said, dict) else None
    return typed if isinstance(typed, str) else ""


def _because(raw: Mapping[str, Any], part: str) -> str:
    said = raw.get(part)
    return str(said.get("not_done", "")) if isinstance(said, dict) else ""
