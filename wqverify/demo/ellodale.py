"""Make the Ellodale plant and perform its synthetic month: from field sheets to an audit pack."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from importlib.resources import files
from itertools import groupby
from pathlib import Path
from string import Template

from wqverify import acts, audit
from wqverify.demo.sheet import OPERATOR, Visit, numbered
from wqverify.demo.visits import follow_ups, visits
from wqverify.durable import make_folder, write_durably
from wqverify.errors import CorrectTheEntry
from wqverify.pack import Made, make_pack
from wqverify.plant.folder import Plant, open_plant

PLANT_FILES = ("plant.toml", "analyzers.toml", "people.toml", "standards_on_hand.toml", "rounds.toml")
REVIEWER = "S-02"
ROUND_BY = "T-07"
LOOSE, TIGHT = "0.15", "0.10"  # the tolerance at the control system before and after rev. 4
PACKS = "audit_packs"
EMPTY = ("field_sheets", "trends", "book", "certificates")


@dataclass(frozen=True)
class DemoRow:
    """One visit of the demo and what became of it; a check that was skipped has no number and no page."""

    number: str
    day: date
    tag: str
    story: str
    outcomes: dict[str, str]
    state: str
    page: Path | None
    answer: str


@dataclass(frozen=True)
class Demo:
    """What the demo made."""

    folder: Path
    rows: tuple[DemoRow, ...]
    passphrase: str
    pack: Made  # of its month, for an auditor


def month_before(now: datetime) -> date:
    """Return the first day of the last month that is over: the demo is always last month's work.

    Its last paper is written on the first day after it, so a month is over once that day is past everywhere.
    """
    past = now.date() - timedelta(days=2)
    return (past.replace(day=1) - timedelta(days=1)).replace(day=1)


def make_plant(folder: Path, month: date) -> Plant:
    """Write the plant folder as it stood at the beginning of a month; refuses a folder that is not empty."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise CorrectTheEntry(
            f"{folder} is not empty; name another folder, or remove that one: the demo overwrites nothing.",
            where=str(folder),
        )
    for name in EMPTY:
        make_folder(folder / name)
    for name in PLANT_FILES:
        write_durably(folder / name, _filled(name, month, LOOSE).encode())
    write_durably(folder / "trends" / "exports.toml", _filled("exports.toml", month, LOOSE).encode())
    return open_plant(folder)


def _filled(name: str, month: date, control_system: str, assigned: str = "") -> str:
    """Return a file of the plant with its dates, which lie around the month of the demo."""
    tightened = control_system != LOOSE
    shipped = (files("wqverify") / "demo" / "plant" / name).read_text("utf-8")
    return Template(shipped).substitute(
        tolerance_date=(month - timedelta(days=200)).isoformat(),
        control_system=control_system,
        revision="4" if tightened else "3",
        revision_date=(month + timedelta(days=13) if tightened else month - timedelta(days=200)).isoformat(),
        licence_until=(month + timedelta(days=4000)).isoformat(),
        opened=(month - timedelta(days=20)).isoformat(),
        printed_until=(month + timedelta(days=300)).isoformat(),
        opened_long_ago=(month - timedelta(days=400)).isoformat(),
        expired=(month - timedelta(days=12)).isoformat(),
        due=(month + timedelta(days=200)).isoformat(),
        water=month.isoformat(),
        calibrated=(month + timedelta(days=3)).isoformat(),
        assigned=(month - timedelta(days=50)).isoformat(),
        assigned_here=assigned,
    )


def run_demo(folder: Path, store: Path, now: datetime, tell: Callable[[str], None]) -> Demo:
    """Make the plant; perform, sign, countersign and re-run its month, with keys made on the spot."""
    month = month_before(now)
    tell(f"making {folder} with a synthetic month, {month:%B %Y}")
    plant = make_plant(folder, month)
    secret = secrets.token_hex(8)
    acts.make_authority(plant, store, secret.encode(), now)
    for person in plant.people.values():
        acts.issue_key(plant, store, person.id, secret.encode(), secret.encode(), now)
    tell("running published values on this computer")
    acts.keep_proof(plant, now)
    done, told = _perform_all(plant, month, now, tell)
    plant = open_plant(folder)
    tell("signing and countersigning")
    for staff in dict.fromkeys(one.record.performed_by for one in done):
        mine = [one.number for one in done if one.record.performed_by == staff]
        acts.sign(plant, mine, staff, store, secret.encode(), now)
    _ask_about_the_film(plant, done, now)
    acts.review(plant, [one.number for one in done], REVIEWER, store, secret.encode(), now)
    tell("running every record again from its PDF alone")
    answers = {one.number: audit.rerun_file(one.page) for one in done}
    states = {state.number: state for state in audit.book_of(plant).records()}
    became = iter(done)
    rows = []
    for visit in told:
        if visit.skipped:
            rows.append(DemoRow("", visit.day, visit.tag, visit.story, {}, "skipped", None, ""))
            continue
        one = next(became)
        state, answer = states[one.number], answers[one.number].sentence()
        outcomes = dict(state.outcomes)
        rows.append(
            DemoRow(one.number, visit.day, visit.tag, visit.story, outcomes, state.state, one.page, answer)
        )
    tell("packing the month for an auditor")
    pack = make_pack(plant, f"{month:%Y-%m}", folder / PACKS / f"{month:%Y-%m}", now)
    return Demo(folder, tuple(rows), secret, pack)


def _perform_all(
    plant: Plant, month: date, now: datetime, tell: Callable[[str], None]
) -> tuple[list[acts.Performed], list[Visit]]:
    """Perform the visits in the order of their days; what is changed in the plant comes with its reason."""
    done: list[acts.Performed] = []
    waiting: list[Path] = []
    told = sorted([*visits(month), *follow_ups(month)], key=lambda visit: visit.day)
    for (_day, name), group in groupby(told, key=lambda visit: (visit.day, visit.round)):
        here = list(group)
        if any("{{" in visit.sheet for visit in here):
            done += acts.perform_walk(plant, waiting, now, tell).performed
            waiting = []
            here = [replace(visit, sheet=numbered(visit.sheet, _numbers(told, done))) for visit in here]
        changes = any(visit.tolerance_changes or visit.assigned for visit in here)
        if changes:
            done += acts.perform_walk(plant, waiting, now, tell).performed
            waiting = []
        if any(visit.tolerance_changes for visit in here):
            plant = _tighten(plant, month, now)
        waiting += [_walked(plant, here, now)] if name else [_sheet(plant, visit) for visit in here]
        if any(visit.assigned for visit in here):
            done += acts.perform_walk(plant, waiting, now, tell).performed
            waiting = []
            plant = _assign(plant, month, done[-1], now)
    done += acts.perform_walk(plant, waiting, now, tell).performed
    return done, told


def _numbers(told: list[Visit], done: list[acts.Performed]) -> dict[str, str]:
    """Return the numbers of the records so far by the names of their visits."""
    names = [visit.name for visit in told if not visit.skipped]
    return dict(zip(names, [one.number for one in done], strict=False))


def _sheet(plant: Plant, visit: Visit) -> Path:
    """Write the field sheet of a visit, and the export of the control system that it names."""
    if visit.trend:
        write_durably(plant.folder / "trends" / visit.trend, visit.shown.encode())
    path = plant.folder / "field_sheets" / f"{visit.day.isoformat()} {visit.tag} {visit.name}.toml"
    write_durably(path, visit.sheet.encode())
    return path


def _ask_about_the_film(plant: Plant, done: list[acts.Performed], now: datetime) -> None:
    """The reviewer returns the check that found a film with a question; its performer answers."""
    checks = [one for one in done if one.record.given.analyzer.tag == "AIT-2202"]
    fouled = next(one for one in checks if one.record.result.outcome("as_found") == "fail")
    question = "Was the other filter looked at on the same day, and what did it show?"
    told = "Yes: AIT-2201 was walked an hour before and passed, the film is on filter 2 only."
    acts.ask(plant, fouled.number, REVIEWER, question, now)
    acts.answer(plant, fouled.number, fouled.record.performed_by, told, now)


def _walked(plant: Plant, stops: list[Visit], now: datetime) -> Path:
    """Write the folder of a round and fill in its sheets; what was not done says why in its row."""
    first = stops[0]
    head = acts.HeadOf(by=ROUND_BY, date=first.day.isoformat(), told=OPERATOR)
    made = acts.prepare_round(plant, first.round, head, now)
    index = made.folder / "round.toml"
    rows = index.read_text("utf-8").split("[[stop]]")
    for place, (row, visit) in enumerate(zip(made.rows, stops, strict=True), 1):
        if visit.skipped:
            rows[place] = f'\nskipped = "{visit.skipped}"{rows[place]}'
        else:
            write_durably(row.path, visit.sheet.encode())
    write_durably(index, "[[stop]]".join(rows).encode())
    return made.folder


def _tighten(plant: Plant, month: date, now: datetime) -> Plant:
    """One tolerance moves on the way."""
    write_durably(plant.folder / "analyzers.toml", _filled("analyzers.toml", month, TIGHT).encode())
    plant = open_plant(plant.folder)
    acts.accept(
        plant, REVIEWER, "EP-12 rev. 4: the display in the control room counts like the analyzer", now
    )
    return plant


def _assign(plant: Plant, month: date, calibrated: acts.Performed, now: datetime) -> Plant:
    """Enter the value of the secondary standard as the record of the calibration gives it."""
    value, analyzer = calibrated.record.result.facts["assigned.S-05"], calibrated.record.given.analyzer
    assigned = (
        f'\n[[standard.assigned]]\ntag = "{analyzer.tag}"\nserial = "{analyzer.serial}"\nvalue = "{value}"\n'
        f'on = "{calibrated.record.performed[:10]}"\nafter = "{calibrated.number}"\n'
    )
    name = "standards_on_hand.toml"
    write_durably(plant.folder / name, _filled(name, month, LOOSE, assigned).encode())
    plant = open_plant(plant.folder)
    acts.accept(plant, REVIEWER, f"value assigned after the primary calibration {calibrated.number}", now)
    return plant
