"""A record becomes blocks: what a person reads, in the order it is read, in plain text.

Nothing here knows a procedure or a measured quantity: labels and units come with the record, so that a
record of version 1 can be shown by version 9. The three parts of a record are three modules; the faces
(terminal, HTML, page) know the kinds of block only.
"""

from __future__ import annotations

from wqverify.show.evidence import evidence
from wqverify.show.first_sheet import first_sheet
from wqverify.show.kinds import (
    Block,
    CautionBlock,
    ChartBlock,
    Column,
    Facts,
    Formula,
    Heading,
    PageBreak,
    Row,
    SignaturePlace,
    Signatures,
    Statement,
    Table,
    Title,
    Verdict,
    Verdicts,
)
from wqverify.show.provenance import provenance
from wqverify.terms import Record

__all__ = [
    "Block",
    "CautionBlock",
    "ChartBlock",
    "Column",
    "Facts",
    "Formula",
    "Heading",
    "PageBreak",
    "Row",
    "SignaturePlace",
    "Signatures",
    "Statement",
    "Table",
    "Title",
    "Verdict",
    "Verdicts",
    "blocks",
]


def blocks(record: Record) -> tuple[Block, ...]:
    """Return the blocks of a record: the first sheet, the evidence behind it, how it was made and is kept."""
    return (*first_sheet(record), PageBreak(), *evidence(record), *provenance(record))
