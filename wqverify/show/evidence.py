"""What stands behind the first sheet, in the order of the work: observed, followed, changed, computed."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from wqverify.show import headings
from wqverify.show.budgets import budgets
from wqverify.show.changes import AMENDED, amended, of_the_plant
from wqverify.show.entered import confirmed, corrected_table, from_paper, how_it_came
from wqverify.show.kinds import (
    Block,
    CautionBlock,
    ChartBlock,
    Column,
    Facts,
    Formula,
    Heading,
    Row,
    Statement,
    Table,
    rows,
)
from wqverify.show.lookup import (
    NONE,
    Answers,
    bounds,
    in_its_unit,
    is_time,
    person,
    split_label,
    stage_name,
    when,
    with_unit,
)
from wqverify.terms import Chart, Entry, Hop, Record

_HELD = (
    ("Output held", "output_held", "output_released"),
    ("Loop in manual", "loop_in_manual", "loop_in_auto"),
    ("Alarm blocked", "alarm_blocked", "alarm_restored"),
)


def evidence(record: Record) -> Iterator[Block]:
    """Give the blocks behind the first sheet."""
    yield from _observations(record)
    yield from _signal(record)
    yield from _trends(record)
    yield from _holds(record)
    yield from _adjustment(record)
    yield from _charts(record)
    yield from _notes(record)
    yield from _workings(record)
    yield from _values(record)
    yield from budgets(record)
    yield from _cautions(record)
    yield from _changes(record)
    yield from _earlier(record)


# ---------------------------------------------------------------- observed


def _observations(record: Record) -> Iterator[Block]:
    yield Heading(headings.OBSERVATIONS)
    yield from from_paper(record)
    for part, entries in groupby(record.entries, lambda entry: split_label(entry)[0]):
        yield Facts(tuple(_observation(entry, record) for entry in entries), part or "Visit")
    yield from confirmed(record)


def _observation(entry: Entry, record: Record) -> tuple[str, str]:
    question = split_label(entry)[1]
    value = _typed_time(entry, record) if is_time(entry) else in_its_unit(entry)
    value += how_it_came(entry, record)
    return question[:1].lower() + question[1:] if entry.label != question else question, value


def _typed_time(entry: Entry, record: Record) -> str:
    """Return a time as typed and how it was resolved: the offset, and the date where it is another."""
    resolved = when(entry.resolved)
    day, _, offset = resolved.partition(" ")[0], "", resolved.rpartition(" ")[2]
    if offset in entry.text:
        return entry.text
    return (
        f"{entry.text} ({offset})"
        if day in (record.performed[:10], entry.text[:10])
        else f"{entry.text} ({resolved})"
    )


# ---------------------------------------------------------------- followed


def _signal(record: Record) -> Iterator[Block]:
    hops = record.given.analyzer.hops
    read = [e for e in record.entries if e.path.startswith("signal.")]
    if not hops and not read:
        return
    yield Heading(headings.SIGNAL)
    if hops:
        columns = (
            Column("Hop"),
            Column("Range set there"),
            Column("Input", "short"),
            Column("Damping", "short"),
            Column("Archive interval", "short"),
            Column("Clamp, note"),
        )
        yield Table(columns, tuple(_hop_row(hop) for hop in hops))
        yield Statement(_ranges_agree(hops))
    if read:
        side_by_side = [_observation(entry, record) for entry in read]
        read_there = tuple(Column(label[:1].upper() + label[1:]) for label, _ in side_by_side)
        yield Table(read_there, rows(tuple(value for _, value in side_by_side)), "Read at one moment")


def _hop_row(hop: Hop) -> Row:
    low, high = str(hop.low) if hop.low is not None else "", str(hop.high) if hop.high is not None else ""
    span = with_unit(f"{low} to {high}", hop.unit) if low and high else bounds(low, high, hop.unit)
    return Row(
        (
            hop.name,
            span,
            f"{hop.input_ohm} ohm" if hop.input_ohm is not None else NONE,
            f"{hop.damping_s} s" if hop.damping_s is not None else NONE,
            f"{hop.interval_s} s" if hop.interval_s is not None else NONE,
            "; ".join(filter(None, (hop.clamp, hop.note))) or NONE,
        )
    )


def _ranges_agree(hops: tuple[Hop, ...]) -> str:
    """Say whether the ranges at both ends of the signal are one range."""
    known = [hop for hop in hops if hop.low is not None and hop.high is not None]
    units = {hop.unit for hop in known}
    if len(known) < 2 or len(units) != 1:
        return (
            "The register does not hold the range at both ends in one unit; whether they agree is not "
            "evaluated."
        )
    if len({(hop.low, hop.high) for hop in known}) == 1:
        return "The range is the same at every hop the register holds one for."
    return "THE RANGES DIFFER between hops: the same current means another value at the other end."


def _trends(record: Record) -> Iterator[Block]:
    """Show which export the online values are from and what became of its rows; the slice is attached."""
    if not record.given.trends:
        return
    yield Heading(headings.TRENDS)
    told_of: set[str] = set()
    for use in record.given.trends:
        told = (
            ("File", f"{use.file}, SHA-256 {use.digest[:16]}…"),
            ("Channel", with_unit(use.channel, f"({use.unit})" if use.unit else "")),
            ("Attached slice", use.slice),
        )
        yield Facts(told, use.file)
        if use.digest not in told_of:  # several channels of one file: what became of it is told once
            yield from (Statement(sentence) for sentence in use.told)
        told_of.add(use.digest)


def _holds(record: Record) -> Iterator[Block]:
    answers = Answers(record)
    lines = []
    for label, begun, ended in _HELD:
        start, end = answers.time(f"{begun}.at"), answers.time(f"{ended}.at")
        reason = answers.text(f"{begun}.not_done") or answers.text(f"{ended}.not_done")
        if start is None and not reason:
            continue
        minutes = f"{(end - start).total_seconds() / 60:.0f} min" if start and end else NONE
        by = " / ".join(
            dict.fromkeys(filter(None, (answers.text(f"{begun}.by"), answers.text(f"{ended}.by"))))
        )
        lines.append(
            (
                label,
                when(start.isoformat()) if start else NONE,
                when(end.isoformat()) if end else NONE,
                minutes,
                by or NONE,
                f"not done: {reason}" if reason else "",
            )
        )
    if lines:
        yield Heading(headings.HELD)
        columns = (
            Column("What", "short"),
            Column("From", "short"),
            Column("Until", "short"),
            Column("For", "short"),
            Column("By"),
            Column("Remark"),
        )
        yield Table(columns, rows(*lines))
        yield Statement(
            "What the control system and the archive hold between these times is not a value of the water."
        )


def _adjustment(record: Record) -> Iterator[Block]:
    """Show what was changed, from what to what: two answers whose paths end in _from and _to."""
    answers = {entry.path: entry for entry in record.entries}
    changed = [
        (
            _from_label(before),
            before.text,
            answers[path.removesuffix("_from") + "_to"].text,
            before.unit or NONE,
        )
        for path, before in answers.items()
        if path.endswith("_from") and path.removesuffix("_from") + "_to" in answers
    ]
    yield Heading(headings.ADJUSTMENT)
    if changed:
        columns = (
            Column("What was adjusted"),
            Column("From", "number"),
            Column("To", "number"),
            Column("Unit", "short"),
        )
        yield Table(columns, rows(*changed))
    else:
        yield Statement("No adjustment from one value to another is in this record.")


def _from_label(entry: Entry) -> str:
    question = split_label(entry)[1].removesuffix(" from")
    return question[:1].upper() + question[1:]


# ---------------------------------------------------------------- shown


def _charts(record: Record) -> Iterator[Block]:
    if record.result.charts:
        yield Heading(headings.CHARTS)
    for number, chart in enumerate(record.result.charts, 1):
        yield ChartBlock(f"chart-{number}.svg", chart_in_words(chart), _caption(chart))


_CAPTIONS = {
    "errors": "Bars are the expanded uncertainty U.",
    "trace": "",
    "samples": "Separate samples: what lies between them is not known.",
    "pairs": "On the thin line both are equal.",
}


def _caption(chart: Chart) -> str:
    limits = "Dashed lines across the whole width are limits." if chart.lines else ""
    return " ".join(filter(None, (_CAPTIONS[chart.kind], limits)))


def chart_in_words(chart: Chart) -> str:
    """Return what a chart shows, for a reader who cannot see it."""
    series = "; ".join(
        f"{s.name}: " + ", ".join(f"{y} at {x}" for x, y, _ in s.points[:8]) for s in chart.series
    )
    limits = "; ".join(f"{line.label} at {line.y}" for line in chart.lines)
    words = f"{chart.title}. {chart.y_label} against {chart.x_label}. {series}."
    return f"{words} Lines: {limits}." if limits else words


_LEADS = {
    "caution": "Caution",
    "advice": "Advice",
    "cannot see": "Cannot see",
    "opinion": "Opinion",
    "statement": "",
}


def _notes(record: Record) -> Iterator[Block]:
    answers = Answers(record)
    opinion = answers.text("cause.opinion")
    if opinion in (note.text for note in record.result.notes):
        opinion = ""  # the result holds it already
    if not record.result.notes and not opinion:
        return
    yield Heading(headings.NOTES)
    for note in record.result.notes:
        who = f"opinion of {person(record, note.author)}" if note.kind == "opinion" else note.source
        yield Statement(note.text, _LEADS[note.kind], who)
    if opinion:
        author = answers.text("cause.author") or record.performed_by
        yield Statement(opinion, "Opinion on the cause", f"opinion of {person(record, author)}")


def _workings(record: Record) -> Iterator[Block]:
    if record.result.workings:
        yield Heading(headings.BY_HAND)
    for w in record.result.workings:
        yield Formula(w.label, w.formula, w.put_in, w.answer, w.source)


def _values(record: Record) -> Iterator[Block]:
    if not record.result.values:
        return
    yield Heading(headings.VALUES)
    columns = (
        Column("Stage", "short"),
        Column("Quantity"),
        Column("Value", "number"),
        Column("U", "number"),
        Column("k", "number"),
        Column("Unit", "short"),
        Column("Source"),
    )
    lines = (
        (
            stage_name(v.stage),
            v.label,
            v.quantity.text,
            v.quantity.expanded or NONE,
            f"{v.quantity.k:.2f}" if v.quantity.k is not None else NONE,
            v.quantity.unit or NONE,
            v.source or NONE,
        )
        for v in record.result.values
    )
    yield Table(columns, rows(*lines))


# ---------------------------------------------------------------- shown before, changed since, earlier


def _cautions(record: Record) -> Iterator[Block]:
    if not record.cautions:
        return
    answers = Answers(record)
    yield Heading(headings.CAUTIONS)
    for caution in record.cautions:
        yield CautionBlock(caution.text, caution.source)
    reason = answers.text("cautions.not_done")
    if answers.text("cautions.read"):
        who = person(record, record.performed_by)
        yield Statement(f"Read and acknowledged by {who}: {answers.text('cautions.read')}.")
    else:
        yield Statement(f"NOT acknowledged{': ' + reason if reason else ''}.")


def _changes(record: Record) -> Iterator[Block]:
    yield Heading(headings.CHANGES)
    changes = of_the_plant(record)
    if changes:
        columns = (
            Column("When", "short"),
            Column("What"),
            Column("Was"),
            Column("Is now"),
            Column("By", "short"),
            Column("Why"),
        )
        lines = (
            (
                when(c.at) or NONE,
                c.what,
                c.was or NONE,
                c.now or NONE,
                c.by or NONE,
                c.why or "changed, not yet explained",
            )
            for c in changes
        )
        yield Table(columns, rows(*lines))
    else:
        yield Statement("Nothing in the register, tolerances, standards or people was changed.")
    yield from _amended(record)
    yield from corrected_table(record)


def _amended(record: Record) -> Iterator[Block]:
    """Show what the replaced record said and what this one says."""
    changes = amended(record)
    if changes:
        columns = (
            Column("Entry"),
            Column("The replaced record said"),
            Column("This record says"),
            Column("By", "short"),
            Column("Why"),
        )
        lines = (
            (
                c.what.removeprefix(AMENDED),
                c.was or NONE,
                c.now or NONE,
                c.by or NONE,
                c.why or record.replaces_why or NONE,
            )
            for c in changes
        )
        yield Table(columns, rows(*lines), f"Amended: {record.replaces}")


def plain_name(procedure: str) -> str:
    """Return the name of a procedure as words."""
    return procedure.replace("_", " ")


def _earlier(record: Record) -> Iterator[Block]:
    yield Heading(headings.EARLIER)
    if cited := record.given.records.values():
        named = ", ".join(f"{one.number} ({plain_name(one.procedure)}, {one.tag})" for one in cited)
        yield Statement(f"Named on the sheet or of its period, and computed with: {named}.")
    if not record.given.earlier:
        yield Statement("No earlier record by this procedure on this instrument, tag and serial, was known.")
        return
    columns = (
        Column("Record", "short"),
        Column("Performed", "short"),
        Column("Serial", "short"),
        Column("Outcomes"),
    )
    lines = (
        (
            e.number if e.procedure in ("", record.procedure) else f"{e.number}, {plain_name(e.procedure)}",
            when(e.performed),
            e.serial,
            "; ".join(f"{stage_name(s)}: {o}" for s, o in e.outcomes.items()) or NONE,
        )
        for e in record.given.earlier
    )
    yield Table(columns, rows(*lines))
