"""What a finding of a triage can mean and how to look on, in plain words.

The causes and the measurements that part them are those of the plant's fault table where it has them
(turbidity that is flat, noisy or capped, a smooth and late control value), else common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo

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
from wqverify.procedures.consequences import OUTAGE

UNSIGNED = (
    "A finding speaks of a signal, never of an analyzer: whether that reads right is found with a standard "
    "or a grab. Nothing here is judged, signed or in the record book."
)
TAKEN = (
    "A limit that was not told is taken from the register or from the channel itself (common practice, no "
    "source); --json lists every one, and trends/exports.toml takes others."
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


def sentence(finding: Finding, zone: tzinfo) -> str:
    """Return when, how long and what: one sentence on the plant's clock."""
    who = finding.channel
    if finding.tag and finding.tag != finding.channel:
        who += f" ({finding.tag})"
    return f"{_when(finding, zone)}: {who} {_said(finding)}{_examples(finding, zone)}{_others(finding)}"


def _said(finding: Finding) -> str:
    counted = finding.kind in (SPIKES, RATES, BEYOND, SHORT_GAPS, GAP)
    return f"has {finding.said}" if counted else finding.said


def _when(finding: Finding, zone: tzinfo) -> str:
    first, last = clock(finding.first, zone), clock(finding.last, zone)
    if finding.first == finding.last:
        return first
    if first[:10] == last[:10]:
        last = last[11:]
    return f"{first} to {last}, {span(finding.seconds)}"


def _examples(finding: Finding, zone: tzinfo) -> str:
    if len(finding.at) < 2 and finding.rows == len(finding.at):
        return ""
    word = "the longest" if finding.kind in (SHORT_GAPS, TOUCHES) else "the greatest"
    return f"; {word} at {', '.join(clock(at, zone) for at in finding.at[:3])}" if finding.at else ""


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
