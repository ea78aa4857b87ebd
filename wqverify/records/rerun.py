"""Run a record again and say in one of four answers what came out.

*reproduced*, *differs as announced* (every difference stands in the list of changes to computed values),
*differs, unexplained*, *could not run, because*. Streams well: one record in, one answer out.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fnmatch import fnmatchcase
from functools import cache
from importlib.resources import files

from wqverify.errors import ResultsDiffer, WqverifyError
from wqverify.procedures import PROCEDURES
from wqverify.records.canonical import digest, plain_from, record_from, to_plain
from wqverify.records.code import code_digest, made_with, software_here
from wqverify.records.differences import Difference, differing, in_result
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
    sentences: tuple[Difference, ...] = ()  # that are spoken otherwise now: no values
    made_with: str = ""  # the program it was made with, where that is not the one that runs here

    def sentence(self) -> str:
        """Return the answer as one line."""
        because = f", because {self.reason}" if self.answer is Answer.COULD_NOT else ""
        more = f": {self.reason}" if self.reason and not because else ""
        page = f" ({self.page})" if self.page else ""
        note = f"; this record is {self.note}" if self.note else ""
        made = f"; made with {self.made_with}, run with {software_here()}" if self._told_of_code else ""
        return f"{self.answer}{because}{more}{page}{note}{made}"

    @property
    def _told_of_code(self) -> bool:
        return bool(self.made_with and (self.sentences or self.answer is not Answer.REPRODUCED))


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
        return _could_not(made, f"format {made.format} is not known to this version")
    if procedure is None:
        return _could_not(made, f"this version has no procedure {made.procedure}")
    if not 1 <= made.revision <= procedure.revision:
        reason = (
            f"it was made with revision {made.revision} of {procedure.name}, this version knows "
            f"{procedure.revision}; use the newer version"
        )
        return _could_not(made, reason)
    try:
        sheet = upgraded(procedure, dict(made.sheet), made.revision)
        case = Case(procedure, sheet, made.given, slices() if made.given.attached else {})
        result = compute(case)
        now = _again(case, result, made) if whole and made.revision == procedure.revision else None
    except WqverifyError as problem:
        return _could_not(made, problem.message)
    except BROKEN as problem:
        return _could_not(
            made, f"what it holds cannot be computed with ({type(problem).__name__}: {problem})"
        )
    return compared(record, made, result, now, procedure, changes)


def _could_not(made: Record, reason: str) -> Rerun:
    return Rerun(made.number, Answer.COULD_NOT, reason, made_with=made_with(made.software))


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
    plain = Rerun(made.number, Answer.REPRODUCED, made_with=made_with(made.software))
    if result == made.result and now in (None, made):
        return plain
    was = plain_from(record)
    differences = list(in_result(was["result"], to_plain(result)))
    if now is not None:
        rest = {key: value for key, value in to_plain(now).items() if key != "result"}
        differences += differing({key: value for key, value in was.items() if key != "result"}, rest)
    if not differences:
        return plain
    since = [
        c
        for c in (announced_changes() if changes is None else changes)
        if c.procedure == procedure.name and made.revision < c.revision <= procedure.revision
    ]
    places = [place for change in since for place in change.places]
    open_ones = [d for d in differences if not any(fnmatchcase(d.path, place) for place in places)]
    told = [f"{c.direction} by about {c.about} since revision {c.revision} ({c.why})" for c in since]
    announced = "; ".join(told) if len(open_ones) < len(differences) else ""
    answer, reasons = _of_differences(open_ones, made, announced)
    values, spoken = (tuple(d for d in differences if d.spoken is spoken) for spoken in (False, True))
    return replace(plain, answer=answer, reason="; ".join(reasons), differences=values, sentences=spoken)


def _of_differences(
    unannounced: Sequence[Difference], made: Record, announced: str
) -> tuple[Answer, list[str]]:
    """Return the answer for what was not announced, and its reasons.

    Another version may word a sentence otherwise: that is told apart and makes no value differ. The same
    source words all of them alike, so there another sentence is as unexplained as another value.
    """
    values = [d for d in unannounced if not d.spoken]
    spoken = [d for d in unannounced if d.spoken]
    more = f", and {len(values) - 1} more" if len(values) > 1 else ""
    reasons = [values[0].told + more] if values else [announced] if announced else []
    if spoken:
        one = len(spoken) == 1
        which = "1 sentence differs" if one else f"{len(spoken)} sentences differ"
        reasons.append(f"{which}: {spoken[0].told}" + ("" if one else f", and {len(spoken) - 1} more"))
    if values or (spoken and made.software.code == code_digest()):
        return Answer.UNEXPLAINED, reasons
    return Answer.AS_ANNOUNCED if announced else Answer.REPRODUCED, reasons


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
