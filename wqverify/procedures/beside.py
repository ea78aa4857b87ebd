"""What stands beside a question, for all procedures: looked up in a sheet that is being typed.

A sheet in the making holds plain text, lacks what comes later and may hold what is wrong; nothing is said
then, and what is wrong is refused where it is typed. Formulas, limits and rules are those of the procedures.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import ROUND_DOWN, Decimal
from functools import cache, wraps
from textwrap import shorten
from typing import Annotated, Any

from pydantic import BaseModel, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from wqverify.calculations.stability import is_stable, range_of_last
from wqverify.errors import ChooseAnother, CorrectTheEntry
from wqverify.procedures.rules import Stability
from wqverify.procedures.walk import answered
from wqverify.terms import Beside, Check, Given, Outcome, Quantity, Raw, Reading, Standard, Tolerance

MOST = 360  # letters of a sentence beside a question: five lines of a terminal
_PLACES = Decimal("0.000001")
_IN_A_FILE = re.compile(r'write decision\.despite = "\.\.\." with your reason to go on')

Function = Callable[[Raw, str, Given], Beside]
# What a sheet in the making may break in a lookup or a computation, which counts on what a procedure refuses
# before it computes; anything else is a fault of this program.
_BROKEN = (
    CorrectTheEntry,
    ChooseAnother,
    ValueError,
    ArithmeticError,
    LookupError,
    TypeError,
    AttributeError,
    AssertionError,
)


def quiet(function: Function) -> Function:
    """Say nothing where what is typed does not give it yet."""

    @wraps(function)
    def said(raw: Raw, path: str, given: Given) -> Beside:
        try:
            return function(raw, path, dated(raw, given))
        except _BROKEN:
            return Beside()

    return said


def dated(raw: Raw, given: Given) -> Given:
    """Return what is given with the moment the work began, as far as the sheet says it."""
    if "started" in given.times:
        return given
    return replace(given, times={**given.times, "started": f"{raw.get('date', '')}T00:00:00+00:00"})


# ---------------------------------------------------------------- looked up in the sheet


def at(raw: Any, path: str) -> Any:
    """Return what is typed at a path, None where nothing is."""
    for step in path.split("."):
        if isinstance(raw, Mapping):
            raw = raw.get(step)
        elif isinstance(raw, list) and step.isdigit() and int(step) < len(raw):
            raw = raw[int(step)]
        else:
            return None
    return raw or None


def group(path: str) -> str:
    """Return the path of the group an answer stands in.

    >>> group("as_found.points.0.readings")
    'as_found.points.0'
    """
    return path.rpartition(".")[0]


def number(raw: Raw, path: str) -> Reading | None:
    """Return a typed number, None where there is none; raises CorrectTheEntry for what is none."""
    text = at(raw, path)
    return None if text is None else Reading.parse(text)


def numbers(raw: Raw, path: str) -> tuple[Reading, ...]:
    """Return the readings typed so far."""
    typed = at(raw, path)
    return tuple(Reading.parse(text) for text in typed) if isinstance(typed, list) else ()


def so_far(sheet: type[BaseModel], raw: Raw) -> Any:
    """Return the sheet with the parts that are whole; of rows those that are, of the others None.

    What holds between parts is not looked at: it waits until the sheet is complete.
    """
    typed = answered(raw)
    parts = {name: _part(sheet, name, typed.get(name)) for name in sheet.model_fields}
    return sheet.model_construct(None, **parts)


def _part(sheet: type[BaseModel], name: str, typed: Any) -> Any:
    field = sheet.model_fields[name]
    unanswered = None if field.is_required() else field.get_default()
    while typed:
        try:
            return _adapter(sheet, name).validate_python(typed)
        except ValidationError:
            typed = _without_last_row(typed)
    return unanswered


def _without_last_row(typed: Any) -> Any:
    """A row that is being typed is no row yet; None where there is none to leave out."""
    if isinstance(typed, list):
        return typed[:-1]
    if isinstance(typed, dict) and isinstance(typed.get("points"), list) and typed["points"][1:]:
        return {**typed, "points": typed["points"][:-1]}
    return None


@cache
def _adapter(sheet: type[BaseModel], name: str) -> TypeAdapter[Any]:
    field: FieldInfo = sheet.model_fields[name]
    asked: Any = Annotated[field.annotation, field]
    return TypeAdapter(asked)


# ---------------------------------------------------------------- said in lines


def plain(value: Decimal) -> str:
    """Return a number without the zeros of a calculation, to six places.

    >>> plain(Decimal("0.12450")), plain(Decimal("7.00"))
    ('0.1245', '7')
    """
    return f"{value.quantize(_PLACES).normalize() + 0:f}"


def rounded(value: Decimal, figures: int = 4) -> str:
    """Return a computed number cut to some figures, so that a limit is never shown wider than it is.

    >>> rounded(Decimal("4.995025")), rounded(Decimal("0.019974"), 2), rounded(Decimal("0.02"), 2)
    ('4.995', '0.019', '0.02')
    """
    place = Decimal(1).scaleb(value.adjusted() - figures + 1)
    return plain(value.quantize(place, ROUND_DOWN)) if value else "0"


def signed(value: Decimal) -> str:
    """Return a difference with its sign, the zeros of its readings kept.

    >>> signed(Decimal("0.10")), signed(Decimal("-0.02"))
    ('+0.10', '-0.02')
    """
    return f"{value:+f}"


def cut(sentence: str) -> str:
    """Return a sentence as it fits beside a question, where a face folds it; a long one ends with points."""
    return shorten(sentence, MOST, placeholder=" ...")


def told(*lines: str | Iterable[str]) -> tuple[str, ...]:
    """Return the sentences that say something, each fitting."""
    each = (line for one in lines for line in ([one] if isinstance(one, str) else one))
    return tuple(line if len(line) <= MOST else cut(line) for line in each if line)


def around(reference: Decimal, tolerance: Tolerance | None, *lines: str | Iterable[str]) -> Beside:
    """Return the lines with what the readings should be, and the limits around it where there are any."""
    low, high = tolerance.at(reference) if tolerance is not None else (None, None)
    return Beside(
        told(*lines),
        reference,
        reference + low if low is not None else None,
        reference + high if high is not None else None,
    )


def allowed(reference: Decimal, tolerance: Tolerance | None, unit: str) -> str:
    """Say between which values a reading may lie; empty where the register holds no tolerance."""
    low, high = tolerance.at(reference) if tolerance is not None else (None, None)
    guard = ", less U (guarded)" if tolerance is not None and tolerance.rule == "guarded" else ""
    if low is not None and high is not None:
        return f"allowed: {plain(reference + low)} to {plain(reference + high)} {unit}{guard}"
    if high is not None:
        return f"allowed: up to {plain(reference + high)} {unit}{guard}"
    return f"allowed: from {plain(reference + low)} {unit}{guard}" if low is not None else ""


def off_by(last: Reading | None, reference: Decimal, unit: str) -> str:
    """Say the error of the last reading so far."""
    return f"error of the last reading: {signed(last.value - reference)} {unit}" if last is not None else ""


def steady(readings: Sequence[Reading], still: Stability, apart: Reading | None) -> str:
    """Say whether the readings hold still so far, and how many are still needed.

    ``apart`` is the time between them, None while it is not entered: then it is said under which condition.
    """
    if still.readings == 1:
        return ""
    lacking = still.readings - len(readings)
    if lacking > 0:
        more = "1 more reading" if lacking == 1 else f"{lacking} more readings"
        return f"{more} needed, at least {plain(still.interval_s)} s apart"
    values = [reading.value for reading in readings]
    moved = f"range of the last {still.readings}: {range_of_last(values, still.readings)} {still.unit}"
    if not is_stable(values, still.limit, still.readings):
        held = "not steady yet"
    elif apart is None:
        held = f"steady, if {plain(still.interval_s)} s apart"
    elif apart.value < still.interval_s:
        held = f"{apart.text} s apart does not show it, {plain(still.interval_s)} s are needed"
    else:
        held = "steady"
    return f"{moved}, may be {rounded(still.limit, 2)}: {held}"


def bottle(standard: Standard, day: str) -> str:
    """Say which bottle, block or instrument it is and until when it may be used."""
    until = standard.usable_until or standard.calibration_due
    past = " - PAST" if until and day and until < day else ""
    when = f", usable until {until}{past}" if standard.usable_until else f", calibration due {until}{past}"
    lot = f", lot {standard.lot}" if standard.lot and standard.usable_until else ""
    return f"{standard.id}: {standard.name}{lot}{when if until else ''}"


def clock_after(iso: str, **later: float) -> str:
    """Return the clock some time after a moment.

    >>> clock_after("2026-03-03T08:15:00-05:00", minutes=15)
    '08:30'
    """
    moment = datetime.fromisoformat(iso) + timedelta(**later)
    return f"{moment:%H:%M:%S}" if moment.second else f"{moment:%H:%M}"


def seconds(size: float) -> str:
    """Return a duration in words a person reads at once.

    >>> seconds(66.4), seconds(300), seconds(256), seconds(5400)
    ('66 s', '5 min', '4 min 16 s', '90 min')
    """
    minutes, rest = divmod(round(size), 60)
    if minutes < 2:
        return f"{round(size)} s"
    return f"{minutes} min {rest} s" if rest and minutes < 10 else f"{minutes} min"


# ---------------------------------------------------------------- said beside a decision


def verdict(checks: Iterable[Check]) -> Iterator[str]:
    """Say whether what was found asks for anything: inside its tolerance the advice is to leave it alone.

    Where only what the control system shows is off, that is looked for on the way there.
    """
    judged = [check for check in checks if check.outcome is not Outcome.NOT_EVALUATED]
    wrong = [check for check in judged if check.outcome is not Outcome.PASS]
    here = [check for check in judged if check.place == "analyzer"]
    if judged and not wrong:
        yield "inside the tolerance: leave it alone"
    elif here and all(check.place == "control system" for check in wrong):
        yield "the analyzer is inside, the signal is not: leave it, check the loop"
    for check in wrong:
        assert check.quantity is not None
        limits = f", allowed {check.low or '...'} to {check.high or '...'}"
        how = "outside" if check.outcome is Outcome.FAIL else "too close to decide"
        yield f"{how}: {check.label} {amount(check.quantity)}{limits}"


def amount(quantity: Quantity, places: int | None = None) -> str:
    """Return a computed quantity with its unit, as it is shown or to some places."""
    text = quantity.text if places is None else f"{quantity.value:.{places}f}"
    return f"{text} {quantity.unit}".strip()


def refusal(brake: Callable[[], object]) -> str:
    """Return why nothing is adjusted yet, empty where no rule refuses it."""
    try:
        brake()
    except (CorrectTheEntry, ChooseAnother) as problem:
        return not_yet(_IN_A_FILE.sub("say why you go on in spite of it", problem.message))
    return ""


def not_yet(reason: str) -> str:
    """Return why nothing is adjusted yet as it stands beside the decision."""
    return f"do not adjust yet: {reason}"
