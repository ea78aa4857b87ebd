"""Changes a record tells of: tolerances that may be later than the work, entries of an amended record."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from wqverify.show.kinds import Block, Statement
from wqverify.show.lookup import person, when
from wqverify.terms import Change, Record

AMENDED = "entry "  # how a change of what the replaced record said begins
CORRECTED = "answer "  # how a change of an answer begins that was made before the sheet was complete
_LONG = 60  # letters of what was or is now, in a sentence


def amended(record: Record) -> tuple[Change, ...]:
    """Return what this record says otherwise than the one it replaces."""
    return tuple(c for c in record.given.changes if c.what.startswith(AMENDED))


def corrected(record: Record) -> tuple[Change, ...]:
    """Return what was corrected before the sheet was complete."""
    return tuple(c for c in record.given.changes if c.what.startswith(CORRECTED))


def of_the_plant(record: Record) -> tuple[Change, ...]:
    """Return the changes of register, tolerances, standards and people."""
    return tuple(c for c in record.given.changes if not c.what.startswith((AMENDED, CORRECTED)))


def tolerance_outcome(record: Record) -> Iterator[Block]:
    """Say beside the outcome which tolerances were changed too late, or without a reason."""
    late = [c for c in of_tolerances(record) if _is_late(c, record)]
    unexplained = [c for c in of_tolerances(record) if c not in late and _is_unexplained(c)]
    if late:
        yield Statement(
            "; ".join(map(_from_to, late)) + ".",
            "Tolerance changed after the work began",
        )
    if unexplained:
        yield Statement(
            "; ".join(map(_from_to, unexplained)) + ".",
            "Tolerance changed, and nobody has said why",
        )


def tolerance_history(record: Record) -> str:
    """Say what is known of when the tolerances were entered; nothing that was not checked."""
    changes = of_tolerances(record)
    doubtful = [_doubt(c, record) for c in changes if _is_late(c, record) or _is_unexplained(c)]
    if doubtful:
        return " ".join(doubtful)
    if changes:
        return (
            "Each change of a tolerance since the last record of this analyzer was entered, with its reason, "
            "before the work began."
        )
    if record.given.earlier:
        return "No change of a tolerance was entered between the last record of this analyzer and this one."
    return "This record holds no change of a tolerance; no earlier record of this analyzer was known to it."


def of_tolerances(record: Record) -> tuple[Change, ...]:
    """Return the changes of tolerances."""
    return tuple(c for c in of_the_plant(record) if _is_of_a_tolerance(c))


def _is_of_a_tolerance(change: Change) -> bool:
    """Whether a tolerance changed, was added or removed, alone or with the whole entry of its analyzer."""
    whole = change.what.endswith(": added") and "tolerance " in change.now
    return change.what.startswith("tolerance") or ": tolerance " in change.what or whole


def _is_late(change: Change, record: Record) -> bool:
    return bool(change.at) and datetime.fromisoformat(change.at) > datetime.fromisoformat(record.performed)


def _is_unexplained(change: Change) -> bool:
    return not change.why or not change.at


def _doubt(change: Change, record: Record) -> str:
    why = f"because {change.why}" if change.why else "and nobody has said why"
    if not change.at:
        return (
            f"A tolerance used here was changed ({_from_to(change)}), {why}: when it was entered, before or "
            "after the work had begun, is not known."
        )
    by = f" by {person(record, change.by)}" if change.by else ""
    begun = "after the work had begun" if _is_late(change, record) else "before the work began"
    entered = f"entered {when(change.at)}{by} {why}"
    return f"A tolerance used here was entered {begun} ({_from_to(change)}, {entered})."


def _from_to(change: Change) -> str:
    return f"{change.what}: {_short(change.was)} -> {_short(change.now)}"


def _short(text: str) -> str:
    text = text or "none"
    return text if len(text) <= _LONG else text[: _LONG - 1].rstrip() + "…"
