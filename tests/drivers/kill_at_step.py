"""Carry out an act in a process of its own, which kills itself with -9 at a step.

The test hands in ARGUMENTS: act, plant (a folder), keys (a folder), names (sheets, folders of rounds, the
name of a round, or numbers; a number and a text to ask or answer), day (of a round to prepare), heard (the
file of what was told and acknowledged), now (ISO 8601); if wanted staff and secret, die_at, the n-th telling
at which to die, die_at_file, the n-th time a file is opened for writing, renamed or removed, and wait_for, a
file to wait for before beginning.
"""

from __future__ import annotations

import os
import signal
import sys
import time
from datetime import datetime
from pathlib import Path
from typing import Any

from wqverify import acts
from wqverify.errors import WqverifyError
from wqverify.plant.folder import open_plant


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


class Steps:
    """Counts what is told and what happens to files, and dies when it is time."""

    def __init__(self, heard: str, die_at: int, die_at_file: int, plant: str) -> None:
        self._heard = os.open(heard, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        self._die_at, self._die_at_file, self._plant = die_at, die_at_file, plant
        self._told = self._files = 0
        if die_at_file:
            sys.addaudithook(self._audit)

    def say(self, *words: str) -> None:
        os.write(self._heard, ("\t".join(words) + "\n").encode())

    def tell(self, step: str) -> None:
        self.say("told", step)
        self._told += 1
        if self._told == self._die_at:
            die()

    def _audit(self, event: str, arguments: tuple[Any, ...]) -> None:
        changes = event in ("os.rename", "os.remove") or (
            event == "open" and isinstance(arguments[2], int) and arguments[2] & (os.O_WRONLY | os.O_RDWR)
        )
        if changes and str(arguments[0]).startswith(self._plant):
            self._files += 1
            self.say("file", event, os.path.basename(str(arguments[0])))
            if self._files == self._die_at_file:
                die()


def run(arguments: dict[str, Any]) -> None:
    """Do as told; what was finished, or why it was not, is acknowledged."""
    steps = Steps(
        arguments["heard"], arguments.get("die_at", 0), arguments.get("die_at_file", 0), arguments["plant"]
    )
    while arguments.get("wait_for") and not Path(arguments["wait_for"]).exists():
        time.sleep(0.001)
    plant, now = open_plant(Path(arguments["plant"])), datetime.fromisoformat(arguments["now"])
    names = arguments["names"]
    try:
        if arguments["act"] == "perform":
            for done in acts.perform(plant, [Path(name) for name in names], now, steps.tell):
                steps.say("done", done.number, "already" if done.already else "new")
        elif arguments["act"] == "walk":
            for done in acts.perform_walk(plant, [Path(name) for name in names], now, steps.tell).performed:
                steps.say("done", done.number, "already" if done.already else "new")
        elif arguments["act"] in ("sign round", "review round"):
            gather, act = {
                "sign round": (acts.pile_to_sign, acts.sign),
                "review round": (acts.pile_to_review, acts.review),
            }[arguments["act"]]
            staff, secret = arguments["staff"], arguments["secret"].encode()
            pile = gather(plant, names, staff)
            act(plant, pile.numbers, staff, Path(arguments["keys"]), secret, now, steps.tell)
            for number in pile.numbers:
                steps.say("done", number)
        elif arguments["act"] == "prepare":
            head = acts.HeadOf(arguments["staff"], arguments["day"])
            made = acts.prepare_round(plant, names[0], head, now)
            steps.say("done", made.title)
        elif arguments["act"] in ("ask", "answer"):
            told = {"ask": acts.ask, "answer": acts.answer}[arguments["act"]]
            new = told(plant, names[0], arguments["staff"], names[1], now, steps.tell)
            steps.say("done", names[0], "new" if new else "already")
        else:
            act = {"sign": acts.sign, "review": acts.review}[arguments["act"]]
            secret = arguments["secret"].encode()
            for number in act(
                plant, names, arguments["staff"], Path(arguments["keys"]), secret, now, steps.tell
            ):
                steps.say("done", number)
    except WqverifyError as problem:
        steps.say("refused", type(problem).__name__, problem.message)


if __name__ == "__main__":
    run(globals()["ARGUMENTS"])
