"""wqverify queue, wqverify question, wqverify answer."""

from __future__ import annotations

from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import click

from wqverify.cli.common import echo, json_option, now, opened, plant_option, print_json, say, words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from wqverify.lists.queue import Queue, Skipped, To, Waiting

WIDTH = 96
_HEADINGS: dict[To, str] = {
    "countersign": "To countersign, by a reviewer who is not the performer",
    "sign": "To sign, by the performer",
    "answer": "To answer, by the performer",
}


@click.command()
@plant_option
@json_option
def queue(plant_folder: Path | None, as_json: bool) -> None:
    """List what waits for whom, exceptions first.

    Records to countersign, to sign and to answer, and the checks skipped in the last 31 days.
    """
    from wqverify.lists.queue import queue as queue_of

    found = queue_of(opened(plant_folder), now())
    if as_json:
        print_json(
            {
                "waiting": [_document(one) for one in found.waiting],
                "skipped": [vars(one) for one in found.skipped],
            }
        )
        return
    for line in queue_lines(found):
        echo(line)


def queue_lines(found: Queue) -> Iterator[str]:
    """Give the queue as lines of text."""
    for to, heading in _HEADINGS.items():
        count = sum(one.to == to for one in found.waiting)
        if not count:
            continue
        yield f"{heading}: {words(count, 'record')}"
        if exceptions := found.exceptions(to):
            yield f"  Exceptions: {len(exceptions)}"
            for one in exceptions:
                yield from _lines(one)
        for title, clean in found.clean(to).items():
            yield f"  Clean, {f'round {title}' if title else 'on no round'}: {len(clean)}"
            for one in clean:
                yield from _lines(one)
    if found.skipped:
        yield f"Skipped in the last 31 days: {words(len(found.skipped), 'check')}"
        for skipped in found.skipped:
            yield from _skipped(skipped)
    if not found.waiting and not found.skipped:
        yield "Nothing waits."


def _lines(one: Waiting) -> Iterator[str]:
    waits = ", ".join(one.people) or "nobody: people.toml has no other reviewer"
    head = f"{one.number}  {one.tag} {one.procedure}  {one.performed[:16].replace('T', ' ')} by {one.by}"
    yield from _wrapped(f"{head}; waits for {waits}", 4)
    for why in one.exceptions:
        yield from _wrapped(why.text, 8)


def _skipped(one: Skipped) -> Iterator[str]:
    yield from _wrapped(f"{one.day}  {one.tag} {one.procedure}, round {one.round}, by {one.by}: {one.why}", 4)


def _wrapped(text: str, indent: int) -> list[str]:
    return wrap(
        text, WIDTH, initial_indent=" " * indent, subsequent_indent=" " * (indent + 2), break_on_hyphens=False
    )


def _document(one: Waiting) -> dict[str, Any]:
    return {
        "number": one.number,
        "tag": one.tag,
        "procedure": one.procedure,
        "performed": one.performed,
        "by": one.by,
        "to": one.to,
        "people": list(one.people),
        "exceptions": [{"kind": why.kind, "text": why.text} for why in one.exceptions],
        "round": one.round or None,
        "questions": [vars(asked) for asked in one.questions],
    }


@click.command()
@click.argument("number")
@click.option("--by", required=True, metavar="ID", help="Staff id of the reviewer who asks.")
@click.option("--text", required=True, metavar="TEXT", help="The question.")
@plant_option
@json_option
def question(number: str, by: str, text: str, plant_folder: Path | None, as_json: bool) -> None:
    """Return a signed record to its performer with a question; it is not countersigned before the answer."""
    from wqverify.acts import ask

    new = ask(opened(plant_folder), number, by, text, now())
    sentence = f"{number} is returned to its performer with the question of {by}."
    say(
        sentence if new else f"{number}: this question is in the book already.", as_json, number=number, by=by
    )


@click.command()
@click.argument("number")
@click.option("--by", required=True, metavar="ID", help="Staff id of the performer who answers.")
@click.option("--text", required=True, metavar="TEXT", help="The answer.")
@plant_option
@json_option
def answer(number: str, by: str, text: str, plant_folder: Path | None, as_json: bool) -> None:
    """Answer the question a record was returned with; it waits for its review again."""
    from wqverify.acts import answer as answer_it

    new = answer_it(opened(plant_folder), number, by, text, now())
    sentence = f"{number} is answered by {by} and waits for its review again."
    say(sentence if new else f"{number}: this answer is in the book already.", as_json, number=number, by=by)
