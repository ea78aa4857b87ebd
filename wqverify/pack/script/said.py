"""What is said of a pack: what holds, what does not, and what cannot be seen from it."""

import sys

NOT_JSON = (ValueError, KeyError, TypeError, AttributeError, RecursionError, LookupError)
DASH = "\u2014"  # stands where there is nothing to say

HIDDEN = "What a style hides or paints over is not seen: the CSV files count."
CANNOT_SEE = (
    "Whether every visit was entered: a visit that nobody ran left no trace here.",
    "Whether the times are right: they are those of the plant's computer.",
    "Who was at the keyboard, and whether the signatures are good: a PDF reader that checks "
    "signatures shows them, a browser does not.",
    "Who voided, superseded, skipped, asked, followed up or changed something, and who signed in ink: no key "
    "signs that; it is told, not proven.",
    "Entries removed from the end or changed after the newest record, or a chain written anew with its PDFs, "
    "unless a head kept outside the plant's computer is named; heads.txt came with this pack and could have "
    "been changed with it.",
    "Whether the plant's certificate is the plant's: compare its fingerprint with the plant by another way.",
    "Whether the page of a PDF says what the record.json attached to it says: `wqverify rerun` on it, or "
    "your eyes; its digest and its signatures show a page that was changed since.",
    "Whether plan, skipped, open, changes, told, opened and unexplained are right: they are made from the "
    "chains and the plant's folder; the text of index.html and index.xlsx is compared with them, but only "
    "the manifest, which came with this pack, holds them and the sentences of the pages. " + HIDDEN,
    "Names of people and devices beside those that a record holds: the tables are compared by staff id.",
    "Whether this script is the one that wqverify ships: read it, or lay a copy of your own in its place.",
    "Whether the numbers are right: check_by_hand.html shows how to recompute one.",
)


class Report:
    """What holds and what does not, in sentences; and whose line ends were written anew."""

    def __init__(self) -> None:
        self.good: list[str] = []
        self.bad: list[str] = []
        self.translated: list[str] = []
        self.unread: set[str] = set()

    def once(self, sentence: str) -> None:
        """Say what does not hold, once."""
        if sentence not in self.bad:
            self.bad.append(sentence)


def say(line: str = "") -> None:
    """Print a line as this console can show it; nothing in it steers the console."""
    print("".join(shown(c, sys.stdout.encoding or "ascii") for c in line))


def shown(c: str, encoding: str) -> str:
    r"""Return a letter where it is printed and the encoding has it, else its escape.

    >>> shown("\u00e9", "ascii"), shown("\u202e", "utf-8"), shown("\u00e9", "utf-8") == "\u00e9"
    ('\\xe9', '\\u202e', True)
    """
    try:
        if c.isprintable() and c.encode(encoding):
            return c
    except (UnicodeError, LookupError):
        pass
    return ascii(c)[1:-1]


def tell(report: Report, compared: bool) -> None:
    """Print what was found."""
    say("DOES NOT HOLD" if report.bad else "Nothing was found that does not hold.")
    for line in report.bad:
        say(f"  - {line}")
    say()
    say("HOLDS")
    for line in report.good:
        say(f"  - {line}")
    say()
    say("CANNOT BE SEEN FROM THIS PACK")
    for line in CANNOT_SEE:
        say(f"  - {line}")
    if not compared:
        say()
        say(
            "No head kept outside the plant's computer was named: python -I verify_chains.py CHAIN:SEQ:DIGEST"
        )
