"""Perform, sign, review, accept: one function each, the order of the steps and nothing else."""

from wqverify.acts.keys import issue_key, make_authority, withdraw_key
from wqverify.acts.perform import Performed, compute_only, perform
from wqverify.acts.register import accept, unexplained
from wqverify.acts.signatures import (
    PERFORMER,
    REVIEWER,
    allowed_to_review,
    allowed_to_sign,
    record_of,
    review,
    sign,
    sign_on_paper,
    void,
)

__all__ = [
    "PERFORMER",
    "REVIEWER",
    "Performed",
    "accept",
    "allowed_to_review",
    "allowed_to_sign",
    "compute_only",
    "issue_key",
    "make_authority",
    "perform",
    "record_of",
    "review",
    "sign",
    "sign_on_paper",
    "unexplained",
    "void",
    "withdraw_key",
]
