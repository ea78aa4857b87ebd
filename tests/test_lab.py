"""What a JupyterLab of ours keeps is for this user alone, and what a killed one left stops no other."""

from __future__ import annotations

import json
import os
import socket
import stat
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from plant_example import plant_in

from wqverify.cli import lab
from wqverify.cli.lab import running, start
from wqverify.cli.open_commands import open as open_command
from wqverify.errors import CouldNotRun

posix = pytest.mark.skipif(os.name != "posix", reason="Windows keeps a person's folders from others itself")
FOLDERS = ("", "config", "data", "ipython", "runtime")


def modes(home: Path) -> dict[str, str]:
    return {name: oct(stat.S_IMODE((home / name).stat().st_mode)) for name in FOLDERS}


@posix
@pytest.mark.parametrize("there", [False, True], ids=["new", "there already, open to all"])
def test_nobody_else_can_look_into_the_folders_of_lab(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, there: bool
) -> None:
    home = tmp_path / "above" / "lab"
    if there:
        for name in FOLDERS:
            (home / name).mkdir(parents=True, exist_ok=True)
            (home / name).chmod(0o755)
    monkeypatch.setattr(lab, "_command", lambda *_told: [sys.executable, "-c", ""])
    start(tmp_path, home, browser=False).wait()
    assert modes(home) == dict.fromkeys(FOLDERS, "0o700")


@posix
def test_a_folder_that_cannot_be_kept_from_others_starts_no_lab(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(self: Path, mode: int) -> None:
        raise PermissionError(1, f"Operation {mode:o} not permitted", str(self))

    monkeypatch.setattr(Path, "chmod", refused)
    with pytest.raises(CouldNotRun) as caught:
        start(tmp_path, tmp_path / "lab", browser=False)
    assert caught.value.message.startswith(
        f"The folder {tmp_path / 'lab'} cannot be kept from others (Operation"
    )
    assert "Let it belong to this user, or remove it" in caught.value.message
    assert not (tmp_path / "lab" / "lab.log").exists()


def test_the_place_of_lab_does_not_depend_on_the_folder_it_works_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plant_in(tmp_path / "plant")
    monkeypatch.chdir(tmp_path)
    # as where XDG_CONFIG_HOME is relative
    monkeypatch.setattr("click.get_app_dir", lambda name: f"settings/{name}")
    asked: list[Path] = []

    def is_running(folder: Path, home: Path) -> str:
        asked.extend((folder, home))
        return "http://127.0.0.1:8123/"

    monkeypatch.setattr(lab, "running", is_running)
    done = CliRunner().invoke(open_command, ["--no-browser", "--plant", "plant"])
    assert (done.exit_code, done.output) == (0, "The form is open already, at http://127.0.0.1:8123/\n")
    assert asked == [tmp_path / "plant", tmp_path / "settings" / "wqverify" / "lab"]


@pytest.fixture
def listening() -> Iterator[str]:
    """The address of something that answers each request in other words than HTTP."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            connection, _ = server.accept()
            with connection:
                connection.recv(4096)
                connection.sendall(b"what do you want?\r\n")

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        yield f"http://127.0.0.1:{server.getsockname()[1]}/"


def test_something_else_at_the_address_of_a_killed_lab_is_not_taken_for_it(
    tmp_path: Path, listening: str
) -> None:
    left(tmp_path, json.dumps({"url": listening, "token": "secret", "root_dir": str(tmp_path)}))
    assert running(tmp_path, tmp_path) == ""


def left(home: Path, text: str, name: str = "jpserver-1.json") -> None:
    (home / "runtime").mkdir(exist_ok=True)
    (home / "runtime" / name).write_text(text, "utf-8")


@pytest.mark.parametrize(
    "text",
    [
        "",
        '{"url": "http://127.0.0.1:9/", "tok',
        "[]",
        '{"url": "http://127.0.0.1:9/", "token": "secret"}',
        '{"url": 9, "token": "secret", "root_dir": "x"}',
        '{"url": "http://127.0.0.1:9/", "token": "secret", "root_dir": null}',
    ],
)
def test_what_a_killed_lab_left_half_written_hides_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    monkeypatch.setattr(lab, "_answers", lambda url: "8123" in url)
    left(tmp_path, text)
    assert running(tmp_path, tmp_path) == ""
    told = {"url": "http://127.0.0.1:8123/", "token": "secret", "root_dir": str(tmp_path)}
    left(tmp_path, json.dumps(told), "jpserver-2.json")
    assert running(tmp_path, tmp_path).startswith("http://127.0.0.1:8123/doc/tree/")
