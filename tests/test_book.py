"""The record book: numbers, events, states, searches; what is refused, and what an examination names."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from wqverify.book import GENESIS, Book, Entry, Writer, accepted_registers, open_book, verify
from wqverify.book.entry import entry_of, link
from wqverify.book.faults import told_in_words
from wqverify.errors import ChooseAnother, CouldNotRun, RepairTheFolder

AT = "2026-07-14T10:00:00-04:00"


@pytest.fixture
def book(place: str) -> Book:
    return open_book(place, "L1", create=True, timeout_s=0.2)


@pytest.fixture
def in_file(tmp_path: Path) -> Book:
    return open_book(tmp_path / "book" / "book.sqlite", "L1", create=True, timeout_s=0.2)


def perform(writer: Writer, year: int = 2026, at: str = AT, **body: Any) -> Entry:
    number = writer.next_number(year)
    said = {
        "by": "P1",
        "tag": "AIT-2101",
        "serial": "EX-20417",
        "procedure": "ph_calibration",
        "visit": f"visit of {number}",
        "performed": "2026-07-14T09:00-04:00",
        "outcomes": {"as_found at the analyzer": "pass"},
        "values": {"error in buffer 7.00": "0.02"},
        "pdf": hashlib.sha256(number.encode()).hexdigest(),
        **body,
    }
    key = f"performed {said['visit']}"
    return writer.append(
        "performed", key=key, record=number, at=at, body=said, stored=b"record " + number.encode()
    )


def happen(book: Book, event: str, number: str = "", **body: Any) -> Entry:
    with book.writing() as writer:
        return writer.append(event, key=f"{event} {number}", record=number, at=AT, body=body)


def performed(book: Book, count: int = 1, **more: Any) -> list[Entry]:
    with book.writing() as writer:
        return [perform(writer, **more) for _ in range(count)]


def texts(book: Book) -> list[str]:
    return [finding.text for finding in verify(book)]


# ---------------------------------------------------------------- entering


def test_each_entry_names_the_one_before_and_its_digest_needs_only_the_standard_library(book: Book) -> None:
    first, second = performed(book, 2)
    assert (first.seq, first.prev) == (1, GENESIS)
    assert (second.seq, second.prev) == (2, first.digest)
    assert first.digest == hashlib.sha256(b"wqverify-book-1\n" + first.text.encode()).hexdigest()
    assert book.heads() == {"L1": (2, second.digest)}
    assert json.loads(first.text)["body"]["stored"] == hashlib.sha256(b"record L1-2026-0001").hexdigest()
    assert list(book.entries()) == [first, second]


def test_the_head_inside_a_transaction_moves_with_what_is_entered(book: Book) -> None:
    with book.writing() as writer:
        assert (writer.head.seq, writer.head.digest) == (0, GENESIS)
        entry = perform(writer)
        assert (writer.head.chain, writer.head.seq, writer.head.digest) == ("L1", 1, entry.digest)


def test_numbers_count_the_records_of_a_device_in_a_year(book: Book) -> None:
    numbers = [
        entry.record for year in (2026, 2026, 2027, 2027, 2026) for entry in performed(book, year=year)
    ]
    assert numbers == ["L1-2026-0001", "L1-2026-0002", "L1-2027-0001", "L1-2027-0002", "L1-2026-0003"]
    assert texts(book) == []


def test_the_number_after_9999_is_not_that_of_a_text_that_sorts_last(book: Book) -> None:
    """As text L1-2026-10000 comes before L1-2026-9999; each year counts from 1."""
    said = {"event": "performed", "key": "k", "record": "L1-2026-9999", "at": AT, "stored": "", "visit": "v"}
    said |= {"tag": "x", "serial": "x", "procedure": "x", "performed": AT}
    data = b"record 9999"
    said["stored"] = hashlib.sha256(data).hexdigest()
    with book.writing() as writer:
        writer.take_in(entry_of(*link("L1", 1, GENESIS, said)), data)
        found = [perform(writer).record, perform(writer).record, perform(writer, year=2027).record]
    assert found == ["L1-2026-10000", "L1-2026-10001", "L1-2027-0001"]


def test_the_next_number_is_looked_up_and_nothing_is_counted(in_file: Book) -> None:
    performed(in_file, 3)
    asked: list[str] = []
    engine = in_file.database.engine  # type: ignore[attr-defined]
    with in_file.writing() as writer:
        sa.event.listen(engine, "before_cursor_execute", lambda *said: asked.append(said[2]))
        assert writer.next_number(2026) == "L1-2026-0004"
    (query,) = asked
    with closing(sqlite3.connect(in_file.place)) as raw:
        plan = raw.execute(f"EXPLAIN QUERY PLAN {query}", ("L1", "performed", 1, 0)).fetchall()
    assert [row[-1] for row in plan] == ["SEARCH entries USING INDEX entries_of_event (chain=? AND event=?)"]


def test_registers_of_other_devices_come_in_the_order_of_their_clocks(in_file: Book) -> None:
    """01:45 before the clocks go back is earlier than 01:30 after it; as text it is later."""
    for chain, at in (("L1", "2026-11-01T01:30:00-05:00"), ("L2", "2026-11-01T01:45:00-04:00")):
        with open_book(in_file.place, chain).writing() as writer:
            said = json.dumps({"of": chain}).encode()
            writer.append("register changed", key=chain, at=at, body={"by": "P1"}, stored=said)
    found = accepted_registers(open_book(in_file.place, "L3"))
    assert [register["of"] for _entry, register in found] == ["L2", "L1"]
    assert [e.chain for e, _register in accepted_registers(in_file)] == ["L1"]


def test_an_exception_enters_nothing_and_the_number_comes_again(book: Book) -> None:
    performed(book)
    before = list(book.export_lines())
    with pytest.raises(ZeroDivisionError), book.writing() as writer:
        divmod(1, int(perform(writer).record == "never"))
    assert list(book.export_lines()) == before
    assert book.find("L1-2026-0002") is None
    assert performed(book)[0].record == "L1-2026-0002"
    assert texts(book) == []


def test_a_repeated_key_returns_the_entry_it_has_and_adds_nothing(book: Book) -> None:
    (first,) = performed(book, visit="one visit")
    with book.writing() as writer:
        again = perform(writer, visit="one visit")
    assert (again.already, first.already) == (True, False)
    assert (again.record, again.digest) == ("L1-2026-0001", first.digest)
    assert len(list(book.entries())) == 1


def test_a_key_is_the_same_in_both_unicode_forms(book: Book) -> None:
    performed(book, visit="Béla's visit")
    assert performed(book, visit="Be\u0301la's visit")[0].already
    assert texts(book) == []


def test_a_key_in_the_chain_of_another_device_counts_too(book: Book) -> None:
    performed(book, visit="one visit")
    other = open_book(book.place, "L2")
    with other.writing() as writer:
        assert writer.known("performed one visit") is not None
        assert perform(writer, visit="one visit").record == "L1-2026-0001"
    assert book.chains() == ["L1"]


@pytest.mark.parametrize(
    ("event", "more", "message"),
    [
        ("preformed", {}, "preformed is no event of the book"),
        ("signed", {"body": {"key": "x"}}, "its body uses a word of the entry"),
        ("signed", {"at": "2026-07-14T10:00:00"}, "has no offset from UTC"),
        (
            "performed",
            {"record": "L1-2026-0002", "stored": b"x"},
            "L1-2026-0002 cannot be the next record of L1",
        ),
        (
            "performed",
            {"record": "L2-2026-0001", "stored": b"x"},
            "L2-2026-0001 cannot be the next record of L1",
        ),
        ("performed", {"record": "L1-2026-0001"}, "L1-2026-0001 cannot be the next record of L1"),
    ],
)
def test_a_caller_who_breaks_the_rules_enters_nothing(
    book: Book, event: str, more: dict[str, Any], message: str
) -> None:
    with pytest.raises(ValueError, match=message), book.writing() as writer:
        writer.append(event, **{"key": "k", "at": AT, "body": {}, **more})
    assert book.heads() == {}


def test_bytes_that_are_stored_twice_are_kept_once(book: Book) -> None:
    for key in ("one", "two"):
        with book.writing() as writer:
            writer.append("register changed", key=key, at=AT, body={}, stored=b"{}")
    assert [entry.body["stored"] for entry in book.entries()] == [hashlib.sha256(b"{}").hexdigest()] * 2
    assert texts(book) == []


# ---------------------------------------------------------------- states and searches


@pytest.mark.parametrize(
    ("events", "state"),
    [
        ([], "performed, not signed"),
        ([("signed", {"pdf": "s"})], "signed, not countersigned"),
        ([("signed", {"pdf": "s"}), ("reviewed", {"pdf": "r"})], "countersigned"),
        ([("signed", {"pdf": "s"}), ("returned with a question", {})], "returned with a question"),
        (
            [("signed", {"pdf": "s"}), ("returned with a question", {}), ("answered", {})],
            "signed, not countersigned",
        ),
        ([("signed", {"pdf": "s"}), ("voided", {})], "voided"),
        ([("superseded", {"by_record": "L1-2026-0002"})], "superseded by L1-2026-0002"),
    ],
)
def test_the_state_of_a_record_is_one_of_few_words(
    book: Book, events: list[tuple[str, dict[str, str]]], state: str
) -> None:
    (entry,) = performed(book)
    for event, body in events:
        happen(book, event, entry.record, **body)
    found = book.find(entry.record)
    assert found is not None
    assert found.state == state
    assert [each.event for each in found.events] == ["performed", *(event for event, _ in events)]
    files = [body["pdf"] for _, body in events if "pdf" in body]
    assert found.file_digest == (files[-1] if files else entry.body["pdf"])
    assert found.digest == hashlib.sha256(b"record L1-2026-0001").hexdigest()


def test_a_record_that_is_not_there(book: Book) -> None:
    assert book.find("L1-2026-0001") is None
    assert book.record_of_visit("a visit") is None
    with pytest.raises(ChooseAnother, match=r"holds no record L1-2026-0001; see `wqverify book list`"):
        book.stored("L1-2026-0001")


def test_stored_bytes_come_back_one_by_one_and_in_a_stream(book: Book) -> None:
    performed(book, 3, performed="2026-06-30T23:59-04:00")
    performed(book, 230, performed="2026-07-01T00:00-04:00")
    assert book.stored("L1-2026-0003") == b"record L1-2026-0003"
    everything = list(book.iterate_stored())
    assert [each.number for each in everything] == [f"L1-2026-{n:04d}" for n in range(1, 234)]
    assert all(hashlib.sha256(each.data).hexdigest() == each.digest for each in everything)
    assert [each.number for each in book.iterate_stored("2026-06")] == [f"L1-2026-{n:04d}" for n in (1, 2, 3)]
    assert len(list(book.iterate_stored("2026-07"))) == len(list(book.records("2026-07"))) == 230
    assert list(book.records("2026-0_")) == []
    assert [state.number for state in book.records()] == [each.number for each in everything]


def test_reading_at_length_keeps_nobody_from_entering(book: Book) -> None:
    """A connection left open between two rows would make the writer wait until its time is over."""
    performed(book, 150)
    streams: list[Iterator[Any]] = [
        book.entries(),
        book.records(),
        book.iterate_stored(),
        book.export_lines(),
    ]
    for stream in streams:
        next(stream)
    performed(book)
    assert [len(list(stream)) for stream in streams] == [150, 149, 150, 150]


def test_the_last_records_of_a_tag_are_those_that_stand_newest_work_first(book: Book) -> None:
    times = [
        "2026-07-01T09:00-04:00",
        "2026-06-01T09:00-04:00",
        "2026-07-02T09:00-04:00",
        "2026-07-03T09:00-04:00",
    ]
    numbers = [performed(book, performed=time)[0].record for time in times]
    performed(book, tag="AIT-2102", performed="2026-07-09T09:00-04:00")
    performed(book, serial="EX-9", performed="2026-07-08T09:00-04:00")
    performed(book, procedure="another", performed="2026-07-07T09:00-04:00")
    happen(book, "voided", numbers[2])
    happen(book, "superseded", numbers[3], by_record="L1-2026-0007")
    found = book.last_records("AIT-2101", serial="EX-20417", procedure="ph_calibration")
    assert [state.number for state in found] == [numbers[0], numbers[1]]
    assert (found[0].performed, found[0].values) == (times[0], {"error in buffer 7.00": "0.02"})
    assert found[0].outcomes == {"as_found at the analyzer": "pass"}
    assert [s.number for s in book.last_records("AIT-2101", limit=3)] == [
        "L1-2026-0006",
        "L1-2026-0007",
        numbers[0],
    ]
    assert book.last_records("AIT-2199") == []


@pytest.mark.parametrize(
    ("before", "found"),
    [
        ("2026-11-01T01:31-05:00", ["L1-2026-0002", "L1-2026-0001"]),  # just after the second
        ("2026-11-01T01:30-05:00", ["L1-2026-0001"]),  # at it
        ("2026-11-01T01:29-05:00", ["L1-2026-0001"]),  # just before
        ("", ["L1-2026-0002", "L1-2026-0001"]),  # no limit given
        ("2026-11-01T05:40+00:00", ["L1-2026-0001"]),  # between them in another zone
    ],
)
def test_before_is_a_point_in_time_also_in_the_repeated_hour(
    book: Book, before: str, found: list[str]
) -> None:
    """01:30 is read twice on the night the clocks go back; as text both look the same."""
    performed(book, performed="2026-11-01T01:30-04:00")
    performed(book, performed="2026-11-01T01:30-05:00")
    assert [state.number for state in book.last_records("AIT-2101", before=before)] == found


def test_the_record_of_a_visit_is_the_one_that_stands(book: Book) -> None:
    with book.writing() as writer:
        first = perform(writer, visit="v")
        number = writer.next_number(2026)
        body = {**first.body, "visit": "v"}
        for word in ("event", "key", "record", "at", "stored"):
            body.pop(word)
        writer.append("performed", key="again", record=number, at=AT, body=body, stored=b"2")
        writer.append("superseded", key="s", record=first.record, at=AT, body={"by_record": number})
    found = book.record_of_visit("v")
    assert found is not None
    assert (found.number, found.state) == ("L1-2026-0002", "performed, not signed")
    happen(book, "voided", "L1-2026-0002")
    found = book.record_of_visit("v")
    assert found is not None
    assert (found.number, found.state) == ("L1-2026-0002", "voided")


def test_accepted_changes_and_the_snapshot_are_those_of_this_device(book: Book) -> None:
    def accept(of: Book, at: str, high: str) -> None:
        change = {"about": "AIT-2101", "what": "tolerance error: high", "was": "0.20", "now": high}
        with of.writing() as writer:
            body = {"by": "P2", "why": "protocol", "changes": [change]}
            data = json.dumps({"high": high}).encode()
            writer.append("register changed", key=f"{of.chain} {at}", at=at, body=body, stored=data)

    assert book.accepted_snapshot() is None
    assert book.accepted_changes() == []
    accept(book, "2026-07-01T10:00:00-04:00", "0.10")
    accept(open_book(book.place, "L2"), "2026-07-01T11:00:00-04:00", "0.99")
    accept(book, "2026-07-02T10:00:00-04:00", "0.05")
    assert book.accepted_snapshot() == {"high": "0.05"}
    assert [change["now"] for change in book.accepted_changes()] == ["0.10", "0.05"]
    first, last = book.entries("L1")
    (elsewhere,) = book.entries("L2")
    assert [change["now"] for change in book.accepted_changes(first)] == ["0.05"]
    assert book.accepted_changes(last) == []
    assert [change["now"] for change in book.accepted_changes(elsewhere)] == ["0.05"]


def test_an_auditor_verifies_the_export_with_ten_lines_of_the_standard_library(book: Book) -> None:
    performed(book, 3)
    other = open_book(book.place, "L2")
    performed(other, 2, visit="on the other laptop", **{})[:1]
    heads: dict[str, tuple[int, str]] = {}
    for line in book.export_lines():
        entry = json.loads(line)
        seq, digest = heads.get(entry["chain"], (0, "0" * 64))
        assert (entry["seq"], entry["prev"]) == (seq + 1, digest)
        heads[entry["chain"]] = (seq + 1, hashlib.sha256(b"wqverify-book-1\n" + line.encode()).hexdigest())
    assert heads == book.heads()
    assert all("\n" not in line for line in book.export_lines())
    assert [json.loads(line)["chain"] for line in book.export_lines("L2")] == ["L2"]


# ---------------------------------------------------------------- opening and refusing


def test_a_missing_book_is_made_only_when_asked(tmp_path: Path) -> None:
    path = tmp_path / "a # b?c%20d" / "book.sqlite"
    with pytest.raises(RepairTheFolder, match=r"There is no record book at .*book\.sqlite; the first record"):
        open_book(path, "L1")
    assert not path.parent.exists()
    open_book(str(path), "L1", create=True)
    assert path.is_file()
    assert open_book(path, "L1").heads() == {}


def test_a_file_left_empty_by_a_stopped_command_is_made_into_a_book(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    path.touch()
    with pytest.raises(RepairTheFolder, match="There is no record book at"):
        open_book(path, "L1")
    assert performed(open_book(path, "L1", create=True))[0].record == "L1-2026-0001"


def test_a_database_of_something_else_is_no_book(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE trend (value)")
    for create in (False, True):
        with pytest.raises(RepairTheFolder, match=r"other\.sqlite is a database, but no record book"):
            open_book(path, "L1", create=create)


def test_a_newer_format_is_refused(in_file: Book) -> None:
    with closing(sqlite3.connect(in_file.place)) as connection:
        connection.execute("UPDATE about SET value = '2'")
        connection.commit()
    with pytest.raises(
        CouldNotRun, match="has format 2, this version knows format 1; use the version that made"
    ):
        open_book(in_file.place, "L1")


@pytest.mark.parametrize("chain", ["", "L-1", "L 1", "L1\n", "Ä1", "A" * 13])
def test_a_chain_that_could_not_stand_in_a_number_is_refused(tmp_path: Path, chain: str) -> None:
    with pytest.raises(
        ChooseAnother, match="cannot name the records of a device; use 1 to 12 letters and digits"
    ):
        open_book(tmp_path / "book.sqlite", chain, create=True)
    assert not (tmp_path / "book.sqlite").exists()


def test_a_book_in_use_by_another_program_is_said_in_one_sentence(in_file: Book) -> None:
    with closing(sqlite3.connect(in_file.place, isolation_level=None)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        with pytest.raises(
            CouldNotRun, match=r"was in use by another program for 0\.2 s; nothing was entered"
        ):
            performed(in_file)
        assert list(in_file.entries()) == []  # reading goes on
    assert performed(in_file)[0].record == "L1-2026-0001"


def test_a_book_that_was_taken_away_is_not_made_anew(in_file: Book) -> None:
    performed(in_file)
    Path(in_file.place).unlink()
    with pytest.raises(RepairTheFolder, match="cannot be opened"):
        performed(in_file)
    assert not Path(in_file.place).exists()


def test_a_book_that_may_only_be_read_is_said_in_one_sentence(in_file: Book) -> None:
    """The file is opened as SQLite opens one on a read-only disk."""
    performed(in_file)
    said = r"may only be read here .*; nothing was entered: allow writing"
    with closing(sqlite3.connect(f"file:{in_file.place}?mode=ro", uri=True)) as connection:
        reading = told_in_words(Path(in_file.place), 1)
        with pytest.raises(CouldNotRun, match=said), reading:
            connection.execute("UPDATE about SET value = '9'")


def test_the_folder_of_the_book_that_cannot_be_made_is_said_in_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "book").touch()
    with pytest.raises(CouldNotRun, match=r"The folder of the book .* cannot be made"):
        open_book(tmp_path / "book" / "inside" / "book.sqlite", "L1", create=True)


def test_connections_ask_the_disk_to_write_through(in_file: Book) -> None:
    with in_file.reading() as connection:
        pragmas = [
            connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys")
        ]
    assert pragmas == ["delete", 3, 1]
