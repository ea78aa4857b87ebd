"""Canonical bytes: how a record becomes the bytes that are signed, and how it is read back.

RFC 8785 (JSON Canonicalization Scheme) on text in Unicode form NFC. Numbers of RFC 8785 are IEEE doubles,
which lose the trailing zeros of a reading; therefore decimals are text. The canonical bytes themselves
are kept, so that a verifier needs SHA-256 only, never a canonicaliser.

Pydantic's compiled codec reads and writes the frozen dataclasses, because it takes no longer from bytes to a
checked Record than json.loads to plain data (tests/benchmarks/bench_book.py).
"""

from __future__ import annotations

import hashlib
import unicodedata
from functools import cache
from typing import Any

from pydantic import ConfigDict, TypeAdapter, ValidationError
from pydantic_core import from_json
from rfc8785 import CanonicalizationError, dumps

from wqverify.errors import CouldNotRun, ResultsDiffer
from wqverify.terms import Given, Record, Result

_CONFIG = ConfigDict(extra="forbid", allow_inf_nan=False)


def canonical(plain: Any) -> bytes:
    """Return the one canonical JSON text of plain data, in UTF-8.

    Raises CouldNotRun for a number that is not finite and for anything that is not plain data.

    >>> canonical({"b": "7.10", "a": [1.0, None]})
    b'{"a":[1,null],"b":"7.10"}'
    """
    try:
        data = dumps(plain)
        # A part of NFC text is NFC, and a quotation mark joins with nothing: one look at the whole is enough.
        if not data.isascii() and not unicodedata.is_normalized("NFC", data.decode()):
            data = dumps(_nfc(plain))
    except CanonicalizationError as problem:
        raise CouldNotRun(
            f"Something in the record cannot be written down ({problem}); nothing was recorded. This is a "
            f"fault of the program, not of the sheet: keep the sheet and report it.",
            found=str(problem),
        ) from problem
    return data


def digest(data: bytes) -> str:
    """Return the SHA-256 of bytes as 64 hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def to_plain(value: Any) -> Any:
    """Return a frozen dataclass of wqverify.terms as plain JSON data; decimals become text.

    Raises CouldNotRun for a number that is not finite.
    """
    kind: Any = type(value)
    plain = _adapter(kind).dump_python((value,), mode="json")[0]
    _finite(plain)
    return plain


def plain_from(data: bytes) -> Any:
    """Return the plain data of JSON bytes, at half of the time of the standard library.

    Raises ValueError when they are not JSON.
    """
    return from_json(data, allow_inf_nan=False)


def given_from(plain: Any) -> Given:
    """Return the Given that ``to_plain`` wrote; raises ResultsDiffer where the data is not one."""
    given: Given = _read(Given, plain)
    return given


def result_from(plain: Any) -> Result:
    """Return the Result that ``to_plain`` wrote; raises ResultsDiffer where the data is not one."""
    result: Result = _read(Result, plain)
    return result


def record_from(data: bytes) -> Record:
    """Return the Record of the bytes of a record.json; raises ResultsDiffer where they are not one."""
    try:
        records: tuple[Record] = _adapter(Record).validate_json(b"[" + data + b"]")
    except ValidationError as problem:
        raise _not_a("record", problem) from problem
    return records[0]


def record_to_bytes(record: Record) -> bytes:
    """Return the canonical bytes of a record: the content of its record.json."""
    return canonical(to_plain(record))


@cache
def _adapter(kind: Any) -> TypeAdapter[Any]:
    # Pydantic takes no settings beside a dataclass, but hands those of a tuple down to what it holds.
    return TypeAdapter(tuple[kind], config=_CONFIG)


def _read(kind: Any, plain: Any) -> Any:
    try:
        return _adapter(kind).validate_python((plain,))[0]
    except ValidationError as problem:
        raise _not_a(kind.__name__.lower(), problem) from problem


def _not_a(what: str, problem: ValidationError) -> ResultsDiffer:
    first = problem.errors(include_url=False, include_context=False, include_input=False)[0]
    where = ".".join(str(step) for step in first["loc"][1:]) or "the whole"
    return ResultsDiffer(
        f"This is not a {what} that this version can read ({where}: {first['msg'].lower()}); it was altered, "
        f"or made by a newer version: compare it with a copy, or read it with the newer version.",
        found=first["msg"],
        where=where,
    )


def _finite(plain: Any) -> None:
    """Raise unless every number is finite; ``nan - nan`` and ``inf - inf`` are not zero."""
    kind = type(plain)
    if kind is dict:
        for value in plain.values():
            if type(value) is not str:
                _finite(value)
    elif kind is list:
        for value in plain:
            if type(value) is not str:
                _finite(value)
    elif kind is float and plain - plain != 0.0:
        raise CouldNotRun(
            f"A computed number is {plain}, which is no number; nothing was recorded. This is a fault of the "
            f"program, not of the sheet: keep the sheet and report it.",
            found=str(plain),
        )


def _nfc(plain: Any) -> Any:
    if isinstance(plain, str):
        return unicodedata.normalize("NFC", plain)
    if isinstance(plain, dict):
        normal = {_nfc(key): _nfc(value) for key, value in plain.items()}
        if len(normal) != len(plain):
            raise CanonicalizationError("two keys are the same text")
        return normal
    return [_nfc(value) for value in plain] if isinstance(plain, list | tuple) else plain
