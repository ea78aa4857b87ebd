"""Carry out an act and kill -9 the own process when it tells of its n-th step.

python kill_at_step.py ACT PLANT STEP KEYS ARGUMENT...   STEP 0 never kills; prints each step.
"""

from __future__ import annotations

import os
import signal
import sys
from datetime import UTC, datetime
from pathlib import Path

from wqverify import acts
from wqverify.plant.folder import open_plant

ACT, FOLDER, STEP, KEYS, *ARGUMENTS = sys.argv[1:]
NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
steps = 0


def tell(step: str) -> None:
    global steps
    steps += 1
    print(step, flush=True)
    if steps == int(STEP):
        os.kill(os.getpid(), signal.SIGKILL)


plant = open_plant(Path(FOLDER))
if ACT == "perform":
    for done in acts.perform(plant, [Path(name) for name in ARGUMENTS], NOW, tell):
        print("DONE", done.number, "already" if done.already else "new")
else:
    staff, secret, *numbers = ARGUMENTS
    act = acts.sign if ACT == "sign" else acts.review
    print("DONE", *act(plant, numbers, staff, Path(KEYS), secret.encode(), NOW, tell))
