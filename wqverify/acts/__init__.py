"""Perform, sign, review, accept: one function each, the order of the steps and nothing else."""

from wqverify.acts.carried import export
from wqverify.acts.follow_up import follow_up
from wqverify.acts.keys import issue_key, make_authority, withdraw_key
from wqverify.acts.perform import Performed, compute_only, perform
from wqverify.acts.piles import Pile, pile_to_review, pile_to_sign
from wqverify.acts.prepare import HeadOf, prepare_round
from wqverify.acts.proof import Kept, keep_proof, kept_proofs, newest_proof
from wqverify.acts.questions import answer, ask
from wqverify.acts.register import accept, unexplained
from wqverify.acts.rounds import RoundDone, Walk, Walked, check_walk, perform_walk
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
from wqverify.acts.take_in import TakenIn, take_in, taken_in

__all__ = [
    "PERFORMER",
    "REVIEWER",
    "HeadOf",
    "Kept",
    "Performed",
    "Pile",
    "RoundDone",
    "TakenIn",
    "Walk",
    "Walked",
    "accept",
    "allowed_to_review",
    "allowed_to_sign",
    "answer",
    "ask",
    "check_walk",
    "compute_only",
    "export",
    "follow_up",
    "issue_key",
    "keep_proof",
    "kept_proofs",
    "make_authority",
    "newest_proof",
    "perform",
    "perform_walk",
    "pile_to_review",
    "pile_to_sign",
    "prepare_round",
    "record_of",
    "review",
    "sign",
    "sign_on_paper",
    "take_in",
    "taken_in",
    "unexplained",
    "void",
    "withdraw_key",
]
