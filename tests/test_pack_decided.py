"""What a pack tells of answers, of records that stand twice, and of those that answer a void one."""

from __future__ import annotations

from typing import Any, cast

import pytest
from plant_example import plant_in

from wqverify.book import GENESIS, Book, Entry, RecordState
from wqverify.book.parted import Parted
from wqverify.pack import decided
from wqverify.pack.decided import ANSWERS_VOID, STAND_TWICE, asked_and_answered, undecided_rows
from wqverify.pack.of_record import open_rows
from wqverify.show.html import html
from wqverify.show.kinds import Column, Table, rows

ONE, OTHER = "L1-2026-0001", "L1-2026-0002"
WORK = {"tag": "AIT-2101", "performed": "2026-05-31T08:00:00-05:00", "by": "T-07"}


def entry(event: str, hour: int, key: str = "", number: str = ONE, **body: Any) -> Entry:
    return Entry("L1", hour, GENESIS, "", "", event, key, number, f"2026-06-01T{hour:02d}:00:00-05:00", body)


def state(*more: Entry, number: str = ONE, **facts: str) -> RecordState:
    return RecordState(number, (entry("performed", 1, number=number, **WORK, facts=facts), *more))


def question(count: int, hour: int) -> Entry:
    key = f"returned with a question {ONE} {count}"
    return entry("returned with a question", hour, key, by="S-02", question=f"Why {count}?")


def answer(count: int, hour: int) -> Entry:
    return entry("answered", hour, f"answered {ONE} {count}", by="T-07", answer=f"Because {count}.")


@pytest.mark.parametrize(
    ("events", "told"),
    [
        ([question(1, 2)], [("Why 1?", None)]),
        ([question(1, 2), answer(1, 3)], [("Why 1?", "Because 1.")]),
        ([question(1, 2), question(2, 3), answer(2, 4)], [("Why 1?", None), ("Why 2?", "Because 2.")]),
        (
            [question(1, 2), answer(1, 3), question(2, 4), answer(2, 5)],
            [("Why 1?", "Because 1."), ("Why 2?", "Because 2.")],
        ),
    ],
    ids=["none", "one", "the second only", "both"],
)
def test_an_answer_stands_beside_its_question(
    events: list[Entry], told: list[tuple[str, str | None]]
) -> None:
    found = asked_and_answered(state(*events))
    assert [(asked.body["question"], said and said.body["answer"]) for asked, said in found] == told


def test_who_answered_and_when_stands_in_the_table(tmp_path: Any) -> None:
    plant = plant_in(tmp_path)
    (row,) = open_rows(
        state(entry("signed", 2), question(1, 3), answer(1, 4), entry("reviewed", 5)), {}, plant
    )
    who = f"{plant.people['T-07'].name} (T-07)"
    assert row[-1] == f"Why 1? Answer of {who}, 2026-06-01 04:00 -05:00: Because 1."


class Known:
    """A book that knows one record."""

    def __init__(self, known: RecordState) -> None:
        self.known = known

    def find(self, number: str) -> RecordState | None:
        return self.known if number == self.known.number else None


ENDS = {
    "stands": [],
    "void": [entry("voided", 5, by="S-02", why="so")],
    "superseded": [entry("superseded", 5, by="S-02", by_record="L1-2026-0003")],
}


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize("answers", [ONE, f"L1-2026-0009, {ONE}", ""])
def test_a_record_that_answers_a_void_one_is_told(end: str, answers: str) -> None:
    """What a superseded record opened is answered with the one that replaces it: nothing is amiss."""
    book = cast("Book", Known(state(*ENDS[end])))
    facts = {"answers": answers} if answers else {}
    found = list(undecided_rows(state(number=OTHER, **facts), [], book))
    told = [(ANSWERS_VOID, OTHER, "AIT-2101", "2026-06-01T05:00:00-05:00", "S-02")]
    assert [row[:5] for row in found] == (told if end == "void" and answers else [])
    ended = state(entry("voided", 6, by="S-02"), number=OTHER, **facts)
    assert list(undecided_rows(ended, [], book)) == []


def test_two_that_stand_for_one_visit_are_told_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A record that was replaced twice names both; the visit of both is not named as well."""
    parted = [Parted("Replaced twice.", (), (ONE, OTHER), True), Parted("Voided twice.", (), (), False)]
    visits = [("pool 1", (ONE, OTHER)), ("pool 2", ("L1-2026-0003", "L2-2026-0001"))]
    monkeypatch.setattr(decided, "ended_twice", lambda _book: parted)
    monkeypatch.setattr(decided, "visits_twice", lambda _book: visits)
    both = "L1-2026-0003 and L2-2026-0001 are records of one visit (pool 2) and both stand"
    found = decided.stand_twice(cast("Book", Known(state())))
    assert [(sorted(numbers), said.partition(";")[0]) for numbers, said in found] == [
        ([ONE, OTHER], "Replaced twice."),
        (["L1-2026-0003", "L2-2026-0001"], both),
    ]


def test_a_record_that_stands_twice_is_told_of_each() -> None:
    twice = [(frozenset({ONE, OTHER}), "Both stand.")]
    book = cast("Book", Known(state()))
    for number, count in ((ONE, 1), (OTHER, 1), ("L1-2026-0003", 0)):
        found = list(undecided_rows(state(number=number), twice, book))
        assert [(row[0], row[1], row[-1]) for row in found] == [(STAND_TWICE, number, "Both stand.")] * count


@pytest.mark.parametrize(
    ("text", "marks"),
    [
        ("as found: fail; as left: pass", 1),
        ("as found: fail; as left: fail", 2),
        ("as found: pass", 0),
        ("\u2014", 0),
        ("fail", 0),
    ],
)
def test_each_stage_that_fails_bears_the_mark(text: str, marks: int) -> None:
    shown = html([Table((Column("other stages", "outcomes"),), rows((text,)))], {})
    assert shown.count('<strong class="fail">fail</strong>') == marks
