"""What a person has to tell about an export because the file does not: time zone, order of dates, columns."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, timedelta, timezone, tzinfo
from typing import Literal
from zoneinfo import ZoneInfo

from wqverify.errors import CorrectTheEntry

Kind = Literal["control system", "laboratory"]


@dataclass(frozen=True, slots=True)
class TriageOptions:
    """What a triage shall take of one channel; what is None is taken from the register or the channel itself.

    Values in the unit of the channel, times in h. ``twin`` is the channel of the same water, ``twin_within``
    what the two may lie apart.
    """

    low: float | None = None
    high: float | None = None
    step: float | None = None
    flat_h: float | None = None
    dead_h: float | None = None
    clamp_h: float | None = None
    gap_h: float | None = None
    spike: float | None = None
    rate_per_h: float | None = None
    noise_h: float | None = None
    noise_share: float | None = None
    twin: str = ""
    twin_within: float | None = None
    off_when: str = ""  # flags, with commas between: what is flagged so is no water

    @property
    def off_words(self) -> frozenset[str]:
        """The flags that say that no water of the process is seen: those told, else the common ones."""
        told = frozenset(bare_flag(word) for word in self.off_when.split(",") if word.strip())
        return told or OFF_WORDS


# Common practice, no source: words by which control systems flag that no water of the process is seen.
OFF_WORDS = frozenset(
    (
        "backwash", "backwashing", "filter to waste", "to waste", "rinse", "off", "off line", "offline",
        "out of service", "standby", "idle", "stopped", "hold", "held", "calibration", "in calibration",
        "maintenance", "in maintenance", "cleaning",
    )
)  # fmt: skip


def bare_flag(text: str) -> str:
    """Return a flag in small letters and with blanks for its strokes.

    >>> bare_flag(" OFF-LINE"), bare_flag("Filter_to_waste")
    ('off line', 'filter to waste')
    """
    return text.strip().replace("-", " ").replace("_", " ").lower()


@dataclass(frozen=True, slots=True)
class ChannelOptions:
    """What is told about one column: its name and unit here, what marks missing, which column flags it."""

    name: str = ""
    unit: str = ""
    missing: tuple[str, ...] = ()
    flags: str = ""
    triage: TriageOptions = TriageOptions()


@dataclass(frozen=True, slots=True)
class ExportOptions:
    """How one kind of export is to be read; what is empty or None was not told.

    ``time_zone`` is an IANA name or a fixed offset such as "-05:00". ``missing`` are texts or numbers that
    mark a missing value in every column. ``time`` names one column, or those of date and of time of day.
    ``tag`` is the name the file must hold. ``channels`` are by the name of the column.

    A *long* export has a row for each value: ``tag_columns`` name it, ``value_column`` holds it.
    A ``laboratory`` may have several results at one time; a control system has one value.
    """

    time_zone: str = ""
    day_first: bool | None = None
    decimal: str = ""
    separator: str = ""
    header_line: int | None = None
    sheet: str = ""
    missing: tuple[str, ...] = ()
    time: tuple[str, ...] = ()
    tag: str = ""
    channels: Mapping[str, ChannelOptions] = field(default_factory=dict)
    tag_columns: tuple[str, ...] = ()
    value_column: str = ""
    unit_column: str = ""
    flag_column: str = ""
    limit_column: str = ""
    kind: Kind | None = None
    duplicates: Literal["", "first", "last"] = ""
    repeated_hour: Literal["", "first", "second"] = ""


_OFFSET = re.compile(r"([+-])(\d{2}):(\d{2})", re.ASCII)


def zone_of(text: str) -> tzinfo:
    """Return the time zone of an IANA name or of a fixed offset; raises CorrectTheEntry for another text.

    >>> zone_of("America/New_York").key, str(zone_of("-05:00"))
    ('America/New_York', 'UTC-05:00')
    """
    if text.upper() in ("UTC", "Z"):
        return UTC
    if match := _OFFSET.fullmatch(text):
        size = timedelta(hours=int(match[2]), minutes=int(match[3]))
        if size < timedelta(hours=15) and int(match[3]) < 60:
            return timezone(size if match[1] == "+" else -size)
    try:
        if re.fullmatch(r"[A-Za-z][A-Za-z0-9_+/-]*", text, re.ASCII):
            return ZoneInfo(text)
    except (KeyError, ValueError, OSError):  # no such zone, or a folder of zones such as "America"
        pass
    raise CorrectTheEntry(
        f"{text[:40]!r} is not a time zone; write an IANA name such as America/New_York, or a fixed offset "
        f"such as -05:00 where the clock of the export does not follow daylight saving.",
        found=text[:40],
        expected="an IANA name or a fixed offset",
    )
