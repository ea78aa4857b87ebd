"""wqverify lookup."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

import click

from wqverify.cli.common import echo, json_option, print_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from wqverify.lists.look_up import Answer, LookUp, Wanted

WIDTH = 80


@click.command(context_settings={"ignore_unknown_options": True})  # -10 is a temperature, no option
@click.argument("name", default="", metavar="[NAME]")
@click.argument("values", nargs=-1, metavar="[VALUES]...")
@json_option
def lookup(name: str, values: tuple[str, ...], as_json: bool) -> None:
    """Look up a number at the bench: a buffer, a slope, oxygen, a Pt100, a current.

    Without NAME all look-ups are listed; with NAME alone what it asks for. It needs no plant folder.
    """
    from wqverify.lists.look_up import as_typed, converted, typed_for
    from wqverify.lists.look_ups import LOOK_UPS, look_up_named

    if not name:
        if as_json:
            print_json([{"name": one.name, "title": one.title, "usage": one.usage} for one in LOOK_UPS])
            return
        for one in LOOK_UPS:
            _say(one.title, f"{one.name:10s}", " " * 10)
        echo("wqverify lookup NAME says what it asks for.")
        return
    found = look_up_named(name)
    if not values:
        _ask(found, as_json)
        return
    typed = typed_for(found, values)
    answer = found.answer(typed)
    if as_json:
        print_json(
            {
                "lookup": found.name,
                "given": [
                    {
                        "name": one.name,
                        "what": one.what,
                        "typed": text,
                        "value": typed[one.name],
                        "unit": one.unit,
                    }
                    for one, text in as_typed(found, values)
                ],
                "found": [
                    {
                        "what": one.what,
                        "value": one.value,
                        "unit": one.unit,
                        "source": one.source or found.source,
                    }
                    for one in answer.found
                ],
                "formula": found.formula,
                "valid": found.valid,
                "source": found.source,
                "says": list(answer.says),
            }
        )
        return
    _show(found, answer, converted(found, values))


def _ask(look_up: LookUp, as_json: bool) -> None:
    if as_json:
        wanted = [
            {
                "name": one.name,
                "what": one.what,
                "unit": one.unit,
                "units": list(one.units),
                "room": one.room,
                "usual": one.usual,
            }
            for one in look_up.wanted
        ]
        print_json({"lookup": look_up.name, "usage": look_up.usage, "wanted": wanted})
        return
    _say(look_up.title[:1].upper() + look_up.title[1:])
    echo(look_up.usage)
    for one in look_up.wanted:
        besides = [
            one.room or one.unit,
            f"also in {', '.join(other)}" if (other := _others(one)) else "",
            f"left out: {one.usual or 'nothing'}" if one.usual is not None else "",
        ]
        _say(", ".join(filter(None, (one.what, *besides))), f"  {one.name:12s} ", " " * 15)
    if any(one.units for one in look_up.wanted):
        _say('A number with another unit stands in quotes: "68 degF".')


def _others(one: Wanted) -> list[str]:
    """The units it can be typed in besides its own."""
    return [unit for unit in one.units if unit != one.unit.replace("°", "deg")]


def _show(look_up: LookUp, answer: Answer, typed: Sequence[str]) -> None:
    from wqverify.show.align import aligned

    values = aligned([one.value for one in answer.found])
    for value, one in zip(values, answer.found, strict=True):
        lead = f"{value} {one.unit:6s}"
        _say(one.what, f"{lead} ", " " * (len(lead) + 1))
        if one.source:
            _say(one.source, " " * (len(lead) + 1), " " * (len(lead) + 1))
    if typed:
        _say(f"{', '.join(typed)} (NIST SP 811, appendix B)", "typed    ", " " * 9)
    for label, text in (("formula", look_up.formula), ("valid", look_up.valid), ("source", look_up.source)):
        _say(text, f"{label:8s} ", " " * 9)
    for text in answer.says:
        _say(text)


def _say(text: str, first: str = "", others: str = "") -> None:
    for line in wrap(text, WIDTH, initial_indent=first, subsequent_indent=others, break_on_hyphens=False):
        echo(line)
