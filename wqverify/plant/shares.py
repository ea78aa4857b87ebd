"""What share of a tolerance the expanded uncertainty will take, before any visit is made."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from wqverify.plant.models import AnalyzerEntry, ToleranceEntry

GUARDED_UP_TO = Decimal("0.7")  # above it six of ten visits end undecided and guarded is refused
GUARDED_FITS = Decimal("0.34")  # up to it at most a fifth of visits ends undecided

# U to expect where the register states none: a display of 0.01 pH, a table of two decimals, sizes assumed
# from common practice (the worst buffer, 10.01, which takes up carbon dioxide).
TYPICAL = {
    ("ph", "error"): Decimal("0.037"),
    ("ph", "check_buffer"): Decimal("0.037"),
    ("ph", "grab"): Decimal("0.065"),
}


@dataclass(frozen=True, slots=True)
class Share:
    """The expected share U/T of one tolerance."""

    tag: str
    name: str
    rule: str
    half_width: Decimal
    expanded: Decimal
    assumed: bool
    unit: str

    @property
    def share(self) -> Decimal:
        """U/T, with two decimals and never shown smaller than it is."""
        return (self.expanded / self.half_width).quantize(Decimal("0.01"), ROUND_CEILING)

    def __str__(self) -> str:
        size = f"U {self.expanded} {self.unit}{' (assumed)' if self.assumed else ''}"
        line = f"{self.tag}, tolerance {self.name}: {size} is {self.share} of {self.half_width}"
        if self.rule != "guarded":
            return f"{line}; judged {self.rule}"
        left = self.half_width - self.expanded
        fits = "" if self.share <= GUARDED_FITS else "; above a third the rule simple decides more visits"
        return f"{line}; guarded passes within {left}{fits}"


def said_of(analyzer: AnalyzerEntry, name: str, entry: ToleranceEntry) -> str:
    """Return what to say of a tolerance before any visit; empty where nothing is known and needed."""
    share = share_of(analyzer, name, entry)
    if share is not None:
        return str(share)
    if entry.rule == "guarded":
        return (
            f"{analyzer.tag}, tolerance {name}: judged guarded, and no uncertainty to expect is known; add "
            f"expected_expanded"
        )
    return ""


def share_of(analyzer: AnalyzerEntry, name: str, entry: ToleranceEntry) -> Share | None:
    """Return the share to expect of a tolerance; None where T or U is not known beforehand."""
    half = entry.tolerance().half_width(Decimal(0))
    typical = TYPICAL.get((analyzer.measures.lower(), name)) if entry.unit == analyzer.unit else None
    expanded = entry.expected_expanded or typical
    if not half or not expanded:
        return None
    return Share(analyzer.tag, name, entry.rule, half, expanded, entry.expected_expanded is None, entry.unit)
