"""Times as an export writes them become seconds of the wall clock, with the offset where one is written."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from wqverify.errors import CorrectTheEntry
from wqverify.trends.texts import Integers, Texts, Truths

NO_OFFSET = 10**6  # no clock is so far from UTC
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_YEARS = range(1900, 2200)
_DAY = 86400

_SPLIT = re.compile(r"[T ,]*(?<![0-9])(?=[0-9]{1,2}:[0-9]{2})")
_PLAIN = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}")
_YEAR_FIRST = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})|(\d{4})(\d{2})(\d{2})", re.ASCII)
_YEAR_LAST = re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4}|\d{2})", re.ASCII)
_NAMED = re.compile(r"(\d{1,2})[- /.]([A-Za-z]{3,9})\.?[- /.,]+(\d{4}|\d{2})", re.ASCII)
_NAMED_FIRST = re.compile(r"([A-Za-z]{3,9})\.?[- ](\d{1,2}),?[- ](\d{4})", re.ASCII)
_EPOCH = re.compile(r"([0-9]{9,10})(?:\.[0-9]+)?|([0-9]{12,13})", re.ASCII)
_CLOCK = re.compile(
    r"(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?\s*([AaPp]\.?[Mm]\.?)?\s*"
    r"(Z|[+-]\d{2}:?(?:\d{2})?|[A-Z]{2,5})?",
    re.ASCII,
)


@dataclass(frozen=True, eq=False, slots=True)
class Stamps:
    """Times of the rows: wall-clock seconds since 1970, their offset in s or NO_OFFSET, the zone's letters.

    ``present`` is false where a row has no time. ``told`` says how the texts were read.
    """

    local: Integers
    offset: Integers
    letters: Texts
    present: Truths
    told: tuple[str, ...]

    def take(self, rows: Integers) -> Stamps:
        return Stamps(
            self.local[rows],
            self.offset[rows],
            self.letters.take(rows),
            self.present[rows],
            self.told,
        )


def split(texts: Texts) -> tuple[Texts, Texts]:
    """Part texts with date and time of day into the two; a date alone has an empty time of day."""
    if not texts.distinct:
        return Texts((), texts.codes), Texts((), texts.codes)
    # Nearly every text is plain: what _parted finds in it is known.
    parts = [(t[:10], t[11:]) if _PLAIN.match(t) else _parted(t) for t in texts.distinct]
    days, clocks = (Texts.of(column) for column in zip(*parts, strict=True))
    return Texts(days.distinct, days.codes[texts.codes]), Texts(clocks.distinct, clocks.codes[texts.codes])


def _parted(text: str) -> tuple[str, str]:
    match = _SPLIT.search(text)
    return (text[: match.start()], text[match.end() :]) if match else (text, "")


def is_stamp(text: str) -> bool:
    """Return whether a text looks like a time with a date, or like a date; 12.30 and 2017 do not.

    >>> is_stamp("7/2/2021 0:15"), is_stamp("09.01.2014 14:30:19"), is_stamp("14.30")
    (True, True, False)
    """
    day, clock = _parted(text)
    if clock and not _CLOCK.fullmatch(clock):
        return False
    forms = (_YEAR_FIRST, _YEAR_LAST, _NAMED, _NAMED_FIRST)
    return any(form.fullmatch(day) for form in forms)


def is_clock(text: str) -> bool:
    """Return whether a text is a time of day."""
    return _CLOCK.fullmatch(text) is not None


def is_epoch(text: str) -> bool:
    """Return whether a text can be seconds or milliseconds since 1970."""
    return _EPOCH.fullmatch(text) is not None


def read_stamps(
    dates: Texts, clocks: Texts, day_first: bool | None, where: Callable[[int], str], file: str
) -> Stamps:
    """Return the times of the rows; ``where`` names a row for a person.

    Raises CorrectTheEntry for a text that is no time, for dates that can be read day first and month
    first, and for hours with and without AM or PM.
    """
    if _all_epoch(dates, clocks):
        return _epoch(dates)
    order, told_order = date_order(dates.distinct, day_first, file)
    days = np.empty(len(dates.distinct), np.int64)
    for code, text in enumerate(dates.distinct):
        days[code] = _day(text, order, lambda code=code: where(_row(dates, code)))  # type: ignore[misc]
    read = [
        _read_clock(text, lambda code=code: where(_row(clocks, code)))  # type: ignore[misc]
        for code, text in enumerate(clocks.distinct)
    ]
    present = np.array([text != "" for text in dates.distinct], bool)[dates.codes]
    _insist_on_one_clock(clocks, read, present, where)
    seconds = np.array([c.seconds for c in read], np.int64)[clocks.codes]
    offset = np.array([c.offset for c in read], np.int64)[clocks.codes]
    names: dict[str, int] = {}
    letters = np.array([names.setdefault(c.letters, len(names)) for c in read], np.int32)
    return Stamps(
        days[dates.codes] * _DAY + seconds,
        offset,
        Texts(tuple(names), letters[clocks.codes]),
        present,
        (told_order, *_told_clocks(clocks, read, present)),
    )


# ---------------------------------------------------------------- dates


def date_order(texts: Sequence[str], day_first: bool | None, file: str) -> tuple[bool, str]:
    """Whether the day stands first, and how that is known; looks only at dates such as 02/03/2026."""
    pairs = [(int(m[1]), int(m[3]), m[0]) for text in texts if (m := _YEAR_LAST.fullmatch(text))]
    if not pairs:
        forms = "year first" if any(_YEAR_FIRST.fullmatch(text) for text in texts) else "month by name"
        return True, f"dates are read {forms}"
    days = next((text for first, _, text in pairs if first > 12), "")
    months = next((text for _, second, text in pairs if second > 12), "")
    if days and months:
        raise CorrectTheEntry(
            f"{file}: {days} has its day first and {months} its month first; one file cannot hold both.",
            found=f"{days}, {months}",
            expected="one order of day and month",
            where=file,
        )
    if day_first is None:
        unlike = [pair for pair in pairs if pair[0] != pair[1]]
        if not days and not months and unlike:
            raise _undecided(unlike[0], file)
        if not unlike:
            return True, "day and month are alike in every date"
        told = "day first" if days else "month first"
        return bool(days), f"dates are read {told}, as {days or months} tells"
    against = months if day_first else days
    if against:
        said, other = ("true", "false") if day_first else ("false", "true")
        raise CorrectTheEntry(
            f"{file}: day_first = {said} was told, but {against} cannot be read so; write "
            f"day_first = {other}.",
            found=against,
            expected="day first" if day_first else "month first",
            where=file,
        )
    return day_first, f"dates are read {'day' if day_first else 'month'} first, as told"


def _undecided(pair: tuple[int, int, str], file: str) -> CorrectTheEntry:
    first, second, text = pair
    year = _full_year(text.rsplit(text[-5] if not text[-5].isdigit() else text[-3], 1)[-1])
    readings = [f"{year}-{second:02d}-{first:02d}", f"{year}-{first:02d}-{second:02d}"]
    return CorrectTheEntry(
        f"{file}: {text} is {readings[0]} if the day stands first and {readings[1]} if the month does, and "
        f"no row tells; write day_first = true or day_first = false for this export.",
        found=text,
        expected=" or ".join(readings),
        where=file,
    )


def _full_year(text: str) -> int:
    return int(text) if len(text) == 4 else 2000 + int(text)


def _day(text: str, day_first: bool, where: Callable[[], str]) -> int:
    """Days since 1970 of a date; an empty one is 0 and marked elsewhere."""
    if not text:
        return 0
    try:
        year, month, day = _parts(text, day_first)
        if year in _YEARS:
            return date(year, month, day).toordinal() - 719163
    except ValueError:
        pass
    raise CorrectTheEntry(
        f"{where()}: {text[:40]!r} is not a date that exists; a time was expected such as 2026-03-31 14:05, "
        f"31.03.2026 14:05 or 03/31/2026 2:05 PM.",
        found=text[:40],
        expected="a date",
        where=where(),
    )


def _parts(text: str, day_first: bool) -> tuple[int, int, int]:
    if m := _YEAR_FIRST.fullmatch(text):
        return (int(m[1]), int(m[3]), int(m[4])) if m[1] else (int(m[5]), int(m[6]), int(m[7]))
    if m := _YEAR_LAST.fullmatch(text):
        first, second = int(m[1]), int(m[3])
        if len(m[4]) == 2 and m[2] == "-":
            raise ValueError  # 06-02-21 may have its year in front
        return (_full_year(m[4]), second, first) if day_first else (_full_year(m[4]), first, second)
    if m := _NAMED.fullmatch(text):
        return _full_year(m[3]), _month(m[2]), int(m[1])
    if m := _NAMED_FIRST.fullmatch(text):
        return int(m[3]), _month(m[1]), int(m[2])
    raise ValueError


def _month(name: str) -> int:
    return _MONTHS.index(name[:3].lower()) + 1


# ---------------------------------------------------------------- times of day


@dataclass(frozen=True, slots=True)
class _Clock:
    seconds: int
    offset: int = NO_OFFSET
    letters: str = ""
    half: str = ""  # AM, PM
    cut: bool = False  # a fraction of a second was cut off
    end: bool = False  # 24:00


def _read_clock(text: str, where: Callable[[], str]) -> _Clock:
    if not text:
        return _Clock(0)
    match = _CLOCK.fullmatch(text)
    if match is not None:
        hour, minute, second = int(match[1]), int(match[2]), int(match[3] or 0)
        half = (match[5] or "").replace(".", "").upper()
        end = (hour, minute, second, half) == (24, 0, 0, "")
        right = 1 <= hour <= 12 if half else hour <= 23 or end
        offset = _offset(match[6] or "")
        if right and minute < 60 and second < 60 and offset is not None:
            hour = hour % 12 + (12 if half == "PM" else 0) if half else hour
            letters = "" if offset != NO_OFFSET else match[6] or ""
            cut = bool((match[4] or "").strip("0"))
            return _Clock(hour * 3600 + minute * 60 + second, offset, letters, half, cut, end)
    raise CorrectTheEntry(
        f"{where()}: {text[:40]!r} is not a time of day; 14:05, 14:05:30 or 2:05 PM was expected.",
        found=text[:40],
        expected="a time of day",
        where=where(),
    )


def _offset(text: str) -> int | None:
    """Offset in s; NO_OFFSET where there is none or only letters, None where it cannot be one."""
    if text in ("Z", "UTC", "GMT"):
        return 0
    if not text or text[0] not in "+-":
        return NO_OFFSET
    digits = text[1:].replace(":", "")
    hours, minutes = int(digits[:2]), int(digits[2:] or 0)
    if hours > 14 or minutes > 59:
        return None
    return (hours * 3600 + minutes * 60) * (1 if text[0] == "+" else -1)


def _insist_on_one_clock(
    clocks: Texts, read: Sequence[_Clock], present: Truths, where: Callable[[int], str]
) -> None:
    half = np.array([bool(c.half) for c in read], bool)[clocks.codes]
    filled = np.array([bool(text) for text in clocks.distinct], bool)[clocks.codes] & present
    if half.any() and (filled & ~half).any():
        row = int(np.flatnonzero(filled & ~half)[0])
        raise CorrectTheEntry(
            f"{where(row)}: {clocks[row]!r} has neither AM nor PM, and other rows have; correct the format "
            f"of the export.",
            found=clocks[row],
            expected="AM or PM",
            where=where(row),
        )


def _told_clocks(clocks: Texts, read: Sequence[_Clock], present: Truths) -> Iterable[str]:
    counts = clocks.take(present).counts()
    if any(c.half for c in read):
        yield "hours are of 12, with AM and PM"
    bare = sum(n for n, text in zip(counts, clocks.distinct, strict=True) if not text)
    if bare:
        yield f"{bare} of {present.sum()} rows have a date without time of day and are taken at 00:00"
    ends = sum(n for n, c in zip(counts, read, strict=True) if c.end)
    if ends:
        yield f"24:00 in {ends} rows is taken as 00:00 of the next day"
    if any(c.cut for c in read):
        yield "fractions of a second are cut off"


# ---------------------------------------------------------------- seconds since 1970


def _all_epoch(dates: Texts, clocks: Texts) -> bool:
    filled = [text for text in dates.distinct if text]
    return bool(filled) and not any(clocks.distinct) and all(_EPOCH.fullmatch(text) for text in filled)


def _epoch(dates: Texts) -> Stamps:
    matches = [_EPOCH.fullmatch(text) for text in dates.distinct]
    seconds = np.array([0 if m is None else int(m[1] or int(m[2]) // 1000) for m in matches], np.int64)
    rows = len(dates)
    unit = "milliseconds" if any(m and m[2] for m in matches) else "seconds"
    return Stamps(
        seconds[dates.codes],
        np.zeros(rows, np.int64),
        Texts(("",), np.zeros(rows, np.int32)),
        np.array([text != "" for text in dates.distinct], bool)[dates.codes],
        (f"times are {unit} since 1970 (UTC)",),
    )


def _row(texts: Texts, code: int) -> int:
    """The first row that holds a text."""
    return int(np.argmax(texts.codes == code))
