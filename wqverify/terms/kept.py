"""What is kept: a record is case, result and provenance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from wqverify.terms.computed import Result
from wqverify.terms.known import Given
from wqverify.terms.typed import Entry

JOURNAL = "journal.jsonl"  # what the journal of a visit is called among the attachments


@dataclass(frozen=True, slots=True)
class Proof:
    """Published values run with the software that made a record, on the computer that made it."""

    at: str  # ISO 8601 with offset, this computer's clock
    file: str  # its name in the folder proofs of the plant
    digest: str  # SHA-256 of that file
    values: int
    failed: tuple[str, ...] = ()  # each value that did not come out as printed, in words


@dataclass(frozen=True, slots=True)
class Software:
    """What made a record."""

    wqverify: str
    python: str
    typst: str
    notebook: str  # name of the notebook
    notebook_digest: str
    proof: Proof | None = None  # the newest one of this software, where there is any
    code: str = ""  # SHA-256 over the source of what computes; empty where it was not stated yet


@dataclass(frozen=True, slots=True)
class Previous:
    """The entry of the book that stood last when this record was made."""

    chain: str
    seq: int
    digest: str


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution of a procedure; ``source`` names the document or says common practice."""

    text: str
    source: str = ""


@dataclass(frozen=True, slots=True)
class Record:
    """Case, result and provenance. Its canonical JSON is the truth; the page is a pure function of it."""

    format: int
    page: int
    number: str
    visit_id: str
    procedure: str
    title: str
    revision: int
    performed: str  # ISO 8601 with offset: start of the work
    entered: str  # ISO 8601 with offset: when the record was made, this computer's clock
    performed_by: str
    sheet: Mapping[str, Any]
    entries: tuple[Entry, ...]
    cautions: tuple[Caution, ...]
    given: Given
    result: Result
    software: Software
    previous: Previous
    attachments: Mapping[str, str] = field(default_factory=dict)  # name -> sha256
    replaces: str = ""
    replaces_why: str = ""
