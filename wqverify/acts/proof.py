"""Prove: run published values here, keep the proof in the plant folder and its digest in the book."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from wqverify.acts.shared import local_time, settled
from wqverify.book import Book, Entry, has_book, instant, open_book
from wqverify.durable import write_durably
from wqverify.plant.folder import Plant
from wqverify.proofs.prove import ProofRun, computer_here, prove
from wqverify.records.canonical import digest
from wqverify.terms import Proof

PROVED = "proved"
FOLDER = "proofs"


@dataclass(frozen=True)
class Kept:
    """A proof and the file it was kept in."""

    run: ProofRun
    path: Path
    digest: str
    place: int  # among those of this program on this computer: 1 is the first


def keep_proof(plant: Plant, now: datetime) -> Kept:
    """Run the published values and keep what came out, good or bad: a file, and an event of the book.

    The book keeps the bytes too, so that a lost file is no lost proof.
    """
    book = settled(plant, create=True)
    run = prove(now.astimezone(plant.zone), plant.device)
    data = run.to_bytes()
    hashed = digest(data)
    path = _free(plant.folder / FOLDER, f"{now.astimezone(plant.zone):%Y-%m-%d %H%M%S} {plant.device}")
    body = {
        "file": path.name,
        "values": len(run.values),
        "printed": run.printed,
        "failed": [value.told for value in run.failed],
        "computer": asdict(run.computer),
    }
    with book.writing() as writer:
        write_durably(path, data)
        at = local_time(plant, now)
        writer.append(PROVED, key=f"{PROVED} {path.stem} {hashed}", at=at, stored=data, body=body)
    alike = [entry for entry in _own(book) if entry.body["computer"] == body["computer"]]
    return Kept(run, path, hashed, len(alike))


@dataclass(frozen=True)
class KeptProof:
    """A proof as the book lists it; ``values`` are ``printed`` in a document or computed apart."""

    at: str
    device: str
    file: str
    digest: str
    there: bool  # whether the file is in the folder; the book keeps its bytes anyway
    computer: Mapping[str, Any]
    values: int
    printed: int | None  # None: an older proof, which did not say it apart
    failed: tuple[str, ...]


def kept_proofs(plant: Plant) -> list[KeptProof]:
    """Return the proofs of all devices that the book knows, the oldest first."""
    if not has_book(plant.book):
        return []
    found = open_book(plant.book, plant.device).events(PROVED)
    return [_listed(plant, entry) for entry in sorted(found, key=lambda e: (instant(e.at), e.chain, e.seq))]


def _listed(plant: Plant, entry: Entry) -> KeptProof:
    said: Any = entry.body.get  # an entry of another book may lack what is only shown
    name, computer, failed = str(said("file")), said("computer"), said("failed")
    values, printed = said("values"), said("printed")
    return KeptProof(
        at=entry.at,
        device=entry.chain,
        file=name,
        digest=str(said("stored")),
        there=(plant.folder / FOLDER / name).is_file(),
        computer=computer if isinstance(computer, Mapping) else {},
        values=values if isinstance(values, int) else 0,
        printed=printed if isinstance(printed, int) else None,
        failed=tuple(map(str, failed)) if isinstance(failed, list) else (),
    )


def _own(book: Book) -> list[Entry]:
    return [entry for entry in book.events(PROVED) if entry.chain == book.chain]


def _free(folder: Path, stem: str) -> Path:
    count, path = 1, folder / f"{stem}.json"
    while path.exists():
        count += 1
        path = folder / f"{stem} {count}.json"
    return path


def newest_proof(book: Book) -> Proof | None:
    """Return the newest proof that this device made with the software that computes here, None for none."""
    own = _own(book)
    if not own:
        return None  # and nothing is asked of this computer
    here = asdict(computer_here())
    for entry in reversed(own):
        body = entry.body
        if body["computer"] == here:
            return Proof(entry.at, body["file"], body["stored"], body["values"], tuple(body["failed"]))
    return None
