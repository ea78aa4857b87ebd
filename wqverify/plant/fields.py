"""The kinds of entry a plant's files are made of: text, number as typed, date, name."""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, PlainValidator, StrictBool, StringConstraints
from pydantic_core import PydanticCustomError, PydanticKnownError

from wqverify.errors import CorrectTheEntry
from wqverify.plant import clock
from wqverify.plant.address import fault_of, is_address
from wqverify.plant.files import shortened
from wqverify.terms import Reading

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,31}")
# Names that some computer in the plant cannot give a file.
_NO_FILE = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?|.*\.", re.IGNORECASE)


class Entries(BaseModel):
    """Base of all groups of entries: no unknown keys, nothing changed afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def said(sentence: str, at: str = "") -> PydanticCustomError:
    """Return a complaint in our own words for pydantic to collect.

    ``at`` is the path of the entry it is about, seen from what complains: "model.time".
    """
    return PydanticCustomError("said", "{said}", {"said": sentence, "at": at})


def clean(text: str) -> str:
    """Return text in Unicode form NFC; refuses characters that cannot be seen or turn text around."""
    plainly_seen = text.isascii() and text.isprintable()  # nearly every text, and quick to tell
    for sign in () if plainly_seen else text:
        if unicodedata.category(sign)[0] == "C" or unicodedata.category(sign) in ("Zl", "Zp"):
            raise said(f"it holds the invisible character U+{ord(sign):04X}; delete it.")
    if text != text.strip():
        raise said("it begins or ends with a blank; delete the blank.")
    return unicodedata.normalize("NFC", text)


def _reading(text: str) -> Reading:
    try:
        reading = Reading.parse(text)
    except CorrectTheEntry as problem:
        raise said(problem.message) from None
    if reading.unit is not None:
        raise said(
            f"{shortened(text)} carries a unit; write the number alone, units have entries of their own."
        )
    return reading


def _text(given: object) -> str:
    """Text in quotes; a bare number has lost its trailing zeros and gets the sentence that says so."""
    if not isinstance(given, str):
        raise PydanticKnownError("string_type")
    return given


def _number(given: object) -> Decimal:
    return _reading(_text(given)).value


def _positive(given: object) -> Decimal:
    value = _number(given)
    if value <= 0:
        raise said(f"{value} is not more than 0.")
    return value


def _count(given: object) -> int:
    """A whole number counts alike with and without quotes: it has no trailing zeros to lose."""
    text = str(given) if type(given) is int else _text(given)
    if not re.fullmatch(r"[1-9][0-9]{0,4}", text, re.ASCII):
        raise said(f"{shortened(text)} is not a whole number from 1 to 99999.")
    return int(text)


def _setting(text: str) -> str:
    """A setting is a word such as yes, or a number: what has a digit in it must be a number."""
    if any(sign.isdigit() for sign in text):
        _reading(text)
    return text


def _day(text: str) -> str:
    try:
        clock.day(text)
    except CorrectTheEntry as problem:
        raise said(problem.message) from None
    return text


def _name(text: str) -> str:
    if not text:
        raise PydanticKnownError("string_too_short", {"min_length": 1})
    if not _NAME.fullmatch(text) or _NO_FILE.fullmatch(text):
        raise said(
            f"{shortened(text)} names files too: at most 32 of the letters A to Z, a to z, digits, and . _ - "
            f"inside, beginning with a letter or digit."
        )
    return text


def key(text: str) -> str:
    """Return the name of a tolerance, setting or interval."""
    if not re.fullmatch(r"[a-z][a-z0-9_]{0,39}", text):
        raise said(f"{shortened(text)} is no name here; use small letters, digits and _.")
    return text


def device_series(text: str) -> str:
    """Return the letters that begin this computer's record numbers."""
    if not re.fullmatch(r"[A-Z][A-Z0-9]{0,7}", text):
        raise said(f"{shortened(text)} begins record numbers; use a capital letter, then capitals or digits.")
    return text


def name_of_round(text: str) -> str:
    """Return the name of a round, which names its folder too."""
    if not re.fullmatch(r"[A-Za-z0-9](?:[A-Za-z0-9 ,_-]{0,58}[A-Za-z0-9])?", text):
        raise said(
            f"{shortened(text)} names a folder too: at most 60 of the letters A to Z, a to z, digits, "
            f"blanks, and , _ - inside, beginning and ending with a letter or digit."
        )
    if _NO_FILE.fullmatch(text):
        raise said(f"{shortened(text)} names a folder too, and Windows keeps it for itself; choose another.")
    return text


def location_of_book(text: str) -> str:
    """Return where the book is: a file of the plant folder, or an address with ://."""
    clean(text)
    if is_address(text):
        if fault := fault_of(text):
            raise said(f"the address of the book cannot be taken: {fault}")
    elif len(text) > 200 or not text.endswith(".sqlite"):
        raise said(f"{shortened(text)} is no book; name a .sqlite file, or an address such as postgresql://…")
    return text


Text = Annotated[str, StringConstraints(min_length=1, max_length=200), AfterValidator(clean)]
Notes = Annotated[str, StringConstraints(min_length=1, max_length=2000), AfterValidator(clean)]
Setting = Annotated[Text, AfterValidator(_setting)]
Name = Annotated[str, AfterValidator(_name)]
Day = Annotated[str, AfterValidator(_day)]
YesNo = StrictBool
Number = Annotated[Decimal, PlainValidator(_number)]
Positive = Annotated[Decimal, PlainValidator(_positive)]
Count = Annotated[int, PlainValidator(_count)]
