"""How answers came: who said them, what was taken over, confirmed, or corrected while it was entered."""

from __future__ import annotations

from collections.abc import Iterator

from wqverify.show.changes import CORRECTED, corrected
from wqverify.show.kinds import Block, Column, Statement, Table, rows
from wqverify.show.lookup import NONE, person, when
from wqverify.terms import JOURNAL, Entry, Record, Said

_TAKEN_OVER = {
    "clock": "this computer's clock",
    "usual": "confirmed as usual",
    "last": "confirmed as last time",
    "round": "from the head of the round",
    "paper": "copied from paper",
}
_HEARD = {"radio": "by radio", "phone": "by phone", "own eyes": "seen there"}
_READ_BACK = {"yes": "read back", "no": "not read back"}


def from_paper(record: Record) -> Iterator[Block]:
    """Say once what would stand beside every answer."""
    if _all_from_paper(record):
        yield Statement("Every answer was copied from paper.")


def _all_from_paper(record: Record) -> bool:
    """Whether nothing was typed that was not copied from paper."""
    ways = {said.how for entry in record.entries for said in _each(entry, record)}
    return "paper" in ways and ways <= {"paper", "sheet", "round"}


def _each(entry: Entry, record: Record) -> list[Said]:
    return _of_list(entry, record) or [record.given.said.get(entry.path, Said())]


def how_it_came(entry: Entry, record: Record) -> str:
    """Return who said an answer or where it was taken over from, in brackets; of a list, by number."""
    told = _words(record.given.said.get(entry.path, Said()), record)
    if told:
        return f" ({told})"
    listed: dict[str, list[str]] = {}
    for number, said in enumerate(_of_list(entry, record), 1):
        if words := _words(said, record):
            listed.setdefault(words, []).append(str(number))
    if len(listed) == 1 and len(next(iter(listed.values()))) == _count(entry):
        return f" ({next(iter(listed))})"
    told = "; ".join(f"number {', '.join(numbers)}: {words}" for words, numbers in listed.items())
    return f" ({told})" if told else ""


def _words(said: Said, record: Record) -> str:
    heard = _HEARD.get(said.heard, said.heard)
    voice = [person(record, said.by), heard, _READ_BACK.get(said.read_back, "")] if said.by else []
    taken_over = "" if said.how == "paper" and _all_from_paper(record) else _TAKEN_OVER.get(said.how, "")
    return ", ".join(filter(None, [*voice, taken_over]))


def _of_list(entry: Entry, record: Record) -> list[Said]:
    """Return how each item of a list of answers came; none where the entry is no list."""
    said, paths = record.given.said, [f"{entry.path}.{index}" for index in range(_count(entry))]
    return [said.get(path, Said()) for path in paths] if any(path in said for path in paths) else []


def _count(entry: Entry) -> int:
    return entry.text.count(", ") + 1


def confirmed(record: Record) -> Iterator[Block]:
    """Show what was asked about an answer and confirmed."""
    by_path = {entry.path: entry for entry in record.entries}
    lines = []
    for path, said in record.given.said.items():
        if said.sure:
            above, _, last = path.rpartition(".")
            entry = by_path.get(path) or by_path.get(above)
            number = f", number {int(last) + 1}" if entry and entry.path == above else ""
            lines.append((f"{entry.label if entry else path}{number}", said.sure))
    if lines:
        yield Table((Column("Answer"), Column("Asked about it, and confirmed")), rows(*lines), "Confirmed")


def corrected_table(record: Record) -> Iterator[Block]:
    """Show what was corrected before the sheet was complete: what stood there, when, by whom, why."""
    changes = corrected(record)
    if not changes:
        if JOURNAL in record.attachments:
            yield Statement("No answer was corrected while the visit was entered; its journal is attached.")
        return
    columns = (
        Column("When", "short"),
        Column("Answer"),
        Column("Was"),
        Column("Is now"),
        Column("By", "short"),
        Column("Why"),
    )
    lines = (
        (
            when(c.at),
            c.what.removeprefix(CORRECTED),
            c.was or NONE,
            c.now or "taken out",
            c.by or NONE,
            c.why or NONE,
        )
        for c in changes
    )
    yield Table(columns, rows(*lines), "Corrected while the visit was entered")
