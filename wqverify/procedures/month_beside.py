"""What stands beside the questions of a turbidity month: the month that is over, limits, exports, holds."""

from __future__ import annotations

from datetime import date, timedelta

from wqverify.procedures.beside import at, group, quiet
from wqverify.procedures.beside import told as lines
from wqverify.procedures.month_records import windows_of
from wqverify.procedures.month_rules import (
    EVALUATION,
    HIGHEST,
    LIMIT,
    PAIR,
    PERCENT,
    SHIPPED,
    START,
    TOLERANCES,
    is_large,
    limit_of,
    month_of,
    people_served,
)
from wqverify.terms import Beside, Given, Raw


@quiet
def _month(raw: Raw, _path: str, given: Given) -> Beside:
    """The month before the day of the work."""
    last = date.fromisoformat(raw["date"]).replace(day=1) - timedelta(days=1)
    told = [one for one in given.earlier if one.facts.get("month")]
    newest = f"last one on record: {told[0].facts['month']} ({told[0].number})" if told else ""
    return Beside(
        lines(f"the last month that is over: {last:%B %Y}", newest),
        offers=(f"{last:%Y-%m}-01 00:00",),
    )


@quiet
def _limits(raw: Raw, _path: str, given: Given) -> Beside:
    """Where the limits come from: the register, or as shipped for a filtration."""
    held = [name.replace("_", " ") for name in TOLERANCES if name in given.analyzer.tolerances]
    people = people_served(given)
    served = (
        f"{people} people served"
        if people
        else "people served: not in the register, taken as 10 000 and more"
    )
    register = (
        f"the register holds: {', '.join(held)}" if held else "the register holds none, shipped limits hold"
    )
    usual = at(raw, "rules.filtration")
    chosen = usual if isinstance(usual, str) and usual in SHIPPED else "conventional or direct"
    limits = {name: limit_of(name, chosen, given.analyzer, given) for name in TOLERANCES}
    words = {
        LIMIT: "values at or below",
        PERCENT: "in at least",
        HIGHEST: "never above",
        PAIR: "filters twice running above",
        EVALUATION: "above",
    } | ({START: "4 h after a backwash above"} if is_large(given) else {})
    shown = [
        f"{word} {limit.high if limit.high is not None else limit.low} {limit.unit}"
        for name, word in words.items()
        if (limit := limits[name]) is not None
    ]
    return Beside(lines(served, register, f"{chosen}: {', '.join(shown)}"))


@quiet
def _export(raw: Raw, path: str, given: Given) -> Beside:
    """What was found in the export once it is named, else whose it must hold."""
    use = next((one for one in given.trends if one.path == path), None)
    if use is not None:
        return Beside(lines(f"{use.channel} of {use.file}", use.told[-2:]))
    tag = at(raw, f"{group(path)}.tag")
    analyzer = given.others.get(tag) if isinstance(tag, str) else None
    one = analyzer or given.analyzer
    name = one.control_system_tag or one.tag
    return Beside(lines(f"it must hold {name} for the whole month, every 15 min or closer"))


@quiet
def _left_out(raw: Raw, path: str, given: Given) -> Beside:
    """What the book already knows: it is left out by itself."""
    tag = at(raw, f"{path.rpartition('.left_out')[0]}.tag")
    of = tag if isinstance(tag, str) else given.analyzer.tag
    month = month_of(given)
    known = [
        f"left out by itself: {month.clock(one.span.start)} to {month.clock(one.span.end)}, {one.words}"
        for one in windows_of(of, month, given)
    ]
    return Beside(lines(known[:6] or f"the book knows no hold and no check of {of} in {month.words}"))


BESIDE = {"month": _month, "limits": _limits, "export": _export, "left_out": _left_out}
