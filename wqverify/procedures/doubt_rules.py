"""What a doubt refuses: a check that did not fail, a good one that does not count, times that contradict."""

from __future__ import annotations

from datetime import datetime
from itertools import pairwise

from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures import doubt_clears as clears
from wqverify.procedures.doubt_case import good_of
from wqverify.procedures.doubt_errors import errors_of
from wqverify.procedures.doubt_limits import limit_of
from wqverify.procedures.doubt_sheet import DoubtSheet, Failed, LastGood
from wqverify.procedures.doubt_uses import refuse_uses
from wqverify.procedures.left_out import VISIT
from wqverify.procedures.parts import refuse_disorder
from wqverify.terms import Cited, Given

FACTS = ("accept as is", "qualify", "correct", "invalidate")  # of these a part of the period has one


def refuse(sheet: DoubtSheet, given: Given) -> None:
    """Raise CorrectTheEntry or ChooseAnother for what no doubt can be computed with."""
    refuse_disorder(type(sheet), given.times)
    if not isinstance(sheet.failed, Failed):  # a sheet that is being typed
        return
    failed = cited(sheet.failed.record, "failed.record", given)
    if isinstance(sheet.last_good, LastGood):
        cited(sheet.last_good.record, "last_good.record", given)
    _refuse_failed(failed, given)
    if sheet.serial_on_plate != failed.serial:
        raise CorrectTheEntry(
            f"The serial of the instrument in doubt is {sheet.serial_on_plate}, that of record "
            f"{failed.number} is {failed.serial}. Name the record of the instrument that is meant, or "
            f"correct the serial.",
            found=sheet.serial_on_plate,
            expected=failed.serial,
            where="serial_on_plate",
        )
    _refuse_good(sheet, failed, given)
    if "period.since" in given.times and "period.until" in given.times:
        _refuse_times(sheet, failed, given)
        _refuse_overlap(sheet, given)
    errors_of(sheet, failed, good_of(sheet, given), given)
    refuse_uses(sheet, given)
    _refuse_limits(sheet, given)


def cited(number: str, path: str, given: Given) -> Cited:
    """Return a record the sheet names; raises ChooseAnother for one that is not at hand."""
    if number not in given.records:
        raise ChooseAnother(
            f"{path} names record {number[:40]!r}, which is not at hand; correct its number, or run it where "
            f"the book holds it.",
            found=number[:40],
            where=path,
        )
    return given.records[number]


def _refuse_failed(failed: Cited, given: Given) -> None:
    if failed.tag != given.analyzer.tag:
        raise ChooseAnother(
            f"Record {failed.number} is of {failed.tag}, and the sheet is of {given.analyzer.tag}; name the "
            f"failed check of {given.analyzer.tag}.",
            found=failed.tag,
            expected=given.analyzer.tag,
            where="failed.record",
        )
    if failed.ended:
        raise ChooseAnother(
            f"Record {failed.number} is {failed.ended}; name the record that stands.",
            found=failed.ended,
            where="failed.record",
        )
    if not clears.failed_at(failed):
        found = "; ".join(f"{stage}: {outcome}" for stage, outcome in failed.outcomes.items()) or "no verdict"
        raise ChooseAnother(
            f"Record {failed.number} did not fail as found ({found}); name the check that found it out of "
            f"tolerance.",
            found=found,
            expected="as found: fail",
            where="failed.record",
        )


def _refuse_good(sheet: DoubtSheet, failed: Cited, given: Given) -> None:
    good = good_of(sheet, given)
    if good is None or not isinstance(sheet.last_good, LastGood):
        return
    why = clears.why_not(good, failed, given, clears.failed_at(failed))
    hard = good.tag != failed.tag or bool(good.ended) or _at(good.performed) >= _at(failed.performed)
    if why and (hard or sheet.last_good.despite is None):
        newest = clears.proposed(failed, given, clears.failed_at(failed))
        other = f" The newest that counts is {newest.number}." if newest is not None else ""
        despite = "" if hard else " Or say why it counts all the same."
        raise ChooseAnother(
            f"Record {good.number} does not show that {given.analyzer.tag} was right: {why}.{other} Name "
            f"another, or say why none is known.{despite}",
            found=why,
            expected="a check within tolerance as left",
            where="last_good.record",
        )


def _refuse_times(sheet: DoubtSheet, failed: Cited, given: Given) -> None:
    since, until = given.times["period.since"], given.times["period.until"]
    good = good_of(sheet, given)
    if good is not None and _at(since) < _at(good.performed):
        raise _order("period.since", since, f"the last good check {good.number}", good.performed, "before")
    if _at(since) >= _at(failed.performed):
        raise _order(
            "period.since", since, f"the failed check {failed.number}", failed.performed, "not before"
        )
    _refuse_shorter(sheet, good, since)
    if _at(until) < _at(failed.performed):
        raise _order("period.until", until, f"the failed check {failed.number}", failed.performed, "before")
    for path, at in given.times.items():
        within = path.startswith("evidence.") or path == "model.step_at"
        if within and not _at(since) <= _at(at) <= _at(failed.performed):
            raise CorrectTheEntry(
                f"{path} is {_clock(at)}, outside the time from {_clock(since)} to the failed check "
                f"({_clock(failed.performed)}); correct it, or leave it out.",
                found=at,
                expected=f"{since} to {failed.performed}",
                where=path,
            )


def _refuse_shorter(sheet: DoubtSheet, good: Cited | None, since: str) -> None:
    """Only evidence narrows a period that begins with the last good check."""
    if good is None or sheet.period.basis != "last good check" or sheet.evidence:
        return
    visits = (one.end for one in good.windows if one.what == VISIT and one.end)
    ended = max(visits, key=_at, default=good.performed)
    if _at(since) > max(_at(ended), _at(good.performed)):
        raise CorrectTheEntry(
            f"period.since is {_clock(since)}, after the last good check {good.number} ended "
            f"({_clock(ended)}), and no evidence narrows the period; begin it there, "
            f"or enter the evidence.",
            found=since,
            expected=ended,
            where="period.since",
        )


def _order(path: str, at: str, what: str, other: str, word: str) -> CorrectTheEntry:
    return CorrectTheEntry(
        f"{path} is {_clock(at)}, {word} {what} ({_clock(other)}); correct it.",
        found=at,
        expected=other,
        where=path,
    )


def _refuse_limits(sheet: DoubtSheet, given: Given) -> None:
    """An alarm takes its limit from the sheet or the register; a rule may lack one for the unit."""
    for n, used in enumerate(sheet.used):
        if used.what == "alarm" and limit_of(used, given) is None:
            raise CorrectTheEntry(
                f"The alarm of use {n + 1} has no limit, and the register of {given.analyzer.tag} holds "
                f"none; type the limit, and whether it counts above or below.",
                found="no limit",
                expected="a limit",
                where=f"used.{n}.limit",
            )


def _refuse_overlap(sheet: DoubtSheet, given: Given) -> None:
    """A part of the period is corrected, invalidated or accepted, never two of them; notify goes with any."""
    spans = []
    for n, row in enumerate(sheet.decided):
        since = given.times.get(f"decided.{n}.since", given.times["period.since"])
        until = given.times.get(f"decided.{n}.until", given.times["period.until"])
        if _at(until) <= _at(since):
            raise _order(f"decided.{n}.until", until, "its own beginning", since, "not after")
        if row.decision in FACTS:
            spans.append((_at(since), _at(until), n, row.decision))
    spans.sort()
    for (_, end, first, was), (start, _, second, now) in pairwise(spans):
        if start < end:
            raise CorrectTheEntry(
                f"Consequences {first + 1} ({was}) and {second + 1} ({now}) cover the same time; give each "
                f"its own beginning and end.",
                found=f"{was} and {now}",
                expected="one for each part of the period",
                where=f"decided.{second}.since",
            )


def _at(iso: str) -> datetime:
    return datetime.fromisoformat(iso)


def _clock(iso: str) -> str:
    return iso[:16].replace("T", " ")
