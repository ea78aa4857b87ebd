"""The visits of the demo month, of all analyzers in the order of their days."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from wqverify.demo.chlorine_visits import chlorine_visits
from wqverify.demo.doubt_visits import doubt_visits
from wqverify.demo.month_visits import month_visits
from wqverify.demo.outage_visits import outage_visits
from wqverify.demo.ph_visits import ph_visits
from wqverify.demo.physical_visits import physical_visits
from wqverify.demo.sheet import Visit
from wqverify.demo.signal_visits import signal_visits
from wqverify.demo.turbidity_visits import turbidity_visits


def follow_ups(month: date) -> Iterator[Visit]:
    """Yield the visits that name records of earlier ones, in the order of the work."""
    yield from outage_visits(month)
    yield from doubt_visits(month)
    yield from month_visits(month)


def visits(month: date) -> Iterator[Visit]:
    """Yield the visits of a month in the order of their days."""
    everything = (
        *ph_visits(month),
        *turbidity_visits(month),
        *chlorine_visits(month),
        *signal_visits(month),
        *physical_visits(month),
    )
    yield from sorted(everything, key=lambda visit: visit.day)
