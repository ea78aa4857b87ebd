"""What the pack says of one record: its line of the index, its readings, its checks, what is open about it.

Read from the plain data of record.json, so that a record of any version can be told.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from typing import Any

from wqverify.book import Entry, RecordState, instant
from wqverify.lists.queue import LATE
from wqverify.pack.decided import asked_and_answered
from wqverify.pack.pages_in import Page
from wqverify.pack.tables import Head
from wqverify.plant.folder import Plant
from wqverify.show.changes import AMENDED, CORRECTED
from wqverify.show.lookup import NONE, when
from wqverify.terms import clocks_in

Plain = Mapping[str, Any]
Cells = tuple[str, ...]

INDEX = (
    Head("record", "short"),
    Head("analyzer", "short"),
    Head("serial", "short"),
    Head("procedure name"),
    Head("procedure", on_page=False),
    Head("performed", "text"),
    Head("performed by"),
    Head("as found", "outcome"),
    Head("as left", "outcome"),
    Head("control system", "outcomes"),
    Head("other stages", "outcomes"),
    Head("state"),
    Head("signed"),
    Head("countersigned"),
    Head("superseded by", on_page=False),
    Head("round", on_page=False),
    Head("PDF", on_page=False),
    Head("PDF against the book", on_page=False),
    Head("SHA-256 of the PDF", on_page=False),
)
READINGS = (
    Head("record"),
    Head("analyzer"),
    Head("label"),
    Head("value as typed"),
    Head("unit"),
    Head("time of its part"),
    Head("resolved"),
    Head("said by"),
    Head("path"),
)
CHECKS = (
    Head("record"),
    Head("analyzer"),
    Head("stage"),
    Head("place"),
    Head("check"),
    Head("observed"),
    Head("reference"),
    Head("judged value"),
    Head("expanded uncertainty"),
    Head("low"),
    Head("high"),
    Head("unit"),
    Head("rule"),
    Head("outcome"),
    Head("part of the verdict"),
    Head("reason"),
    Head("source of the tolerance"),
)
OPEN = (
    Head("what"),
    Head("record", "short"),
    Head("analyzer", "short"),
    Head("since"),
    Head("who"),
    Head("in words"),
)
AT = " at the "
UNEXPLAINED = "nobody has said why"
REVIEW_LATE = timedelta(days=7)  # from the signature to the countersignature; common practice, no source
# What comes late: what it is called, how long after what it may come.
_LATE = {
    "performed": ("entered", LATE, "work"),
    "signed": ("signed", LATE, "work"),
    "reviewed": ("countersigned", REVIEW_LATE, "signature"),
}
FIRST = (
    "open question",
    "not signed",
    "not countersigned",
    "to be done",
    "voided",
    "superseded",
    "answered question",
    "followed up",
    "late",
)
_WAITS = {
    "performed, not signed": "not signed",
    "signed, not countersigned": "not countersigned",
}


def called(staff: str, plain: Plain, plant: Plant) -> str:
    """Return the name and staff id of a person, as the record has them, else as people.toml has."""
    told = plain.get("given", {}).get("people", {}).get(staff, {}).get("name", "")
    name = told or (plant.people[staff].name if staff in plant.people else "")
    return f"{name} ({staff})" if name else staff


def index_row(state: RecordState, plain: Plain, page: Page, plant: Plant) -> Cells:
    """Return the line of a record in the index."""
    at_analyzer, at_control_system = _outcomes(state)
    others = [f"{_words(s)}: {o}" for s, o in at_analyzer.items() if s not in ("as_found", "as_left")]
    by_record = [str(e.body.get("by_record", "")) for e in state.events if e.event == "superseded"]
    return (
        state.number,
        state.tag,
        state.serial,
        str(plain.get("title", state.procedure)),
        state.procedure,
        when(state.performed),
        called(str(state.body.get("by", "")), plain, plant),
        at_analyzer.get("as_found", NONE),
        at_analyzer.get("as_left", NONE),
        "; ".join(f"{_words(stage)}: {outcome}" for stage, outcome in at_control_system.items()) or NONE,
        "; ".join(others) or NONE,
        state.state,
        _signature(state, "signed", plain, plant),
        _signature(state, "reviewed", plain, plant),
        by_record[-1] if by_record else "",
        state.round,
        page.name,
        page.said,
        page.digest,
    )


def _words(stage: str) -> str:
    return stage.replace("_", " ")


def _outcomes(state: RecordState) -> tuple[dict[str, str], dict[str, str]]:
    """Return the verdicts at the analyzer and at the control system by stage, in the order of the work."""
    found: dict[bool, dict[str, str]] = {False: {}, True: {}}
    for said, outcome in state.outcomes.items():
        stage, _, place = said.rpartition(AT)
        found[place == "control system"][stage or said] = outcome
    return found[False], found[True]


def _signature(state: RecordState, event: str, plain: Plain, plant: Plant) -> str:
    given = [entry for entry in state.events if entry.event == event]
    if not given:
        return NONE
    last = given[-1]
    ink = f", in ink (told, not proven; paper kept at {last.body.get('kept_at', '?')})"
    who = called(str(last.body.get("by", "")), plain, plant)
    return f"{who}, {when(last.at)}{ink if last.body.get('mode') == 'pen' else ''}"


# ---------------------------------------------------------------- readings and checks


def reading_rows(plain: Plain) -> Iterator[Cells]:
    """Give every answer of a record as it was typed, a list one reading after the other."""
    given = plain["given"]
    times, said = given["times"], given.get("said", {})
    for entry in plain["entries"]:
        path = entry["path"]
        by, at = said.get(path, {}).get("by", ""), _time_of(path, times)
        for where, label, text in _one_by_one(entry, plain["sheet"]):
            head = (plain["number"], given["analyzer"]["tag"], label, text, entry["unit"])
            yield (*head, at, entry["resolved"], by, where)


def _one_by_one(entry: Plain, sheet: Any) -> Iterator[tuple[str, str, str]]:
    """Give path, label and text of an answer; of a list those of each of its values."""
    path, label, text = entry["path"], entry["label"], entry["text"]
    typed = _typed_at(path, sheet)
    if not isinstance(typed, list) or ", ".join(map(str, typed)) != text:
        yield path, label, text
        return
    for n, one in enumerate(typed):
        yield f"{path}.{n}", f"{label}, {n + 1} of {len(typed)}", str(one)


def _typed_at(path: str, sheet: Any) -> Any:
    for step in path.split("."):
        if isinstance(sheet, list):
            sheet = sheet[int(step)] if step.isdigit() and int(step) < len(sheet) else None
        else:
            sheet = sheet.get(step) if isinstance(sheet, Mapping) else None
    return sheet


def _time_of(path: str, times: Mapping[str, str]) -> str:
    """Return the time typed in the same part of the sheet, empty where there is none.

    >>> _time_of("as_found.points.0.readings.1", {"as_found.points.0.at": "2026-03-03T08:15-05:00"})
    '2026-03-03T08:15-05:00'
    """
    while path:
        path = path.rpartition(".")[0]
        if path and f"{path}.at" in times:
            return times[f"{path}.at"]
    return ""


def check_rows(plain: Plain) -> Iterator[Cells]:
    """Give every judged quantity of a record."""
    tag = plain["given"]["analyzer"]["tag"]
    for check in plain["result"]["checks"]:
        quantity, tolerance = check["quantity"] or {}, check["tolerance"] or {}
        yield (
            plain["number"],
            tag,
            _words(check["stage"]),
            check["place"],
            check["label"],
            check["observed"],
            check["reference"],
            quantity.get("text", ""),
            quantity.get("expanded", ""),
            check["low"],
            check["high"],
            quantity.get("unit", "") or tolerance.get("unit", ""),
            tolerance.get("rule", ""),
            check["outcome"],
            "yes" if check["counts"] else "no",
            check["reason"],
            tolerance.get("source", ""),
        )


# ---------------------------------------------------------------- what is open


def open_rows(state: RecordState, plain: Plain, plant: Plant) -> Iterator[Cells]:
    """Give what is open about a record, and what came late: questions, signatures, its entry."""
    entered = state.events[0].at

    def row(what: str, since: str, who: str, text: str) -> Cells:
        return what, state.number, state.tag, when(since), who, text

    performer = called(str(state.body.get("by", "")), plain, plant)
    if state.state in _WAITS:
        last = [e.at for e in state.events if e.event in ("performed", "signed")][-1]
        yield row(_WAITS[state.state], last, performer, f"It is {state.state}.")
    if not state.stands:
        ended = next(e for e in reversed(state.events) if e.event in ("superseded", "voided"))
        who = called(str(ended.body.get("by", "")), plain, plant)
        yield row(ended.event, ended.at, who, f"It is {state.state}, because {ended.body.get('why', '?')}")
    for entry, answer in asked_and_answered(state):
        asker, text = called(str(entry.body.get("by", "")), plain, plant), str(entry.body.get("question", ""))
        if answer is None:
            yield row("open question", entry.at, asker, text)
        else:
            by, said = called(str(answer.body.get("by", "")), plain, plant), answer.body.get("answer", "")
            text = f"{text} Answer of {by}, {when(answer.at)}: {said or 'answered'}"
            yield row("answered question", entry.at, asker, text)
    for clock in clocks_in(state.facts) if state.stands else ():
        text = f"{clock.what}: due {when(clock.due)} ({clock.source})."
        followed = [one for one in state.follow_ups if one.body["what"] == clock.key]
        if not followed:
            yield row("to be done", entered, performer, f"{text} Nothing in the book says that it was done.")
        for one in followed:
            by, how, done = called(str(one.body["by"]), plain, plant), one.body["how"], str(one.body["done"])
            after = ", late" if instant(done) > instant(clock.due) else ""
            again = "" if one is followed[-1] else " Entered otherwise later."
            yield row("followed up", one.at, by, f"{text} Done {when(done)}{after}, {how}.{again}")
    worked = _last_time(plain)
    late = list(_late(state, worked)) if worked is not None else []
    if late:
        yield row("late", entered, performer, f"{'; '.join(late)}.")


def _late(state: RecordState, worked: datetime) -> Iterator[str]:
    """Say what came late: the entry, the signature after the work, the countersignature after that."""
    since = worked
    for entry in state.events:
        if entry.event not in _LATE:
            continue
        done, bound, after_what = _LATE[entry.event]
        after = datetime.fromisoformat(entry.at) - since
        if after > bound:
            yield f"{done} {_long(after)} after the {after_what}"
        if entry.event == "signed":
            since = datetime.fromisoformat(entry.at)


def _last_time(plain: Plain) -> datetime | None:
    times = plain.get("given", {}).get("times", {})
    return max(map(datetime.fromisoformat, times.values()), default=None)


def _long(after: timedelta) -> str:
    hours = int(after / timedelta(hours=1))
    return f"{hours} h" if hours < 72 else f"{after.days} days"


# ---------------------------------------------------------------- changes


def change_rows(entry: Entry, plant: Plant) -> Iterator[Cells]:
    """Give what an entry about register, people, standards, plant settings or keys changed."""
    head = (when(entry.at), entry.event, called(str(entry.body.get("by", "")), {}, plant))
    where, why = f"{entry.chain}:{entry.seq}", str(entry.body.get("why", ""))
    changes = entry.body.get("changes")
    if changes is None:
        yield (*head, f"key of {entry.body.get('by', '?')}", "", "", why, where)
    for change in changes or ():
        yield (*head, change["what"], change["was"] or NONE, change["now"] or NONE, why, where)
    if changes == []:
        yield (*head, "all of it", NONE, "as this book began", why, where)


CHANGES = (
    Head("entered"),
    Head("kind"),
    Head("who"),
    Head("what"),
    Head("from"),
    Head("to"),
    Head("why"),
    Head("entry", "short"),
)


def told_rows(plain: Plain) -> Iterator[Cells]:
    """Give the changes of the plant that a record was made with, as it tells them on its page."""
    for change in plain["given"].get("changes", ()):
        if not change["what"].startswith((AMENDED, CORRECTED)):
            at, by = when(change["at"]) or "not entered", change["by"] or NONE
            was, now = change["was"] or NONE, change["now"] or NONE
            yield at, by, change["what"], was, now, change["why"] or UNEXPLAINED
