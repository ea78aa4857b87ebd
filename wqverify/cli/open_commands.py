"""wqverify open."""

from __future__ import annotations

import signal
from pathlib import Path
from types import FrameType
from typing import NoReturn

import click

from wqverify.cli.common import echo, opened, plant_option


@click.command()
@click.option("--no-browser", is_flag=True, help="Print the address and open no browser.")
@plant_option
def open(no_browser: bool, plant_folder: Path | None) -> None:
    """Open the form of a visit in JupyterLab, on this computer only.

    It runs until Ctrl-C. Its settings are its own: those of another JupyterLab are not touched.
    """
    from wqverify.cli.lab import put_notebook, running, start

    folder = opened(plant_folder).folder.resolve()
    home = Path(click.get_app_dir("wqverify")).absolute() / "lab"  # Lab works in another folder than this
    if url := running(folder, home):
        echo(f"The form is open already, at {url}")
        if not no_browser:
            click.launch(url)
        return
    if said := put_notebook(folder):
        echo(said)
    for ending in ("SIGTERM", "SIGHUP"):  # the window of the terminal was closed: Lab is stopped with it
        if hasattr(signal, ending):
            signal.signal(getattr(signal, ending), _end)
    lab = start(folder, home, browser=not no_browser)
    try:
        lab.until_it_answers()
        echo(f"The form is at {lab.url}\nPress Shift+Enter twice there; Ctrl-C here stops it.")
        lab.wait()
    except KeyboardInterrupt:
        pass
    finally:
        lab.stop()
    echo("JupyterLab is stopped; every acknowledged answer is on disk.")


def _end(_number: int, _frame: FrameType | None) -> NoReturn:
    raise KeyboardInterrupt
