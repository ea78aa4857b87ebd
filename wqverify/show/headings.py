"""The headings of a record, in their order: a notebook asks for sections by these words."""

from __future__ import annotations

from typing import Final

ANALYZER_AND_WORK: Final = "Analyzer and work"
OUTCOME: Final = "Outcome"
STANDARDS: Final = "Standards and instruments used"
CHECKS: Final = "Checks"
NOT_DONE: Final = "Not done"

OBSERVATIONS: Final = "Observations as typed, in the order of the work"
SIGNAL: Final = "Signal, hop by hop"
TRENDS: Final = "Trends the online values are from"
HELD: Final = "Output held, loop in manual, alarm blocked"
ADJUSTMENT: Final = "Adjustment"
CHARTS: Final = "Charts"
NOTES: Final = "What the result says, and what it cannot see"
BY_HAND: Final = "Calculation by hand"
VALUES: Final = "Computed, not judged"
BUDGETS: Final = "Uncertainty budgets"
CAUTIONS: Final = "Cautions shown before the work"
CHANGES: Final = "Changed since the last record of this analyzer"
EARLIER: Final = "Earlier records this one rests on"

RULES: Final = "Rule of decision and its risk"
PEOPLE: Final = "People"
WORDS: Final = "Words as used here"
MADE_WITH: Final = "Made with"
ABOUT: Final = "About this record"

HEADINGS: Final = (
    ANALYZER_AND_WORK,
    OUTCOME,
    STANDARDS,
    CHECKS,
    NOT_DONE,
    OBSERVATIONS,
    SIGNAL,
    TRENDS,
    HELD,
    ADJUSTMENT,
    CHARTS,
    NOTES,
    BY_HAND,
    VALUES,
    BUDGETS,
    CAUTIONS,
    CHANGES,
    EARLIER,
    RULES,
    PEOPLE,
    WORDS,
    MADE_WITH,
    ABOUT,
)
