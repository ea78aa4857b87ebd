"""Make a pack: the order of the steps and nothing else."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import wqverify
from wqverify.audit import book_of, compare_certificates
from wqverify.book import Book, verify
from wqverify.errors import ChooseAnother, CouldNotRun, RepairTheFolder
from wqverify.pack import gathered
from wqverify.pack.by_hand import TITLE, by_hand_blocks
from wqverify.pack.contents import Contents, told_of
from wqverify.pack.month import Walked, insist_on_month, month_of
from wqverify.pack.names import Names
from wqverify.pack.pages_in import AS_IN_THE_BOOK
from wqverify.pack.script import script
from wqverify.pack.spreadsheet import csv_text, workbook
from wqverify.pack.target import Target, insist_on_room, target_at
from wqverify.pack.web_page import index_blocks, page
from wqverify.plant.folder import Plant
from wqverify.show.terminal import text

MANIFEST = "manifest.txt"


@dataclass(frozen=True)
class Made:
    """A pack that was made: where, how much is in it, what is wrong and what is worth saying."""

    place: Path
    month: str
    records: int
    pdfs: int  # that are the files the book holds
    files: int
    later: int  # of the records: those of a later month, which are about this one
    problems: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def counted(self) -> str:
        """How many records are of the month, and how many later ones are about it."""
        return told_of(self.records, self.later)


def make_pack(plant: Plant, month: str, place: Path, now: datetime, *, as_zip: bool = False) -> Made:
    """Write the pack of a month into a new folder or zip; the same book gives the same bytes.

    ``now`` goes into the manifest, and only there; all else is as of the newest entry of the book.

    Raises CorrectTheEntry for what is no month or has not begun, RepairTheFolder where there is no book,
    ChooseAnother where something is at the place already or the book knows nothing of that month, CouldNotRun
    where the disk refuses or the book was added to meanwhile.
    """
    insist_on_month(month, plant.zone, now)
    book = book_of(plant)
    insist_on_room(place, as_zip=as_zip)
    wrong = [finding.text for finding in verify(book) if finding.severity == "damaged"]
    try:
        return _made(plant, book, Walked(month, plant.zone), place, now, wrong, as_zip=as_zip)
    except (ValueError, KeyError, TypeError) as problem:
        if not wrong:
            raise
        raise RepairTheFolder(
            f"The book is damaged so far that no pack can be made of it. {wrong[0]} See `wqverify book "
            f"examine`, and put back its newest good copy.",
            found=wrong[0],
        ) from problem


def _made(
    plant: Plant, book: Book, walked: Walked, place: Path, now: datetime, wrong: list[str], *, as_zip: bool
) -> Made:
    heads = book.heads()
    with target_at(place, as_zip=as_zip) as target:
        _chains(target, book, walked, sorted(heads))
        _insist_on_known(book, walked)
        pack = gathered.contents(plant, book, walked, target)
        pack.problems[:0] = wrong
        pack.problems += [finding.text for finding in compare_certificates(plant, book)]
        _write(target, pack)
        _manifest(target, pack, now.astimezone(plant.zone))
        if book.heads() != heads:
            raise CouldNotRun(
                f"The book was added to while the pack of {walked.month} was made, so it was not kept; run "
                f"the same command again."
            )
    good = sum(said == AS_IN_THE_BOOK for _number, _name, said, _digest in pack.pdfs)
    problems, notes = tuple(pack.problems), tuple(pack.notes)
    return Made(place, walked.month, len(pack.pdfs), good, len(target.digests), pack.later, problems, notes)


def _chains(target: Target, book: Book, walked: Walked, chains: Sequence[str]) -> None:
    names = Names()
    for chain in chains:
        target.add(f"chains/{names.free(f'chain-{chain}.txt')}", walked.lines(book, chain))


def _insist_on_known(book: Book, walked: Walked) -> None:
    """Raise ChooseAnother where the book is empty, or began after the month and holds no work of it."""
    began = month_of(datetime.fromisoformat(walked.first), walked.zone) if walked.first else ""
    if not began or (walked.month < began and next(book.records(walked.month), None) is None):
        since = (
            f"no work of that month, and its first entry is of {walked.first[:10]}"
            if began
            else "it is empty"
        )
        raise ChooseAnother(
            f"The book holds nothing of {walked.month}: {since}; no pack was made.", found=walked.month
        )


def _write(target: Target, pack: Contents) -> None:
    target.add_text("verify_chains.py", script())
    target.add_text("heads.txt", "".join(_head_lines(pack)))
    for sheet in pack.sheets:
        target.add_text(f"{sheet.file}.csv", csv_text(sheet, pack.mark))
    about = [("month", pack.month), ("newest entry of the book", pack.newest)]
    about += [(sheet.name, sheet.about or sheet.title) for sheet in pack.sheets]
    target.add("index.xlsx", (workbook(pack.sheets, about, pack.mark, pack.newest),))
    blocks = list(by_hand_blocks(pack))
    target.add_text("check_by_hand.html", page(TITLE, pack.label, blocks))
    target.add_text("check_by_hand.txt", f"{pack.label}\n\n{text(blocks, 100)}".replace("\n", "\r\n"))
    pack.files = gathered.files_of(target, pack)
    target.add_text(
        "index.html",
        page(f"Audit pack {pack.month}, {pack.plant}", pack.label, index_blocks(pack), wide=True),
    )


def _head_lines(pack: Contents) -> Iterator[str]:
    yield f"# {pack.label}\n"
    yield "# CHAIN:SEQ:DIGEST before the month began, when it had ended, and when this was made; plant time\n"
    first, after = pack.bounds
    yield f"month {pack.month}\nfrom {first.isoformat()}\nto {after.isoformat()}\n"
    for one in pack.heads:
        yield f"begin {one.begin}\nend {one.end}\nnow {one.now}\n"


def _manifest(target: Target, pack: Contents, now: datetime) -> None:
    """Write the digests of all other files; the only place where the time of making is said."""
    head = (
        f"# Audit pack {pack.month}, {pack.label}\n"
        f"# made {now.isoformat(timespec='seconds')} by this computer's clock, wqverify "
        f"{wqverify.__version__}\n# SHA-256 of every other file; check with: sha256sum -c {MANIFEST}\n"
    )
    lines = "".join(f"{digest}  {name}\n" for name, digest in sorted(target.digests.items()))
    target.add_text(MANIFEST, head + lines)
