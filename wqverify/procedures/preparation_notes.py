"""The sentences of a preparation: cautions, what to pipette, the entry to type, what it cannot see."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from wqverify.calculations.dilution import stock_volume, two_steps
from wqverify.procedures.preparation_budget import Prepared
from wqverify.procedures.rules import setting
from wqverify.procedures.sentences import clocks, opinion, person_cautions, undecided
from wqverify.procedures.turbidity_inputs import UNSTATED_PERCENT
from wqverify.procedures.turbidity_notes import (
    FORMAZIN,
    MISTAKEN,
    TO_WASTE,
)
from wqverify.procedures.turbidity_shown import plain
from wqverify.terms import Caution, Check, Given, Note

SMALLEST_ML = "1"  # below it the hand decides, not the glass; common practice, no source
LIFE_DAYS = "1"  # working dilutions are made daily, EPA 180.1 (from memory)
CAUTIONS = (
    Caution(
        "Tell operations where bench work in the plant's laboratory touches a sample tap or a running "
        "analyzer; here nothing on the analyzer is touched.",
        "common practice",
    ),
    FORMAZIN,
    Caution(
        "Turn the stock over until nothing lies on the bottom, do not shake bubbles into it; use the "
        "dilution the same day and turn it over again before each reading.",
        "common practice",
    ),
    Caution(
        "Rinse pipette and flask with the dilution water; leave no fingerprint in a cell.", "common practice"
    ),
    TO_WASTE,
)
SYMBOLS = (
    "In the hand calculations C0 is the stock and V0 what was pipetted of it, V the flask, Cw the water's "
    "own turbidity, C what the dilution is worth."
)
STOCKS = (
    "Two stocks are called formazin: 4000 NTU, the undiluted mix of both solutions (ISO 7027), and 400 NTU, "
    "that mix made up to ten times its volume (EPA 180.1). The value used here is the one entered for the "
    "bottle."
)
NUMBER = "this record's number"


def notes(
    sheet: Any, given: Given, made: Prepared | None, checks: Sequence[Check], unit: str
) -> Iterator[Note]:
    """Give all sentences of a preparation, the cautions first."""
    for text in (
        *person_cautions(sheet, given),
        *_small(sheet, given),
        *_mistaken(sheet, made, unit),
        *undecided(checks),
    ):
        yield Note("caution", text)
    stock, water = given.standards[sheet.stock], given.standards[sheet.water]
    if stock.expanded is None and not stock.causes:
        text = f"{stock.id} states no uncertainty; U {UNSTATED_PERCENT} %, k 2, is assumed."
        yield Note("caution", text)
    yield from _advice(sheet, given, unit)
    if made is not None:
        yield Note("advice", _entry(sheet, given, made))
        yield Note("statement", SYMBOLS)
        share = made.quantity.budget
        largest = max(share, key=lambda line: line.contribution)
        text = f"Most of the uncertainty of {sheet.label} comes from {largest.cause} ({largest.source})."
        yield Note("statement", text)
    yield Note("statement", STOCKS)
    for text in clocks(sheet, given):
        yield Note("statement", text)
    yield Note("cannot see", f"A stock that has settled, and a wrong label on {stock.id} or on {water.id}.")
    yield from opinion(sheet)


def smallest(given: Given) -> Decimal:
    """Return the smallest volume that is pipetted without a warning, mL."""
    return setting(given, "smallest_ml", SMALLEST_ML)


def _small(sheet: Any, given: Given) -> Iterator[str]:
    least = smallest(given)
    for number, step in enumerate(sheet.steps, 1):
        if step.pipetted_ml.value < least:
            which = f"Step {number}: " if len(sheet.steps) > 1 else ""
            yield (
                f"{which}{step.pipetted_ml.text} mL is less than {least} mL, below which the hand decides "
                f"and not the glass; dilute in two steps."
            )


def _mistaken(sheet: Any, made: Prepared | None, unit: str) -> Iterator[str]:
    if made is None or sheet.target is None:
        return
    ratio = Decimal(made.value) / sheet.target.value
    low, high = MISTAKEN
    if low <= ratio <= high or low <= 1 / ratio <= high:
        yield (
            f"{sheet.label} is worth {made.value} {unit} and was to be {sheet.target.text}: about a factor "
            f"of ten; look whether the stock is 400 or 4000 and at the volumes."
        )


def _advice(sheet: Any, given: Given, unit: str) -> Iterator[Note]:
    """What to pipette for the target; two steps where one would be too little to pipette."""
    if sheet.target is None:
        return
    stock, water = given.standards[sheet.stock].value, given.standards[sheet.water].value
    assert stock is not None
    assert water is not None
    flask = sheet.steps[-1].to_ml if sheet.steps else sheet.flask_ml
    one = stock_volume(sheet.target.value, flask.value, stock, water)
    least = smallest(given)
    if sheet.steps and not any(step.pipetted_ml.value < least for step in sheet.steps):
        return  # it was done, with volumes that can be pipetted
    if one >= least:
        if not sheet.steps:
            text = (
                f"Pipette {_ml(one)} mL of {sheet.stock} and make up to {flask.text} mL with {sheet.water}."
            )
            yield Note("advice", text)
        return
    pair = two_steps(sheet.target.value, flask.value, stock, water, least)
    if pair is None:
        text = (
            f"{sheet.target.text} {unit} needs {_ml(one)} mL of {sheet.stock} in {flask.text} mL, less than "
            f"{least} mL, and no two steps in flasks of {flask.text} mL have larger volumes: take a larger "
            f"flask."
        )
        yield Note("advice", text)
        return
    first, between, second = pair
    text = (
        f"In one step {sheet.target.text} {unit} needs {_ml(one)} mL in {flask.text} mL, less than {least} "
        f"mL. In two: {_ml(first)} mL of {sheet.stock} made up to {flask.text} mL gives {plain(between)} "
        f"{unit}; {_ml(second)} mL of that made up to {flask.text} mL gives {sheet.target.text} {unit}, both "
        f"with {sheet.water}."
    )
    yield Note("advice", text)


def _ml(volume: Decimal) -> str:
    return plain(round(volume, 3))


def _entry(sheet: Any, given: Given, made: Prepared) -> str:
    """The entry for standards_on_hand.toml, line by line."""
    stock, q = given.standards[sheet.stock], made.quantity
    days = sheet.life_days.text if sheet.life_days else LIFE_DAYS
    name = sheet.name or f"{stock.name}, diluted"
    rows = [
        "[[standard]]",
        f'id = "{sheet.label}"',
        'kind = "prepared standard"',
        f'name = "{quoted(name)}"',
        f'lot = "{sheet.label}"',
        f'certificate = "{NUMBER}"',
        f'unit = "{q.unit}"',
        f'value = "{made.value}"',
        f'expanded = "{q.expanded}"',
        f'k = "{q.k:.2f}"',
        f'prepared = "{sheet.date}"',
        f'prepared_life_days = "{days}"',
    ]
    for cause in made.causes:
        rows += ["[[standard.cause]]", f'name = "{quoted(cause.name)}"', f'u = "{cause.u}"']
        rows += [f'dof = "{cause.dof}"'] if cause.dof else []
    return (
        "Type into standards_on_hand.toml, with the number of this record (at its head) for certificate:\n"
        + "\n".join(rows)
    )


def quoted(text: str) -> str:
    """Return a text as it stands between double quotes in TOML."""
    return text.replace("\\", "\\\\").replace('"', '\\"')
