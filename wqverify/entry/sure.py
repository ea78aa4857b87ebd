"""Answers that are asked about once more: never refused, because what is odd may be true.

The bounds are common practice, no source; they decide only whether somebody is asked "sure?".
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal

from wqverify.terms import Reading

JUMP = Decimal("0.05")  # of the reading before
DIGITS = 20  # of the display: smaller steps are no jump, however near to zero
TIMES = 3  # so many times more or less than last time
CLOCKS_DIFFER = timedelta(minutes=10)


def about_reading(
    text: str, before: Sequence[str], last: str, low: Decimal | None = None, high: Decimal | None = None
) -> str:
    """Return what is odd about a reading, empty where nothing is.

    ``before`` are the readings just before it in the same list, ``last`` that of the last visit; ``low`` and
    ``high`` are the ends of the range where the answer is one of the analyzer.

    >>> about_reading("7.6", ["7.06"], "")
    '7.6 has 1 decimal, the reading before has 2; the display shows its last zero too. Is it 7.6?'
    """
    typed = Reading.parse(text)
    if low is not None and high is not None and not low <= typed.value <= high:
        return f"{text} lies outside the range {low} to {high}. Is it {text}?"
    if before:
        previous = Reading.parse(before[-1])
        if typed.digit != previous.digit:
            places = (_places(typed), _places(previous))
            word = "decimal" if places[0] == 1 else "decimals"
            return (
                f"{text} has {places[0]} {word}, the reading before has {places[1]}; the display shows its "
                f"last zero too. Is it {text}?"
            )
        moved = abs(typed.value - previous.value)
        if moved > DIGITS * typed.digit and moved > JUMP * max(abs(typed.value), abs(previous.value)):
            return f"{text} after {before[-1]} is a jump of {moved}. Is it {text}?"
    elif last:
        return _against_last(typed, last)
    return ""


def _against_last(typed: Reading, last: str) -> str:
    former = Reading.parse(last).value
    big, small = max(abs(typed.value), abs(former)), min(abs(typed.value), abs(former))
    if big - small > DIGITS * typed.digit and big > TIMES * small:
        return f"{typed.text} is far from the {last} of last time. Is it {typed.text}?"
    return ""


def _places(reading: Reading) -> int:
    return max(0, -int(reading.digit.as_tuple().exponent))


def about_time(moment: datetime, now: datetime, latest: datetime | None) -> str:
    """Return what is odd about a time: it lies after this computer's clock, or before what came before it."""
    if moment > now + CLOCKS_DIFFER:
        here = f"{now:%H:%M}"
        return f"{moment:%H:%M} on {moment:%Y-%m-%d} is later than this computer's clock ({here}). Is it so?"
    if latest is not None and moment < latest:
        return (
            f"{moment:%H:%M} on {moment:%Y-%m-%d} lies before {latest:%H:%M}, which stands above it in the "
            f"order of the work. Is it so?"
        )
    return ""
