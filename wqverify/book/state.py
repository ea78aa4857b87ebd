"""What the entries about one record come to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from wqverify.book.entry import Entry, instant

RETURNED = "returned with a question"
_FILES = ("performed", "signed", "reviewed")  # each builds on the one before, whatever the clocks say


def in_order(about_it: Iterable[Entry]) -> tuple[Entry, ...]:
    """Return the entries about one record: *performed* first, each chain in its order, by the clocks between.

    Devices have clocks of their own; which of two entries of two chains came first is told by these alone.
    """
    latest: dict[str, datetime] = {}
    keyed = []
    for entry in sorted(about_it, key=lambda each: (each.chain, each.seq)):
        latest[entry.chain] = max(instant(entry.at), latest.get(entry.chain, instant(entry.at)))
        keyed.append(((entry.event != "performed", latest[entry.chain], entry.chain, entry.seq), entry))
    return tuple(entry for _key, entry in sorted(keyed, key=lambda each: each[0]))


@dataclass(frozen=True)
class Question:
    """What a reviewer asked the performer, and the answer; empty while it is awaited."""

    question: str
    by: str
    answer: str = ""


@dataclass(frozen=True)
class RecordState:
    """A record as the book knows it: its *performed* entry first, then what happened to it since."""

    number: str
    events: tuple[Entry, ...]

    @property
    def body(self) -> Mapping[str, Any]:
        """What was entered when the work was performed."""
        return self.events[0].body

    @property
    def tag(self) -> str:
        return str(self.body["tag"])

    @property
    def serial(self) -> str:
        return str(self.body["serial"])

    @property
    def procedure(self) -> str:
        return str(self.body["procedure"])

    @property
    def performed(self) -> str:
        return str(self.body["performed"])

    @property
    def instant(self) -> datetime:
        """When the work began."""
        return instant(self.performed)

    @property
    def outcomes(self) -> Mapping[str, str]:
        """The verdict of each stage."""
        return dict(self.body.get("outcomes", {}))

    @property
    def values(self) -> Mapping[str, str]:
        """What a later visit is told."""
        return dict(self.body.get("values", {}))

    @property
    def facts(self) -> Mapping[str, str]:
        """What a later visit is told besides."""
        return dict(self.body.get("facts", {}))

    @property
    def digest(self) -> str:
        """The digest of record.json."""
        return str(self.body["stored"])

    @property
    def file_digest(self) -> str:
        """The digest of the newest file the book knows of, empty for none."""
        files = {entry.event: str(entry.body["pdf"]) for entry in self.events if "pdf" in entry.body}
        return next((files[event] for event in reversed(_FILES) if event in files), "")

    @property
    def state(self) -> str:
        """Where the record stands, in words."""
        last = {entry.event: entry for entry in self.events}
        if "superseded" in last:
            return f"superseded by {last['superseded'].body.get('by_record', 'another record')}"
        if "voided" in last:
            return "voided"
        if "reviewed" in last:
            return "countersigned"
        if self.questions and not self.questions[-1].answer:
            return RETURNED
        return "signed, not countersigned" if "signed" in last else "performed, not signed"

    @property
    def round(self) -> str:
        """The round it was performed on, empty for none."""
        return str(self.body.get("round", ""))

    @property
    def questions(self) -> tuple[Question, ...]:
        """The questions it was returned with, each with its answer; what waits for one comes last."""
        asked = [
            (_count(entry), Question(str(entry.body.get("question", "")), str(entry.body.get("by", ""))))
            for entry in self.events
            if entry.event == RETURNED
        ]
        for entry in self.events:
            if entry.event == "answered" and asked:
                open_ = [index for index, (_n, question) in enumerate(asked) if not question.answer]
                same = [index for index in open_ if asked[index][0] == _count(entry)]
                which = (same or open_ or [len(asked) - 1])[0]
                said = str(entry.body.get("answer", "")) or "answered"
                asked[which] = (asked[which][0], replace(asked[which][1], answer=said))
        return tuple(sorted((question for _n, question in asked), key=lambda each: not each.answer))

    @property
    def followed(self) -> Mapping[str, Entry]:
        """What it left to be done and was done since, each by its key; said twice, the newest counts."""
        return {str(one.body.get("what", "")): one for one in self.events if one.event == "followed up"}

    @property
    def follow_ups(self) -> list[Entry]:
        """Every entry that something it left to be done was done, also one that another replaces."""
        return [one for one in self.events if one.event == "followed up"]

    @property
    def told(self) -> str:
        """Where the record stands, with who, when, why, and where signed paper is kept."""
        said = []
        for entry in self.events[1:]:
            how = f"{entry.event} by {entry.body.get('by', '?')} on {entry.at[:10]}"
            if entry.body.get("mode") == "pen":
                how += f" in ink (told, not proven; paper kept at {entry.body.get('kept_at', '?')})"
            words = entry.body.get("question") or entry.body.get("answer") or _followed(entry)
            why = f", because {entry.body['why']}" if entry.body.get("why") else ""
            said.append(f"{how}: {words}" if words else f"{how}{why}")
        return "; ".join([self.state, *said])

    @property
    def stands(self) -> bool:
        """Whether it is neither superseded nor voided."""
        return not any(entry.event in ("superseded", "voided") for entry in self.events)


def _followed(entry: Entry) -> str:
    """What was done, when and how; empty for another event."""
    if entry.event != "followed up":
        return ""
    what, done, how = (str(entry.body.get(word, "?")) for word in ("what", "done", "how"))
    return f"{what} done {done[:16].replace('T', ' ')}, {how}"


def _count(entry: Entry) -> str:
    """Which question of a record it is, or answers: the end of its key."""
    return entry.key.rsplit(" ", 1)[-1]
