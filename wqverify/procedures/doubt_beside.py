"""What stands beside the questions of a doubt: which record, since when, how large, what it decides."""

from __future__ import annotations

from collections.abc import Iterator

from wqverify.procedures import beside as b
from wqverify.procedures import doubt_clears as clears
from wqverify.procedures.doubt_errors import AFTER_CLEANING, AS_FOUND, errors_of, held_at, place_of
from wqverify.procedures.doubt_facts import seconds
from wqverify.procedures.doubt_limits import limit_of
from wqverify.procedures.doubt_notes import others_of
from wqverify.procedures.doubt_rules import cited
from wqverify.procedures.doubt_sheet import DoubtSheet, LastGood, Used
from wqverify.procedures.rules import setting
from wqverify.terms import Beside, Cited, Given, Raw

FROM_FAILED = "doubt_from_failed_test"


def _failed(raw: Raw, given: Given) -> Cited:
    return cited(str(b.at(raw, "failed.record") or ""), "failed.record", given)


def _told(one: clears.AT_HAND) -> str:
    return f"{one.number}, {one.procedure.replace('_', ' ')}, {_clock(one.performed)}"


def _clock(iso: str) -> str:
    return iso[:16].replace("T", " ")


@b.quiet
def failed(raw: Raw, _path: str, given: Given) -> Beside:
    """Beside the failed check: the earlier ones that failed as found, the newest first."""
    wrong = [
        row
        for row in given.earlier
        if any(
            outcome in ("fail", "too close to decide") and stage.startswith(AS_FOUND)
            for stage, outcome in row.outcomes.items()
        )
    ]
    named = given.records.get(str(b.at(raw, "failed.record") or ""))
    said = f"{named.number} failed {_listed(clears.failed_at(named))}" if named else ""
    lines = [_told(row) for row in wrong[:3]]
    return Beside(b.told(said, lines), offers=tuple(row.number for row in wrong[:9]))


@b.quiet
def serial(_raw: Raw, _path: str, given: Given) -> Beside:
    """Beside the serial: that of the register, where the instrument was not exchanged since."""
    return Beside((f"{given.analyzer.tag} has {given.analyzer.serial} in the register",))


@b.quiet
def last_good(raw: Raw, _path: str, given: Given) -> Beside:
    """Beside the last good check: the newest that counts, and why newer ones are passed over."""
    this = _failed(raw, given)
    places = clears.failed_at(this)
    lines: list[str] = []
    offers: list[str] = []
    for one in clears.earlier_ones(this, given):
        why = clears.why_not(one, this, given, places)
        if not why:
            lines.insert(0, f"counts: {_told(one)}")
            offers.append(one.number)
            break
        lines.append(f"passed over: {one.number}, {one.procedure.replace('_', ' ')}: {why}")
    if not offers:
        lines.insert(0, "no earlier check at hand counts: say why none is known")
    return Beside(b.told(lines[:6]), offers=tuple(offers))


@b.quiet
def basis(_raw: Raw, _path: str, given: Given) -> Beside:
    """Beside the basis: what the register says the plant goes by."""
    from_failed = setting(given, FROM_FAILED, "0") == 1
    words = "first failed test" if from_failed else "last good check"
    return Beside((f"the plant goes by the {words}",), offers=(words,))


@b.quiet
def since(raw: Raw, _path: str, given: Given) -> Beside:
    """Beside the beginning: when the last good check ended; without one, the oldest record at hand."""
    good = given.records.get(str(b.at(raw, "last_good.record") or ""))
    if good is not None:
        return Beside((f"{good.number} ended then",), offers=(_typed(clears.ended(good)),))
    oldest = [row for row in given.earlier if row.serial == str(b.at(raw, "serial_on_plate") or "")]
    if not oldest:
        return Beside(("no earlier record of this instrument is at hand",))
    first = oldest[-1]
    return Beside((f"the oldest record at hand is {_told(first)}",), offers=(_typed(first.performed),))


@b.quiet
def until(raw: Raw, _path: str, given: Given) -> Beside:
    """Beside the return to service: when the output of the failed visit was released, or it ended.

    Where that left it out of service, of the next check that left it in service; an outage only keeps clocks.
    """
    this = _failed(raw, given)
    end, what = _released(this)
    if this.status != "out of service":
        return Beside((f"{this.number}: {what}",), offers=(_typed(end),))
    left = f"{this.number} left it out of service"
    later = [
        row
        for row in given.records.values()
        if row.tag == this.tag and _begun(row) > _begun(this) and row.facts.get("verifies") != "no"
    ]
    back = next((row for row in sorted(later, key=_begun) if row.status.startswith("in service")), None)
    if back is None:
        return Beside((left,))
    end, what = _released(back)
    return Beside((f"{left}; {_told(back)}: {what}",), offers=(_typed(end),))


def _begun(row: Cited) -> int:
    return seconds(row.performed)


def _released(one: Cited) -> tuple[str, str]:
    """Return when the values of a visit were those of the water again, and what tells it."""
    held = [window.end for window in one.windows if window.what == "output held" and window.end]
    return (held[0], "the output was released then") if held else (clears.ended(one), "the visit ended then")


def _typed(iso: str) -> str:
    return _clock(iso)


@b.quiet
def errors(raw: Raw, path: str, given: Given) -> Beside:
    """Beside a check the error is taken from: what the failed record holds."""
    sheet = _sheet(raw)
    this = _failed(raw, given)
    place = place_of(sheet, this)
    held = held_at(this, place, AS_FOUND, given)
    cleaned = held_at(this, place, AFTER_CLEANING, given)
    lines = [
        f"{name}: {check.quantity.text if check.quantity else ''} at {check.observed}"
        + (
            f", after cleaning {after.quantity.text}"
            if (after := cleaned.get(name)) and after.quantity
            else ""
        )
        for name, check in held.items()
    ]
    chosen = {row.get("check") for row in raw.get("errors", []) if isinstance(row, dict)}
    own = b.at(raw, path)
    return Beside(b.told(lines[:6]), offers=tuple(name for name in held if name not in chosen or name == own))


def _sheet(raw: Raw) -> DoubtSheet:
    sheet: DoubtSheet = b.so_far(DoubtSheet, raw)
    if sheet.failed is None:
        raise LookupError("failed")
    return sheet


def _found(raw: Raw, given: Given) -> Iterator[str]:
    sheet, this = _sheet(raw), _failed(raw, given)
    good = sheet.last_good
    named = given.records.get(good.record) if isinstance(good, LastGood) else None
    unit = given.analyzer.unit
    for one in errors_of(sheet, this, named, given):
        apart = f", of it {one.fouling:+f} fouling" if one.fouling is not None else ""
        before = f"; {one.at_start:+f} at the last good check" if one.at_start is not None else ""
        yield f"{one.name}: {one.error:+f} {unit} at {one.level:f}{apart}{before}"


@b.quiet
def time(raw: Raw, _path: str, given: Given) -> Beside:
    """Beside the error in time: how large it is; a film grows, a knocked setting comes at once."""
    words = "a film or a drift grows: linear; a knocked setting comes at once: step"
    return Beside(b.told(words, list(_found(raw, given))[:3]))


@b.quiet
def level(raw: Raw, _path: str, given: Given) -> Beside:
    """Beside the error by level: at how many levels it was found."""
    found = list(_found(raw, given))
    many = len(found) > 1
    words = "found at several levels" if many else "found at one level: an offset or a gain"
    return Beside(b.told(words, found[:3]), offers=("line between points",) if many else ("offset", "gain"))


@b.quiet
def limit(raw: Raw, path: str, given: Given) -> Beside:
    """Beside a limit: the one that counts where none is typed."""
    n = int(path.split(".")[1])
    what = str(b.at(raw, f"used.{n}.what"))
    known = limit_of(Used.model_construct(what=what, limit=None, direction=None), given)
    if known is None:
        return Beside(("neither the register nor a rule has one for this: type it",))
    return Beside((f"{known.direction} {known.size:f} {given.analyzer.unit}: {known.source}",))


@b.quiet
def decision(_raw: Raw, _path: str, _given: Given) -> Beside:
    """Beside a consequence: what the ways on mean."""
    return Beside(
        (
            "correct: the value without the error stands beside; qualify: as recorded, with a remark",
            "invalidate: it counts as missing; accept as is: with the reason; notify: who is informed",
        )
    )


@b.quiet
def others(raw: Raw, _path: str, given: Given) -> Beside:
    """Beside what is done about other analyzers: which were checked with the same standard or meter."""
    this = _failed(raw, given)
    begun = given.times.get("period.since")
    start = seconds(begun) if begun else 0
    rows = others_of(this, list(given.records.values()), start)
    tags = list(dict.fromkeys(row.tag for row in rows))
    used = ", ".join(this.standards) or "no standard"
    return Beside(b.told(f"checked with {used} too: {', '.join(tags) or 'none'}"))


def _listed(words: tuple[str, ...]) -> str:
    return " and ".join(f"at the {word}" for word in words) or "nowhere"


BESIDE = {
    "failed": failed,
    "serial": serial,
    "last_good": last_good,
    "basis": basis,
    "since": since,
    "until": until,
    "errors": errors,
    "time": time,
    "level": level,
    "limit": limit,
    "decision": decision,
    "others": others,
}
