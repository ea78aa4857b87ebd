"""Where two results differ, place by place: values by their keys, sentences apart from values."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

_SHOWN = 80  # characters of a side in a sentence; ``was`` and ``now`` are whole


@dataclass(frozen=True)
class Difference:
    """One place where the result of today is not the recorded one; both sides are whole."""

    path: str
    was: str
    now: str

    @property
    def spoken(self) -> bool:
        """Whether it is a sentence that others are told, in words made of the values."""
        return self.path.startswith("facts/told.")

    @property
    def told(self) -> str:
        """One line to read; a long side is cut in it."""
        return f"{self.path} was {_short(self.was)}, is now {_short(self.now)}"


def _short(text: str) -> str:
    return text if len(text) <= _SHOWN else text[: _SHOWN - 1] + "…"


def in_result(was: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[Difference]:
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
            yield Difference(f"{kind}/order", _text(both[0]), _text(both[1]))
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
        yield Difference(path, _text(was), _text(now))


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _text(value: Any) -> str:
    return "absent" if value is _ABSENT else value if isinstance(value, str) else json.dumps(value)
