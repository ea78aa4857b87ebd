"""What people still have to decide about records of a pack, and what they asked and answered."""

from __future__ import annotations

from collections.abc import Iterator

from wqverify.book import Book, Entry, RecordState, ended_twice, visits_twice
from wqverify.book.state import RETURNED

STAND_TWICE, ANSWERS_VOID = "to be decided", "answers a void record"
FIRST_OF_ALL = (STAND_TWICE, ANSWERS_VOID)  # before all else that is open
Row = tuple[str, str, str, str, str, str]  # what, record, analyzer, since, who (staff id), in words


def stand_twice(book: Book) -> list[tuple[frozenset[str], str]]:
    """Return what stands twice: the records, and a sentence that says so."""
    parted = [(frozenset(one.standing), one.sentence) for one in ended_twice(book) if one.open]
    told = {numbers for numbers, _ in parted}
    visits = [(frozenset(numbers), visit) for visit, numbers in visits_twice(book)]
    return parted + [
        (
            numbers,
            f"{' and '.join(sorted(numbers))} are records of one visit ({visit}) and both stand; void what "
            f"does not belong.",
        )
        for numbers, visit in visits
        if numbers not in told
    ]


def undecided_rows(state: RecordState, twice: list[tuple[frozenset[str], str]], book: Book) -> Iterator[Row]:
    """Give what is to be decided about a record that stands: it stands twice, or answers what is void."""
    if not state.stands:
        return
    entered, by = state.events[0].at, str(state.body.get("by", ""))
    for numbers, sentence in twice:
        if state.number in numbers:
            yield STAND_TWICE, state.number, state.tag, entered, by, sentence
    for number in filter(None, state.facts.get("answers", "").split(", ")):
        answered = book.find(number)
        void = [entry for entry in answered.events if entry.event == "voided"] if answered else []
        if void and answered is not None and answered.state == "voided":
            text = f"It answers {number}, which is void; void it too, or answer what stands."
            yield ANSWERS_VOID, state.number, state.tag, void[-1].at, str(void[-1].body.get("by", "")), text


def asked_and_answered(state: RecordState) -> list[tuple[Entry, Entry | None]]:
    """Return each question a record was returned with, and the entry that answers it; None while it waits.

    An answer belongs to the question whose count ends its key, else to the first that waits.
    """
    asked = [entry for entry in state.events if entry.event == RETURNED]
    answers: dict[int, Entry] = {}
    for entry in state.events:
        if entry.event == "answered" and asked:
            waits = [n for n in range(len(asked)) if n not in answers]
            same = [n for n in waits if _count(asked[n]) == _count(entry)]
            answers[(same or waits or [len(asked) - 1])[0]] = entry
    return [(entry, answers.get(n)) for n, entry in enumerate(asked)]


def _count(entry: Entry) -> str:
    return entry.key.rsplit(" ", 1)[-1]
