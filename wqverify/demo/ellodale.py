"""Make the Ellodale plant and perform its synthetic month: the whole job, from field sheets to a re-run."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from importlib.resources import files
from pathlib import Path
from string import Template

from wqverify import acts, audit
from wqverify.demo.visits import visits
from wqverify.durable import make_folder, write_durably
from wqverify.errors import CorrectTheEntry
from wqverify.plant.folder import Plant, open_plant
from wqverify.records.rerun import Rerun

PLANT_FILES = ("plant.toml", "analyzers.toml", "people.toml", "standards_on_hand.toml", "rounds.toml")
REVIEWER = "S-02"
LOOSE, TIGHT = "0.15", "0.10"  # the tolerance at the control system before and after rev. 4
EMPTY = ("field_sheets", "trends", "book", "certificates")


@dataclass(frozen=True)
class DemoRow:
    """One visit of the demo and what became of it."""

    number: str
    day: date
    story: str
    outcomes: dict[str, str]
    state: str
    page: Path
    answer: str


@dataclass(frozen=True)
class Demo:
    """What the demo made."""

    folder: Path
    rows: tuple[DemoRow, ...]
    passphrase: str


def month_before(now: datetime) -> date:
    """Return the first day of the last full month: the demo is always last month's work."""
    return (now.date().replace(day=1) - timedelta(days=1)).replace(day=1)


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
    return open_plant(folder)


def _filled(name: str, month: date, control_system: str) -> str:
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
        assigned_here="",
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
    done, stories = _perform_all(plant, month, now, tell)
    plant = open_plant(folder)
    tell("signing and countersigning")
    for staff in dict.fromkeys(one.record.performed_by for one in done):
        mine = [one.number for one in done if one.record.performed_by == staff]
        acts.sign(plant, mine, staff, store, secret.encode(), now)
    acts.review(plant, [one.number for one in done], REVIEWER, store, secret.encode(), now)
    tell("running every record again from its PDF alone")
    answers = {one.number: audit.rerun_file(one.page) for one in done}
    states = {state.number: state for state in audit.book_of(plant).records()}
    rows = tuple(
        DemoRow(
            one.number,
            date.fromisoformat(one.record.performed[:10]),
            story,
            dict(states[one.number].outcomes),
            states[one.number].state,
            one.page,
            _said(answers[one.number]),
        )
        for one, story in zip(done, stories, strict=True)
    )
    return Demo(folder, rows, secret)


def _perform_all(
    plant: Plant, month: date, now: datetime, tell: Callable[[str], None]
) -> tuple[list[acts.Performed], list[str]]:
    """Perform the visits in the order of their days; one tolerance moves on the way, with its reason."""
    done: list[acts.Performed] = []
    waiting: list[Path] = []
    stories: list[str] = []
    for visit in visits(month):
        if visit.tolerance_changes:
            done += acts.perform(plant, waiting, now, tell)
            waiting = []
            register = plant.folder / "analyzers.toml"
            write_durably(register, _filled("analyzers.toml", month, TIGHT).encode())
            plant = open_plant(plant.folder)
            acts.accept(
                plant, REVIEWER, "EP-12 rev. 4: the display in the control room counts like the analyzer", now
            )
        path = plant.folder / "field_sheets" / f"{visit.day.isoformat()} AIT-2101 {visit.name}.toml"
        write_durably(path, visit.sheet.encode())
        waiting.append(path)
        stories.append(visit.story)
    return done + acts.perform(plant, waiting, now, tell), stories


def _said(answer: Rerun) -> str:
    return answer.sentence()
