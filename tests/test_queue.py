"""What waits for whom, exceptions first; questions and answers; one signature for a whole pile."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from pathlib import Path

import pytest
from plant_example import NOW, record_in, sheet_of
from round_example import BAD, DAY, TITLE, plant_with_round, read_after_all, skip, walked

from wqverify import acts, audit
from wqverify.book import RecordState
from wqverify.cli.queue_commands import WIDTH, queue_lines
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.lists.queue import LATE, exceptions, queue
from wqverify.plant.folder import Plant, open_plant
from wqverify.terms import Change, Record

pytestmark = pytest.mark.slow
SECRET = b"a long enough one"
CLEAN, FAILED, AMENDED = "L1-2026-0001", "L1-2026-0002", "L1-2026-0003"


@pytest.fixture(scope="module")
def performed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A plant with keys and a performed round: one clean, one failed."""
    folder = tmp_path_factory.mktemp("queue")
    plant = plant_with_round(folder / "plant")
    acts.make_authority(plant, folder / "keys", SECRET, NOW)
    for staff in ("T-07", "T-11", "S-02"):
        acts.issue_key(plant, folder / "keys", staff, SECRET, SECRET, NOW)
    acts.perform_walk(plant, [walked(plant, {"AIT-2102": BAD}).folder], NOW)
    return folder


@pytest.fixture(scope="module")
def signed(performed: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with both records signed."""
    folder = Path(shutil.copytree(performed, tmp_path_factory.mktemp("signed") / "here"))
    acts.sign(plant_of(folder), [CLEAN, FAILED], "T-07", folder / "keys", SECRET, NOW)
    return folder


@pytest.fixture
def here(performed: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(performed, tmp_path / "here"))


@pytest.fixture
def reviewing(signed: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(signed, tmp_path / "here"))


def plant_of(here: Path) -> Plant:
    return open_plant(here / "plant")


def round_of(here: Path) -> str:
    return str(here / "plant" / "field_sheets" / TITLE)


def state(here: Path, number: str) -> RecordState:
    found = audit.book_of(plant_of(here)).find(number)
    assert found is not None
    return found


def sign(here: Path, *names: str, by: str = "T-07") -> acts.Pile:
    pile = acts.pile_to_sign(plant_of(here), names, by)
    acts.sign(plant_of(here), pile.numbers, by, here / "keys", SECRET, NOW)
    return pile


def review(here: Path, *names: str, by: str = "S-02") -> acts.Pile:
    pile = acts.pile_to_review(plant_of(here), names, by)
    acts.review(plant_of(here), pile.numbers, by, here / "keys", SECRET, NOW)
    return pile


# ---------------------------------------------------------------- the queue


def test_exceptions_come_first_and_the_clean_ones_by_round(here: Path) -> None:
    found = queue(plant_of(here), NOW)
    assert [(one.number, one.to, one.people) for one in found.waiting] == [
        (FAILED, "sign", ("T-07",)),
        (CLEAN, "sign", ("T-07",)),
    ]
    assert [one.number for one in found.exceptions("sign")] == [FAILED]
    assert {title: [one.number for one in group] for title, group in found.clean("sign").items()} == {
        TITLE: [CLEAN]
    }
    (why,) = found.exceptions("sign")[0].exceptions
    assert why.kind == "fail"
    assert why.text.startswith("fail: as found at the analyzer, as found at the control system, as left at")


def test_what_is_signed_waits_for_another_reviewer_than_the_performer(reviewing: Path) -> None:
    people = reviewing / "plant" / "people.toml"
    text = people.read_text("utf-8").replace("may_perform = true", "may_perform = true\nmay_review = true", 2)
    people.write_text(text, "utf-8")
    found = queue(plant_of(reviewing), NOW)
    assert {(one.to, one.people) for one in found.waiting} == {("countersign", ("T-11", "S-02"))}


def test_what_is_countersigned_voided_or_superseded_waits_for_nobody(reviewing: Path) -> None:
    review(reviewing, CLEAN)
    acts.void(plant_of(reviewing), FAILED, "S-02", "wrong analyzer", NOW)
    assert queue(plant_of(reviewing), NOW).waiting == ()


def test_without_a_book_nothing_waits(tmp_path: Path) -> None:
    plant = plant_with_round(tmp_path / "plant")
    assert list(queue_lines(queue(plant, NOW))) == ["Nothing waits."]


def test_an_amended_record_is_an_exception(here: Path) -> None:
    sheet = Path(round_of(here)) / "1 AIT-2101.toml"
    head = 'replaces = "L1-2026-0001"\nreplaces_why = "the flow was told wrong"\nmethod = '
    sheet.write_text(sheet.read_text("utf-8").replace("method = ", head, 1), "utf-8")
    acts.perform_walk(plant_of(here), [Path(round_of(here))], NOW)
    found = {one.number: one for one in queue(plant_of(here), NOW).waiting}
    assert list(found) == [FAILED, AMENDED]
    (why,) = found[AMENDED].exceptions
    assert (why.kind, why.text) == (
        "corrected",
        "corrected: replaces L1-2026-0001, because the flow was told wrong",
    )
    assert found[AMENDED].round == TITLE


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Record:
    plant = plant_with_round(tmp_path_factory.mktemp("record") / "plant")
    return record_in(plant, "pass")


def kinds(record: Record, entry: RecordState) -> list[str]:
    return [why.kind for why in exceptions(entry, record)]


@pytest.fixture
def entry(here: Path) -> RecordState:
    return state(here, CLEAN)


@pytest.mark.parametrize(
    ("after", "late"),
    [
        (LATE - timedelta(minutes=1), False),
        (LATE, False),
        (LATE + timedelta(minutes=1), True),
        (timedelta(0), False),
    ],
)
def test_an_entry_is_late_more_than_a_day_after_the_work(
    record: Record, entry: RecordState, after: timedelta, late: bool
) -> None:
    """Common practice, no source: 24 h from the last time typed on the sheet."""
    worked = max(datetime.fromisoformat(at) for at in record.given.times.values())
    entered = replace(record, entered=(worked + after).isoformat())
    assert ("late entry" in kinds(entered, entry)) is late


def test_how_late_it_was_is_said(record: Record, entry: RecordState) -> None:
    worked = max(datetime.fromisoformat(at) for at in record.given.times.values())
    for after, says in (
        (timedelta(hours=25, minutes=59), "late entry: 25 h after the work"),
        (timedelta(hours=71, minutes=59), "late entry: 71 h after the work"),
        (timedelta(hours=72), "late entry: 3 days after the work"),
    ):
        late = replace(record, entered=(worked + after).isoformat())
        assert says in [why.text for why in exceptions(entry, late)]


def test_a_changed_tolerance_is_an_exception_and_another_change_is_none(
    record: Record, entry: RecordState
) -> None:
    at = record.performed
    now = replace(record, entered=max(record.given.times.values()))

    def told(change: Change) -> list[str]:
        given = replace(now.given, changes=(change,))
        return [why.text for why in exceptions(entry, replace(now, given=given))]

    what = "tolerance error of AIT-2101: high"
    explained = Change(at, what, "0.15", "0.10", "S-02", "letter of the State")
    assert told(explained) == [f"changed tolerance: {what}: 0.15 -> 0.10, because letter of the State"]
    assert told(Change("", what, "0.15", "0.10")) == [
        f"changed tolerance: {what}: 0.15 -> 0.10, nobody has said why"
    ]
    assert told(Change(at, "AIT-2101: location", "panel 1", "panel 2", "S-02", "moved")) == []


def test_the_most_pressing_exception_decides_the_order(entry: RecordState, record: Record) -> None:
    def seen(*outcomes: str) -> list[str]:
        body = {**entry.body, "outcomes": [[f"stage {n} at the analyzer", o] for n, o in enumerate(outcomes)]}
        first = replace(entry.events[0], body=body)
        return kinds(
            replace(record, entered=max(record.given.times.values())), replace(entry, events=(first,))
        )

    assert seen("pass", "pass") == []
    assert seen("not evaluated", "pass", "too close to decide", "fail") == [
        "fail",
        "too close to decide",
        "not evaluated",
    ]


# ---------------------------------------------------------------- what was skipped


@pytest.mark.parametrize(("days", "told"), [(30, True), (31, True), (32, False), (0, True)])
def test_a_skipped_check_is_a_notice_for_31_days(tmp_path: Path, days: int, told: bool) -> None:
    plant = plant_with_round(tmp_path / "plant")
    one = walked(plant)
    skip(one, "AIT-2102", "valve stuck")
    acts.perform_walk(plant, [one.folder], NOW)
    now = datetime.combine(date.fromisoformat(DAY) + timedelta(days=days), time(12), plant.zone)
    found = queue(plant, now)
    assert [(s.tag, s.why, s.by, s.day) for s in found.skipped] == (
        [("AIT-2102", "valve stuck", "T-07", DAY)] if told else []
    )
    said = "\n".join(queue_lines(found))
    assert ("Skipped in the last 31 days: 1 check" in said) is told


def test_the_reason_told_last_counts_and_what_was_done_after_all_is_no_notice(tmp_path: Path) -> None:
    plant = plant_with_round(tmp_path / "plant")
    one = walked(plant)
    index = one.folder / "round.toml"
    before = index.read_text("utf-8")
    for why in ("valve stuck", "valve stuck, work order 117"):
        index.write_text(before, "utf-8")
        skip(one, "AIT-2102", why)
        acts.perform_walk(plant, [one.folder], NOW)
        assert [skipped.why for skipped in queue(plant, NOW).skipped] == [why]
    index.write_text(before, "utf-8")
    read_after_all(one.rows[1].path)
    done = acts.perform_walk(plant, [one.folder], NOW)
    assert queue(plant, NOW).skipped == ()
    assert len(audit.book_of(plant).events("skipped")) == 2
    acts.void(plant, done.performed[1].number, "S-02", "wrong analyzer", NOW)
    assert len(queue(plant, NOW).skipped) == 1


def test_the_queue_is_narrow_and_names_who_when_and_why(reviewing: Path) -> None:
    acts.ask(plant_of(reviewing), FAILED, "S-02", "Which " + "very " * 60 + "bottle?", NOW)
    lines = list(queue_lines(queue(plant_of(reviewing), NOW)))
    assert max(map(len, lines)) <= WIDTH
    assert lines[0] == "To countersign, by a reviewer who is not the performer: 1 record"
    assert lines[1] == f"  Clean, round {TITLE}: 1"
    assert lines[2] == f"    {CLEAN}  AIT-2101 ph_calibration  {DAY} 08:05 by T-07; waits for S-02"
    assert lines[3] == "To answer, by the performer: 1 record"
    assert f"    {FAILED}  AIT-2102 ph_calibration  {DAY} 08:05 by T-07; waits for T-07" in lines


# ---------------------------------------------------------------- question and answer


def test_a_question_returns_a_record_and_the_answer_lets_it_be_reviewed(reviewing: Path) -> None:
    plant = plant_of(reviewing)
    assert acts.ask(plant, FAILED, "S-02", "Why was it not adjusted?", NOW)
    assert state(reviewing, FAILED).state == "returned with a question"
    assert [(w.number, w.to, w.people) for w in queue(plant, NOW).waiting if w.number == FAILED] == [
        (FAILED, "answer", ("T-07",))
    ]
    with pytest.raises(ChooseAnother) as caught:
        review(reviewing, FAILED)
    assert str(caught.value) == (
        "L1-2026-0002 was returned by S-02 with a question that T-07 has not answered: Why was it not "
        "adjusted? It is reviewed after `wqverify answer L1-2026-0002 --by T-07 --text TEXT`."
    )
    assert acts.answer(plant, FAILED, "T-07", "No 4.01 buffer on the truck.", NOW)
    assert state(reviewing, FAILED).state == "signed, not countersigned"
    (one,) = [w for w in queue(plant, NOW).waiting if w.number == FAILED]
    assert (one.to, [w.text for w in one.exceptions[1:]]) == (
        "countersign",
        ["question of S-02: Why was it not adjusted?", "answer: No 4.01 buffer on the truck."],
    )
    review(reviewing, FAILED)
    assert state(reviewing, FAILED).told == (
        "countersigned; signed by T-07 on 2026-06-01; returned with a question by S-02 on 2026-06-01: Why "
        "was it not adjusted?; answered by T-07 on 2026-06-01: No 4.01 buffer on the truck.; reviewed by "
        "S-02 on 2026-06-01"
    )
    assert not audit.examine_file(plant.folder / f"book/pages/{FAILED}.pdf", plant).damaged


def test_the_same_question_and_answer_are_entered_once_and_a_second_one_may_follow(reviewing: Path) -> None:
    plant = plant_of(reviewing)
    acts.ask(plant, FAILED, "S-02", "Why?", NOW)
    assert not acts.ask(plant, FAILED, "S-02", "Why?", NOW)
    acts.answer(plant, FAILED, "T-07", "No buffer.", NOW)
    assert not acts.answer(plant, FAILED, "T-07", "No buffer.", NOW)
    assert acts.ask(plant, FAILED, "S-02", "Why?", NOW)  # asked anew: the answer did not do
    assert acts.answer(plant, FAILED, "T-07", "No buffer.", NOW)
    events = [entry.event for entry in state(reviewing, FAILED).events[2:]]
    assert events == ["returned with a question", "answered"] * 2
    assert [(q.question, q.answer) for q in state(reviewing, FAILED).questions] == [
        ("Why?", "No buffer.")
    ] * 2


@pytest.mark.parametrize(
    ("number", "by", "text", "says"),
    [
        ("L1-2026-0009", "S-02", "Why?", "L1-2026-0009 is not in the book"),
        (CLEAN, "X-9", "Why?", "There is no person X-9"),
        (
            CLEAN,
            "T-07",
            "Why?",
            "performed L1-2026-0001 and cannot review it; the reviewer is another person",
        ),
        (CLEAN, "T-11", "Why?", "Perrin Vale (T-11) may not review"),
        (CLEAN, "S-02", "", "the question: text is empty"),
        (CLEAN, "S-02", "x" * 2001, "the question: text is longer than 2000 characters; shorten it."),
        (
            CLEAN,
            "S-02",
            "a\u202eb",
            "the question: text: it holds the invisible character U+202E; delete it.",
        ),
    ],
)
def test_who_may_not_ask_or_what_cannot_be_asked_is_said(
    reviewing: Path, number: str, by: str, text: str, says: str
) -> None:
    before = audit.book_of(plant_of(reviewing)).heads()
    with pytest.raises((ChooseAnother, CorrectTheEntry)) as caught:
        acts.ask(plant_of(reviewing), number, by, text, NOW)
    assert says in str(caught.value)
    assert audit.book_of(plant_of(reviewing)).heads() == before


def test_a_text_of_the_length_that_is_allowed_is_taken(reviewing: Path) -> None:
    assert acts.ask(plant_of(reviewing), CLEAN, "S-02", "x" * 2000, NOW)


def test_only_what_waits_for_review_is_asked_about(here: Path) -> None:
    with pytest.raises(
        ChooseAnother,
        match=r"is performed, not signed; a reviewer asks .* T-07 signs it first: wqverify sign",
    ):
        acts.ask(plant_of(here), CLEAN, "S-02", "Why?", NOW)
    sign(here, CLEAN)
    acts.ask(plant_of(here), CLEAN, "S-02", "Why?", NOW)
    with pytest.raises(ChooseAnother, match=r"is returned with a question; .* T-07 answers S-02 first\."):
        acts.ask(plant_of(here), CLEAN, "S-02", "And who?", NOW)
    acts.answer(plant_of(here), CLEAN, "T-07", "Because.", NOW)
    review(here, CLEAN)
    with pytest.raises(ChooseAnother) as caught:
        acts.ask(plant_of(here), CLEAN, "S-02", "Why?", NOW)
    assert caught.value.message == (
        f"{CLEAN} is countersigned; a reviewer asks about what is signed, not countersigned. What is wrong "
        f'in it is corrected by running the corrected sheet with replaces = "{CLEAN}" and replaces_why; '
        f"where the work does not count, a reviewer voids it: wqverify book void {CLEAN} --by STAFF --why "
        f"TEXT. Both leave it readable."
    )
    acts.void(plant_of(here), CLEAN, "S-02", "wrong analyzer", NOW)
    with pytest.raises(
        ChooseAnother, match=r"is voided; .* It does not stand any more, nothing is left to ask"
    ):
        acts.ask(plant_of(here), CLEAN, "S-02", "Why?", NOW)


def test_only_the_performer_answers_and_only_a_question(reviewing: Path) -> None:
    plant = plant_of(reviewing)
    with pytest.raises(ChooseAnother, match="is signed, not countersigned; no question waits for an answer"):
        acts.answer(plant, CLEAN, "T-07", "Because.", NOW)
    acts.ask(plant, CLEAN, "S-02", "Why?", NOW)
    with pytest.raises(
        ChooseAnother, match=r"was performed by T-07, not by Odell Marsh \(S-02\); the performer"
    ):
        acts.answer(plant, CLEAN, "S-02", "Because.", NOW)
    with pytest.raises(CorrectTheEntry, match="the answer: text is empty"):
        acts.answer(plant, CLEAN, "T-07", "", NOW)


# ---------------------------------------------------------------- piles


def test_a_round_is_signed_and_countersigned_in_one_act_each(here: Path) -> None:
    assert sign(here, round_of(here)) == acts.Pile((CLEAN, FAILED), (), ())
    assert review(here, round_of(here)) == acts.Pile((CLEAN, FAILED), (), ())
    for number in (CLEAN, FAILED):
        assert state(here, number).state == "countersigned"
        assert not audit.examine_file(here / f"plant/book/pages/{number}.pdf", plant_of(here)).damaged
    assert review(here, round_of(here)) == acts.Pile((), (CLEAN, FAILED), ())


def test_numbers_and_rounds_make_one_pile_without_doubles(here: Path) -> None:
    acts.perform(plant_of(here), [sheet_of(plant_of(here), "pass")], NOW)
    assert sign(here, "L1-2026-0003", CLEAN, round_of(here)).numbers == ("L1-2026-0003", CLEAN, FAILED)


def test_of_a_round_what_waits_for_an_answer_is_left_out_and_said(reviewing: Path) -> None:
    acts.ask(plant_of(reviewing), FAILED, "S-02", "Why was it not adjusted?", NOW)
    pile = review(reviewing, round_of(reviewing))
    why = "is returned with a question by S-02 and waits for the answer of T-07: Why was it not adjusted?"
    assert pile == acts.Pile((CLEAN,), (), ((FAILED, why),))
    assert state(reviewing, CLEAN).state == "countersigned"
    again = acts.pile_to_review(plant_of(reviewing), [round_of(reviewing)], "S-02")
    assert (again.numbers, again.already) == ((), (CLEAN,))


def test_what_somebody_else_performed_is_left_out_of_a_signature(here: Path) -> None:
    with pytest.raises(ChooseAnother) as caught:
        acts.pile_to_sign(plant_of(here), [round_of(here)], "T-11")
    assert str(caught.value) == (
        "Nothing of this round waits for Perrin Vale (T-11): L1-2026-0001 was performed by T-07, who signs "
        "it; L1-2026-0002 was performed by T-07, who signs it."
    )


def test_what_is_void_is_left_out(here: Path) -> None:
    acts.void(plant_of(here), FAILED, "S-02", "wrong analyzer", NOW)
    assert sign(here, round_of(here)) == acts.Pile((CLEAN,), (), ((FAILED, "is voided"),))


def test_a_round_with_what_is_not_signed_yet_is_not_reviewed(here: Path) -> None:
    sign(here, CLEAN)
    with pytest.raises(ChooseAnother, match="L1-2026-0002 is performed, not signed; the reviewer signs"):
        review(here, round_of(here))
    assert state(here, CLEAN).state == "signed, not countersigned"


def test_a_round_that_is_not_in_the_book_is_named(here: Path) -> None:
    sheet = Path(round_of(here)) / "2 AIT-2102.toml"
    sheet.write_text(sheet.read_text("utf-8").replace('started = "08:05"', 'started = "08:06"'), "utf-8")
    with pytest.raises(
        CorrectTheEntry, match=r"sheet 2 AIT-2102\.toml of AIT-2102 is not in the book; run this"
    ):
        acts.pile_to_sign(plant_of(here), [round_of(here)], "T-07")


def test_a_folder_that_is_no_round_is_not_signed(here: Path) -> None:
    with pytest.raises(ChooseAnother, match="is no folder of a round"):
        acts.pile_to_sign(plant_of(here), [str(here / "plant")], "T-07")
