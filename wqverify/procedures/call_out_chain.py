"""The signal from the water to the archive, split in halves: which places were read, which of them agree.

Each place of the signal stands for a part of the span; how two of them are compared stands in
``call_out_compare``. What lies between the last place that agrees and the first that does not holds the
fault.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from wqverify.procedures.call_out_case import ARCHIVE, CHAIN, DISPLAY, REFERENCE, SHOWN, VOLTS, Case, Measure
from wqverify.procedures.call_out_compare import Hop, compared, key_of, ohm_of

ENDS = "ends"  # key of the check of both ends, where places between them were read too


def known(case: Case) -> list[Measure]:
    """Return the places that were read, in the order of the signal."""
    return [one for one in CHAIN if one.what in case.read and (one is not VOLTS or ohm_of(case) is not None)]


def hops(case: Case, stage: str) -> list[Hop]:
    """Return every pair of places that follow each other among those that were read, judged."""
    return [compared(case, stage, before, after) for before, after in pairwise(known(case))]


def ends(case: Case, stage: str) -> Hop | None:
    """Return display and control system compared, where places between them were read too.

    Every place can agree with the one before it and the ends still not: what is set at both does not fit.
    """
    here = known(case)
    if DISPLAY not in here or SHOWN not in here or here.index(SHOWN) - here.index(DISPLAY) == 1:
        return None
    return compared(case, stage, DISPLAY, SHOWN, key=f"{stage}.{ENDS}")


def every(case: Case, stage: str) -> list[Hop]:
    """Return all that is judged of a stage."""
    both = ends(case, stage)
    return [*hops(case, stage), *([both] if both is not None else [])]


def keys_of(case: Case, stage: str) -> list[str]:
    """Return the keys of the checks of a stage."""
    both = ends(case, stage)
    keys = [key_of(stage, before, after) for before, after in pairwise(known(case))]
    return [*keys, *([both.check.key] if both is not None else [])]


# ---------------------------------------------------------------- where to look next


def region(case: Case, judged: Sequence[Hop]) -> tuple[Measure, Measure] | None:
    """Return the two places of the signal between which to look: the first pair that does not agree.

    Where none fails, the end of the signal that was not read yet: the water, then the control
    system. None where nothing is left to read.
    """
    wrong = next((hop for hop in judged if hop.fails), None)
    if wrong is not None:
        return wrong.before, wrong.after
    here = known(case)
    if not here:
        return REFERENCE, ARCHIVE
    if here[0] is not REFERENCE:
        return REFERENCE, here[0]
    return (here[-1], ARCHIVE) if here[-1] not in (SHOWN, ARCHIVE) else None


def halves(case: Case, between: tuple[Measure, Measure]) -> list[Measure]:
    """Return what can be read between two places, the most telling first.

    First the two ends that a person can see, then the water, then the volts across the input (nothing is
    opened for them; a place only where the resistor is known), then the place in the middle of what is left.
    """
    first, last = (CHAIN.index(one) for one in between)
    inside = [one for one in CHAIN[first + 1 : last] if one is not VOLTS or ohm_of(case) is not None]
    easy = [one for one in (DISPLAY, SHOWN) if one in inside]
    if between[0] is REFERENCE and REFERENCE.what not in case.read:
        easy.append(REFERENCE)
    easy += [one for one in (VOLTS,) if one in inside]
    return [*easy, *_from_the_middle([one for one in inside if one not in easy])]


def _from_the_middle(places: list[Measure]) -> list[Measure]:
    middle = (len(places) - 1) / 2
    return sorted(places, key=lambda one: (abs(places.index(one) - middle), places.index(one)))
