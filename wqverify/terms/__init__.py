"""The vocabulary: what a visit, its result and its record are made of.

Frozen dataclasses only. Nothing here reads a file, knows chemistry or decides an outcome
(that is :func:`wqverify.calculations.judgement.judge`). Words are those of the trade, the GUM and
the VIM; the glossary is in DEVELOPERS.md.
"""

from __future__ import annotations

from wqverify.terms.clocks import RunningClock, clocks_in, due_facts
from wqverify.terms.computed import (
    BudgetLine,
    Chart,
    Check,
    Distribution,
    Input,
    Line,
    Note,
    NoteKind,
    Outcome,
    Place,
    Quantity,
    Result,
    Series,
    SizeFrom,
    Value,
    Working,
)
from wqverify.terms.kept import (
    JOURNAL,
    Caution,
    Previous,
    Proof,
    Record,
    Software,
)
from wqverify.terms.known import (
    Analyzer,
    Assigned,
    Change,
    Cited,
    Earlier,
    Given,
    Hop,
    Person,
    SampleLine,
    Site,
    Standard,
    StandardCause,
    TableUse,
    TrendUse,
    Window,
)
from wqverify.terms.procedure import (
    Binding,
    Procedure,
    Raw,
    Setting,
    Slices,
)
from wqverify.terms.tolerance import (
    Basis,
    Rule,
    Tolerance,
)
from wqverify.terms.typed import (
    Ask,
    Beside,
    Entry,
    Reading,
    Said,
)

__all__ = [
    "JOURNAL",
    "Analyzer",
    "Ask",
    "Assigned",
    "Basis",
    "Beside",
    "Binding",
    "BudgetLine",
    "Caution",
    "Change",
    "Chart",
    "Check",
    "Cited",
    "Distribution",
    "Earlier",
    "Entry",
    "Given",
    "Hop",
    "Input",
    "Line",
    "Note",
    "NoteKind",
    "Outcome",
    "Person",
    "Place",
    "Previous",
    "Procedure",
    "Proof",
    "Quantity",
    "Raw",
    "Reading",
    "Record",
    "Result",
    "Rule",
    "RunningClock",
    "Said",
    "SampleLine",
    "Series",
    "Setting",
    "Site",
    "SizeFrom",
    "Slices",
    "Software",
    "Standard",
    "StandardCause",
    "TableUse",
    "Tolerance",
    "TrendUse",
    "Value",
    "Window",
    "Working",
    "clocks_in",
    "due_facts",
]
