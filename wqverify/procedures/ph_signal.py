"""The signal between analyzer and control system: the loop current against what the display should give."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from wqverify.procedures.parts import Signal
from wqverify.procedures.ph_sheet import PhSheet
from wqverify.procedures.rules import frozen
from wqverify.terms import Given, Quantity, Reading, Value, Working

BESIDES = "0.02"  # mA besides the digits of display and meter; common practice, no source
FINE = Decimal("0.01")  # mA, at least so fine is the computed current shown
LIVE_ZERO = "IEC 60381-1, 4 to 20 mA (from memory)"


@dataclass(frozen=True, slots=True)
class Loop:
    """A loop current and the display it belongs to, with the range between them."""

    display: Reading
    ma: Reading
    low: Decimal
    high: Decimal
    where: str  # whose range it is

    @property
    def per_ph(self) -> Decimal:
        return 16 / (self.high - self.low)

    @property
    def exact(self) -> Decimal:
        return 4 + 16 * (self.display.value - self.low) / (self.high - self.low)

    @property
    def expected(self) -> str:
        """The current the display should give, mA, as fine as the meter or finer."""
        return f"{self.exact.quantize(min(FINE, self.ma.digit)):f}"

    @property
    def digits(self) -> Decimal:
        """One digit of the display as current, and one of the meter, mA."""
        return self.display.digit * abs(self.per_ph) + self.ma.digit


def loop_of(sheet: PhSheet, given: Given) -> Loop | None:
    """Return the loop current to compare, None where current or display was not read or no range is known."""
    read = sheet.signal
    if not isinstance(read, Signal) or read.display is None or read.ma is None:
        return None
    analyzer = given.analyzer
    low, high, where = analyzer.low, analyzer.high, analyzer.tag
    for hop in analyzer.hops[:1]:  # the transmitter makes the current
        if hop.low is not None and hop.high is not None and hop.unit in ("", analyzer.unit):
            low, high, where = hop.low, hop.high, hop.name
    return None if low == high else Loop(read.display, read.ma, low, high, where)


def loop_value(sheet: PhSheet, given: Given) -> Iterator[Value]:
    """Give the current that the display should give."""
    loop = loop_of(sheet, given)
    if loop is not None:
        quantity = Quantity(loop.expected, "mA", float(loop.exact))
        label = f"Loop current that the display {loop.display.text} should give; {loop.ma.text} mA was read"
        yield Value("signal.ma", "signal", label, quantity, LIVE_ZERO)


def loop_working(sheet: PhSheet, given: Given) -> Iterator[Working]:
    """Give the hand calculation of that current."""
    loop = loop_of(sheet, given)
    if loop is not None:
        low, high = (f"{v:f}" if v >= 0 else f"(−{-v:f})" for v in (loop.low, loop.high))
        yield Working(
            f"Loop current by the range {loop.low} to {loop.high} of {loop.where}",
            "I = 4 + 16 (display − low) / (high − low)",
            f"4 + 16 × ({loop.display.text} − {low}) / ({high} − {low})",
            f"{loop.expected} mA",
            LIVE_ZERO,
        )


def signal_cautions(sheet: PhSheet, given: Given) -> Iterator[str]:
    """Say where the current is not that of the display; a held output says nothing about the ranges."""
    if frozen("signal", given):
        at = given.times["signal.at"][11:16]
        yield (
            f"The signal was read at {at} while the output was held: the value in the control system and "
            f"the current stood still, so they are not compared with the display."
        )
        return
    loop = loop_of(sheet, given)
    if loop is None:
        return
    besides = Decimal(given.analyzer.settings.get("signal_ma", BESIDES))
    if abs(loop.ma.value - loop.exact) > loop.digits + besides:
        yield (
            f"The display {loop.display.text} should give {loop.expected} mA; {loop.ma.text} mA was read: "
            f"look at the ranges and at the meter."
        )


def signal_not_seen(sheet: PhSheet, given: Given) -> Iterator[str]:
    """Say what of the signal was not measured, where there is one."""
    if not (given.analyzer.hops or given.analyzer.control_system_tag):
        return
    read = sheet.signal if isinstance(sheet.signal, Signal) else None
    if read is None or read.ma is None:
        yield "The loop current was not measured: at which end a difference arises is not known."
    elif read.display is None:
        yield "The loop current was read without the display beside it: the two are not compared."
