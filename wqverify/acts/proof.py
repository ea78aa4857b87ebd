"""Prove: run published values here, keep the proof in the plant folder and its digest in the book."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from wqverify.acts.shared import local_time, settled
from wqverify.book import Book
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
        "failed": [value.told for value in run.failed],
        "computer": asdict(run.computer),
    }
    with book.writing() as writer:
        write_durably(path, data)
        at = local_time(plant, now)
        writer.append(PROVED, key=f"{PROVED} {path.stem} {hashed}", at=at, stored=data, body=body)
    return Kept(run, path, hashed)


def _free(folder: Path, stem: str) -> Path:
    count, path = 1, folder / f"{stem}.json"
    while path.exists():
        count += 1
        path = folder / f"{stem} {count}.json"
    return path


def newest_proof(book: Book) -> Proof | None:
    """Return the newest proof that this device made with the software that computes here, None for none."""
    own = [entry for entry in book.events(PROVED) if entry.chain == book.chain]
    if not own:
        return None  # and nothing is asked of this computer
    here = asdict(computer_here())
    for entry in reversed(own):
        body = entry.body
        if body["computer"] == here:
            return Proof(entry.at, body["file"], body["stored"], body["values"], tuple(body["failed"]))
    return None
