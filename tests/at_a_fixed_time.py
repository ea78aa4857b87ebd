"""The command wqverify with the clock of the tests: run as a program."""

import functools
import os
import sys
from pathlib import Path

from whole_visit import clock

import wqverify.desk
from wqverify.cli import main

if __name__ == "__main__":
    if told := os.environ.get("WQVERIFY_TEST_PID"):  # where the test finds whom to kill
        Path(told).write_text(str(os.getpid()), "ascii")
    wqverify.desk.open_desk = functools.partial(wqverify.desk.open_desk, clock=clock)  # type: ignore[assignment]
    sys.argv[0] = "wqverify"
    main()
