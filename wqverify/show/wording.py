"""Sentences that stand on every record, whatever the procedure: definitions, rules, what is not claimed."""

from __future__ import annotations

from collections.abc import Mapping

PERFORMER_MEANING = "I did this work; the readings are those I saw."
REVIEWER_MEANING = "I have read this record and agree with it; I did not do the work."
SIGNING_NOTE = (
    "With a key: name, meaning and time stand in the place and the signature covers the whole file. "
    "In ink: write name, signature, date and time; the digest below ties the paper to its data."
)

RULES: Mapping[str, str] = {
    "guarded": (
        "pass when |error| is at most T - U, fail when it is more than T + U, otherwise too close to decide "
        "(T: tolerance; limits one by one where they are not symmetrical). The risk that a value passed, or "
        "failed, is in truth on the other side of its limit is at most 2.3 %."
    ),
    "simple": (
        "pass when the value lies within its limits, the limits included; U is shown and not used. The "
        "nearer a value lies to its limit, the nearer to 50 % is the risk of a wrong pass or fail; U/T says "
        "how wide that zone is."
    ),
    "as the method states": (
        "the criterion of the method compares the values observed and has its scatter built in; U is shown "
        "and not used. The risk is the one the method accepts."
    ),
}

PROOF_FAILED = (
    "Before this record was made, values of others were run on this computer and did not all come out: "
    "{failed}. What was computed here is not to be relied on before the reason is known."
)

RISKS: Mapping[str, str] = {
    "guarded": "a wrong pass or fail has a risk of at most 2.3 %",
    "simple": "near a limit the risk of a wrong pass or fail comes near to 50 %",
    "as the method states": "the risk is the one the method accepts",
}

ROUNDING = (
    "Judged in decimals, limits included. Under guarded the value is first rounded half-even to the second "
    "figure of U, and U is rounded up; otherwise the difference is exact as typed."
)

DEFINITIONS: tuple[tuple[str, str], ...] = (
    (
        "verify",
        "compare with a standard and decide whether the error is within its tolerance; nothing is changed",
    ),
    ("calibrate", "find how the reading depends on standards, with uncertainty; nothing is changed by it"),
    (
        "adjust",
        "change the instrument so that it reads nearer to the standards; needs a check before and after",
    ),
    ("as found", "before cleaning or adjusting, as it had been working"),
    ("as left", "at the end of the work, as it goes on working"),
    ("error", "reading minus reference: an instrument that reads high has a positive error"),
    ("U", "expanded uncertainty k u of the value it stands beside, in the same unit, rounded up"),
    ("coverage", "95.45 %: k is 2.00 with many degrees of freedom and larger with few (t distribution)"),
    ("U/T", "U over half the width of the tolerance"),
    ("too close to decide", "neither a pass nor a fail"),
    ("not evaluated", "no statement, for the reason given; never a pass"),
)

OF_THE_ITEM = "The results relate only to the item named above, at the time of the work."
COPYING = "This record may be copied only in full."
NO_ACCREDITATION = "No accreditation is claimed for this work."
PATTERNS = (
    "ISO/IEC 17025, 40 CFR part 3 and 21 CFR part 11 served as patterns for this record; none of them is "
    "claimed to bind it."
)
OUT_OF_SERVICE = (
    "While it is out of service a rule may ask for samples by hand and for repair by a date. When they began "
    "and by when it has to be back stands here only where it was typed, in the note of the status or the "
    "remarks."
)
CHANGES_EVIDENT = (
    "Changes after signing are evident: a signature covers every byte of the file, and the book of records "
    "holds its digest. The book shows the removal of any record older than the newest digest held outside "
    "this computer; the foot of each page carries the digest of the entry before it."
)
CLOCK = (
    "Times of entry and signature are this computer's clock. Times of the work are as typed from a clock or "
    "watch."
)
SAME_VALUES = (
    "The attached record.json holds the same values with their labels and units, for machines; the page is "
    "made from it alone. Anyone can run the calculation again from this file: wqverify rerun FILE.pdf"
)
NOT_VERIFIED = "This verifies nothing: the check of its procedure is still due."
OWN_KEY = "A signing key belongs to one person and opens only with that person's passphrase."
BOOK = (
    "Each event of a record (performed, signed, reviewed, superseded, voided) is an entry of the book, with "
    "who and when."
)
SYNTHETIC = "Synthetic data: an invented plant, for demonstration only. Not a record of real work."
