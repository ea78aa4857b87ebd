"""Clocks: what is due at a time, on a sheet that is open, and what a record leaves to be done after it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

OF = "due.of"  # the fact that says what the clocks of a record are about: a month, a failure


@dataclass(frozen=True, slots=True)
class RunningClock:
    """Something that is due at a time: ``due`` is ISO 8601 with offset, ``source`` the rule or setting.

    ``key`` names it in the facts of a record: with it `wqverify follow-up` says that it was done, which it
    cannot have been before ``since``, ISO 8601 with offset, empty where that is not known.
    """

    what: str
    due: str
    source: str
    done: bool = False
    key: str = ""
    since: str = ""
    only_by: str = ""  # what alone ends it, where saying that it was done does not


def due_facts(of: str, clocks: Iterable[RunningClock]) -> dict[str, str]:
    """Return the facts that tell later readers of a record which clocks still run, and about what.

    >>> one = RunningClock("report", "2026-11-10T23:59-05:00", "40 CFR 141.175", key="report")
    >>> due_facts("2026-10", [one])  # doctest: +NORMALIZE_WHITESPACE
    {'due.of': '2026-10', 'due.report': '2026-11-10T23:59-05:00', 'due.report.what': 'report',
     'due.report.source': '40 CFR 141.175'}
    """
    told = {OF: of}
    for one in clocks:
        if one.key and not one.done:
            key = f"due.{one.key}"
            told |= {key: one.due, f"{key}.what": one.what, f"{key}.source": one.source}
            more = {"since": one.since, "only_by": one.only_by}
            told |= {f"{key}.{word}": text for word, text in more.items() if text}
    return told


def clocks_in(facts: Mapping[str, str]) -> Iterator[RunningClock]:
    """Give the clocks that the facts of a record tell.

    >>> one = RunningClock("report", "2026-11-10T23:59-05:00", "40 CFR 141.175", key="report")
    >>> list(clocks_in(due_facts("2026-10", [one]))) == [one]
    True
    """
    for name, due in facts.items():
        what = facts.get(f"{name}.what")
        if name.startswith("due.") and what is not None:
            source, since, only_by = (
                facts.get(f"{name}.{word}", "") for word in ("source", "since", "only_by")
            )
            key = name.removeprefix("due.")
            yield RunningClock(what, due, source, key=key, since=since, only_by=only_by)
