"""What is put into a budget, by physical cause: sizes with where they come from, shared by all procedures.

A size that no certificate of the plant states is common practice or memory and carries that word into the
budget; the page prints it as assumed. Names of causes are shared on purpose: one bottle and one thermometer
act on everything they were used for, so what results have in common cancels or adds up by itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from functools import lru_cache
from math import fsum, sqrt

from wqverify.calculations.uncertainty import reading_u
from wqverify.terms import Input, Reading, SizeFrom, Standard

ROOT3 = sqrt(3)
ROOT12 = sqrt(12)

# Name in the register -> half width (rectangular), where it comes from, words with {size}.
Sizes = Mapping[str, tuple[str, SizeFrom, str]]


class Inputs(dict[str, Input]):
    """Inputs by cause, each entered once, with the sizes of this analyzer."""

    def __init__(self, settings: Mapping[str, str], sizes: Sizes) -> None:
        super().__init__()
        self.settings = settings
        self.sizes = sizes

    def half_width(self, cause: str, size: str, value: float = 0.0) -> str:
        """Enter a rectangular input of a named size; returns its cause."""
        if cause not in self:
            self[cause] = _assumed(*self.sizes[size], self.settings.get(size, ""), value)
        return cause

    def digit(self, cause: str, reading: Reading, what: str) -> str:
        """Enter what a display shows: its value, uncertain by its last digit."""
        if cause not in self:
            self[cause] = _shown(reading.text, what)
        return cause

    def mean(self, cause: str, readings: Sequence[Reading], what: str) -> str:
        """Enter the mean of readings: uncertain by their scatter, not less than by the last digit."""
        if cause not in self:
            values = [float(reading.value) for reading in readings]
            digit = max(reading.digit for reading in readings)
            u, dof = reading_u(float(digit), values)
            by_digit = dof is None
            self[cause] = Input(
                fsum(values) / len(values),
                u,
                "rectangular" if by_digit else "t",
                dof=dof,
                size_from="resolution" if by_digit else "readings",
                source=f"{what}, read to {digit}"
                if by_digit
                else f"{what}, scatter of {len(values)} readings",
            )
        return cause

    def creep(self, cause: str, limit: Decimal, unit: str) -> str:
        """Enter the rest of the creep that the stability criterion lets through."""
        if cause not in self:
            self[cause] = _creep(limit, unit)
        return cause

    def certificate(self, cause: str, standard: Standard, otherwise: Input) -> str:
        """Enter the certificate of a bottle or instrument, or what is assumed where it states none."""
        if cause not in self:
            self[cause] = stated(standard) or otherwise
        return cause

    def thermometer(self, standard: Standard | None) -> str:
        """Enter the reference thermometer, one cause for everything it was used for."""
        cause = f"thermometer:{standard.id if standard else 'not named'}"
        if cause not in self:
            self[cause] = _thermometer(standard)
        return cause


def stated(standard: Standard) -> Input | None:
    """Return what a certificate states as an input about 0, None where it states nothing."""
    if standard.expanded is None:
        return None
    k = standard.k if standard.k is not None else Decimal(2)
    named = f", certificate {standard.certificate}" if standard.certificate else ""
    return Input(
        0.0,
        float(standard.expanded / k),
        source=f"U {standard.expanded} {standard.unit}, k {k}, of {standard.id}{named}",
    )


@lru_cache(maxsize=1024)
def _assumed(default: str, size_from: SizeFrom, words: str, set_to: str, value: float) -> Input:
    half = set_to or default
    origin = ", set in the register" if set_to else ""
    return Input(
        value,
        float(half) / ROOT3,
        "rectangular",
        size_from=size_from,
        source=words.format(size=half) + origin,
    )


@lru_cache(maxsize=64)
def _creep(limit: Decimal, unit: str) -> Input:
    return Input(
        0.0,
        float(limit) / 2 / ROOT3,
        "rectangular",
        size_from="common practice",
        source=f"half of the stability limit of {limit} {unit}",
    )


@lru_cache(maxsize=8192)
def _shown(text: str, what: str) -> Input:
    reading = Reading.parse(text)
    return Input(
        float(reading.value),
        float(reading.digit) / ROOT12,
        "rectangular",
        size_from="resolution",
        source=f"{what}, read to {reading.digit}",
    )


def _thermometer(standard: Standard | None) -> Input:
    if standard is not None and standard.expanded is not None:
        k = standard.k if standard.k is not None else Decimal(2)
        return Input(
            0.0, float(standard.expanded / k), source=f"U {standard.expanded} °C, k {k}, of {standard.id}"
        )
    if standard is not None:
        return Input(
            0.0, 0.15, size_from="common practice", source=f"U 0.3 °C, k 2; none entered for {standard.id}"
        )
    return Input(0.0, 0.5, size_from="memory", source="U 1 °C, k 2; the sheet names no thermometer")
