"""The heads of the chains: those that came with the pack, and those kept elsewhere."""

import re
from datetime import datetime
from pathlib import Path
from typing import Any

from wqverify.pack.script.chain import Chain, missing
from wqverify.pack.script.reading import text_of
from wqverify.pack.script.said import Report

HEAD = re.compile(r"([A-Za-z0-9]{1,12}):([0-9]{1,15}):([0-9a-fA-F]{16,64})")
WHEN = ("begin", "end", "now")  # which heads of a chain heads.txt names
WHEN_SAID = {"begin": "before the month", "end": "at its end", "now": "now"}  # what the page calls them
Head = Any  # (which, chain, seq, digest)


def read_heads(folder: Path, report: Report) -> "tuple[str, Any, list[Head]]":
    """Return the month, its bounds and the heads that the pack names: (which, chain, seq, digest)."""
    month = ""
    heads: list[Head] = []
    said: dict[str, str] = {}
    text = text_of(folder, "heads.txt", report)
    if text is None:  # that it is missing was said
        return "", None, []
    for line in text.splitlines():
        word, _, rest = line.strip().partition(" ")
        rest = rest.strip()
        match = HEAD.fullmatch(rest)
        if word == "month" and re.fullmatch(r"[0-9]{4}-(0[1-9]|1[0-2])", rest) and not month:
            month = rest
        elif match and word in WHEN:
            heads.append((word, match[1], int(match[2]), match[3]))
        elif word in ("from", "to") and word not in said:
            said[word] = rest
        elif line.strip() and not line.startswith("#"):
            report.bad.append(f"heads.txt holds a line that says nothing: {line.strip()[:60]}")
    if not month:
        report.bad.append("heads.txt names no month: which records belong to the pack is not known.")
    bounds = bounds_of(month, said)
    if month and bounds is None:
        report.bad.append(
            f"heads.txt does not say from when to when {month} went: which entries are of it is not known."
        )
    return month, bounds, heads


def bounds_of(month: str, said: "dict[str, str]") -> Any:
    """Return the first moment of a month and that of the next one, None where they are not said.

    >>> said = {"from": "2026-12-01T00:00:00-06:00", "to": "2027-01-01T00:00:00-06:00"}
    >>> [str(each) for each in bounds_of("2026-12", said)]
    ['2026-12-01 00:00:00-06:00', '2027-01-01 00:00:00-06:00']
    """
    try:
        year, number = (int(each) for each in month.split("-"))
        after = f"{year + number // 12:04d}-{number % 12 + 1:02d}"
        found = [datetime.fromisoformat(said[word]) for word in ("from", "to")]
        firsts = [each.isoformat()[:19] for each in found]
        if firsts == [f"{each}-01T00:00:00" for each in (month, after)] and found[0] < found[1]:
            return found if all(each.tzinfo for each in found) else None
    except (ValueError, KeyError, TypeError):
        pass
    return None


def compare_outside(
    chains: "dict[str, Chain]", heads: "list[Head]", report: Report, own: "list[Head]"
) -> None:
    """Compare heads with the chains; what a head names must be there, and be the same.

    ``own`` are those of heads.txt, which show nothing by themselves.
    """
    for which, name, seq, told in heads:
        chain = chains.get(name)
        if chain is None:
            report.bad.append(f"{which} names entry {seq} of {name}: that chain is not in the pack.")
        elif seq > chain.last:
            lost = missing(chain.last + 1, seq)
            report.bad.append(f"{lost} of {name} cannot be found, cut off at the end: {which} names {seq}.")
        elif not chain.digests.get(seq, "").startswith(told.lower()):
            report.bad.append(f"Entry {seq} of {name} is not the one that {which} names: it was altered.")
        elif which.startswith("the head"):
            same = [here for here, *rest in own if rest[:2] == [name, seq]]
            known = (
                f" heads.txt names it too ({same[0]}): that shows something only if it came" if same else ""
            )
            report.good.append(
                f"{which}: entry {seq} of {name} is the one named."
                + (f"{known} from elsewhere, not out of this pack." if same else "")
            )


def compare_heads(
    chains: "dict[str, Chain]", heads: "list[Head]", month: str, bounds: Any, report: Report
) -> None:
    """Compare the heads that came with the pack: each chain has three, and each is recomputed."""
    if "heads.txt" in report.unread:
        return
    before = len(report.bad)
    compare_outside(chains, [(f"heads.txt ({word})", *rest) for word, *rest in heads], report, [])
    for name, chain in sorted(chains.items()):
        good = len(report.bad)
        found = {"begin": chain.at["begin"], "end": chain.at["end"], "now": chain.last}
        for word in WHEN:
            named = [(seq, digest) for which, of, seq, digest in heads if (which, of) == (word, name)]
            if len(named) != 1:
                how = "no head" if not named else "more than one head"
                report.bad.append(f"heads.txt names {how} of {name} for {word}.")
            elif len(named[0][1]) != 64:
                report.bad.append(f"heads.txt ({word}) names only a part of the digest of {name}.")
            elif word == "now" and named[0][0] < chain.last:
                report.bad.append(
                    f"{missing(named[0][0] + 1, chain.last)} of {name} came after the pack was made."
                )
            elif word != "now" and bounds and named[0][0] != found[word]:
                report.bad.append(
                    f"heads.txt ({word}) names entry {named[0][0]} of {name}; by the times of the entries it "
                    f"is entry {found[word]}."
                )
        if len(report.bad) == good == before:
            said = [f"entry {found[word]}" if found[word] else "no entry" for word in WHEN]
            report.good.append(
                f"heads.txt: {name} had {said[0]} before {month}, {said[1]} when it had ended and {said[2]} "
                f"when this pack was made, as recomputed."
            )
