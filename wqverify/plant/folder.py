"""Open a plant folder: all of it or a sentence for each thing that is wrong."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import TypeVar
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from wqverify.errors import RepairTheFolder
from wqverify.plant import sense
from wqverify.plant.clock import day
from wqverify.plant.fields import Entries
from wqverify.plant.files import Document, Problem, read_toml
from wqverify.plant.messages import explain
from wqverify.plant.models import AnalyzersFile, PeopleFile, PlantFile, RoundsFile, StandardsFile
from wqverify.plant.rounds import Round
from wqverify.plant.shares import said_of
from wqverify.terms import Analyzer, Person, Site, Standard

File = TypeVar("File", bound=Entries)
REGISTER, PEOPLE, STANDARDS, ROUNDS = (
    "analyzers.toml",
    "people.toml",
    "standards_on_hand.toml",
    "rounds.toml",
)
# What can be left out, each with what names entries of it.
LEFT_OUT_WITH = {
    REGISTER: (REGISTER, STANDARDS, ROUNDS),
    PEOPLE: (PEOPLE,),
    STANDARDS: (STANDARDS,),
    ROUNDS: (ROUNDS,),
}
REGISTER_BYTES = 512 * 1024  # a register of some hundred analyzers; sheets stay at 64 kB


@dataclass(frozen=True)
class Plant:
    """A plant folder as read: the plant, its analyzers, people and standards on hand, by their names."""

    folder: Path
    site: Site
    zone: ZoneInfo
    device: str
    book: str  # path of the file, or URL
    analyzers: Mapping[str, Analyzer]
    people: Mapping[str, Person]
    standards: Mapping[str, Standard]
    holidays: tuple[date, ...] = ()
    rounds: Mapping[str, Round] = field(default_factory=dict)
    shares: tuple[str, ...] = ()
    left_ml: Mapping[str, Decimal] = field(default_factory=dict)  # of a standard on hand, where it is told
    take: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # keys and tools of a tag


def find_plant(start: Path) -> Path:
    """Return the nearest folder at or above ``start`` that holds plant.toml; raises RepairTheFolder."""
    start = start.resolve()
    for folder in (start, *start.parents):
        if (folder / "plant.toml").is_file():
            return folder
    raise RepairTheFolder(
        f"There is no plant.toml in {start} or above it; go to the plant folder, name it with --plant, or "
        f"make one with wqverify new.",
        where=str(start),
    )


def open_plant(folder: Path, *, without: Collection[str] = ()) -> Plant:
    """Read a plant folder; ``without`` names files that are taken as if they held nothing.

    Raises RepairTheFolder where a file is missing and CorrectTheEntry, with a sentence for each mistake,
    where one cannot be taken.
    """
    plant = _read(folder, "plant.toml", PlantFile, sense.in_plant)
    register, people, standards, walks = AnalyzersFile(), PeopleFile(), StandardsFile(), RoundsFile()
    if REGISTER not in without:
        register = _read(folder, REGISTER, AnalyzersFile, sense.in_register)
    if PEOPLE not in without:
        people = _read(folder, PEOPLE, PeopleFile, sense.in_people)
    tags = [entry.tag for entry in register.analyzer]
    if STANDARDS not in without:
        standards = _read(
            folder, STANDARDS, StandardsFile, lambda file, document: sense.in_standards(file, document, tags)
        )
    if ROUNDS not in without and (folder / ROUNDS).is_file():
        walks = _read(
            folder, ROUNDS, RoundsFile, lambda file, document: sense.in_rounds(file, document, tags)
        )
    shares = [
        said
        for entry in register.analyzer
        for name, tolerance in entry.tolerance.items()
        if (said := said_of(entry, name, tolerance))
    ]
    return Plant(
        folder=folder,
        site=plant.site(),
        zone=ZoneInfo(plant.time_zone),
        device=plant.book.device,
        book=_book(folder, plant),
        analyzers={entry.tag: entry.analyzer() for entry in register.analyzer},
        people={entry.id: entry.person() for entry in people.person},
        standards={entry.id: entry.standard() for entry in standards.standard},
        holidays=tuple(day(text) for text in plant.holidays),
        rounds={entry.name: entry.round() for entry in walks.round},
        shares=tuple(shares),
        left_ml={entry.id: entry.left_ml for entry in standards.standard if entry.left_ml is not None},
        take={entry.tag: entry.take for entry in register.analyzer if entry.take},
    )


def place_of_book(folder: Path) -> tuple[str, str]:
    """Return (book, device) of a plant folder from its plant.toml alone: a register may be in the making."""
    plant = _read(folder, "plant.toml", PlantFile, sense.in_plant)
    return _book(folder, plant), plant.book.device


def _book(folder: Path, plant: PlantFile) -> str:
    return plant.book.url if "://" in plant.book.url else str(folder / plant.book.url)


def expected_shares(plant: Plant) -> tuple[str, ...]:
    """Return, per tolerance, what share of it the expanded uncertainty is expected to take."""
    return plant.shares


def _read(
    folder: Path, name: str, model: type[File], sensible: Callable[[File, Document], Iterator[Problem]]
) -> File:
    path = folder / name
    if not path.is_file():
        raise RepairTheFolder(
            f"The plant folder {folder} has no {name}; put it back, or make a folder with wqverify new and "
            f"copy its {name}.",
            where=str(path),
        )
    document = read_toml(path, REGISTER_BYTES)
    try:
        file = model.model_validate(document.data)
    except ValidationError as error:
        raise explain(error, document, model) from None
    problems = list(sensible(file, document))
    if problems:
        raise document.refusal(problems)
    return file
