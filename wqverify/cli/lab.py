"""Start JupyterLab for one plant folder: on this computer only, offline, with settings of its own."""

from __future__ import annotations

import json
import os
import secrets
import socket
import subprocess
import sys
import time
from dataclasses import dataclass
from http.client import HTTPException
from pathlib import Path
from typing import Any
from urllib.request import ProxyHandler, build_opener

from wqverify.durable import make_folder, write_durably
from wqverify.errors import CouldNotRun
from wqverify.shipped import shipped_folder

NOTEBOOK = "notebooks/step_through.ipynb"
PATIENCE_S = 60
STOP_S = 15
# No news, no question whether there is a newer version, no list of extensions from elsewhere.
CONFIG: dict[str, Any] = {
    "LabApp": {
        "check_for_updates_class": "jupyterlab.NeverCheckForUpdate",
        "extension_manager": "readonly",
        "news_url": None,
    },
    "LanguageServerManager": {"autodetect": False},  # it looks for programs of others, npm among them
    "ServerApp": {"ip": "127.0.0.1", "port_retries": 0, "quit_button": True},
}
PAGE_CONFIG = {"disabledExtensions": {"@jupyterlab/apputils-extension:announcements": True}}


@dataclass
class Lab:
    """A JupyterLab that runs: where it is, and the process."""

    url: str
    process: subprocess.Popen[bytes]
    log: Path

    def until_it_answers(self) -> None:
        """Wait until it can be opened; raises CouldNotRun where it does not come up."""
        ends = time.monotonic() + PATIENCE_S
        while self.process.poll() is None and time.monotonic() < ends:
            if _answers(f"{self.url.partition('/doc/')[0]}/api"):
                return
            time.sleep(0.1)
        raise _ended(self.log)

    def wait(self) -> None:
        """Wait until it ends; raises CouldNotRun where it ends by a fault."""
        if self.process.wait():
            raise _ended(self.log)

    def stop(self) -> None:
        """Stop it and its kernels; the answers of a visit are on disk already."""
        if self.process.poll() is None:
            self.process.terminate()
        try:
            self.process.wait(STOP_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


def put_notebook(plant_folder: Path) -> str:
    """Put the notebook of the form into the plant folder; return a sentence where another was moved aside.

    Lab writes what the form showed into the copy. Only its text counts: a copy with other text is somebody's
    own and is kept under a numbered name.
    """
    path = plant_folder / NOTEBOOK
    released = (shipped_folder("notebooks") / path.name).read_bytes()
    said = ""
    if path.exists() and _text_of(path.read_bytes()) != _text_of(released):
        aside = _unused(path)
        path.rename(aside)
        said = f"{path.name} was not that of this version; it is kept as {aside.relative_to(plant_folder)}."
    make_folder(path.parent)
    write_durably(path, released)
    return said


def running(plant_folder: Path, home: Path) -> str:
    """Return the address of the form in a JupyterLab of ours that serves the plant folder already, or ''."""
    for file in sorted((home / "runtime").glob("jpserver-*.json")):
        try:
            told = json.loads(file.read_text("utf-8"))
            base, token, served = str(told["url"]).rstrip("/"), told["token"], Path(told["root_dir"])
        except (OSError, ValueError, KeyError, TypeError):
            continue  # gone meanwhile, or half written by one that was killed: none that runs leaves it so
        if served == plant_folder and _answers(f"{base}/api/status?token={token}"):
            return _address(base, token)
    return ""


def start(plant_folder: Path, home: Path, *, browser: bool) -> Lab:
    """Start JupyterLab at the notebook of the form."""
    port, token = _free_port(), secrets.token_hex(24)
    environment = _environment(home, token)
    log = home / "lab.log"
    with log.open("wb") as stream:
        process = subprocess.Popen(
            _command(plant_folder, port, browser),
            stdin=subprocess.DEVNULL,
            stdout=stream,
            stderr=stream,
            env=environment,
            cwd=plant_folder,
            start_new_session=True,  # Ctrl-C in the terminal is ours: Lab would ask back
        )
    return Lab(_address(f"http://127.0.0.1:{port}", token), process, log)


def _address(base: str, token: str) -> str:
    return f"{base}/doc/tree/{NOTEBOOK}?reset&token={token}"


def _answers(url: str) -> bool:
    straight = build_opener(ProxyHandler({}))  # a proxy of the network has no business on this computer
    try:
        straight.open(url, timeout=5).close()
    except (OSError, HTTPException):  # nothing listens there, or something else that does not know the token
        return False
    return True


def _text_of(notebook: bytes) -> list[tuple[str, str]] | None:
    """Return the cells as typed, without what a run left in them; None where it is no notebook."""
    try:
        cells = json.loads(notebook)["cells"]
        texts = [(str(cell["cell_type"]), "".join(cell["source"]).strip()) for cell in cells]
    except (ValueError, KeyError, TypeError):
        return None
    return [(kind, text) for kind, text in texts if text]  # an empty cell is added by running the last one


def _unused(path: Path) -> Path:
    number = 1
    while (aside := path.with_name(f"{path.stem}_{number}{path.suffix}")).exists():
        number += 1
    return aside


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def _environment(home: Path, token: str) -> dict[str, str]:
    """Return an environment without a person's own settings; the token stands in no command line."""
    config = home / "config"
    for folder in (home, config, *(home / name for name in ("data", "runtime", "ipython"))):
        _make_own_folder(folder)
    write_durably(config / "jupyter_lab_config.json", json.dumps(CONFIG, indent=1).encode())
    write_durably(config / "labconfig" / "page_config.json", json.dumps(PAGE_CONFIG, indent=1).encode())
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("JUPYTER", "IPYTHON"))}
    return kept | {
        "JUPYTER_CONFIG_DIR": str(config),
        "JUPYTER_DATA_DIR": str(home / "data"),
        "JUPYTER_RUNTIME_DIR": str(home / "runtime"),
        "IPYTHONDIR": str(home / "ipython"),
        "JUPYTER_TOKEN": token,
    }


def _make_own_folder(folder: Path) -> None:
    """Make a folder that nobody else may look into, also where it is there: Lab keeps its token in one."""
    make_folder(folder, mode=0o700)
    try:
        folder.chmod(0o700)
    except OSError as problem:
        raise CouldNotRun(
            f"The folder {folder} cannot be kept from others ({problem.strerror or problem}), and who reads "
            f"it could write into the form. Let it belong to this user, or remove it, then run the same "
            f"command again.",
            found=str(problem),
            where=str(folder),
        ) from problem


def _command(plant_folder: Path, port: int, browser: bool) -> list[str]:
    command = [sys.executable, "-m", "jupyterlab", f"--ServerApp.port={port}"]
    command += [f"--ServerApp.root_dir={plant_folder}", f"--LabApp.default_url=/doc/tree/{NOTEBOOK}?reset"]
    if not browser:
        command.append("--no-browser")
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")  # who runs wqverify as root has chosen so
    return command


def _ended(log: Path) -> CouldNotRun:
    lines = log.read_text("utf-8", "replace").strip().splitlines()
    last = lines[-1] if lines else "it said nothing"
    return CouldNotRun(
        f"JupyterLab did not run ({last}); all of what it said is in {log}. Nothing of a visit is lost: mend "
        f"that, or step through the visit in the terminal with wqverify step.",
        found=last,
        where=str(log),
    )
