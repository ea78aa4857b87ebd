"""The record book: what its triggers stop, and what an examination names."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest

from wqverify.book import GENESIS, PREFIX, Anchor, Book, Entry, compare_anchors, open_book, verify
from wqverify.errors import RepairTheFolder

AT = "2026-07-14T10:00:00-04:00"


@pytest.fixture
def book(tmp_path: Path) -> Book:
    return open_book(tmp_path / "book.sqlite", "L1", create=True)


def performed(book: Book, count: int, more: bytes = b"") -> None:
    with book.writing() as writer:
        for _ in range(count):
            number = writer.next_number(2026)
            said = dict.fromkeys(("tag", "serial", "procedure"), "x")
            body = {**said, "visit": number, "performed": "2026-07-14T09:00-04:00"}
            data = b"record " + number.encode() + more
            writer.append("performed", key=number, record=number, at=AT, body=body, stored=data)


def filled(book: Book) -> list[Entry]:
    """Five entries: two records, one signed and reviewed, and a change of the register."""
    performed(book, 2)
    with book.writing() as writer:
        for event, pdf in (("signed", "a" * 64), ("reviewed", "b" * 64)):
            writer.append(event, key=event, record="L1-2026-0001", at=AT, body={"pdf": pdf})
        writer.append("register changed", key="register", at=AT, body={"by": "P2"}, stored=b'{"high":"0.10"}')
    return list(book.entries())


def texts(book: Book) -> list[str]:
    return [finding.text for finding in verify(book)]


# ---------------------------------------------------------------- triggers


COLUMNS = "chain, seq, prev, hash, record, event, key, at, stored, entry"
ADDED_TO = "the book is only ever added to"
EXTEND = "the entry does not extend its chain"


def insert(verb: str = "INSERT OR REPLACE", **other: str) -> str:
    """Return a statement that would extend the chain but for what is given."""
    values = {name: "'x'" for name in COLUMNS.split(", ")}
    values |= {
        "chain": "'L1'",
        "seq": "6",
        "prev": "(SELECT hash FROM entries WHERE seq = 5)",
        "stored": "NULL",
    }
    values |= other
    return f"{verb} INTO entries ({', '.join(values)}) VALUES ({', '.join(values.values())})"


@pytest.mark.parametrize(
    ("statement", "message"),
    [
        ("UPDATE entries SET at = 'x' WHERE seq = 2", ADDED_TO),
        ("UPDATE OR REPLACE entries SET seq = 1 WHERE seq = 2", ADDED_TO),
        ("DELETE FROM entries WHERE seq = 5", ADDED_TO),
        (f"INSERT OR REPLACE INTO entries SELECT {COLUMNS} FROM entries WHERE seq = 5", EXTEND),
        (insert(rowid="2"), ADDED_TO),
        (insert(hash="(SELECT hash FROM entries WHERE seq = 2)"), ADDED_TO),
        (insert(key="(SELECT key FROM entries WHERE seq = 2)"), ADDED_TO),
        (insert(event="'performed'", record="'L1-2026-0001'"), ADDED_TO),
        (insert("INSERT", seq="7"), EXTEND),
        (insert("INSERT", prev="(SELECT hash FROM entries WHERE seq = 4)"), EXTEND),
        (insert("INSERT", chain="'L2'"), EXTEND),
        (insert("INSERT", entry="x'00'"), "CHECK constraint failed"),
        ("UPDATE stored SET bytes = x'00'", ADDED_TO),
        ("DELETE FROM stored", ADDED_TO),
        ("INSERT OR REPLACE INTO stored SELECT digest, number, x'00' FROM stored", ADDED_TO),
        ("INSERT OR REPLACE INTO stored (rowid, digest, number, bytes) VALUES (1, 'd', '', x'00')", ADDED_TO),
        ("UPDATE records SET tag = 'x'", ADDED_TO),
        ("DELETE FROM records", ADDED_TO),
        ("INSERT OR REPLACE INTO records SELECT * FROM records", ADDED_TO),
        ("INSERT INTO stored VALUES ('d', '', 'text')", "CHECK constraint failed"),
    ],
)  # fmt: skip
def test_triggers_stop_every_way_to_change_what_is_entered(book: Book, statement: str, message: str) -> None:
    before = filled(book)
    refused = pytest.raises(sqlite3.IntegrityError, match=message)
    with closing(sqlite3.connect(book.place)) as connection, refused, connection:
        connection.execute(statement)
    assert list(book.entries()) == before
    assert texts(book) == []


# ---------------------------------------------------------------- examination


@contextmanager
def unguarded(book: Book) -> Iterator[sqlite3.Connection]:
    """Open the file as its owner can: without the triggers, which are put back afterwards."""
    with closing(sqlite3.connect(book.place)) as connection:
        triggers = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _sql in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        yield connection
        for _name, sql in triggers:
            connection.execute(sql)
        connection.commit()


def tamper(book: Book, *statements: str) -> None:
    with unguarded(book) as connection:
        connection.create_function(
            "digest", 1, lambda text: hashlib.sha256(PREFIX + text.encode()).hexdigest()
        )
        for statement in statements:
            connection.execute(statement)


OTHER_PDF = "UPDATE entries SET entry = replace(entry, 'aaaa', 'aaab') WHERE seq = 3"


@pytest.mark.parametrize(
    ("statements", "found"),
    [
        ([], []),
        ([OTHER_PDF], ["Entry 3 of L1 was altered: its text does not give its digest."]),
        (
            [OTHER_PDF, "UPDATE entries SET hash = digest(entry) WHERE seq = 3"],
            ["Entry 4 of L1 does not follow entry 3: one of the two was replaced."],
        ),
        (
            ["UPDATE entries SET hash = 'x' || substr(hash, 2) WHERE seq = 3"],
            ["Entry 3 of L1 was altered: its text does not give its digest."],
        ),
        (
            ["UPDATE entries SET entry = CAST(x'7bff7d' AS TEXT) WHERE seq = 3"],
            [
                "Entry 3 of L1 was altered: its text does not give its digest.",
                "Entry 3 of L1 is not the text of an entry.",
            ],
        ),
        (["DELETE FROM entries WHERE seq = 3"], ["Entry 3 of L1 is missing."]),
        (["DELETE FROM entries WHERE seq IN (3, 4)"], ["Entries 3 to 4 of L1 are missing."]),
        (
            ["UPDATE entries SET record = 'L1-2026-0002' WHERE seq = 3"],
            ["Entry 3 of L1: the column record is not what the entry says."],
        ),
        (
            ["UPDATE entries SET stored = NULL WHERE seq = 5"],
            ["Entry 5 of L1: the column stored is not what the entry says."],
        ),
        (
            ["UPDATE stored SET bytes = x'00' WHERE number = 'L1-2026-0002'"],
            ["The bytes kept for record L1-2026-0002 are not those that were entered."],
        ),
        (
            ["UPDATE stored SET bytes = x'00' WHERE number = ''"],
            ["The bytes kept for entry 5 of L1 are not those that were entered."],
        ),
        (
            ["DELETE FROM stored WHERE number = 'L1-2026-0002'"],
            ["The bytes kept for record L1-2026-0002 are missing."],
        ),
        (
            ["INSERT INTO stored VALUES ('00112233445566778899', 'L1-2026-0009', x'00')"],
            ["Bytes with the digest 0011223344556677… are kept that no entry names."],
        ),
        (
            ["DELETE FROM records WHERE seq = 2"],
            ["Record L1-2026-0002 is missing from the table that records are found by."],
        ),
        (
            ["UPDATE records SET tag = 'AIT-2102' WHERE seq = 2"],
            ["Record L1-2026-0002 is wrong in the table that records are found by."],
        ),
        (
            [
                "INSERT INTO records SELECT 'L1-2026-0009', chain, 9, tag, serial, procedure, visit, "
                "performed, instant FROM records LIMIT 1"
            ],
            ["The table that records are found by names entry 9 of L1, which is none."],
        ),
        (
            ["PRAGMA ignore_check_constraints = ON", "UPDATE stored SET bytes = 'text' WHERE number = ''"],
            ["The database file itself is damaged: CHECK constraint failed in stored."],
        ),
    ],
)  # fmt: skip
def test_an_examination_names_exactly_what_was_changed(
    book: Book, statements: list[str], found: list[str]
) -> None:
    filled(book)
    tamper(book, *statements)
    assert texts(book) == found
    assert all(finding.severity == "damaged" for finding in verify(book))


def test_a_number_left_out_is_named(book: Book) -> None:
    """A record removed from a chain that was computed anew leaves a hole in the numbers."""
    performed(book, 3)
    rewrite(book, after=1, leave_out=2)
    tamper(book, "DELETE FROM stored WHERE number = 'L1-2026-0002'")
    assert texts(book) == [
        "Entry 2 of L1 is record L1-2026-0003 where L1-2026-0002 comes next.",
    ]


def test_a_trigger_that_was_taken_out_is_named(book: Book) -> None:
    filled(book)
    with closing(sqlite3.connect(book.place)) as connection:
        connection.execute("DROP TRIGGER entries_no_update")
    taken = "Triggers that keep entries from being changed were taken out of the book, or lost in a copy."
    assert texts(book) == [taken]


def rewrite(book: Book, after: int, leave_out: int = 0, change: Callable[[str], str] = str) -> None:
    """Compute the chain anew behind an entry, as someone who owns the file can."""
    entries = list(book.entries())
    prev, seq = entries[after - 1].digest, after
    with unguarded(book) as connection:
        connection.execute("DELETE FROM records WHERE seq > ?", (after,))
        connection.execute("DELETE FROM entries WHERE seq > ?", (after,))
        for old in entries[after:]:
            if old.seq == leave_out:
                continue
            seq += 1
            said = json.loads(change(old.text))
            text = json.dumps(
                {**said, "seq": seq, "prev": prev}, sort_keys=True, separators=(",", ":"), ensure_ascii=False
            )
            body, hashed = said["body"], hashlib.sha256(PREFIX + text.encode()).hexdigest()
            said_beside = [body.get(name) for name in ("record", "event", "key", "at", "stored")]
            values = ("L1", seq, prev, hashed, *said_beside, text)
            connection.execute(f"INSERT INTO entries ({COLUMNS}) VALUES ({','.join('?' * 10)})", values)
            if body["event"] == "performed":
                utc = body["performed"].replace("T09:00-04:00", "T13:00:00+00:00")
                line = [body[name] for name in ("tag", "serial", "procedure", "visit", "performed")]
                found = (body["record"], "L1", seq, *line, utc)
                connection.execute(f"INSERT INTO records VALUES ({','.join('?' * 9)})", found)
            prev = hashed


def anchored(book: Book, *anchors: Any) -> list[tuple[str, str]]:
    return [(finding.severity, finding.text) for finding in compare_anchors(book, anchors)]


def test_a_chain_written_anew_is_shown_by_one_digest_held_outside(book: Book) -> None:
    entries = filled(book)
    rewrite(book, after=2, change=lambda text: text.replace("aaaa", "aaab"))
    assert texts(book) == []
    held = Anchor("L1", 4, entries[3].digest, "page L1-2026-0003.pdf")
    before = ("L1", 2, entries[1].digest)
    damaged, unseen = anchored(book, held, before)
    assert damaged == (
        "damaged",
        "Entry 4 of L1 is not the one that page L1-2026-0003.pdf names: it was altered, or the chain written "
        "anew after entry 2.",
    )
    assert unseen[1].startswith(
        "A digest held outside this computer agrees with entry 2 of L1 (now 5 entries)"
    )


@pytest.mark.parametrize(
    ("kept", "sentence"),
    [
        (3, "Of L1, entries 4 to 5 cannot be found, removed at the end: page X names entry 5."),
        (4, "Of L1, entry 5 cannot be found, removed at the end: page X names entry 5."),
    ],
)
def test_entries_removed_at_the_end_are_shown_by_a_digest_held_outside_and_only_so(
    book: Book, kept: int, sentence: str
) -> None:
    head = filled(book)[-1]
    tamper(book, f"DELETE FROM entries WHERE seq > {kept}", "DELETE FROM stored WHERE number = ''")
    assert texts(book) == []
    assert anchored(book, ("L1", 5, head.digest, "page X"))[0] == ("damaged", sentence)
    ((severity, text),) = anchored(book)
    assert severity == "note"
    assert text.startswith(
        "No digest of L1 held outside this computer agrees or was given: entries removed from the end, or a "
        "chain written anew from some entry on, could not be seen"
    )


def test_digests_that_agree_say_how_far_they_reach(book: Book) -> None:
    entries = filled(book)
    held = [("L1", entry.seq, entry.digest) for entry in entries[:3]]
    reach = (
        "A digest held outside this computer agrees with entry 3 of L1 (now 5 entries): a removal or "
        "rewriting up to it would show, the removal of entries after it could not be seen."
    )
    assert anchored(book, ("L1", 0, GENESIS), *held) == [("note", reach)]
    shortened = ("L1", 3, entries[2].digest[:16].upper())
    assert anchored(book, shortened) == [("note", reach)]
    assert anchored(book, ("L1", 3, entries[2].digest[:15]))[0][0] == "damaged"


def test_an_anchor_of_an_unknown_chain_or_of_a_missing_entry_is_named(book: Book) -> None:
    entries = filled(book)
    found = anchored(book, ("L9", 1, "c" * 64))
    sentence = (
        "Of L9, entry 1 cannot be found, removed at the end: the digest cccccccccccccccc… names entry 1."
    )
    assert ("damaged", sentence) in found
    tamper(book, "DELETE FROM entries WHERE seq = 3")
    found = anchored(book, ("L1", 3, entries[2].digest, "page X"), ("L1", 1, "d" * 64, "page Y"))
    assert [text for severity, text in found if severity == "damaged"] == [
        "Entry 1 of L1 is not the one that page Y names: it was altered.",
        "Entry 3 of L1, which page X names, is missing.",
    ]


# ---------------------------------------------------------------- a damaged file


@pytest.mark.parametrize("text", ["no JSON", "[]", "{}", '{"body": 1}'])
def test_an_entry_that_is_none_is_said_in_one_sentence(book: Book, text: str) -> None:
    filled(book)
    tamper(book, f"UPDATE entries SET entry = '{text}' WHERE seq = 1")
    for read in (book.entries, book.records, lambda: [book.find("L1-2026-0001")]):
        with pytest.raises(RepairTheFolder, match="is not what was entered; run `wqverify book examine`"):
            list(read())


@pytest.mark.parametrize(
    ("damage", "wrong"),
    [
        ("UPDATE entries SET entry = 'no JSON' WHERE seq = 1", "its entry in the book is damaged"),
        ("DELETE FROM stored WHERE number = 'L1-2026-0001'", "its bytes are missing from the book"),
    ],
)
def test_a_record_that_cannot_be_read_is_told_and_the_next_one_follows(
    book: Book, damage: str, wrong: str
) -> None:
    filled(book)
    before = [one.number for one in book.iterate_stored()]
    assert len(before) > 1
    tamper(book, damage)
    after = {one.number: one for one in book.iterate_stored()}
    assert list(after) == before
    assert [one.number for one in after.values() if one.wrong] == ["L1-2026-0001"]
    assert (after["L1-2026-0001"].wrong, after["L1-2026-0001"].data) == (wrong, b"")


def test_a_damaged_page_of_the_file_takes_one_record_away_and_no_more(book: Book) -> None:
    performed(book, 5, more=b"x" * 20_000)  # records that need pages of their own
    data, size = bytearray(Path(book.place).read_bytes()), 4096
    at = data.index(b"x" * (size - 4)) - 4  # a page of such: its first four bytes name the next
    data[at : at + 4] = b"\xff\xff\xff\xf0"
    Path(book.place).write_bytes(data)
    found = list(book.iterate_stored())
    assert [one.number for one in found] == [f"L1-2026-{n:04d}" for n in range(1, 6)]
    (lost,) = [one for one in found if hashlib.sha256(one.data).hexdigest() != one.digest]
    assert "damaged" in lost.wrong


@pytest.mark.parametrize(
    ("damage", "found"),
    [
        (lambda _data: b"no database at all" * 300, "is damaged, or is no record book"),
        (lambda data: data[:6000], "is damaged, or is no record book"),
        (lambda data: data[:100] + bytes(len(data) - 100), "is damaged, or is no record book"),
    ],
)
def test_a_damaged_file_is_said_in_one_sentence(
    book: Book, damage: Callable[[bytes], bytes], found: str
) -> None:
    filled(book)
    Path(book.place).write_bytes(damage(Path(book.place).read_bytes()))
    with pytest.raises(RepairTheFolder, match=found) as refused:
        verify(open_book(book.place, "L1"))
    assert "put back its newest good copy" in refused.value.message


def test_a_search_index_that_disagrees_with_its_table_is_named(book: Book) -> None:
    """The chain is read through such an index; what it hides would not be seen otherwise."""
    filled(book)
    with closing(sqlite3.connect(book.place)) as connection:
        query = "SELECT rootpage FROM sqlite_master WHERE name = 'sqlite_autoindex_entries_1'"
        ((page,),) = connection.execute(query).fetchall()
    data = Path(book.place).read_bytes()
    start, end = (page - 1) * 4096, page * 4096
    Path(book.place).write_bytes(data[:start] + data[start:end].replace(b"L1", b"L0") + data[end:])
    assert texts(book)[0].startswith("The database file itself is damaged: row 1 missing from index")


def test_a_schema_that_is_no_text_is_said_in_one_sentence(book: Book) -> None:
    Path(book.place).write_bytes(
        Path(book.place).read_bytes().replace(b"CREATE TABLE about", b"CREATE T\xffBLE about")
    )
    with pytest.raises(RepairTheFolder, match=r"is damaged, or is no record book \(its schema is no text\)"):
        open_book(book.place, "L1")
