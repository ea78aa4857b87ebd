"""wqverify rerun."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wqverify.cli.common import echo, json_option, opened, plant_option, tell, words
from wqverify.errors import CorrectTheEntry

if TYPE_CHECKING:
    from wqverify.audit import Sample
    from wqverify.plant.folder import Plant
    from wqverify.records.rerun import Answer, Rerun

LINES = 20  # reproduced records of a month that are still listed one by one


@click.command()
@click.argument("what", nargs=-1)
@click.option("--month", default="", metavar="YYYY-MM", help="All records of work done in this month.")
@click.option("--all", "everything", is_flag=True, help="All records of the book.")
@click.option("--pages", is_flag=True, help="Render the pages as well and compare byte for byte.")
@click.option(
    "--as-now", is_flag=True, help="Compute them also with today's tolerances, tables and formulas."
)
@click.option(
    "--notebooks", type=int, metavar="N", help="Execute the notebooks of a random sample of N records too."
)
@click.option("--seed", type=int, metavar="SEED", help="Draw the sample that this seed drew before.")
@click.option("--each", is_flag=True, help="List every record, also one of many that was reproduced.")
@click.option("--processes", type=int, default=1, metavar="N", help="Use N cores of this computer.")
@click.option("--dask", default="", metavar="ADDRESS", help="Use a Dask cluster; its scheduler's address.")
@plant_option
@json_option
def rerun(
    what: tuple[str, ...],
    month: str,
    everything: bool,
    pages: bool,
    as_now: bool,
    notebooks: int | None,
    seed: int | None,
    each: bool,
    processes: int,
    dask: str,
    plant_folder: Path | None,
    as_json: bool,
) -> int:
    """Run records again and compare: a FILE.pdf, a NUMBER, a month or all.

    As then: with everything as recorded. As now: also with the tolerances of today's register, the newest
    tables and today's formulas; readings, standards, ranges and earlier records stay as they were.
    """
    from wqverify import audit

    if sum((bool(what), bool(month), everything)) != 1:
        raise CorrectTheEntry("Name files or numbers, or one of --month YYYY-MM and --all.")
    files = [Path(name) for name in what if name.lower().endswith(".pdf")]
    numbers = [name for name in what if not name.lower().endswith(".pdf")]
    if notebooks is None and seed is not None:
        raise CorrectTheEntry("A --seed draws a sample: name its size with --notebooks N.")
    if notebooks is not None and files:
        raise CorrectTheEntry("A sample is drawn from the book: name numbers, a --month or --all, no files.")
    workers = audit.Workers(processes, dask)
    of_book = bool(numbers or month or everything)
    plant = opened(plant_folder) if of_book or as_now else None
    sample = audit.draw(plant, notebooks, seed, numbers, month) if plant and notebooks is not None else None
    register = plant.analyzers if plant is not None and as_now else None
    answers: Iterator[Rerun] = (audit.rerun_file(path, register) for path in files)
    if plant is not None and of_book:
        answers = _then(answers, _of_book(plant, numbers, month, audit.How(pages, register), workers))
    told = _Json() if as_json else _Text(each or bool(what), as_now)
    code = told.tell(answers, plant, sample)
    if plant is not None and month and not as_json:
        _tell_later(plant, month)
    return code


def _tell_later(plant: Plant, month: str) -> None:
    """Name the records of later work about a month: they are run again by number, or with their own month."""
    from wqverify import audit
    from wqverify.pack.gathered import about_the_month

    later = [one.number for one in about_the_month(audit.book_of(plant), month) if one.performed[:7] != month]
    if later:
        echo(f"Done later, about {month}, and run again by number: {', '.join(later)}.")


def _then(first: Iterator[Rerun], second: Iterator[Rerun]) -> Iterator[Rerun]:
    yield from first
    yield from second


def _of_book(plant: Plant, numbers: list[str], month: str, how: Any, workers: Any) -> Iterator[Rerun]:
    from wqverify import audit
    from wqverify.cli.progress import counted

    answers = audit.rerun_book(plant, numbers, month, how, workers)
    total = len(numbers) if numbers else audit.book_of(plant).count(month)
    return counted(answers, total, "records") if total > LINES else answers


class _Told:
    """Counts the answers as they come and tells them; nothing of them is kept."""

    def __init__(self) -> None:
        self.counted: Counter[Answer] = Counter()
        self.now: Counter[str] = Counter()
        self.made_with: Counter[str] = Counter()
        self.spoken = 0  # records of which only sentences differ
        self.as_now = False

    def tell(self, answers: Iterable[Rerun], plant: Plant | None, sample: Sample | None) -> int:
        """Tell all answers, then those of the sample; returns the exit code."""
        from wqverify import audit

        every = iter(answers)
        first = next(every, None)  # what is refused is refused before anything is told
        self.begin()
        for one in () if first is None else _then(iter([first]), every):
            self.count(one)
            self.one(one)
        self.middle()
        if sample is not None and plant is not None:
            self.sampled(sample)
            for one in audit.through_notebooks(plant, sample, tell):
                self.counted[one.answer] += 1
                self.of_sample(one)
        self.end(sample)
        return self.code()

    def count(self, one: Rerun) -> None:
        self.counted[one.answer] += 1
        self.made_with[one.made_with] += bool(one.made_with)
        self.spoken += bool(one.sentences and not one.differences)
        if one.now is not None:
            self.as_now = True
            self.now[_now_word(one)] += 1

    def code(self) -> int:
        from wqverify.records.rerun import Answer

        if self.counted[Answer.UNEXPLAINED]:
            return 1
        return 3 if self.counted[Answer.COULD_NOT] else 0

    def words(self) -> dict[str, int]:
        from wqverify.records.rerun import Answer

        return {str(answer): self.counted[answer] for answer in Answer}

    def begin(self) -> None: ...

    def one(self, one: Rerun) -> None: ...

    def middle(self) -> None: ...

    def sampled(self, sample: Sample) -> None: ...

    def of_sample(self, one: Rerun) -> None: ...

    def end(self, sample: Sample | None) -> None: ...


NOW_WORDS = ("the same", "other figures or limits", "decided otherwise", "could not be computed")


def _now_word(one: Rerun) -> str:
    now = one.now
    if now is None or now.reason:
        return NOW_WORDS[3]
    if any(check.otherwise for check in now.checks):
        return NOW_WORDS[2]
    return NOW_WORDS[1] if now.checks else NOW_WORDS[0]


class _Text(_Told):
    def __init__(self, each: bool, as_now: bool) -> None:
        super().__init__()
        self.each = each
        self.as_now = as_now

    def one(self, one: Rerun) -> None:
        from wqverify.records.rerun import Answer

        shown = self.each or one.answer is not Answer.REPRODUCED or bool(one.sentences)
        if shown:
            echo(f"{one.number}  {one.sentence()}")
        if one.now is None or not (one.now.checks or one.now.reason):
            return
        if not shown:
            echo(f"{one.number}  {one.answer} as then")
        for taken in one.now.taken:
            echo(f"    of today: {taken}")
        for check in one.now.checks:
            echo(f"    {check.label}{' (DECIDED OTHERWISE)' if check.otherwise else ''}")
            echo(f"        then: {check.then}")
            echo(f"        now:  {check.now}")
        if one.now.reason:
            echo(f"    as now: {one.now.reason}")

    def middle(self) -> None:
        if sum(self.counted.values()) != 1 or not self.each:
            echo(_joined(self.words()) or "none")
        if self.spoken:
            echo(f"{words(self.spoken, 'record')} with other sentences only: no value differs")
        if +self.made_with:
            echo(self._other_programs())
        if self.as_now and self.now:
            echo(f"As now: {_joined({word: self.now[word] for word in NOW_WORDS})}")

    def _other_programs(self) -> str:
        from wqverify.records.code import software_here

        some = sorted(self.made_with.items())
        made = "; ".join(f"{words(count, 'record')} with {program}" for program, count in some if count)
        return f"Made by another program: {made}; run with {software_here()}"

    def sampled(self, sample: Sample) -> None:
        of = f"{len(sample.numbers)} of {words(sample.of, 'record')}"
        echo(f"Through their notebooks: {of}, drawn by seed {sample.seed}")

    def of_sample(self, one: Rerun) -> None:
        echo(f"{one.number}  by its notebook: {one.sentence()}")


def _joined(counts: Mapping[str, int]) -> str:
    return ", ".join(f"{number} {word}" for word, number in counts.items() if number)


class _Json(_Told):
    """One document, written as the answers come."""

    def begin(self) -> None:
        self.separator = "\n"
        self.kept: dict[str, int] = {}
        echo('{\n "answers": [', nl=False)

    def one(self, one: Rerun) -> None:
        self._write({**_document(one), "as_now": _now_document(one)})

    def middle(self) -> None:
        self.kept = self.words()

    def sampled(self, sample: Sample) -> None:
        head = json.dumps({"seed": sample.seed, "of": sample.of})[:-1]
        echo(f'\n ],\n "sample": {head}, "answers": [', nl=False)
        self.separator = "\n"

    def of_sample(self, one: Rerun) -> None:
        self._write(_document(one))

    def end(self, sample: Sample | None) -> None:
        from wqverify.records.code import software_here

        now = {word: self.now[word] for word in NOW_WORDS} if self.as_now else None
        echo(" ]}," if sample is not None else ' ],\n "sample": null,')
        echo(f' "counted": {json.dumps(self.kept)},\n "sentences_only": {self.spoken},')
        echo(f' "run_with": {json.dumps(software_here())},\n "as_now": {json.dumps(now)}\n}}')

    def _write(self, document: Mapping[str, Any]) -> None:
        echo(f"{self.separator}  {json.dumps(document)}", nl=False)
        self.separator = ",\n"


def _document(one: Rerun) -> dict[str, Any]:
    return {
        "number": one.number,
        "answer": one.answer,
        "reason": one.reason,
        "page": one.page,
        "note": one.note,
        "made_with": one.made_with,
        "differences": [{"place": d.path, "was": d.was, "now": d.now} for d in one.differences],
        "sentences": [{"place": d.path, "was": d.was, "now": d.now} for d in one.sentences],
    }


def _now_document(one: Rerun) -> dict[str, Any] | None:
    if one.now is None:
        return None
    checks = [
        {"key": c.key, "label": c.label, "then": c.then, "now": c.now, "decided_otherwise": c.otherwise}
        for c in one.now.checks
    ]
    return {"of_today": list(one.now.taken), "checks": checks, "reason": one.now.reason}
