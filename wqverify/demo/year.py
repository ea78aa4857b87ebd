"""A calculated year before the month of the demo: synthetic, unsigned, without notebooks.

Its sheets are computed and entered as any others, each with its page; only no notebook is executed, and
nobody signs. So that history, due and done have something to show. Each record says what it is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from random import Random
from typing import Any

from wqverify import acts
from wqverify.demo.chlorine_visits import SERIAL as CHLORINE_NOW
from wqverify.demo.chlorine_visits import _check as chlorine_check
from wqverify.demo.ellodale import REVIEWER, _walked
from wqverify.demo.ph_visits import Electrode, _close, _failing, _passing
from wqverify.demo.sheet import Visit
from wqverify.demo.turbidity_visits import Nephelometer
from wqverify.demo.turbidity_visits import _check as turbidity_check
from wqverify.durable import write_durably
from wqverify.plant.folder import Plant
from wqverify.records.canonical import to_plain
from wqverify.records.notebook import Executed
from wqverify.records.record import case_from, compute
from wqverify.show.charts import chart_svg
from wqverify.terms import Standard

SEED = 1117
WEEKS = 52
QUARTER = 13  # weeks: how long the bottles of one delivery last
CHLORINE_BEFORE = "EL-0588"  # the transmitter behind AIT-2301 in the first half of the year
REMARK = "Synthetic: a calculated year of the demo, unsigned, no notebook was executed."
CLOSED = "the filter gallery was closed for painting"
NEAR = {"AIT-2201": 0.520, "AIT-2202": 0.507, "AIT-2210": 0.498}  # of the secondary standard, in NTU


def add_year(
    plant: Plant, month: date, now: datetime, tell: Callable[[str], None], weeks: int = WEEKS
) -> tuple[acts.Performed, ...]:
    """Enter the weeks before a month, quarter by quarter with the bottles of that time.

    The register and the standards of each quarter are accepted with their reason, and those of today again at
    the end; the files of the plant folder stay as they are.
    """
    monday = month - timedelta(days=month.weekday() + 7 * weeks)
    told = list(year_visits(monday, weeks))
    done: list[acts.Performed] = []
    for first in range(0, weeks, QUARTER):
        begins = monday + timedelta(weeks=first)
        ends = begins + timedelta(weeks=min(QUARTER, weeks - first))
        then = _plant_then(plant, begins, first >= weeks // 2)
        acts.accept(then, REVIEWER, f"synthetic year: bottles and instruments from {begins}", now)
        mine = [visit for visit in told if begins <= visit.day < ends]
        tell(f"calculating {len(mine)} visits of {begins} to {ends - timedelta(days=1)}, without notebooks")
        done += _entered(then, mine, now)
    acts.accept(plant, REVIEWER, "synthetic year: the register and the standards as they are", now)
    return tuple(done)


def _entered(plant: Plant, visits: Sequence[Visit], now: datetime) -> list[acts.Performed]:
    paths, walked = [], dict[date, list[Visit]]()
    for visit in visits:
        if visit.round:
            walked.setdefault(visit.day, []).append(visit)
            continue
        path = plant.folder / "field_sheets" / f"{visit.day.isoformat()} {visit.tag} {visit.name}.toml"
        write_durably(path, visit.sheet.encode())
        paths.append(path)
    rounds = [_walked(plant, stops, now) for stops in walked.values()]
    ordered = sorted([*paths, *rounds], key=lambda path: path.name[:10])
    return list(acts.perform_walk(plant, ordered, now, run=without_notebook).performed)


def without_notebook(_procedure: str, cases: Sequence[Mapping[str, Any]]) -> Executed:
    """Return what a notebook of these cases would show, computed without one."""
    results = [compute(case_from(case)) for case in cases]
    charts = [
        {f"chart-{n}.svg": chart_svg(chart) for n, chart in enumerate(result.charts, 1)} for result in results
    ]
    return Executed(b"", tuple(to_plain(result) for result in results), tuple(charts), "", "")


def _plant_then(plant: Plant, begins: date, exchanged: bool) -> Plant:
    """Return the plant as it was in a quarter: bottles opened a week before, another chlorine transmitter."""
    chlorine = plant.analyzers["AIT-2301"]
    serial = CHLORINE_NOW if exchanged else CHLORINE_BEFORE
    return replace(
        plant,
        standards={name: _bottle_then(one, begins) for name, one in plant.standards.items()},
        analyzers={**plant.analyzers, chlorine.tag: replace(chlorine, serial=serial)},
    )


def _bottle_then(standard: Standard, begins: date) -> Standard:
    if standard.assigned:
        on = (begins - timedelta(days=3)).isoformat()
        known = {row.tag: row for row in standard.assigned}
        some = next(iter(known.values()))
        rows = [replace(known.get(tag, some), tag=tag, on=on, serial="") for tag in NEAR]
        return replace(standard, assigned=tuple(replace(r, value=Decimal(str(NEAR[r.tag]))) for r in rows))
    if not standard.opened:
        return standard
    opened, until = begins - timedelta(days=7), begins + timedelta(days=100)
    return replace(
        standard,
        lot=f"{standard.lot}-{begins:%y%m}",
        opened=opened.isoformat(),
        usable_until=until.isoformat(),
        because=f"opened {opened}, usable for 107 days",
    )


# ---------------------------------------------------------------- the visits


def year_visits(monday: date, weeks: int) -> Iterator[Visit]:
    """Yield the visits of some weeks from a Monday on, each of which says what it is."""
    everything = [
        *_ph(Random(SEED), monday, weeks),
        *_chlorine(Random(SEED + 1), monday, weeks),
        *_turbidity(Random(SEED + 2), monday, weeks),
    ]
    for visit in sorted(everything, key=lambda one: one.day):
        yield replace(visit, sheet=_said(visit.sheet)) if visit.sheet else visit


def _said(sheet: str) -> str:
    """Return a sheet with the remark; it stands before the first table, and before one of its own."""
    head, table, rest = sheet.partition("\n[")
    rows = [row for row in head.split("\n") if not row.startswith("remarks = ")]
    own = [row for row in head.split("\n") if row.startswith("remarks = ")]
    words = own[0].removeprefix('remarks = "').removesuffix('"') if own else ""
    remark = f"{REMARK} {words}".strip()
    return "\n".join([*rows[:-1], f'remarks = "{remark}"', *rows[-1:]]) + table + rest


def _ph(random: Random, monday: date, weeks: int) -> Iterator[Visit]:
    """A glass electrode that ages; it is adjusted where it is found out, and replaced after half a year."""
    electrode = Electrode(random)
    electrode.adjust()
    for week in range(weeks):
        electrode.slope -= random.uniform(0.0, 0.0012)
        electrode.offset_mv += random.gauss(0.9, 0.8)
        if week == weeks // 2:
            electrode.slope, electrode.offset_mv = 0.988, electrode.stored_offset_mv + 0.8
        day = monday + timedelta(weeks=week, days=1)
        if random.random() < 0.04:
            continue  # nobody went
        error = max(abs(electrode.shown(ph, 18.0) - ph) for ph in (7.0, 10.0))
        visit = _passing if error < 0.06 else _close if error < 0.125 else _failing
        yield replace(visit(electrode, day), name="pH", tolerance_changes=False)


def _chlorine(random: Random, monday: date, weeks: int) -> Iterator[Visit]:
    """A membrane that gets tired until it is serviced; another transmitter in the second half of the year."""
    sensitivity, day = 1.0, monday
    while day < monday + timedelta(weeks=weeks):
        sensitivity -= random.uniform(0.002, 0.014)
        low = sensitivity < 0.84
        visit = chlorine_check(random, day, random.uniform(0.9, 1.2), sensitivity, low)
        exchanged = day >= monday + timedelta(weeks=_half(weeks))
        sheet = visit.sheet if exchanged else visit.sheet.replace(CHLORINE_NOW, CHLORINE_BEFORE)
        yield replace(visit, name="chlorine", sheet=sheet)
        sensitivity = 1.0 if low else sensitivity
        day += timedelta(days=5 if random.random() < 0.93 else 7)


def _half(weeks: int) -> int:
    """The first week of the quarter from which on the other transmitter is there."""
    return next((first for first in range(0, weeks, QUARTER) if first >= weeks // 2), weeks)


def _turbidity(random: Random, monday: date, weeks: int) -> Iterator[Visit]:
    """Three nephelometers on one round; a film grows on the window of filter 2 until it is wiped."""
    meters = [
        Nephelometer("AIT-2201", "EL-0522", random, stray=0.001),
        Nephelometer("AIT-2202", "EL-0523", random, stray=0.002),
        Nephelometer("AIT-2210", "EL-0530", random, gain=1.002, stray=0.001),
    ]
    for week in range(weeks):
        day = monday + timedelta(weeks=week)
        closed = random.random() < 0.03
        for turn, meter in enumerate(meters):
            meter.film += random.uniform(0.0, 0.0025)
            if meter.tag == "AIT-2202" and random.random() < 0.08:
                meter.film += 0.04
            fouled = meter.film > 0.045
            if closed and meter.tag != "AIT-2210":
                yield Visit(day, "turbidity", meter.tag, "", CLOSED, "weekly-turbidity", CLOSED)
                continue
            visit = turbidity_check(meter, NEAR[meter.tag], day, f"{8 + turn:02d}:35", fouled)
            yield replace(visit, name="turbidity")
