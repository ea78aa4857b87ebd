"""What the entries about one record come to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from wqverify.book.entry import Entry, instant

RETURNED = "returned with a question"


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
        return next((str(e.body["pdf"]) for e in reversed(self.events) if "pdf" in e.body), "")

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
        """The questions it was returned with, each with its answer, in their order."""
        asked: list[Question] = []
        for entry in self.events:
            by = str(entry.body.get("by", ""))
            if entry.event == RETURNED:
                asked.append(Question(str(entry.body.get("question", "")), by))
            elif entry.event == "answered" and asked:
                asked[-1] = replace(asked[-1], answer=str(entry.body.get("answer", "")) or "answered")
        return tuple(asked)

    @property
    def told(self) -> str:
        """Where the record stands, with who, when, why, and where signed paper is kept."""
        said = []
        for entry in self.events[1:]:
            how = f"{entry.event} by {entry.body.get('by', '?')} on {entry.at[:10]}"
            if entry.body.get("mode") == "pen":
                how += f" in ink (told, not proven; paper kept at {entry.body.get('kept_at', '?')})"
            words = entry.body.get("question") or entry.body.get("answer") or ""
            why = f", because {entry.body['why']}" if entry.body.get("why") else ""
            said.append(f"{how}: {words}" if words else f"{how}{why}")
        return "; ".join([self.state, *said])

    @property
    def stands(self) -> bool:
        """Whether it is neither superseded nor voided."""
        return not any(entry.event in ("superseded", "voided") for entry in self.events)
