"""A record is returned with a question and its performer answers: the book keeps both, with who and when."""

from __future__ import annotations

from datetime import datetime

from wqverify.acts.shared import Tell, local_time, person_of, quiet, settled, typed
from wqverify.acts.signatures import PERFORMER, REVIEWER, allowed_to_review
from wqverify.book import Book, RecordState
from wqverify.book.state import RETURNED
from wqverify.errors import ChooseAnother
from wqverify.plant.fields import Notes
from wqverify.plant.folder import Plant
from wqverify.records.canonical import record_from


def ask(plant: Plant, number: str, by: str, text: str, now: datetime, tell: Tell = quiet) -> bool:
    """Return a signed record to its performer with a question; False where this very one awaits its answer.

    Raises ChooseAnother unless the record waits for a reviewer and this person may review it.
    """
    question = typed(Notes, "the question", text)
    book = settled(plant)
    person = person_of(plant, by)
    with book.writing() as writer:
        state = _found(book, number)
        last = state.questions[-1] if state.questions else None
        if last is not None and state.state == RETURNED and (last.by, last.question) == (by, question):
            return False
        allowed_to_review(person, record_from(book.stored(number)))
        if state.state != REVIEWER.waiting:
            raise ChooseAnother(
                f"{number} is {state.state}; a reviewer asks about what is {REVIEWER.waiting}. "
                f"{_instead(state)}",
                found=state.state,
                expected=REVIEWER.waiting,
            )
        key = f"{RETURNED} {number} {len(state.questions) + 1}"
        body = {"by": by, "question": question}
        tell(f"entering the question about {number}")
        writer.append(RETURNED, key=key, record=number, at=local_time(plant, now), body=body)
    tell(f"entered the question about {number}")
    return True


def answer(plant: Plant, number: str, by: str, text: str, now: datetime, tell: Tell = quiet) -> bool:
    """Answer the question a record was returned with; False where this very answer is in the book.

    Raises ChooseAnother unless the record waits for an answer of this person, its performer.
    """
    said = typed(Notes, "the answer", text)
    book = settled(plant)
    person = person_of(plant, by)
    with book.writing() as writer:
        state = _found(book, number)
        last = state.questions[-1] if state.questions else None
        performer = str(state.body["by"])
        if person.id != performer:
            raise ChooseAnother(
                f"{number} was performed by {performer}, not by {person.name} ({by}); the performer answers.",
                found=by,
                expected=performer,
            )
        if last is not None and last.answer == said and state.state == REVIEWER.waiting:
            return False
        if state.state != RETURNED:
            raise ChooseAnother(
                f"{number} is {state.state}; no question waits for an answer.",
                found=state.state,
                expected=RETURNED,
            )
        key = f"answered {number} {len(state.questions)}"
        body = {"by": by, "answer": said}
        tell(f"entering the answer about {number}")
        writer.append("answered", key=key, record=number, at=local_time(plant, now), body=body)
    tell(f"entered the answer about {number}")
    return True


def _found(book: Book, number: str) -> RecordState:
    state = book.find(number)
    if state is None:
        raise ChooseAnother(
            f"{number} is not in the book; `wqverify book list` shows what is.", found="not in the book"
        )
    return state


def _instead(state: RecordState) -> str:
    """What is done where a question has no place."""
    number, performer = state.number, state.body["by"]
    if not state.stands:
        return "It does not stand any more, nothing is left to ask about it."
    if state.state == RETURNED:
        return f"{performer} answers {state.questions[-1].by} first."
    if state.state == PERFORMER.waiting:
        return f"{performer} signs it first: wqverify sign {number} --by {performer}."
    return (
        f'What is wrong in it is corrected by running the corrected sheet with replaces = "{number}" and '
        f"replaces_why; where the work does not count, a reviewer voids it: wqverify book void {number} "
        f"--by STAFF --why TEXT. Both leave it readable."
    )
