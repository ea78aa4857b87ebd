"""Books joined: the same set in whatever order; what is named, what is refused, what is left."""

from __future__ import annotations

import json
import multiprocessing
import random
import runpy
import shutil
import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from servers import Cluster

from wqverify.book import (
    GENESIS,
    Book,
    InBook,
    Joined,
    ended_twice,
    join,
    open_book,
    undecided,
    verify,
    visits_twice,
)
from wqverify.book.entry import link
from wqverify.book.joining import Line
from wqverify.errors import CouldNotRun, ResultsDiffer

AT = "2026-07-14T{:02d}:{:02d}:00-04:00"


def at(minutes: int) -> str:
    return AT.format(8 + minutes // 60, minutes % 60)


def performed(book: Book, count: int = 1, minute: int = 0, **more: Any) -> list[str]:
    numbers = []
    with book.writing() as writer:
        for _ in range(count):
            number = writer.next_number(2026)
            said = dict.fromkeys(("tag", "serial", "procedure", "by"), "x")
            body = {**said, "visit": number, "performed": at(minute), "pdf": f"{number} made", **more}
            data = b"record " + number.encode()
            key = f"performed {body['visit']} {number}"
            writer.append("performed", key=key, record=number, at=at(minute), body=body, stored=data)
            numbers.append(number)
    return numbers


def happen(book: Book, event: str, number: str, minute: int = 0, key: str = "", **body: str) -> None:
    with book.writing() as writer:
        writer.append(
            event, key=key or f"{event} {number}", record=number, at=at(minute), body={"by": "P1", **body}
        )


def device(folder: Path, name: str) -> Book:
    return open_book(folder / name / "book.sqlite", name, create=True, timeout_s=5)


def texts(book: Book) -> list[str]:
    return sorted(book.export_lines())


def taken(book: Book, other: Book, name: str = "the other") -> dict[str, Joined]:
    return {one.chain: one for one in join(book, InBook(other, name))}


class Lines:
    """A source of whatever lines and bytes a test makes up."""

    name = "the other"

    def __init__(self, lines: Mapping[str, Sequence[Line]], kept: Mapping[str, bytes] | None = None) -> None:
        self._lines, self._kept = lines, kept or {}

    def chains(self) -> Sequence[str]:
        return list(self._lines)

    def lines(self, chain: str) -> Any:
        return iter(self._lines[chain])

    def stored(self, digests: Sequence[str]) -> Mapping[str, bytes]:
        return {digest: self._kept[digest] for digest in digests if digest in self._kept}


def all_of(book: Book, chain: str) -> tuple[list[Line], dict[str, bytes]]:
    source = InBook(book, "")
    lines = list(source.lines(chain))
    digests = [json.loads(line.text)["body"].get("stored") for line in lines]
    return lines, dict(source.stored([digest for digest in digests if digest]))


# ---------------------------------------------------------------- the union


def test_two_laptops_three_days_offline_give_the_same_set_in_either_order(tmp_path: Path, place: str) -> None:
    """The second office has its book in a file, then on a server."""
    one, two = device(tmp_path, "L1"), device(tmp_path, "L2")
    for day in range(3):
        performed(one, 4, day)
        performed(two, 3, day)
    before = {book.chain: texts(book) for book in (one, two)}
    office, other = device(tmp_path, "P1"), open_book(place, "P2", create=True)
    for book, sources in ((office, (one, two)), (other, (two, one))):
        for source in sources:
            taken(book, source)
        assert verify(book) == []
    assert texts(office) == texts(other) == sorted(before["L1"] + before["L2"])
    assert office.heads() == other.heads() == {**one.heads(), **two.heads()}
    first = taken(one, two)["L2"]
    assert (first.had, first.head, first.performed, first.faults, first.not_taken) == (0, 9, 9, (), "")
    taken(two, one)
    assert texts(one) == texts(two) == texts(office)
    numbers = [f"L1-2026-{n:04d}" for n in range(1, 13)] + [f"L2-2026-{n:04d}" for n in range(1, 10)]
    assert [state.number for state in one.records()] == numbers  # nothing renumbered
    assert one.stored("L2-2026-0009") == b"record L2-2026-0009"


def test_taking_in_again_takes_nothing_and_changes_nothing(tmp_path: Path) -> None:
    one, two = device(tmp_path, "L1"), device(tmp_path, "L2")
    performed(two, 3)
    taken(one, two)
    before = texts(one)
    again = taken(one, two)["L2"]
    assert (again.had, again.head, again.performed) == (3, 3, 0)
    assert texts(one) == before
    performed(two)
    assert (taken(one, two)["L2"].had, taken(one, two)["L2"].head) == (3, 4)


def test_the_own_chain_out_of_a_longer_copy_comes_back_and_goes_on(tmp_path: Path) -> None:
    one = device(tmp_path, "L1")
    performed(one, 2)
    shutil.copytree(tmp_path / "L1", tmp_path / "older")
    performed(one, 2)
    older = open_book(tmp_path / "older" / "book.sqlite", "L1")
    assert (taken(one, older)["L1"].head, taken(one, older)["L1"].theirs) == (4, 2)  # shorter: nothing to do
    back = taken(older, one)["L1"]
    assert (back.had, back.head) == (2, 4)
    assert texts(older) == texts(one)
    assert performed(older) == ["L1-2026-0005"]
    assert verify(older) == []


def test_what_another_device_did_with_a_record_counts_here(tmp_path: Path) -> None:
    """Signed here, reviewed there; another one is superseded, another voided there."""
    one, two = device(tmp_path, "L1"), device(tmp_path, "L2")
    performed(one, 3)
    taken(two, one)
    happen(one, "signed", "L1-2026-0001", 10, pdf="signed")
    happen(two, "reviewed", "L1-2026-0001", 5, pdf="reviewed")  # the clock of L2 is slow
    happen(two, "superseded", "L1-2026-0002", 20, by_record="L2-2026-0001")
    happen(two, "voided", "L1-2026-0003", 20)
    taken(one, two)
    taken(two, one)
    for book in (one, two):
        states = {state.number: state for state in book.records()}
        assert states["L1-2026-0001"].state == "countersigned"
        assert states["L1-2026-0001"].file_digest == "reviewed"
        assert states["L1-2026-0002"].state == "superseded by L2-2026-0001"
        assert states["L1-2026-0003"].state == "voided"
        assert [s.number for s in book.last_records("x")] == ["L1-2026-0001"]


def test_a_question_of_one_device_is_answered_on_the_other(tmp_path: Path) -> None:
    one, two = device(tmp_path, "L2"), device(tmp_path, "L1")  # the answering chain sorts before the asking
    performed(one)
    happen(one, "signed", "L2-2026-0001", 1, pdf="signed")
    asked = "returned with a question"
    happen(one, asked, "L2-2026-0001", 2, key=f"{asked} L2-2026-0001 1", question="Why?")
    taken(two, one)
    happen(two, "answered", "L2-2026-0001", 3, key="answered L2-2026-0001 1", answer="So.")
    taken(one, two)
    state = one.find("L2-2026-0001")
    assert state is not None
    assert [(q.question, q.answer) for q in state.questions] == [("Why?", "So.")]
    assert state.state == "signed, not countersigned"


def test_both_devices_ask_and_one_question_stays_open(tmp_path: Path) -> None:
    one, two = device(tmp_path, "L1"), device(tmp_path, "L2")
    performed(one)
    happen(one, "signed", "L1-2026-0001", 1, pdf="signed")
    taken(two, one)
    asked = "returned with a question"
    for book, text in ((one, "Why 1?"), (two, "Why 2?")):
        happen(book, asked, "L1-2026-0001", 2, key=f"{asked} L1-2026-0001 1", question=text)
    happen(one, "answered", "L1-2026-0001", 3, key="answered L1-2026-0001 1", answer="So.")
    taken(one, two)
    state = one.find("L1-2026-0001")
    assert state is not None
    assert [(q.question, q.answer) for q in state.questions] == [("Why 1?", "So."), ("Why 2?", "")]
    assert state.state == asked


def ended_on_both(tmp_path: Path, first: dict[str, str], second: dict[str, str]) -> Book:
    """Two devices that both hold L1-2026-0001 end it without knowing of each other, then are joined."""
    one, two = device(tmp_path, "L1"), device(tmp_path, "L2")
    performed(one)
    taken(two, one)
    for book, minute, ends in ((one, 1, first), (two, 2, second)):
        if by := ends.get("by_record"):
            assert performed(book, visit=f"{by} started at another time") == [by]
        event = "superseded" if by else "voided"
        happen(book, event, "L1-2026-0001", minute, key=f"{event} L1-2026-0001 {by or ''}".strip(), **ends)
    taken(one, two)
    taken(two, one)
    assert texts(one) == texts(two)
    assert ended_twice(one) == ended_twice(two)
    return one


def test_two_voids_of_one_record_are_told_and_leave_nothing_open(tmp_path: Path) -> None:
    book = ended_on_both(tmp_path, {"by": "S-02"}, {"by": "S-03"})
    (found,) = ended_twice(book)
    assert found.sentence == (
        "L1-2026-0001 was voided (L1 entry 2, S-02 on 2026-07-14) and voided (L2 entry 1, S-03 on "
        "2026-07-14); nothing of it stands."
    )
    assert (found.open, undecided(book)) == (False, [])
    assert [found.new_since(had) for had in ({"L1": 1, "L2": 0}, {"L2": 0}, {"L2": 1}, {})] == [
        True,
        True,
        False,
        False,
    ]


def test_two_replacements_of_one_record_are_named_until_one_is_voided(tmp_path: Path) -> None:
    book = ended_on_both(tmp_path, {"by_record": "L1-2026-0002"}, {"by_record": "L2-2026-0001"})
    assert undecided(book) == [
        "L1-2026-0001 was replaced by L1-2026-0002 (L1 entry 3, P1 on 2026-07-14) and replaced by "
        "L2-2026-0001 (L2 entry 2, P1 on 2026-07-14); L1-2026-0002 and L2-2026-0001 stand; void what does "
        "not belong: wqverify book void NUMBER --by STAFF --why TEXT."
    ]
    happen(book, "voided", "L2-2026-0001", 30)
    assert undecided(book) == []
    assert ended_twice(book)[0].sentence.endswith("; L1-2026-0002 stands.")


def test_a_record_voided_on_one_and_replaced_on_the_other_waits_for_somebody(tmp_path: Path) -> None:
    book = ended_on_both(tmp_path, {"by": "S-02"}, {"by_record": "L2-2026-0001"})
    (said,) = undecided(book)
    assert said.startswith(
        "L1-2026-0001 was voided (L1 entry 2, S-02 on 2026-07-14) and replaced by L2-2026-0001"
    )
    assert "; L2-2026-0001 stands; void what does not belong" in said
    performed(book, visit="corrected")
    key = "superseded L2-2026-0001 L1-2026-0002"
    happen(book, "superseded", "L2-2026-0001", 30, key=key, by_record="L1-2026-0002")
    assert "; L1-2026-0002 stands; " in undecided(book)[0]  # what it was replaced by in the end
    happen(book, "voided", "L1-2026-0002", 40)
    assert undecided(book) == []


def test_two_records_of_one_visit_are_named_and_left(tmp_path: Path) -> None:
    one, two = device(tmp_path, "L1"), device(tmp_path, "L2")
    performed(one, visit="AIT-2101 2026-07-14 08:00")
    performed(two, visit="AIT-2101 2026-07-14 08:00")
    performed(two, visit="AIT-2102 2026-07-14 08:00")
    taken(one, two)
    twice = [("AIT-2101 2026-07-14 08:00", ("L1-2026-0001", "L2-2026-0001"))]
    assert visits_twice(one) == twice
    happen(one, "voided", "L2-2026-0001", 30)
    assert visits_twice(one) == []
    assert verify(one) == []


# ---------------------------------------------------------------- what does not hold


def test_two_histories_of_a_chain_are_refused_and_nothing_is_taken(tmp_path: Path) -> None:
    one = device(tmp_path, "L1")
    performed(one, 3)
    shutil.copytree(tmp_path / "L1", tmp_path / "copy")
    copy = open_book(tmp_path / "copy" / "book.sqlite", "L1")
    performed(one, 2, 7)
    performed(copy, 1, 9)
    performed(open_book(copy.place, "L2"), 2)
    before = texts(one)
    with pytest.raises(ResultsDiffer) as told:
        taken(one, copy)
    ours, theirs = ([e.digest[:16] for e in book.entries("L1")][3] for book in (one, copy))
    assert told.value.message.startswith(
        f"L1 has two histories: its entry 4 is {ours}… here and {theirs}… (performed L1-2026-0004, "
        f"2026-07-14T08:09) in the other. Nothing was taken in from the other."
    )
    assert "two devices bear one name" in told.value.message
    assert texts(one) == before  # nor the sound chain L2
    with pytest.raises(ResultsDiffer, match="L1 has two histories: its entry 4"):
        taken(copy, one)


def test_a_piece_of_a_chain_that_begins_behind_another_history_is_refused(tmp_path: Path) -> None:
    """The piece does not hold the entry that is another one; the link of its first entry gives it away."""
    one = device(tmp_path, "L1")
    performed(one, 3)
    shutil.copytree(tmp_path / "L1", tmp_path / "copy")
    copy = open_book(tmp_path / "copy" / "book.sqlite", "L1")
    performed(one, 1, 7)
    performed(copy, 3, 9)
    lines, kept = all_of(copy, "L1")
    with pytest.raises(ResultsDiffer, match=r"L1 has two histories: its entry 4 is .*which it lacks itself"):
        join(one, Lines({"L1": lines[4:]}, kept))
    assert len(texts(one)) == 4


@pytest.mark.parametrize(
    ("which", "faults", "head"),
    [
        # nothing is here: what is missing ends it
        ((0, [1, 2, 3, 4, 5, 6]), [], 6),
        ((0, [1, 2, 4, 5, 6]), ["Of L2, entry 3 is missing in the other."], 2),
        ((0, [1, 4, 5, 6]), ["Of L2, entries 2 to 3 are missing in the other."], 1),
        ((0, [3, 4, 5, 6]), ["Of L2, entries 1 to 2 are missing in the other."], 0),
        # what is missing there is here
        ((2, [3, 4, 5, 6]), ["Of L2, entries 1 to 2 are missing in the other; here they are."], 6),
        ((3, [3, 4, 5, 6]), ["Of L2, entries 1 to 2 are missing in the other; here they are."], 6),
        ((3, [1, 3, 4, 5, 6]), ["Of L2, entry 2 is missing in the other; here it is."], 6),
        ((2, [4, 5, 6]), ["Of L2, entries 1 to 3 are missing in the other."], 2),
    ],
)  # fmt: skip
def test_a_gap_is_named_and_what_comes_before_it_is_taken(
    tmp_path: Path, which: tuple[int, list[int]], faults: list[str], head: int
) -> None:
    two, one = device(tmp_path, "L2"), device(tmp_path, "L1")
    performed(two, 6)
    lines, kept = all_of(two, "L2")
    here, there = which
    join(one, Lines({"L2": lines[:here]}, kept))
    (found,) = join(one, Lines({"L2": [lines[n - 1] for n in there]}, kept))
    assert list(found.faults) == faults
    assert (found.had, found.head) == (here, head)
    left = {6: "", 5: "Of L2, entry 6 was not taken."}.get(
        head, f"Of L2, entries {head + 1} to 6 were not taken."
    )
    assert found.not_taken == left
    assert verify(one) == []
    taken(one, two)  # a whole copy goes on where it ended
    assert one.heads() == two.heads()


def altered(line: Line, **change: Any) -> Line:
    """An entry as somebody would write it who can compute digests."""
    said = json.loads(line.text)
    body = {**said["body"], **change.pop("body", {})}
    said |= change
    text, digest = link(
        said["chain"], said["seq"], said["prev"], {k: v for k, v in body.items() if v is not None}
    )
    return Line(change.get("seq", line.seq), text, digest)


def cases(lines: list[Line]) -> dict[str, tuple[Line, str, int]]:
    """A name for entry 3 as it is changed, what is said of it, and how far the chain then holds."""
    three = lines[2]
    words = "does not say {} in the other."
    return {
        "text": (three._replace(text=three.text.replace("08:0", "09:0")), "Entry 3 of L2 was altered", 2),
        "digest": (three._replace(digest="f" * 64), "Entry 3 of L2 was altered, its text does not give", 2),
        "no text": (three._replace(text="{}", digest=Line(0, "", "").digest), "Entry 3 of L2 was altered", 2),
        "rewritten": (altered(three, body={"tag": "y"}), "Entry 4 of L2 does not follow entry 3", 2),
        "link": (altered(three, prev=GENESIS), "Entry 3 of L2 does not follow entry 2", 1),
        "place": (altered(three, seq=9)._replace(seq=3), "Entry 3 of L2 stands at a place", 2),
        "chain": (altered(three, chain="L9"), "Entry 3 of L2 stands at a place", 2),
        "event": (altered(three, body={"event": "blessed"}), "is of a kind this version does not know", 2),
        "time": (altered(three, body={"at": "noon"}), "Entry 3 of L2 is not the text of an entry", 2),
        "no tag": (altered(three, body={"tag": None}), "Entry 3 of L2 is not the text of an entry", 2),
        "tag": (altered(three, body={"tag": 7}), words.format("tag"), 2),
        "by": (altered(three, body={"by": None}), words.format("by"), 2),
        "key": (altered(three, body={"key": 3}), words.format("key"), 2),
        "proof": (altered(three, body={"event": "proved"}), words.format("file"), 2),
        "nul": (altered(three, body={"tag": "\0"}), "holds a character that no text may hold", 2),
        "outcomes": (altered(three, body={"outcomes": 5}), "is not the text of an entry", 2),
        "number": (altered(three, body={"record": "L2-2026-0009"}), "it is record L2-2026-0009 where", 2),
        "no number": (altered(three, body={"record": "../x"}), words.format("the number of a record"), 2),
        "not its number": (altered(three, body={"record": "L1-2026-0003"}), "it is record L1-2026-0003", 2),
    }  # fmt: skip


@pytest.mark.parametrize(
    "name", list(cases([Line(n, '{"seq":1,"chain":"L2","prev":"","body":{}}', "") for n in range(4)]))
)
def test_an_entry_that_does_not_hold_is_named_and_ends_its_chain(tmp_path: Path, name: str) -> None:
    two, one = device(tmp_path, "L2"), device(tmp_path, "L1")
    performed(two, 5)
    lines, kept = all_of(two, "L2")
    changed, said, head = cases(lines)[name]
    # Where the chain was rewritten from there on, what follows is of one piece with it.
    goes_on = name in ("rewritten", "link")
    whole = [*lines[:2], changed, *(lines[3:] if goes_on else ())]
    (found,) = join(one, Lines({"L2": whole}, kept))
    assert said in found.faults[0]
    assert found.head == head
    which = f"entries {head + 1} to 5 were" if goes_on else "entry 3 was"
    assert found.not_taken == f"Of L2, {which} not taken."
    assert verify(one) == []
    taken(one, two)
    assert one.heads() == two.heads()


@pytest.mark.parametrize(("data", "said"), [(None, "are missing"), (b"other", "are others")])
def test_the_bytes_of_a_record_must_be_those_that_were_entered(
    tmp_path: Path, data: bytes | None, said: str
) -> None:
    two, one = device(tmp_path, "L2"), device(tmp_path, "L1")
    performed(two, 3)
    lines, kept = all_of(two, "L2")
    digest = json.loads(lines[1].text)["body"]["stored"]
    kept = {key: value for key, value in kept.items() if key != digest} | ({digest: data} if data else {})
    (found,) = join(one, Lines({"L2": lines}, kept))
    assert found.faults == (f"Entry 2 of L2 in the other: the bytes kept for L2-2026-0002 {said}.",)
    assert (found.head, found.not_taken) == (1, "Of L2, entries 2 to 3 were not taken.")
    assert verify(one) == []


def test_an_entry_altered_there_that_is_sound_here_is_named_and_what_follows_is_taken(tmp_path: Path) -> None:
    two, one = device(tmp_path, "L2"), device(tmp_path, "L1")
    performed(two, 3)
    taken(one, two)
    performed(two, 2)
    lines, kept = all_of(two, "L2")
    lines[1] = altered(lines[1], body={"tag": "y"})  # with a right digest; the next names the old one
    (found,) = join(one, Lines({"L2": lines}, kept))
    assert found.faults == ("Entry 2 of L2 was altered in the other.",)
    assert (found.had, found.head, found.not_taken) == (3, 5, "")
    assert one.heads() == two.heads()


def test_a_damaged_book_is_taken_as_far_as_it_holds(tmp_path: Path) -> None:
    two, one = device(tmp_path, "L2"), device(tmp_path, "L1")
    performed(two, 4)
    with closing(sqlite3.connect(two.place)) as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute("DELETE FROM entries WHERE seq = 3")
        connection.commit()
    found = taken(one, two)["L2"]
    assert found.faults == ("Of L2, entry 3 is missing in the other.",)
    assert (found.head, found.not_taken) == (2, "Of L2, entries 3 to 4 were not taken.")


def test_a_book_in_use_takes_nothing_and_says_so(tmp_path: Path) -> None:
    two = device(tmp_path, "L2")
    performed(two)
    one = open_book(tmp_path / "one.sqlite", "L1", create=True, timeout_s=0.2)
    refused = pytest.raises(CouldNotRun, match="was in use by another program")
    with one.writing(), refused:
        taken(one, two)


# ---------------------------------------------------------------- any order, any number of times


MOVES = st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2), st.integers(0, 4)), min_size=4, max_size=14)


@settings(max_examples=15, deadline=None)
@given(moves=MOVES, seed=st.integers(0, 10**6))
def test_whatever_is_done_and_joined_in_between_all_orders_end_in_the_same_set(
    tmp_path_factory: pytest.TempPathFactory, server: Cluster, moves: list[tuple[int, int, int]], seed: int
) -> None:
    """Three devices enter records, sign and void what they know, and take in one another."""
    folder, chance = tmp_path_factory.mktemp("join"), random.Random(seed)
    devices = [device(folder, f"L{n}") for n in (1, 2, 3)]
    for step, (who, whom, what) in enumerate(moves):
        book = devices[who]
        known = sorted(book.numbers())
        if what < 2:
            performed(book, 1 + what, step, visit=f"visit {chance.randrange(3)}")
        elif what == 2 and known:
            number = chance.choice(known)
            event = chance.choice(("signed", "reviewed", "voided"))
            happen(book, event, number, chance.randrange(60), pdf=f"{event} by L{who + 1}")
        else:
            taken(book, devices[whom])
    expected = sorted({text for book in devices for text in texts(book)})
    ends = []
    for kind in ("file", "server"):
        book = device(folder, "P1") if kind == "file" else open_book(server.address(server.emptied()), "P1")
        order = [chance.randrange(3) for _ in range(4)] + chance.sample(range(3), 3)
        for which in order:
            taken(book, devices[which])
        assert texts(book) == expected
        ends.append([(s.number, s.state, s.told, s.file_digest) for s in book.records()])
    assert ends[0] == ends[1]
    for _round in range(2):
        for book in devices:
            for other in chance.sample(devices, 3):
                taken(book, other)
    assert {tuple(texts(book)) for book in devices} == {tuple(expected)}
    assert verify(devices[0]) == []


# ---------------------------------------------------------------- kills

DRIVER = Path(__file__).parent / "drivers" / "book_joiner.py"


@pytest.mark.parametrize(("die_at", "new"), [(1, False), (3, False), ("entered", False), ("committed", True)])
def test_a_kill_in_the_middle_leaves_the_old_book_or_the_new(
    tmp_path: Path, place: str, die_at: int | str, new: bool
) -> None:
    two, one = device(tmp_path, "L2"), open_book(place, "L1", create=True)
    performed(one, 2)
    performed(two, 5)
    before = texts(one)
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["wqverify.book", "wqverify.book.server", "psycopg"])
    given_ = {"ARGUMENTS": {"path": place, "other": two.place, "die_at": die_at}}
    killed = context.Process(
        target=runpy.run_path, args=(str(DRIVER),), kwargs={"init_globals": given_, "run_name": "__main__"}
    )
    killed.start()
    killed.join(60)
    assert killed.exitcode == -9
    assert texts(one) == (sorted(before + texts(two)) if new else before)
    assert verify(one) == []
    again = taken(one, two)["L2"]
    assert (again.had, again.head) == (5 if new else 0, 5)
    assert texts(one) == sorted(before + texts(two))
