"""A book run again: streamed, in chunks anywhere, a sample through notebooks, as then and as now."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future
from concurrent.futures.process import BrokenProcessPool
from contextlib import closing
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from plant_example import NOW, bytes_of, entered, plant_in

from wqverify import audit
from wqverify.audit import again, workers
from wqverify.audit.sample import ANOTHER
from wqverify.book import Book, open_book
from wqverify.errors import ChooseAnother, CorrectTheEntry, CouldNotRun
from wqverify.plant.folder import Plant, open_plant
from wqverify.records import as_now as records_as_now
from wqverify.records.as_now import as_now, newest_edition, of_today
from wqverify.records.canonical import record_from
from wqverify.records.rerun import Answer, Rerun
from wqverify.tables import load


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    plant = plant_in(tmp_path_factory.mktemp("audit") / "plant")
    entered(plant, [bytes_of(plant, name) for name in ("pass", "fail", "close")], 10)
    return plant.folder


@pytest.fixture
def plant(made: Path) -> Plant:
    return open_plant(made)


def tampered(plant: Plant, statement: str) -> None:
    with closing(sqlite3.connect(plant.book, isolation_level=None)) as connection:
        triggers = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for (name,) in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute(statement)


# ---------------------------------------------------------------- streamed


def test_a_book_is_run_again_in_its_order(plant: Plant) -> None:
    answers = list(audit.rerun_book(plant))
    assert [one.number for one in answers] == [f"L1-2026-{n:04d}" for n in range(1, 11)]
    assert audit.count(answers)[Answer.REPRODUCED] == 10
    assert [one.number for one in audit.rerun_book(plant, month="2026-06")] == [
        f"L1-2026-{n:04d}" for n in range(6, 11)
    ]


def test_the_book_is_read_no_further_than_is_asked_for(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(again, "CHUNK", 2)
    monkeypatch.setattr("wqverify.book.book.AT_ONCE", 2)
    read: list[str] = []
    whole = Book.iterate_stored

    def watched(self: Book, *what: Any, **more: Any) -> Iterator[Any]:
        for one in whole(self, *what, **more):
            read.append(one.number)
            yield one

    monkeypatch.setattr(Book, "iterate_stored", watched)
    answers = audit.rerun_book(plant)
    assert next(answers).number == "L1-2026-0001"
    assert len(read) <= 3  # of ten: a chunk, and the one that did not fit into it
    assert len(list(answers)) == 9


def test_chunks_are_bounded_in_records_and_in_bytes() -> None:
    def job(size: int) -> again.Job:
        return again.Job(audit.again.StoredRecord("n", "", bytes(size)))

    assert [len(c) for c in audit.chunks(job(1) for _ in range(130))] == [64, 64, 2]
    assert [len(c) for c in audit.chunks(job(900_000) for _ in range(5))] == [2, 2, 1]
    assert [len(c) for c in audit.chunks([job(5_000_000), job(1)])] == [1, 1]
    assert list(audit.chunks([])) == []


def test_a_number_that_is_not_in_the_book_is_refused_before_anything_runs(plant: Plant) -> None:
    with pytest.raises(ChooseAnother, match="L1-2026-0099 is not in the book"):
        next(audit.rerun_book(plant, ["L1-2026-0001", "L1-2026-0099"]))
    with pytest.raises(CorrectTheEntry, match="is not a month"):
        next(audit.rerun_book(plant, month="May"))


@pytest.mark.parametrize(
    ("damage", "reason"),
    [
        ("UPDATE entries SET entry = 'x' WHERE record = '{}'", "its entry in the book is damaged"),
        ("DELETE FROM stored WHERE number = '{}'", "its bytes are missing from the book"),
        ("UPDATE stored SET bytes = x'7b7d' WHERE number = '{}'", "its stored bytes are not those"),
        ("UPDATE entries SET entry = entry || ' ' WHERE record = '{}'", "was altered"),
        ("DELETE FROM entries WHERE record = '{}'", "its entry is missing from the book"),
        ("DELETE FROM records WHERE number = '{}'", "it is missing from the table of records"),
    ],
)
@pytest.mark.parametrize("processes", [1, 2])
def test_a_damaged_record_is_answered_and_the_next_one_follows(
    tmp_path: Path, made: Path, damage: str, reason: str, processes: int
) -> None:
    import shutil

    here = open_plant(Path(shutil.copytree(made, tmp_path / "plant")))
    tampered(here, damage.format("L1-2026-0004"))
    place = audit.Workers(processes)
    if processes > 1:
        place = Inline()
    answers = list(audit.rerun_book(here, workers=place))
    assert len(answers) == 10
    assert [(one.number, one.answer) for one in answers if one.answer is not Answer.REPRODUCED] == [
        ("L1-2026-0004", Answer.COULD_NOT)
    ]
    assert any(reason in one.reason for one in answers)


def test_a_record_is_found_in_its_month_by_its_entry_where_the_table_was_altered(
    tmp_path: Path, made: Path
) -> None:
    import shutil

    here = open_plant(Path(shutil.copytree(made, tmp_path / "plant")))
    month = next(audit.book_of(here).records()).performed[:7]
    before = [one.number for one in audit.rerun_book(here, month=month)]
    tampered(here, "UPDATE records SET performed = '2020-01-01T08:00-05:00' WHERE number = 'L1-2026-0002'")
    tampered(here, "DELETE FROM records WHERE number = 'L1-2026-0001'")
    after = list(audit.rerun_book(here, month=month))
    assert sorted(one.number for one in after) == before
    (lost,) = audit.rerun_book(here, ["L1-2026-0001"])
    assert lost == next(one for one in after if one.number == "L1-2026-0001")
    assert (lost.answer, lost.reason[:40]) == (Answer.COULD_NOT, "it is missing from the table of records,")


def test_a_damaged_event_elsewhere_stops_nothing(tmp_path: Path, made: Path) -> None:
    import shutil

    here = open_plant(Path(shutil.copytree(made, tmp_path / "plant")))
    with open_book(here.book, "L1").writing() as writer:
        body = {"by": "S-02", "why": "a test"}
        writer.append("voided", key="v", record="L1-2026-0002", at=NOW.isoformat(), body=body)
    (second,) = audit.rerun_book(here, ["L1-2026-0002"])
    assert second.note.startswith("voided since 2026-06-01")
    tampered(here, "UPDATE entries SET entry = 'x' WHERE event = 'voided'")
    answers = list(audit.rerun_book(here))
    assert audit.count(answers)[Answer.REPRODUCED] == 10
    assert all("whether it stands cannot be read" in one.note for one in answers)


# ---------------------------------------------------------------- where it is done


class Inline(audit.Workers):
    """Workers of a test: what is handed over runs at once, here, until they are lost."""

    def __init__(self, lost_after: int = 10**6, says: str = "") -> None:
        super().__init__()
        object.__setattr__(self, "handed", [])
        object.__setattr__(self, "lost_after", lost_after)
        object.__setattr__(self, "says", says)

    def in_order(self, work: Callable[..., Any], how: Any, chunks: Any) -> Iterator[Any]:
        yield from workers._ahead(OneByOne(self), 2, work, how, chunks)  # type: ignore[arg-type]


class OneByOne(Executor):
    def __init__(self, of: Any) -> None:
        self.of = of

    def submit(self, work: Callable[..., Any], /, *what: Any, **_more: Any) -> Future[Any]:
        self.of.handed.append(what[-1])
        future: Future[Any] = Future()
        if len(self.of.handed) > self.of.lost_after:
            future.set_exception(BrokenProcessPool("a worker was killed"))
        else:
            software, answers = work(*what)
            future.set_result((self.of.says or software, answers))
        return future


def test_what_a_lost_worker_had_is_run_here(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(again, "CHUNK", 2)
    place = Inline(lost_after=1)
    answers = list(audit.rerun_book(plant, workers=place))
    assert [one.number for one in answers] == [f"L1-2026-{n:04d}" for n in range(1, 11)]
    assert audit.count(answers)[Answer.REPRODUCED] == 10
    assert len(place.handed) < 5  # type: ignore[attr-defined]  # after the loss nothing more is handed over


def test_a_worker_of_another_version_is_not_believed(plant: Plant) -> None:
    with pytest.raises(CouldNotRun, match=r"runs wqverify 9\.9, this computer wqverify"):
        list(audit.rerun_book(plant, workers=Inline(says="wqverify 9.9")))


@pytest.mark.parametrize(("processes", "good"), [(0, False), (1, True), (64, True), (65, False)])
def test_the_number_of_processes_is_bounded(processes: int, good: bool) -> None:
    if good:
        assert audit.Workers(processes).processes == processes
    else:
        with pytest.raises(CorrectTheEntry, match="choose 1 to 64"):
            audit.Workers(processes)
    with pytest.raises(CorrectTheEntry, match="not both"):
        audit.Workers(2, "tcp://here:1")


@pytest.mark.slow
def test_two_processes_answer_as_one(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(again, "CHUNK", 3)
    assert list(audit.rerun_book(plant, workers=audit.Workers(2))) == list(audit.rerun_book(plant))


@pytest.mark.slow
def test_a_dask_cluster_answers_as_one_process(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> None:
    from distributed import LocalCluster

    monkeypatch.setattr(again, "CHUNK", 3)
    with LocalCluster(
        n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None, protocol="tcp"
    ) as cluster:
        place = audit.Workers(dask=cluster.scheduler_address)
        assert list(audit.rerun_book(plant, workers=place)) == list(audit.rerun_book(plant))


def test_no_scheduler_is_said_in_one_sentence(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> None:
    import distributed

    def refuse(*_what: Any, **_more: Any) -> Any:
        raise OSError("nobody listens")

    monkeypatch.setattr(distributed, "Client", refuse)
    with pytest.raises(CouldNotRun, match="no Dask scheduler at tcp://nowhere:1: nobody listens"):
        list(audit.rerun_book(plant, workers=audit.Workers(dask="tcp://nowhere:1")))


# ---------------------------------------------------------------- a sample through notebooks


def test_the_same_seed_draws_the_same_sample(plant: Plant) -> None:
    first = audit.draw(plant, 4, None)
    assert (first.of, len(first.numbers)) == (10, 4)
    assert audit.draw(plant, 4, first.seed) == first
    assert {audit.draw(plant, 1, seed).numbers for seed in range(60)} == {
        (f"L1-2026-{n:04d}",) for n in range(1, 11)
    }
    assert audit.draw(plant, 99, 1).numbers == tuple(f"L1-2026-{n:04d}" for n in range(1, 11))
    assert audit.draw(plant, 9, 1, month="2026-06").of == 5
    with pytest.raises(CorrectTheEntry, match="1 record or more, not 0"):
        audit.draw(plant, 0, 1)


@pytest.mark.slow
def test_a_sample_is_executed_in_one_kernel_and_compared(plant: Plant) -> None:
    told: list[str] = []
    sample = audit.draw(plant, 2, 7)
    answers = list(audit.through_notebooks(plant, sample, told.append))
    assert {one.number for one in answers} == set(sample.numbers)
    assert [one.answer for one in answers] == [Answer.REPRODUCED] * 2
    assert [one.reason for one in answers] == [ANOTHER] * 2  # the example names no shipped notebook
    assert told == ["executing the notebook of ph_calibration for 2 records"]


def test_a_notebook_that_shows_something_else_is_named(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> None:
    from wqverify.records.canonical import to_plain
    from wqverify.records.notebook import Executed
    from wqverify.records.record import case_from, compute

    def execute(_procedure: str, cases: Sequence[Any]) -> Executed:
        results = [to_plain(compute(case_from(case))) for case in cases]
        results[0]["checks"][0]["outcome"] = "fail"
        return Executed(b"", tuple(results), ({},) * len(results), "n.ipynb", "0" * 64)

    monkeypatch.setattr("wqverify.audit.sample.execute", execute)
    answers = list(audit.through_notebooks(plant, audit.draw(plant, 3, 1)))
    assert [one.answer for one in answers] == [
        Answer.UNEXPLAINED,
        Answer.REPRODUCED,
        Answer.REPRODUCED,
    ]
    assert "checks/thermometer/outcome was pass, is now fail" in answers[0].reason


def test_where_a_kernel_stops_each_record_gets_its_own(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[int] = []

    def execute(_procedure: str, cases: Sequence[Any]) -> Any:
        calls.append(len(cases))
        raise CouldNotRun("The notebook stopped.")

    monkeypatch.setattr("wqverify.audit.sample.execute", execute)
    answers = list(audit.through_notebooks(plant, audit.draw(plant, 3, 1)))
    assert calls == [3, 1, 1, 1]
    assert [one.sentence() for one in answers] == ["could not run, because The notebook stopped."] * 3


# ---------------------------------------------------------------- as then and as now


def of(plant: Plant, name: str = "pass", **changed: Any) -> Any:
    made = record_from(bytes_of(plant, name))
    register = dict(plant.analyzers)
    today = register[made.given.analyzer.tag]
    register[today.tag] = replace(today, **changed)
    return as_now(made, {}, register, reproduced=True)


def with_error(plant: Plant, **changed: Any) -> dict[str, Any]:
    tolerances = plant.analyzers["AIT-2101"].tolerances
    return {**tolerances, "error": replace(tolerances["error"], **changed)}


def test_as_now_is_as_then_where_nothing_is_new(plant: Plant) -> None:
    assert of(plant) == records_as_now.AsNow()


def test_a_tolerance_of_today_decides_otherwise_and_both_are_shown(plant: Plant) -> None:
    tight = {"low": Decimal("-0.001"), "high": Decimal("0.001"), "rule": "simple"}
    now = of(plant, tolerances=with_error(plant, **tight))
    assert [text.split(":")[0] for text in now.taken] == ["tolerance error"]
    assert "-0.001 to 0.001 pH, simple" in now.taken[0]
    changed = {check.key: check for check in now.checks}
    assert all("error" in check.label.lower() for check in now.checks)
    otherwise = [check for check in now.checks if check.otherwise]
    assert otherwise
    assert all(check.then.endswith("pass") and check.now.endswith("fail") for check in otherwise)
    assert all("from -0.001 to 0.001 (simple)" in check.now for check in changed.values())


def test_a_tolerance_of_another_procedure_is_not_told(plant: Plant) -> None:
    tolerances = dict(plant.analyzers["AIT-2101"].tolerances)
    tolerances["zero"] = replace(tolerances["error"])
    assert of(plant, tolerances=tolerances).taken == ()


def test_a_tolerance_that_was_taken_away_leaves_nothing_to_judge_by(plant: Plant) -> None:
    tolerances = {k: t for k, t in plant.analyzers["AIT-2101"].tolerances.items() if k != "error"}
    now = of(plant, tolerances=tolerances)
    assert now.taken[0].endswith("none now")
    assert any("not evaluated" in check.now for check in now.checks)


@pytest.mark.parametrize("changed", [{"measures": "chlorine"}, {"unit": "mV"}, {"species": "free"}])
def test_the_tolerances_of_another_thing_are_not_taken(plant: Plant, changed: dict[str, str]) -> None:
    now = of(plant, tolerances=with_error(plant, high=Decimal("0.001")), **changed)
    assert now == records_as_now.AsNow()


def test_a_tag_that_is_gone_is_computed_with_its_tolerances_of_then(plant: Plant) -> None:
    made = record_from(bytes_of(plant, "pass"))
    assert as_now(made, {}, {}, reproduced=True) == records_as_now.AsNow()


def test_what_cannot_be_computed_as_now_says_why(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_case: Any) -> Any:
        raise ValueError("no such thing")

    monkeypatch.setattr(records_as_now, "compute", refuse)
    now = of(plant, tolerances=with_error(plant, high=Decimal("0.001")))
    assert now.reason == "it cannot be computed so (ValueError: no such thing)"


def test_the_newest_edition_of_a_table_is_taken(plant: Plant, monkeypatch: pytest.MonkeyPatch) -> None:
    made = record_from(bytes_of(plant, "pass"))
    name, edition = next((s.table, s.edition) for s in made.given.standards.values() if s.table)
    known = (*records_as_now.tables.names(), (name, f"{edition} rev 9"))
    newer = replace(load(name, edition), edition=f"{edition} rev 9")
    monkeypatch.setattr(records_as_now.tables, "names", lambda: known)
    monkeypatch.setattr(
        records_as_now.tables, "load", lambda n, e, d="": newer if e.endswith("rev 9") else load(n, e, d)
    )
    given, taken = of_today(made.given, records_as_now.PROCEDURES[made.procedure], {})
    assert {s.edition for s in given.standards.values() if s.table == name} == {f"{edition} rev 9"}
    assert f"{name} {edition} rev 9" in given.tables
    assert f"{name} {edition}" not in given.tables
    assert all(f"edition {edition} then, {edition} rev 9 now" in text for text in taken)
    assert newest_edition("none", known) == ""


def test_the_stream_takes_as_now_along(plant: Plant) -> None:
    register = {
        tag: replace(a, tolerances=with_error(plant, low=Decimal("-0.001"), high=Decimal("0.001")))
        if tag == "AIT-2101"
        else a
        for tag, a in plant.analyzers.items()
    }
    answers = list(audit.rerun_book(plant, month="2026-06", how=audit.How(register=register)))
    assert all(one.answer is Answer.REPRODUCED for one in answers)  # as then, whatever is new
    assert all(one.now is not None and one.now.checks for one in answers)
    lost = Rerun("n", Answer.COULD_NOT, "why")
    told = again._with_now(lost, b"", {}, register).now
    assert told is not None
    assert told.reason == "it could not be run as then either"
