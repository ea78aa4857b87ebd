"""A book altered by its owner before a pack is made of it: what finds which attack, and which none does."""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from pack_example import FIRST, SECOND, pack_of

from wqverify.audit import examine_book
from wqverify.book import GENESIS, open_book, verify
from wqverify.book.entry import digest_of, entry_of
from wqverify.book.writer import findable
from wqverify.pack.script.said import CANNOT_SEE
from wqverify.pack.script.whole import check
from wqverify.plant.folder import open_plant
from wqverify.records.canonical import canonical

pytestmark = pytest.mark.slow
Entries = list[dict[str, Any]]


@pytest.fixture
def here(packed_month: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(packed_month / "plant", tmp_path / "plant"))


class Owner:
    """The book in the hands of somebody who owns the file: without its triggers, put back at the end."""

    def __init__(self, plant: Path) -> None:
        self.plant = plant
        self.pages = plant / "book" / "pages"
        self.connection = sqlite3.connect(plant / "book" / "book.sqlite")
        found = self.connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        self.triggers = dict(found.fetchall())
        for name in self.triggers:
            self.run(f"DROP TRIGGER {name}")

    def run(self, query: str, *values: object) -> list[Any]:
        return self.connection.execute(query, values).fetchall()

    def entries(self) -> Entries:
        return [json.loads(text) for (text,) in self.run("SELECT entry FROM entries ORDER BY seq")]

    def write(self, entries: Entries) -> None:
        """Write the whole chain anew: every entry names the one before it, and all columns agree."""
        self.run("DELETE FROM records")
        self.run("DELETE FROM entries")
        before = GENESIS
        for seq, entry in enumerate(entries, 1):
            text = canonical({**entry, "seq": seq, "prev": before})
            body, digest = entry["body"], digest_of(text)
            row = ("L1", seq, before, digest, body["record"], body["event"], body["key"], body["at"])
            self.run(
                "INSERT INTO entries VALUES (?,?,?,?,?,?,?,?,?,?)", *row, body.get("stored"), text.decode()
            )
            if body["event"] == "performed":
                line = findable(entry_of(text.decode(), digest))
                marks = ", ".join("?" * len(line))
                self.run(f"INSERT INTO records ({', '.join(line)}) VALUES ({marks})", *line.values())
            before = digest

    def end(self) -> None:
        for sql in self.triggers.values():
            self.run(sql)
        self.connection.commit()


def body_of(entries: Entries, event: str, number: str) -> dict[str, Any]:
    found: dict[str, Any] = next(
        one["body"] for one in entries if (one["body"]["event"], one["body"]["record"]) == (event, number)
    )
    return found


def passes(body: dict[str, Any]) -> None:
    body["outcomes"] = [[stage, "pass"] for stage, _outcome in body["outcomes"]]


def a_row(owner: Owner) -> None:
    query = """UPDATE entries SET entry = replace(entry, '"fail"', '"pass"') WHERE record = ?"""
    owner.run(query + " AND event = 'performed'", SECOND)


def a_row_and_its_digest(owner: Owner) -> None:
    ((seq, text),) = owner.run(
        "SELECT seq, entry FROM entries WHERE record = ? AND event = 'performed'", SECOND
    )
    text = text.replace('"fail"', '"pass"')
    owner.run("UPDATE entries SET entry = ?, hash = ? WHERE seq = ?", text, digest_of(text.encode()), seq)


def an_outcome_and_the_chain(owner: Owner) -> None:
    entries = owner.entries()
    passes(body_of(entries, "performed", SECOND))
    owner.write(entries)


def a_record_and_the_chain(owner: Owner) -> None:
    """Change the newest record itself, and all that names its digest; its PDF cannot be made to agree."""
    entries = owner.entries()
    body = body_of(entries, "performed", SECOND)
    ((data,),) = owner.run("SELECT bytes FROM stored WHERE digest = ?", body["stored"])
    data = data.replace(b'"outcome":"fail"', b'"outcome":"pass"')
    digest = hashlib.sha256(data).hexdigest()
    owner.run("UPDATE stored SET bytes = ?, digest = ? WHERE digest = ?", data, digest, body["stored"])
    body["stored"] = digest
    passes(body)
    owner.write(entries)


def bytes_of_a_record(owner: Owner) -> None:
    query = "UPDATE stored SET bytes = replace(CAST(bytes AS TEXT), '7.23', '7.03') WHERE number = ?"
    owner.run(query.replace("replace(", "CAST(replace(").replace("'7.03')", "'7.03') AS BLOB)"), SECOND)


def an_entry_less(owner: Owner) -> None:
    owner.run("DELETE FROM entries WHERE seq = 5")


def a_record_less_and_the_chain(owner: Owner) -> None:
    entries = owner.entries()
    stored = body_of(entries, "performed", FIRST)["stored"]
    owner.write([one for one in entries if one["body"]["record"] != FIRST])
    owner.run("DELETE FROM stored WHERE digest = ?", stored)
    (owner.pages / f"{FIRST}.pdf").unlink()


def a_countersignature(owner: Owner) -> None:
    """Enter one that nobody gave: the PDF has one signature less."""
    entries = owner.entries()
    signed = body_of(entries, "signed", SECOND)
    body = {**signed, "event": "reviewed", "by": "S-02", "key": f"reviewed {SECOND}"}
    owner.write([*entries, {"chain": "L1", "body": body}])


def when_it_was_signed(owner: Owner) -> None:
    entries = owner.entries()
    body_of(entries, "signed", SECOND)["at"] = "2026-06-01T08:00:00-05:00"
    owner.write(entries)


def another_entry_before(owner: Owner) -> None:
    """Change why a check was skipped, before the records: each page names the entry before its record."""
    entries = owner.entries()
    next(one for one in entries if one["body"]["event"] == "skipped")["body"]["why"] = "it was fine"
    owner.write(entries)


def a_column(owner: Owner) -> None:
    owner.run("UPDATE records SET tag = 'AIT-2101' WHERE number = ?", SECOND)


def the_triggers(owner: Owner) -> None:
    owner.triggers.clear()


def swapped_pages(owner: Owner) -> None:
    one, other = owner.pages / f"{FIRST}.pdf", owner.pages / f"{SECOND}.pdf"
    kept = one.read_bytes()
    one.write_bytes(other.read_bytes())
    other.write_bytes(kept)


def a_fork(owner: Owner) -> None:
    ((text,),) = owner.run("SELECT entry FROM entries WHERE seq = 5")
    text = text.replace('"seq":5', '"seq":6')
    row = ("L2", 1, GENESIS, digest_of(text.encode()), "", "skipped", "fork", "2026-05-05T00:00:00-05:00")
    owner.run("INSERT INTO entries VALUES (?,?,?,?,?,?,?,?,?,?)", *row, None, text)


ATTACKS: list[tuple[Callable[[Owner], None], bool, str]] = [  # whether the examination of the book finds it
    (a_row, True, "was altered: its text does not give its digest."),
    (a_row_and_its_digest, True, "one of the two was replaced."),
    (an_outcome_and_the_chain, False, f'{SECOND}: the chain says "pass" of as_found at the analyzer'),
    (a_record_and_the_chain, False, f"{SECOND}: the record.json in its PDF is not the one in the book."),
    (bytes_of_a_record, True, f"The bytes kept for record {SECOND} are not those that were entered."),
    (an_entry_less, True, "Entry 5 of L1 is missing."),
    (a_record_less_and_the_chain, True, f"is record {SECOND} where {FIRST} comes next."),
    (a_countersignature, False, f"{SECOND}: signatures by key of which the chains tell: 2; those"),
    (
        when_it_was_signed,
        False,
        f"{SECOND}: signed at 2026-06-01T08:00:00-05:00, the chain says; no signature",
    ),
    (another_entry_before, False, f"{FIRST}: its PDF names entry 7 of L1 with another digest"),
    (a_column, True, f"Record {SECOND} is wrong in the table that records are found by."),
    (the_triggers, True, "Triggers that keep entries from being changed were taken out"),
    (swapped_pages, False, f"The PDF of {FIRST}: not the file the book holds: changed or damaged."),
    (a_fork, True, "Entry 1 of L2: the column chain is not what the entry says."),
]


@pytest.mark.parametrize(("attack", "examined", "sentence"), ATTACKS, ids=[a[0].__name__ for a in ATTACKS])
def test_an_attack_on_the_book_is_found(
    here: Path, tmp_path: Path, attack: Callable[[Owner], None], examined: bool, sentence: str
) -> None:
    """By the pack as it is made, and by the script in it, which then is at the auditor's."""
    attacked(here, attack)
    plant = open_plant(here)
    assert any(one.severity == "damaged" for one in verify(open_book(plant.book, plant.device))) is examined
    if attack in (an_outcome_and_the_chain, a_record_and_the_chain):
        said = [one.text for one in examine_book(plant, None, ()) if "otherwise than" in one.text]
        assert said == (
            [f"{SECOND}: its entry tells its outcomes otherwise than its record.json."]
            if attack is an_outcome_and_the_chain
            else []
        )
    told = pack_of(plant, tmp_path / "pack").problems
    assert any(sentence in said for said in told), told
    assert all(
        said in (tmp_path / "pack" / "index.html").read_text("utf-8") for said in told if '"' not in said
    )
    assert check(tmp_path / "pack", []).bad


def attacked(plant: Path, attack: Callable[[Owner], None]) -> None:
    owner = Owner(plant)
    with closing(owner.connection):
        attack(owner)
        owner.end()


def the_end(owner: Owner) -> None:
    """Take the newest entry away: a question of a reviewer."""
    owner.write(owner.entries()[:-1])


def a_void(owner: Owner) -> None:
    body = {"at": "2026-06-04T00:00:00-05:00", "by": "S-02", "event": "voided", "record": SECOND, "why": "so"}
    owner.write([*owner.entries(), {"chain": "L1", "body": {**body, "key": f"voided {SECOND}"}}])


@pytest.mark.parametrize(
    ("attack", "head_shows", "said"),
    [(the_end, True, "Entries removed from the end"), (a_void, False, "Who voided")],
    ids=["an end cut off", "an entry that bears no signature"],
)
def test_what_nothing_in_the_pack_can_show_is_said_there(
    here: Path, tmp_path: Path, attack: Callable[[Owner], None], head_shows: bool, said: str
) -> None:
    """Only a head that was kept outside shows a cut; what follows it is only told."""
    plant = open_plant(here)
    seq, digest = open_book(plant.book, plant.device).heads()["L1"]
    attacked(here, attack)
    assert pack_of(plant, tmp_path / "pack").problems == ()
    assert check(tmp_path / "pack", []).bad == []
    assert bool(check(tmp_path / "pack", [("the head you named", "L1", seq, digest)]).bad) is head_shows
    assert any(sentence.startswith(said) for sentence in CANNOT_SEE)
