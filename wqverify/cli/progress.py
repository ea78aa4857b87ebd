"""How far a long command is, where a person looks: beside the output a program reads."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator
from typing import TypeVar

import click

T = TypeVar("T")
SECONDS = {True: 0.5, False: 15.0}  # between two lines: on a terminal, in a file


def counted(items: Iterable[T], total: int, noun: str) -> Iterator[T]:
    """Yield items, telling on the error output how many of ``total`` came, and how many a second."""
    on_terminal = sys.stderr.isatty()
    began = told = time.monotonic()
    number = 0
    for number, item in enumerate(items, 1):
        yield item
        now = time.monotonic()
        if now - told >= SECONDS[on_terminal]:
            told = now
            _tell(number, total, noun, now - began, on_terminal, last=False)
    _tell(number, total, noun, time.monotonic() - began, on_terminal, last=True)


def _tell(number: int, total: int, noun: str, seconds: float, on_terminal: bool, *, last: bool) -> None:
    done = f"  {number:,} of {total:,} {noun}".replace(",", " ")  # as the trade writes thousands
    text = f"{done}, {number / seconds:.0f} a second" if seconds > 0 and number else done
    if on_terminal:
        click.echo(f"\r{text:<60}", err=True, nl=last)
    else:
        click.echo(text, err=True)
