"""All of it: the order in which a pack is checked, and what is said."""

import re
import sys
from pathlib import Path

from wqverify.pack.script.chain import read_chains
from wqverify.pack.script.heads import HEAD, Head, compare_heads, compare_outside, read_heads
from wqverify.pack.script.index_page import check_page
from wqverify.pack.script.manifest import check_manifest
from wqverify.pack.script.pdfs import check_pdfs
from wqverify.pack.script.reading import check_names
from wqverify.pack.script.said import Report, say, tell
from wqverify.pack.script.vouching import check_by_hand, check_certificates, check_fingerprints
from wqverify.pack.script.workbook import check_workbook


def check(folder: Path, outside: "list[Head]") -> Report:
    """Return the report on a pack; ``outside`` are heads kept elsewhere, as (which, chain, seq, digest)."""
    report = Report()
    names = check_names(folder, report)
    month, bounds, heads = read_heads(folder, report)
    chains = read_chains(folder, names, bounds, report)
    compare_heads(chains, heads, month, bounds, report)
    compare_outside(chains, outside, report, heads)
    if month:
        check_pdfs(folder, names, chains, month, report)
    check_page(folder, heads, month, report)
    check_workbook(folder, report)
    check_certificates(folder, chains, report)
    check_fingerprints(folder, report)
    check_by_hand(folder, chains, heads, report)
    check_manifest(folder, names, report)
    if report.translated:
        report.bad.append(
            f"Only the line ends were written anew, as a mail program or an editor does it, of "
            f"{', '.join(report.translated)}: unpack the pack once more, and compare that."
        )
    return report


def main(arguments: "list[str]") -> int:
    """Check the pack this file lies in."""
    outside: list[Head] = []
    for text in arguments:
        match = HEAD.fullmatch(text)
        short = re.fullmatch("[A-Za-z0-9]{1,12}:[0-9]{1,15}:([0-9a-fA-F]{1,15})", text)
        if short:
            say(f"{text} names {len(short[1])} digits of a digest: 16 are wanted at least, 64 at most.")
            return 1
        if not match:
            say(f"{text[:80]} is not a head; name it as CHAIN:SEQ:DIGEST, such as L1:94:0a1b2c3d4e5f6071.")
            return 1
        if not int(match[2]):
            say(f"{text[:80]} is the head of an empty chain: it holds nothing to compare with.")
            return 1
        outside.append(("the head you named", match[1], int(match[2]), match[3]))
    try:
        report = check(Path(__file__).resolve().parent, outside)
    except OSError as problem:
        say(f"A file of the pack cannot be read: {problem.filename or ''} {problem.strerror or problem}")
        return 1
    try:
        tell(report, bool(outside))
        sys.stdout.flush()
    except BrokenPipeError:  # who reads it, as `head`, wanted no more
        sys.stderr.close()
    return 1 if report.bad else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
