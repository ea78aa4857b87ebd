"""The last part of a record: by which rule, in which words, made with what, kept for how long."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from wqverify.show import headings, wording
from wqverify.show.changes import tolerance_history
from wqverify.show.first_sheet import INFORMATION, licence_words, stage_at
from wqverify.show.kinds import Block, Column, Facts, Heading, Statement, Table, rows
from wqverify.show.lookup import NONE, Answers, person, verifies, when
from wqverify.terms import Previous, Proof, Record

SHOWN = 3  # failed published values that are named


def provenance(record: Record) -> Iterator[Block]:
    """Give the blocks about how the record was decided, made and is kept."""
    yield from _rules(record)
    yield from _people(record)
    yield Heading(headings.WORDS)
    yield Facts(wording.DEFINITIONS)
    yield from _made_with(record)
    yield from _about(record)


def _rules(record: Record) -> Iterator[Block]:
    used = dict.fromkeys(c.tolerance.rule for c in record.result.checks if c.tolerance is not None)
    yield Heading(headings.RULES)
    for rule in used:
        yield Statement(wording.RULES[rule], rule[:1].upper() + rule[1:])
    if used:
        yield Statement(f"{wording.ROUNDING} The rule belongs to the tolerance. {tolerance_history(record)}")
    statement = [
        f"{stage_at(stage, place, record.result.here)}: {_word(record, stage, place)}"
        for stage, place in dict.fromkeys((c.stage, c.place) for c in record.result.checks if c.counts)
    ]
    if statement and verifies(record):
        yield Statement("; ".join(statement) + ".", "Statement of conformity")


def _word(record: Record, stage: str, place: str) -> str:
    checks = [c for c in record.result.checks if c.stage == stage and c.place == place and c.counts]
    if all(c.information for c in checks):
        return f"{INFORMATION}, no statement"
    return str(record.result.outcome(stage, checks[0].place))


def _people(record: Record) -> Iterator[Block]:
    given, answers = record.given, Answers(record)
    voices = {said.by for said in given.said.values()}
    lines = []
    for known in given.people.values():
        part = [label for path, label in _PARTS if answers.text(path) == known.id]
        part += ["said answers that another typed"] if known.id in voices else []
        papers = "; ".join(filter(None, (licence_words(known), known.approval)))
        lines.append((person(record, known.id), "; ".join(part) or "named in the record", papers or NONE))
    if lines:
        yield Heading(headings.PEOPLE)
        columns = (
            Column("Name"),
            Column("Part in this record"),
            Column("Licence, approval"),
        )
        yield Table(columns, rows(*lines))


_PARTS = (("performed_by", "performed the work"), ("cause.author", "gave the opinion on the cause"))


# ---------------------------------------------------------------- made with


def _made_with(record: Record) -> Iterator[Block]:
    s = record.software
    yield Heading(headings.MADE_WITH)
    facts = (
        (
            "Program",
            f"wqverify {s.wqverify}{f', code {s.code[:12]}' if s.code else ''}, Python {s.python}"
            + (f", page by typst {s.typst}" if s.typst else ""),
        ),
        (
            "Procedure",
            f"{record.procedure}, revision {record.revision}; record format {record.format}, "
            f"page {record.page}",
        ),
        ("Visit", record.visit_id),
        ("Entry before in the book", previous_words(record.previous)),
    )
    yield Facts((*facts, *_proven(s.proof)))
    digests = [(f"notebook {s.notebook} as shipped", s.notebook_digest)] if s.notebook else []
    digests += [(f"table {t.name}, {t.edition}: {t.source}", t.digest) for t in record.given.tables.values()]
    digests += [(f"attached {name}", digest) for name, digest in record.attachments.items()]
    digests += [
        (f"trend slice {name}", digest)
        for name, digest in record.given.attached.items()
        if name not in record.attachments
    ]
    digests += [(f"proof proofs/{s.proof.file}", s.proof.digest)] if s.proof is not None else []
    if digests:
        columns = (Column("Notebook, tables, attachments"), Column("SHA-256", "digest"))
        yield Table(columns, rows(*digests))
    if s.notebook:
        yield Statement(
            "The calculation ran twice, in the program and in the attached notebook, and had to give the "
            "same result. The program's calculations are tested against published worked values; its tests "
            "are published with its source."
        )


def _proven(proof: Proof | None) -> tuple[tuple[str, str], ...]:
    """The newest run of values of others by this very software; a record without one says nothing."""
    if proof is None:
        return ()
    good = proof.values - len(proof.failed)
    out = f"all {good} came out"
    if proof.failed:
        first = "; ".join(proof.failed[:SHOWN])
        more = f"; and {len(proof.failed) - SHOWN} more" if len(proof.failed) > SHOWN else ""
        out = f"{good} of {proof.values} came out; NOT {first}{more}"
    return (("Values of others", f"run on this computer with this program on {when(proof.at)}: {out}"),)


def previous_words(previous: Previous) -> str:
    """Return the entry of the book before this record: chain, number and digest."""
    if not previous.digest:
        return "none, the first of its chain" if previous.chain else "none yet"
    return f"{previous.chain} entry {previous.seq}, {previous.digest}"


def _about(record: Record) -> Iterator[Block]:
    yield Heading(headings.ABOUT)
    for sentence in (
        f"{wording.OF_THE_ITEM} {wording.COPYING} {wording.NO_ACCREDITATION} {wording.PATTERNS}",
        wording.SAME_VALUES,
        f"{wording.CHANGES_EVIDENT} {wording.OWN_KEY} {wording.BOOK}",
        wording.CLOCK,
        _retention(record),
    ):
        yield Statement(sentence)


def _retention(record: Record) -> str:
    """Return until when the record is kept; 29 February ends on the 28th."""
    done, years = date.fromisoformat(record.performed[:10]), record.given.site.retention_years
    last_day = 28 if (done.month, done.day) == (2, 29) else done.day
    until = done.replace(year=done.year + years, day=last_day)
    return (
        f"Kept for {years} years, at least until {until.isoformat()}, at the plant or near it, where it can "
        f"be found by its number, by the analyzer and by the date of the work."
        + ("" if record.result.facts.get("next_due") else " No date for the next visit is set here.")
    )
