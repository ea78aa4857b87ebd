"""The first sheet: which analyzer, when, who, against what, how far off, how sure, pass or fail."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from wqverify.show import headings, wording
from wqverify.show.changes import tolerance_outcome
from wqverify.show.kinds import (
    Block,
    Column,
    Facts,
    Heading,
    Row,
    SignaturePlace,
    Signatures,
    Statement,
    Table,
    Title,
    Verdict,
    Verdicts,
)
from wqverify.show.lookup import (
    NONE,
    Answers,
    bounds,
    is_difference,
    person,
    record_title,
    signed,
    stage_name,
    tolerance_words,
    verifies,
    when,
    with_unit,
)
from wqverify.show.side_by_side import side_by_side
from wqverify.terms import (
    Analyzer,
    Assigned,
    Check,
    Earlier,
    Outcome,
    Person,
    Place,
    Quantity,
    Record,
    Standard,
    Tolerance,
)

INFORMATION = "information only"
NOT_ENTERED = "not entered"  # a row whose absence would read as if nothing had to be there
_EXPECTED: tuple[tuple[str, Place], ...] = (
    ("as_found", "analyzer"),
    ("as_found", "control system"),
    ("after_cleaning", "analyzer"),
    ("as_left", "analyzer"),
)


def first_sheet(record: Record) -> Iterator[Block]:
    """Give the blocks of the first sheet; the places for signatures come first, they stand at its foot."""
    answers = Answers(record)
    a = record.given.analyzer
    where = ", ".join(filter(None, (record.given.site.name, record.given.site.address)))
    below = f"{record.title}, revision {record.revision} · {a.tag}, {a.location} · {where}"
    yield Title(record_title(record), below)
    if record.given.site.synthetic:
        yield Statement(wording.SYNTHETIC)
    yield _signatures(record)
    yield Heading(headings.ANALYZER_AND_WORK)
    yield _analyzer(record)
    yield _work(record, answers)
    yield Heading(headings.OUTCOME)
    yield Verdicts(tuple(_verdicts(record, answers)))
    yield from side_by_side(record)
    yield from _told(record)
    yield from _proof_failed(record)
    yield from outside_uncounted(record)
    yield from tolerance_outcome(record)
    yield from _failed_as_found(record)
    yield from _out_of_service(answers)
    yield Heading(headings.STANDARDS)
    if record.given.standards:
        yield standards_table(record)
    else:
        yield Statement("No standard and no reference instrument is named in this record.")
    yield Heading(headings.CHECKS)
    yield checks_table(record)
    yield from _limits(record)
    not_done = (*answers.not_done(), *_holds_not_entered(record, answers))
    if not_done:
        yield Heading(headings.NOT_DONE)
        yield Facts(not_done)


def _told(record: Record) -> Iterator[Block]:
    """Give what others are told of a visit that verifies nothing: what was wrong, what was done."""
    facts = record.result.facts
    if not verifies(record):
        told = [
            facts[key]
            for key in ("told.as_found", "told.opinion", "told.work", "told.as_left")
            if key in facts
        ]
        yield Statement(" ".join((*told, facts.get("told.verifies", wording.NOT_VERIFIED))))


def _proof_failed(record: Record) -> Iterator[Block]:
    """Say that the computer did not give published values, where that is so; nothing about any other."""
    proof = record.software.proof
    if proof is not None and proof.failed:
        more = f", and {len(proof.failed) - 1} more" if len(proof.failed) > 1 else ""
        failed = f"{proof.failed[0]}{more} (proofs/{proof.file})"
        yield Statement(wording.PROOF_FAILED.format(failed=failed), "Proof failed")


def _holds_not_entered(record: Record, answers: Answers) -> Iterator[tuple[str, str]]:
    """Name a hold nobody said a word about: silence must not read as if it had not been needed.

    At a desk nothing is touched, and there is nothing to hold.
    """
    at_a_desk = record.result.facts.get("touched") == "no"
    if not at_a_desk and not (answers.text("output_held.at") or answers.text("output_held.not_done")):
        yield "Output held", NOT_ENTERED


def _signatures(record: Record) -> Signatures:
    performer = person(record, record.performed_by)
    return Signatures(
        (
            SignaturePlace("Performer", performer, wording.PERFORMER_MEANING),
            SignaturePlace("Reviewer", "another person than the performer", wording.REVIEWER_MEANING),
        ),
        wording.SIGNING_NOTE,
    )


# ---------------------------------------------------------------- which, when, who


def _analyzer(record: Record) -> Facts:
    a = record.given.analyzer
    return _known(
        ("Analyzer", f"{a.tag}, serial {a.serial}"),
        ("Type", a.kind),
        ("Measures", _measures(a)),
        ("Output", a.output),
        ("Control-system tag", a.control_system_tag),
        ("Location", a.location),
        ("Sample point", a.sample_point),
        ("Owner", a.owner),
    )


def _measures(a: Analyzer) -> str:
    what = f"{a.measures} ({a.species})" if a.species else a.measures
    steps = f", in steps of {a.digit}" if a.digit is not None else ""
    return f"{what}, {a.low} to {a.high} {a.unit}{steps}"


def _work(record: Record, answers: Answers) -> Facts:
    finished, person_id = answers.time("finished"), record.performed_by
    known = record.given.people.get(person_id)
    return _known(
        ("Work started", f"{when(record.performed)}, {record.given.site.time_zone}"),
        ("Work finished", when(finished.isoformat()) if finished else ""),
        ("Record entered", when(record.entered) or "not yet"),
        ("Performed by", person(record, person_id)),
        ("Licence", (known and licence_words(known)) or NOT_ENTERED),
        ("State approval", (known and known.approval) or NOT_ENTERED),
        ("Reason", answers.text("reason")),
        ("Method", answers.text("method") or NOT_ENTERED),
        ("Deviations", answers.text("deviations") or NOT_ENTERED),
        ("Replaces", f"{record.replaces}, because {record.replaces_why}" if record.replaces else ""),
    )


def _known(*rows: tuple[str, str]) -> Facts:
    return Facts(tuple((label, value) for label, value in rows if value), half=True)


def licence_words(known: Person) -> str:
    """Return the licence of a person and until when it holds."""
    until = f"until {known.licence_until}" if known.licence_until else ""
    return " ".join(filter(None, (known.licence, until)))


# ---------------------------------------------------------------- verdicts


def _verdicts(record: Record, answers: Answers) -> Iterator[Verdict]:
    found = dict.fromkeys((c.stage, c.place) for c in record.result.checks if c.counts)
    asked = {entry.path.partition(".")[0] for entry in record.entries}
    expected = (each for each in _EXPECTED if each[0] in asked)
    for stage, place in dict.fromkeys((*expected, *found)):
        verdict = _verdict(record, answers, stage, place)
        if verdict is not None:
            yield verdict
    status = answers.text("status.state")
    yield Verdict("Status after the work", status or "not stated", answers.text("status.note"))


def _verdict(record: Record, answers: Answers, stage: str, place: Place) -> Verdict | None:
    checks = [c for c in record.result.checks if c.stage == stage and c.place == place and c.counts]
    label = stage_at(stage, place, record.result.here)
    outcome = record.result.outcome(stage, place)
    if outcome is not None:
        information = all(c.information for c in checks)
        return Verdict(label, INFORMATION if information else str(outcome), _deciding(checks, outcome))
    same = answers.text(f"{stage}.same_as")
    if same:
        word = record.result.outcome(same) or Outcome.NOT_EVALUATED
        return Verdict(
            label, str(word), f"the readings {stage_name(same).lower()}: nothing was changed since"
        )
    reason = answers.text(f"{stage}.not_done")
    if reason:
        return Verdict(label, "not done", reason)
    if stage == "after_cleaning":
        return None
    return Verdict(label, "no check", "the record holds no check of it")


def stage_at(stage: str, place: Place, here: str = "") -> str:
    """Return stage and place in words; as found has a verdict at both places, so it always says which."""
    if place == "analyzer" and stage != "as_found":
        return stage_name(stage)
    return f"{stage_name(stage)}, {here if here and place == 'analyzer' else f'at the {place}'}"


def deciding(record: Record, stage: str, place: Place, outcome: Outcome) -> Check:
    """Return the check that decided a stage at a place: nearest to, or farthest past, its limit."""
    checks = [c for c in record.result.checks if c.stage == stage and c.place == place and c.counts]
    return _worst(checks, outcome)


def _worst(checks: list[Check], outcome: Outcome) -> Check:
    return max((c for c in checks if c.outcome == outcome), key=_share_of_tolerance)


def _deciding(checks: list[Check], outcome: Outcome) -> str:
    """Say which check decided."""
    worst = _worst(checks, outcome)
    if worst.reason or worst.quantity is None:
        return f"{worst.label}: {worst.reason}" if worst.reason else worst.label
    how_far = value_words(worst.quantity, as_difference=is_difference(worst))
    return f"{worst.label}: {'error ' if is_difference(worst) else ''}{how_far}"


def value_words(quantity: Quantity, *, as_difference: bool, sure: bool = True) -> str:
    """Return a value with unit in words, and with U where it is wanted and known."""
    text = with_unit(signed(quantity, as_difference=as_difference), quantity.unit)
    return f"{text} (U {quantity.expanded})" if sure and quantity.expanded else text


def _share_of_tolerance(check: Check) -> Decimal:
    """Return how far a value lies from the middle of its limits, in half-widths."""
    if check.quantity is None or not (check.low and check.high):
        return Decimal(0)
    low, high = Decimal(check.low), Decimal(check.high)
    half = (high - low) / 2
    return abs(check.quantity.decimal - (high + low) / 2) / half if half else Decimal(0)


def outside_uncounted(record: Record) -> Iterator[Statement]:
    """Name what lies outside its limits and decides no verdict: a verdict of pass must not hide it."""
    found: dict[str, list[str]] = {}
    for c in record.result.checks:
        if c.outcome == Outcome.FAIL and not c.counts:
            value = (
                f" {value_words(c.quantity, as_difference=is_difference(c), sure=False)}"
                if c.quantity
                else ""
            )
            limits = f" ({bounds(c.low, c.high)})" if c.low or c.high else ""
            found.setdefault(c.label, []).append(f"{stage_name(c.stage).lower()}{value}{limits}")
    if found:
        said = "; ".join(f"{label}, {' and '.join(stages)}" for label, stages in found.items())
        yield Statement(f"{said}.", "Outside its limits, not in the verdict")


def _failed_as_found(record: Record) -> Iterator[Block]:
    """Say what a fail as found means for values that are already kept or reported."""
    places: tuple[Place, Place] = ("analyzer", "control system")
    if all(record.result.outcome("as_found", place) != Outcome.FAIL for place in places):
        return
    good = earlier_good(record)
    since = f"record {good.number}" if good else "the last check within tolerance"
    yield Statement(
        f"Values since {since} are in doubt. Not evaluated in this record: the period since the last check "
        "within tolerance, decisions that used the values, reports already sent, and who is told.",
        "Failed as found",
    )


def earlier_good(record: Record) -> Earlier | None:
    """Return the last earlier check of the same kind on the same instrument that did not fail."""
    return next((e for e in record.given.earlier if _was_good(e, record)), None)


def _was_good(earlier: Earlier, record: Record) -> bool:
    """Whether an earlier record is a check of the same kind on the same instrument that did not fail."""
    same = earlier.procedure in ("", record.procedure) and earlier.serial == record.given.analyzer.serial
    return same and bool(earlier.outcomes) and Outcome.FAIL not in earlier.outcomes.values()


def _out_of_service(answers: Answers) -> Iterator[Block]:
    if answers.text("status.state") == "out of service":
        yield Statement(wording.OUT_OF_SERVICE, "Out of service")


# ---------------------------------------------------------------- against what


def standards_table(record: Record) -> Table:
    """Return the standards and reference instruments of the visit."""
    columns = (
        Column("Standard or instrument"),
        Column("Lot or serial", "short"),
        Column("Certificate"),
        Column("Value"),
        Column("U (k)", "short"),
        Column("Usable until, opened"),
    )
    return Table(columns, tuple(_standard_row(s, record) for s in record.given.standards.values()))


def _standard_row(standard: Standard, record: Record) -> Row:
    day = record.performed[:10]
    assigned = standard.assigned_to(record.given.analyzer.tag, day)
    stated = assigned or standard
    sure = f"{stated.expanded}" if stated.expanded is not None else NONE
    if stated.expanded is not None and stated.k is not None:
        sure += f" ({stated.k})"
    return Row(
        (
            f"{standard.id}  {standard.name}",
            standard.lot,
            standard.certificate or NONE,
            _standard_value(standard, assigned),
            sure,
            _usable(standard, day),
        )
    )


def _standard_value(standard: Standard, assigned: Assigned | None) -> str:
    if assigned is not None:
        value = with_unit(str(assigned.value), standard.unit)
        return f"{value} for {assigned.tag}, assigned {assigned.on} after {assigned.after}"
    if standard.assigned:
        return "no value for this analyzer"
    if standard.value is not None:
        return with_unit(str(standard.value), standard.unit)
    if standard.own:
        return f"the bottle's own table, {len(standard.own)} values"
    if standard.table:
        return f"{standard.column}, table {standard.edition}"
    return NONE


def _usable(standard: Standard, day: str) -> str:
    found = []
    if standard.usable_until:
        because = f", {standard.because}" if standard.because else ""
        late = ": PASSED on the day of the work" if standard.usable_until < day else ""
        found.append(f"{standard.usable_until}{because}{late}")
    if standard.calibration_due:
        late = ": OVERDUE on the day of the work" if standard.calibration_due < day else ""
        found.append(f"calibration due {standard.calibration_due}{late}")
    if standard.opened and standard.opened not in standard.because:
        found.append(f"opened {standard.opened}")
    return "; ".join(found) or NONE


# ---------------------------------------------------------------- how far off, how sure, pass or fail


def checks_table(record: Record) -> Table:
    """Return every check with its outcome as a word, grouped by stage and place."""
    letters = _letters(record)
    columns = (
        Column("Check"),
        Column("Observed", "number"),
        Column("Reference", "number"),
        Column("Error or value", "number"),
        Column("U", "number"),
        Column("Unit", "short"),
        Column("Tolerance", "short"),
        Column("U/T", "number"),
        Column("Rule", "short"),
        Column("Outcome", "outcome"),
    )
    table: list[Row] = []
    for stage, place in dict.fromkeys((c.stage, c.place) for c in record.result.checks):
        table.append(Row((stage_at(stage, place, record.result.here),), "group"))
        for check in (c for c in record.result.checks if (c.stage, c.place) == (stage, place)):
            table.append(_check_row(check, letters))
            said = check.reason if check.information else f"{check.outcome}: {check.reason}"
            if check.reason and said != INFORMATION:
                table.append(Row((said,), "note"))
    return Table(columns, tuple(table))


_RULE_WORD = {"guarded": "guarded", "simple": "simple", "as the method states": "method"}


def _check_row(check: Check, letters: dict[Tolerance, str]) -> Row:
    q, tolerance = check.quantity, check.tolerance
    return Row(
        (
            check.label if check.counts else f"{check.label} (not in the verdict)",
            check.observed or NONE,
            check.reference or NONE,
            signed(q, as_difference=is_difference(check)) if q else NONE,
            (q.expanded or NONE) if q else NONE,
            q.unit if q else NONE,
            bounds(check.low, check.high),
            check.share or NONE,
            f"{letters[tolerance]} {_RULE_WORD[tolerance.rule]}" if tolerance else NONE,
            INFORMATION if check.information else str(check.outcome),
        )
    )


def _letters(record: Record) -> dict[Tolerance, str]:
    """Return a letter for every tolerance that was used, in the order of the checks."""
    used = dict.fromkeys(c.tolerance for c in record.result.checks if c.tolerance is not None)
    return {tolerance: _letter(n) for n, tolerance in enumerate(used)}


def _letter(n: int) -> str:
    return chr(ord("a") + n % 26) * (1 + n // 26)


def _limits(record: Record) -> Iterator[Block]:
    """Give the risk of the rules, then the limits: their table comes last, it may go on on the next sheet."""
    letters = _letters(record)
    if letters:
        used = dict.fromkeys(t.rule for t in letters)
        yield Statement("; ".join(f"{rule}: {wording.RISKS[rule]}" for rule in used) + ".", "Risk")
    if any(c.information for c in record.result.checks):
        yield Statement(
            "Results for information only carry no statement of conformity: neither pass nor fail."
        )
    yield Statement(f"{_coverage(record)} T is half the width of the tolerance.")
    if letters:
        columns = (
            Column("Limit, by its letter among the checks"),
            Column("Rule", "short"),
            Column("Basis", "short"),
            Column("Source"),
            Column("Dated", "short"),
        )
        grouped: dict[tuple[str, str, str, str], list[str]] = {}
        for t, letter in letters.items():  # limits that differ in their size only stand in one line
            same = (t.rule, t.basis, t.source, t.date)
            grouped.setdefault(same, []).append(f"{letter} {tolerance_words(t)}")
        lines = [
            Row(("; ".join(limits), rule, basis, source, date or NONE))
            for (rule, basis, source, date), limits in grouped.items()
        ]
        yield Table(columns, tuple(lines))


def _coverage(record: Record) -> str:
    factors = sorted(
        {f"{c.quantity.k:.2f}" for c in record.result.checks if c.quantity and c.quantity.k is not None},
        key=Decimal,
    )
    if not factors:
        return "No expanded uncertainty is stated."
    span = factors[0] if len(factors) == 1 else f"{factors[0]} to {factors[-1]}"
    return f"U: expanded uncertainty, coverage 95.45 %, k {span} (each beside its budget)."
