"""A line of a journal, and the lines of a file: whole, torn behind the last one, half begun, or damaged."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import MISSING, dataclass, fields
from datetime import datetime
from pathlib import Path
from typing import Any, NoReturn

from wqverify.errors import CorrectTheEntry, RepairTheFolder
from wqverify.terms import JOURNAL

FORMAT = 1
ATTACHED = JOURNAL  # what it is called in a record
SUFFIX = f".{JOURNAL}"
DOINGS = (
    *("begin", "resume", "answer", "correct", "remove", "not done", "same as", "leave out", "ask"),
    *("no more", "more", "wait", "pass on", "put aside", "take up", "complete"),
)
_REPORT = "nothing was deleted: put an unchanged copy of the file back, or keep it and report it"


@dataclass(frozen=True, slots=True)
class JournalLine:
    """One thing that was done; what is empty is not written. ``n`` is given by the journal.

    ``by`` is who said it where that is not the performer, ``heard`` how it was heard, ``read_back`` "yes" or
    "no". ``view`` and ``seq`` name the act, so that one that is sent again is taken once.
    """

    n: int = 0
    at: str = ""  # ISO 8601 with offset, to the millisecond
    do: str = ""
    path: str = ""
    text: str = ""
    was: Any = None
    why: str = ""
    how: str = ""  # "clock", "usual", "last", "sheet", "round", "paper": where what was not typed is from
    by: str = ""
    heard: str = ""
    read_back: str = ""
    sure: str = ""  # the sentence that was confirmed
    to: str = ""
    cut: int = 0  # bytes cut off behind the last line
    torn: str = ""  # what they said
    format: int = 0
    procedure: str = ""
    revision: int = 0
    tag: str = ""
    wqverify: str = ""
    digest: str = ""
    lines: int = 0  # of a begin line: how many lines, with itself, were written at once
    view: str = ""
    seq: int = 0

    def written(self) -> bytes:
        """Return the line as it stands in the file; raises CorrectTheEntry for text that is no text."""
        told = {f.name: value for f in fields(self) if (value := getattr(self, f.name)) != f.default}
        try:
            return json.dumps(told, ensure_ascii=False, separators=(",", ":")).encode() + b"\n"
        except UnicodeEncodeError as problem:
            raise CorrectTheEntry(
                f"{self.path or self.do} holds half a character, which cannot be kept; type it again.",
                found=repr(self.text[:40]),
                where=self.path,
            ) from problem


def journal_path(sheet: Path) -> Path:
    """Return where the journal of a field sheet lies.

    >>> journal_path(Path("field_sheets/AIT-2101.toml")).name
    'AIT-2101.journal.jsonl'
    """
    return sheet.with_name(sheet.name.removesuffix(".toml") + SUFFIX)


def stamped(moment: datetime) -> str:
    """Return a moment as a line states it; raises ValueError for one without an offset."""
    if moment.tzinfo is None:
        raise ValueError("a moment of a journal needs its offset")
    return moment.isoformat(timespec="milliseconds")


def shown(at: str) -> str:
    """Return the time of a line as a person reads it.

    >>> shown("2026-03-03T08:10:21.500-05:00")
    '2026-03-03 08:10'
    """
    return at[:16].replace("T", " ")


# ---------------------------------------------------------------- reading


def read_journal(data: bytes) -> tuple[tuple[JournalLine, ...], str]:
    """Return the lines of a journal and what a power cut left half written behind them.

    Of a beginning that is not whole no line counts, whether it is one line or several. Raises
    RepairTheFolder, with its number, for a line that is damaged otherwise.
    """
    lines, torn = parted(data)
    return lines, torn.decode(errors="backslashreplace")


def parted(data: bytes) -> tuple[tuple[JournalLine, ...], bytes]:
    """Return the whole lines and the bytes behind them."""
    *whole, torn = data.split(b"\n")
    if (
        not torn and whole and said_in(whole[-1]) is None
    ):  # the end of the line came to the disk before the line
        torn = whole.pop() + b"\n"
    if whole and _line(1, whole[0]).lines > len(whole):
        return (), data
    return tuple(_line(number, raw) for number, raw in enumerate(whole, 1)), torn


def said_in(raw: bytes) -> Any:
    """Return what a line says, None for what is not JSON."""
    try:
        return json.loads(raw.decode(), object_pairs_hook=_once, parse_constant=_no_number)
    except (ValueError, RecursionError):
        return None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len(dict(pairs)) != len(pairs):
        raise ValueError("a key stands twice")
    return dict(pairs)


def _no_number(text: str) -> NoReturn:
    raise ValueError(f"{text} is no number of JSON")


def _line(number: int, raw: bytes) -> JournalLine:
    told = said_in(raw)
    if not isinstance(told, dict):
        raise _damaged(number, "is not a line of JSON")
    for key, value in told.items():
        if key not in _KINDS:
            raise _damaged(number, f"has a key {key[:40]!r} that this wqverify does not know")
        if type(value) is not _KINDS[key] and key != "was":
            raise _damaged(number, f"says {key} in another form than it is written in")
    line = JournalLine(**told)
    for problem in _problems(number, line):
        raise _damaged(number, problem)
    return line


def _problems(number: int, line: JournalLine) -> Iterator[str]:
    if line.n != number:
        yield f"bears the number {line.n}: lines were taken out, put in or moved"
    if line.do not in DOINGS:
        yield f"says {line.do[:40]!r}, which is nothing a journal knows"
    if (line.do == "begin") is not (number == 1):
        yield "is not the beginning of a visit" if number == 1 else "begins the visit a second time"
    if line.do == "begin" and line.format != FORMAT:
        yield f"is of format {line.format}, and this wqverify reads format {FORMAT}; install a newer one"
    if line.lines and (line.do != "begin" or line.lines < 0):
        yield f"says it begins {line.lines} lines, which none but the first does"
    if not _is_moment(line.at):
        yield f"says {line.at[:40]!r} where the time with its offset stands"


def _is_moment(text: str) -> bool:
    try:
        return datetime.fromisoformat(text).tzinfo is not None
    except ValueError:
        return False


def _damaged(number: int, what: str) -> RepairTheFolder:
    return RepairTheFolder(
        f"Line {number} of the journal {what}; {_REPORT}.", found=what, where=f"line {number}"
    )


_KINDS = {f.name: type(f.default) for f in fields(JournalLine) if f.default is not MISSING}
