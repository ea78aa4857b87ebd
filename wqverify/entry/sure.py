"""Answers that are asked about once more: never refused, because what is odd may be true.

The bounds are common practice, no source; they decide only whether somebody is asked "sure?".
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal

from wqverify.terms import Beside, Reading

JUMP = Decimal("0.05")  # of the reading before
DIGITS = 20  # of the display: smaller steps are no jump, however near to zero
TIMES = 3  # so many times more or less than last time
FAR = 10  # times the tolerance, and a tenth of the value
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
    own = typed.unit is None  # in another unit it is looked at by the procedure, once it is converted
    if own and low is not None and high is not None and not low <= typed.value <= high:
        return f"{text} lies outside the range {low} to {high}. Is it {text}?"
    if before:
        previous = Reading.parse(before[-1])
        if typed.unit != previous.unit:
            return ""
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
    former = Reading.parse(last)
    if former.unit != typed.unit:
        return ""
    big, small = (pick(abs(typed.value), abs(former.value)) for pick in (max, min))
    if big - small > DIGITS * typed.digit and big > TIMES * small:
        return f"{typed.text} is far from the {last} of last time. Is it {typed.text}?"
    return ""


def about_first(text: str, beside: Beside, digit: Decimal | None) -> str:
    """Return what is odd about the first reading on a standard: far from it, or not as the display shows it.

    >>> from decimal import Decimal as D
    >>> about_first("10.11", Beside(reference=D("4.01"), low=D("3.91"), high=D("4.11")), D("0.01"))
    '10.11 is 6.10 from the 4.01 it should be. Is it 10.11?'
    """
    typed = Reading.parse(text)
    if beside.reference is not None and beside.low is not None and beside.high is not None:
        error, half = abs(typed.value - beside.reference), (beside.high - beside.low) / 2
        if error > FAR * half and error > abs(beside.reference) / FAR:
            return f"{text} is {error} from the {beside.reference} it should be. Is it {text}?"
    if digit is not None and typed.digit > digit:
        return f"{text} has fewer decimals than the display, which shows {digit}. Is it {text}?"
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
