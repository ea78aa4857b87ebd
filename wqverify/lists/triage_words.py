"""What a finding of a triage can mean and how to look on, in plain words.

The causes and the measurements that part them are those of the plant's fault table where it has them
(turbidity that is flat, noisy or capped, a smooth and late control value), else common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

from wqverify.lists.triage_findings import (
    BEYOND,
    CLAMPED,
    CONSTANT,
    DEAD,
    FLAT,
    GAP,
    NOISE,
    RATES,
    SHORT_GAPS,
    SPIKES,
    TOUCHES,
    TWIN,
    Finding,
    span,
)
from wqverify.lists.triage_windows import BESIDE_S
from wqverify.procedures.consequences import OUTAGE
from wqverify.trends.export import Stamp

UNSIGNED = (
    "A finding speaks of a signal, never of an analyzer: whether that reads right is found with a standard "
    "or a grab. Nothing here is judged, signed or in the record book."
)
TAKEN = (
    "A limit that was not told is taken from the register or from the channel itself (common practice, no "
    "source); --json lists every one, and trends/exports.toml takes others."
)

BESIDE = (
    f"Single rows within {BESIDE_S // 60} min of these, and the rows next to them, are not looked at one by "
    "one (common practice, no source)."
)


@dataclass(frozen=True, slots=True)
class Words:
    """What one kind of finding means, and what to look at next."""

    means: str
    look: str


_STILL = Words(
    "The same value to the last digit for much longer than this channel repeats one: a held output, a sensor "
    "or lamp that is off, a value frozen on its way to the archive, or water that stands still.",
    "Look at the display of the analyzer. If it moves, look hop by hop for where the value stops. If it "
    "stands too, shut the light path, lift the sensor or put it into a standard: no change is a hold or a "
    "dead sensor.",
)

WORDS: Mapping[str, Words] = {
    DEAD: Words(
        f"{_STILL.means} A dead trend opens a monitor outage where a rule asks for grabs meanwhile.",
        _STILL.look,
    ),
    FLAT: _STILL,
    CONSTANT: Words(
        "Nothing but one value, in a channel of no analyzer of the register: a mark, or a dead signal.",
        "Name the analyzer it belongs to in trends/exports.toml, or leave the channel out with --channel.",
    ),
    CLAMPED: Words(
        "What lies beyond the end of the range was cut off: what the water did meanwhile is not known.",
        "Compare the ranges of transmitter, input card, display and archive; a loop check tells "
        "where it ends.",
    ),
    TOUCHES: Words(
        "It reaches an end of the range for short times: peaks there may be cut off.",
        "Compare the height of these peaks with the display of the analyzer.",
    ),
    BEYOND: Words(
        "Values that the range of the register does not allow: another range there, or a mark for missing.",
        "Compare the register with the ranges at both ends; a mark is told as missing in "
        "trends/exports.toml.",
    ),
    GAP: Words(
        "Nothing was archived: what the water did is not known, and a rule that counts pairs of "
        "values breaks.",
        "Look whether other channels have the same gap: then it is the archive or the link, not "
        "the analyzer.",
    ),
    SHORT_GAPS: Words(
        "Rows are missing here and there: a mean or a count over them stands on fewer values.",
        "Look whether they come at one time of day, such as that of a backup.",
    ),
    TWIN: Words(
        "Two channels of the same water lie too far apart: one is wrong, or they do not see the same water.",
        "Take a grab at the point of each; which of the two is wrong cannot be told from the signals.",
    ),
    NOISE: Words(
        "It moves far less from row to row than it usually does: damping was raised, the archive "
        "takes changes "
        "of a certain size only, the sensor is covered, or the sample stands.",
        "Compare damping of transmitter, input card and display; look at the flow of the sample, then clean.",
    ),
    SPIKES: Words(
        "Single rows stand out from both neighbours. Upward only: bubbles or particles in an "
        "optical cell. Both "
        "ways: the electronics, a loose wire or an earth.",
        "Close the outlet of the cell slightly: spikes that vanish were bubbles, those that stay were not.",
    ),
    RATES: Words(
        "It changed faster than it usually does: an event in the water, a start, an adjustment or a visit.",
        "Look what the plant did then, and whether a visit is missing in the record book.",
    ),
}
NO_TAG = (
    "The command that begins an outage is shown where the channel is that of an analyzer: name its tag in "
    "trends/exports.toml, or its channel as control_system_tag in the register."
)
TOGETHER = "Several channels stand still at once: look at the archive or the link before any analyzer."


def command(finding: Finding) -> tuple[str, ...]:
    """Return the words of the command that goes on with a finding; none where there is none.

    A dead trend of an analyzer of the register begins the sheet on which its outage is kept.
    """
    if finding.kind == DEAD and finding.tag:
        return ("wqverify", "step", OUTAGE, finding.tag)
    return ()


def sentence(finding: Finding, zone: tzinfo, stamps: Mapping[int, Stamp] | None = None) -> str:
    """Return when, how long and what: one sentence on the plant's clock, and where it stands in the file."""
    who = finding.channel
    if finding.tag and finding.tag != finding.channel:
        who += f" ({finding.tag})"
    named = stamps or {}
    what = f"{_said(finding)}{_examples(finding, zone, named)}{_others(finding)}"
    return f"{_when(finding, zone)}: {who} {what}{in_file(finding, zone, named)}"


def _said(finding: Finding) -> str:
    counted = finding.kind in (SPIKES, RATES, BEYOND, SHORT_GAPS, GAP)
    return f"has {finding.said}" if counted else finding.said


def _when(finding: Finding, zone: tzinfo) -> str:
    """From when to when; of what lies scattered no length is told, for most rows between are good."""
    if finding.first == finding.last:
        return clock(finding.first, zone)
    if finding.runs > 1:
        return f"between {_from_to(finding.first, finding.last, zone, 'and')}"
    return f"{_from_to(finding.first, finding.last, zone)}, {span(finding.seconds)}"


def _from_to(first: int, last: int, zone: tzinfo, word: str = "to") -> str:
    begin, end = clock(first, zone), clock(last, zone)
    return f"{begin} {word} {end[11:] if begin[:10] == end[:10] else end}"


def in_file(finding: Finding, zone: tzinfo, stamps: Mapping[int, Stamp]) -> str:
    """Return where a finding stands in its file; of what lies scattered the gravest rows tell it."""
    return "" if finding.runs > 1 else _place(finding.first, finding.last, zone, stamps)


def _place(first: int, last: int, zone: tzinfo, stamps: Mapping[int, Stamp]) -> str:
    """Lines of the file, and its times as written where the clock of the file is another one."""
    if first not in stamps or last not in stamps:
        return ""
    one, two = stamps[first], stamps[last]
    parts = []
    if _another_clock(first, zone, one) or _another_clock(last, zone, two):
        parts.append("in the file " + (one.text if first == last else f"{one.text} to {two.text}"))
    if one.line:
        parts.append(f"line {one.line}" if first == last else f"lines {one.line} to {two.line}")
    return f" [{', '.join(parts)}]" if parts else ""


def _another_clock(at: int, zone: tzinfo, stamp: Stamp) -> bool:
    shown = datetime.fromtimestamp(at, zone)
    return int(shown.replace(tzinfo=UTC).timestamp()) != stamp.local


def _examples(finding: Finding, zone: tzinfo, stamps: Mapping[int, Stamp]) -> str:
    """Name the gravest rows; none where there is only one, or one gap or stand at an end."""
    long = finding.kind in (SHORT_GAPS, TOUCHES)
    if not finding.at or finding.rows == 1 or (long and finding.runs == 1):
        return ""
    named = (f"{clock(at, zone)}{_place(at, at, zone, stamps)}" for at in finding.at[:3])
    said = f"; the {'longest' if long else 'greatest'} at {', '.join(named)}"
    if finding.longest is not None:
        first, last, rows = finding.longest
        place = _place(first, last, zone, stamps)
        said += f"; the longest run from {_from_to(first, last, zone)}{place}, {rows} rows"
    return said


def _others(finding: Finding) -> str:
    if not finding.others:
        return ""
    shown = ", ".join(finding.others[:4])
    more = f" and {len(finding.others) - 4} more" if len(finding.others) > 4 else ""
    return f"; at the same time {shown}{more}"


def clock(seconds: int, zone: tzinfo) -> str:
    """Return a moment on the plant's clock; with its offset in an hour that happened twice.

    >>> from zoneinfo import ZoneInfo
    >>> clock(1_793_507_400, ZoneInfo("America/New_York")), clock(1_793_514_600, ZoneInfo("America/New_York"))
    ('2026-11-01 00:30', '2026-11-01 01:30-05:00')
    """
    at = datetime.fromtimestamp(seconds, zone)
    twice = at.replace(fold=0).utcoffset() != at.replace(fold=1).utcoffset()
    return at.isoformat(" ", "minutes") if twice else f"{at:%Y-%m-%d %H:%M}"


def told_once(findings: tuple[Finding, ...]) -> Iterator[Finding]:
    """Give the findings without those an earlier one of the same kind has named among its others."""
    given: list[Finding] = []
    for one in findings:
        named = one.kind in (FLAT, GAP, SHORT_GAPS) and any(
            two.kind == one.kind and one.channel in two.others and two.channel in one.others
            and min(one.last, two.last) > max(one.first, two.first)
            for two in given
        )  # fmt: skip
        if not named:
            given.append(one)
            yield one
