"""What is typed: readings, how a question is asked, answers with their labels."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Self

from wqverify.errors import CorrectTheEntry

# Own ASCII grammar: the decimal types of the libraries accept 1_0.0, full-width digits and 1E+999999.
_READING = re.compile(r"(-?[0-9]{1,7}(?:\.[0-9]{1,6})?)(?: ([A-Za-z%/][A-Za-z0-9%/]{0,11}))?")


@dataclass(frozen=True, slots=True)
class Reading:
    """A number exactly as it was read and typed; trailing zeros state the resolution.

    >>> Reading.parse("7.10").text, Reading.parse("12.3 ft").unit
    ('7.10', 'ft')
    >>> str(Reading.parse("7.10").digit)
    '0.01'
    """

    text: str
    value: Decimal
    unit: str | None = None

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read a typed number; raises CorrectTheEntry for anything but digits, one point and a unit."""
        match = _READING.fullmatch(text) if isinstance(text, str) else None
        if match is None:
            shown = repr(text if len(str(text)) <= 40 else str(text)[:40] + "…")
            hint = (
                "a decimal point, not a comma" if "," in str(text) else "at most 7 digits, a point, 6 digits"
            )
            raise CorrectTheEntry(
                f"{shown} is not a reading such as 7.05 ({hint}); type it as the display shows it.",
                found=str(text)[:40],
                expected="a reading such as 7.05",
            )
        return cls(text, Decimal(match[1]), match[2])

    @property
    def digit(self) -> Decimal:
        """One unit of the last place that was typed."""
        return Decimal(1).scaleb(int(self.value.as_tuple().exponent))


@dataclass(frozen=True, slots=True)
class Ask:
    """How one field of a sheet is asked: carried as metadata of the field, read by every face.

    ``unit`` "analyzer" stands for the analyzer's own unit. ``beside`` names a pure function of the
    procedure whose answer is shown next to the question. ``refers`` names the list an answer is picked
    from ("standard", "person", "record", "analyzer"), or "trend", a file in the plant's folder trends/;
    ``of`` is the answer beside it that names the analyzer whose values are taken from the file. ``when``
    names the condition under which it is asked by itself (wqverify.procedures.opening); empty for always.
    ``usual`` is what is answered where nothing is out of the ordinary. ``clock``: the computer's clock
    answers it when what it times has just been typed. ``again``: what was answered last time may be offered,
    as of a habit or a method, never of what is read or seen. ``kinds``: words, with one of which a word
    begins in the kind of a standard that fits. ``apart``: each reading of the list is of another point, so
    that a jump from one to the next is what it should be, and what was answered last time says nothing about
    it; such lists of one part are asked point by point. ``elevation``: a height in the analyzer's unit; its
    range and its digit say nothing about it.
    """

    label: str
    unit: str = ""
    help: str = ""
    caution: str = ""
    beside: str = ""
    refers: str = ""
    of: str = ""
    when: str = ""
    usual: str = ""
    clock: bool = False
    again: bool = False
    kinds: tuple[str, ...] = ()
    apart: bool = False
    elevation: bool = False


@dataclass(frozen=True, slots=True)
class Beside:
    """What stands beside a question: lines, and what readings should be and may be where that is known.

    ``offers`` are answers that may be picked, the first of them taken by Enter; any other may be typed.
    ``unit`` is that of a reading whose question does not know it.
    """

    lines: tuple[str, ...] = ()
    reference: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    offers: tuple[str, ...] = ()
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """One typed answer with the label and unit it was asked under: readable without the code."""

    path: str
    label: str
    text: str
    unit: str = ""
    # A time: the typed wall clock with its offset. A number typed in another unit than ``unit``: it in that.
    resolved: str = ""


@dataclass(frozen=True, slots=True)
class Said:
    """How an answer came, where it is not simply what the performer read and typed."""

    by: str = ""  # who said it
    heard: str = ""  # "radio", "phone"
    read_back: str = ""  # "yes" or "no"
    how: str = ""  # "clock", "usual", "last", "round", "paper", "sheet": where it was taken over from
    sure: str = ""  # what was asked about it, and confirmed
