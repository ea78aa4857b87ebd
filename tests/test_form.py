"""The browser form without a browser: an acknowledgement per act, sentences, text as text only."""

from __future__ import annotations

import json
import os
import re
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from form_page import HOSTILE, QUESTIONS, FewQuestions

from wqverify.cli import lab
from wqverify.cli.lab import CONFIG, NOTEBOOK, _command, _environment, put_notebook, running, start
from wqverify.entry import form
from wqverify.entry.form import VisitForm, form_of
from wqverify.entry.screen import Act, Choice, Screen, plain
from wqverify.errors import CouldNotRun
from wqverify.shipped import shipped_folder

PICK = QUESTIONS[0].path
Message = dict[str, Any]


class Opened:
    """A form whose messages go into a list instead of to a page."""

    def __init__(self, desk: FewQuestions) -> None:
        self.desk = desk
        self.form = VisitForm(desk)
        self.sent: list[Message] = []
        self.form.send = self.sent.append  # type: ignore[method-assign]

    def hear(self, do: str, text: str = "", path: str = "", seq: int = 1) -> list[Message]:
        """Hand in a message as the page sends it; gives what was sent back for it."""
        before = len(self.sent)
        message = {"view": "v", "seq": seq, "do": do, "text": text, "path": path}
        self.form._heard(self.form, message, [])
        return self.sent[before:]


@pytest.fixture
def opened() -> Opened:
    return Opened(FewQuestions())


def test_the_first_draw_is_answered_with_the_screen_and_is_no_act(opened: Opened) -> None:
    shown = opened.desk.screen
    assert opened.hear("show", seq=0) == [{"view": "v", "seq": 0, "screen": plain(shown)}]
    assert opened.desk.seen == set()


def test_each_act_has_one_acknowledgement_with_the_screen_after_it(opened: Opened) -> None:
    (acknowledged,) = opened.hear("answer", "B10-1180", PICK, seq=7)
    assert (acknowledged["view"], acknowledged["seq"]) == ("v", 7)
    assert acknowledged["screen"]["label"] == "Temperature of the buffer"
    assert json.loads(json.dumps(acknowledged)) is not None
    assert opened.desk.stored == [(PICK, "B10-1180")]


def test_text_reaches_the_desk_as_it_was_typed(opened: Opened) -> None:
    opened.hear("answer", "B7-4471", PICK, seq=1)
    opened.hear("answer", " 18.40", QUESTIONS[1].path, seq=2)
    assert opened.desk.stored[-1] == (QUESTIONS[1].path, " 18.40")


def test_what_the_desk_refuses_is_acknowledged_with_its_sentence(opened: Opened) -> None:
    (acknowledged,) = opened.hear("answer", "B9", PICK)
    assert acknowledged["screen"]["refused"] is True
    assert acknowledged["screen"]["notice"] == "B9 is not among the standards on hand; choose one of them."
    assert acknowledged["screen"]["path"] == PICK
    assert opened.desk.stored == []


def test_an_act_on_another_question_is_refused_in_words(opened: Opened) -> None:
    (acknowledged,) = opened.hear("answer", "18.4", QUESTIONS[1].path)
    assert acknowledged["screen"]["refused"] is True
    assert "nothing stored" in acknowledged["screen"]["notice"]


def test_an_act_sent_again_is_acknowledged_again_and_stored_once(opened: Opened) -> None:
    opened.hear("answer", "B7-4471", PICK, seq=1)
    (again,) = opened.hear("answer", "B7-4471", PICK, seq=1)
    assert again["screen"]["refused"] is False
    assert opened.desk.stored == [(PICK, "B7-4471")]


def test_a_ping_is_answered_without_the_desk(opened: Opened) -> None:
    assert opened.hear("ping") == [{"pong": "v"}]
    assert opened.desk.seen == set()


def test_a_run_says_first_that_it_works(opened: Opened) -> None:
    opened.desk.at = len(QUESTIONS)
    working, done = opened.hear("answer", "run")
    assert working == {"view": "v", "seq": 1, "working": True}
    assert done["screen"]["kind"] == "result"


def test_running_a_round_says_first_that_it_works_and_choosing_a_stop_does_not(opened: Opened) -> None:
    stops = Screen("choose", path="?stop", choices=(Choice("1"), Choice("run the round")))
    opened.desk.aside = stops
    working, done = opened.hear("answer", "run the round", "?stop")
    assert working == {"view": "v", "seq": 1, "working": True}
    assert "screen" in done
    opened.desk.aside = stops
    (chosen_,) = opened.hear("answer", "1", "?stop", seq=2)
    assert "screen" in chosen_


def test_the_words_that_run_a_round_are_those_of_the_desk() -> None:
    from wqverify.desk.rounds import RUN

    assert RUN in form._LONG


def test_while_it_works_it_says_each_second_that_it_does_and_then_no_more(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(form, "_BEAT_S", 0.02)

    class Slow(FewQuestions):
        def act(self, act: Act) -> Screen:
            until = time.monotonic() + 10
            while len(slow.sent) < 4 and time.monotonic() < until:
                time.sleep(0.01)
            return super().act(act)

    slow = Opened(Slow())
    slow.desk.at = len(QUESTIONS)
    *working, done = slow.hear("answer", "run")
    assert len(working) >= 4
    assert all(one == {"view": "v", "seq": 1, "working": True} for one in working)
    assert done["screen"]["kind"] == "result"
    time.sleep(0.1)
    assert slow.sent[-1] is done


def test_a_fault_in_a_run_ends_the_signs_of_life(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(form, "_BEAT_S", 0.01)

    class Faulty(FewQuestions):
        def act(self, act: Act) -> Screen:
            raise ZeroDivisionError(act.do)

    faulty = Opened(Faulty())
    faulty.desk.at = len(QUESTIONS)
    with pytest.raises(ZeroDivisionError):
        faulty.hear("answer", "run")
    told = len(faulty.sent)
    time.sleep(0.1)
    assert len(faulty.sent) == told


def test_a_fault_of_the_program_is_not_taken_for_a_refusal() -> None:
    """No acknowledgement: the page then says NOT SAVED, which is true."""

    class Faulty(FewQuestions):
        def act(self, act: Act) -> Screen:
            raise ZeroDivisionError(act.do)

    faulty = Opened(Faulty())
    with pytest.raises(ZeroDivisionError):
        faulty.hear("answer", "B7-4471", PICK)
    assert faulty.sent == []


def test_a_form_shown_again_gives_the_sheet_back_first() -> None:
    first, second = FewQuestions(), FewQuestions()
    form_of(lambda: first)

    def open_second() -> FewQuestions:
        assert first.closed
        return second

    assert isinstance(form_of(open_second), VisitForm)
    assert not second.closed
    form_of(FewQuestions)
    assert second.closed


def test_text_of_a_sheet_can_only_become_text() -> None:
    for word in (
        "innerHTML",
        "outerHTML",
        "insertAdjacentHTML",
        "document.write",
        "eval(",
        "DOMParser",
        "srcdoc",
    ):
        assert word not in VisitForm._esm, word
    assert HOSTILE not in VisitForm._esm


def test_nothing_is_asked_of_another_computer() -> None:
    addresses = re.findall(
        r"https?:[^\"'` ]*|//[a-z]+\.[^\"'` ]*|url\([^)]*\)", VisitForm._esm + VisitForm._css
    )
    assert addresses == ["http://www.w3.org/2000/svg"]  # the name of a format; nothing is loaded from it


def shades(which: int) -> dict[str, str]:
    """The colours of the light (0) and the dark (1) look."""
    blocks = re.findall(r"\{([^}]*--ink[^}]*)\}", VisitForm._css)
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", blocks[which]))


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, contrast ratio of two colours."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


@pytest.mark.parametrize("which", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize(
    ("text", "ground", "least"),
    [
        ("ink", "ground", 7),
        ("ink", "raised", 7),
        ("soft", "ground", 7),
        ("soft", "raised", 6),
        ("on-act", "act", 7),
        ("warn-ink", "warn-ground", 7),
        ("bad-ink", "bad-ground", 7),
        ("edge", "ground", 3),
        ("act", "ground", 4.5),
    ],
)
def test_it_can_be_read_in_bright_and_in_dark(which: int, text: str, ground: str, least: float) -> None:
    colours = shades(which)
    assert contrast(colours[text], colours[ground]) >= least


# -- wqverify open -----------------------------------------------------------------------------------------


def released() -> bytes:
    return (shipped_folder("notebooks") / "step_through.ipynb").read_bytes()


def changed(**cell: Any) -> bytes:
    """The notebook with its code cell changed."""
    document = json.loads(released())
    document["cells"][1] |= cell
    return json.dumps(document).encode()


def test_the_notebook_is_put_into_the_plant_folder(tmp_path: Path) -> None:
    assert put_notebook(tmp_path) == ""
    assert (tmp_path / NOTEBOOK).read_bytes() == released()
    assert put_notebook(tmp_path) == ""
    assert [path.name for path in (tmp_path / "notebooks").iterdir()] == ["step_through.ipynb"]


def test_what_a_run_left_in_the_copy_is_cleared(tmp_path: Path) -> None:
    put_notebook(tmp_path)
    (tmp_path / NOTEBOOK).write_bytes(changed(execution_count=3, outputs=[{"output_type": "stream"}]))
    assert put_notebook(tmp_path) == ""
    assert (tmp_path / NOTEBOOK).read_bytes() == released()


def test_somebodys_own_notebook_is_moved_aside_and_told(tmp_path: Path) -> None:
    for number, text in enumerate((changed(source=["mine = 1"]), b"no notebook"), 1):
        put_notebook(tmp_path)
        (tmp_path / NOTEBOOK).write_bytes(text)
        said = put_notebook(tmp_path)
        assert said == (
            "step_through.ipynb was not that of this version; "
            f"it is kept as notebooks/step_through_{number}.ipynb."
        )
        assert (tmp_path / "notebooks" / f"step_through_{number}.ipynb").read_bytes() == text
        assert (tmp_path / NOTEBOOK).read_bytes() == released()


def test_nothing_of_a_persons_own_settings_reaches_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("JUPYTER_CONFIG_PATH", "mine")
    monkeypatch.setenv("IPYTHONDIR", "mine")
    environment = _environment(tmp_path, "secret")
    assert "mine" not in environment.values()
    for name in ("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "IPYTHONDIR"):
        assert Path(environment[name]).parent == tmp_path
        assert os.environ.get(name) != environment[name]


def test_it_listens_on_this_computer_only_and_its_token_stands_in_no_command_line(tmp_path: Path) -> None:
    environment = _environment(tmp_path, "secret")
    assert environment["JUPYTER_TOKEN"] == "secret"
    assert "secret" not in " ".join(_command(tmp_path, 8123, browser=True))
    written = json.loads((tmp_path / "config" / "jupyter_lab_config.json").read_text("utf-8"))
    assert written == CONFIG
    assert written["ServerApp"]["ip"] == "127.0.0.1"
    assert "--no-browser" in _command(tmp_path, 8123, browser=False)


def test_where_jupyterlab_does_not_run_its_last_words_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = [sys.executable, "-c", "print('first'); raise SystemExit('no room for it')"]
    monkeypatch.setattr(lab, "_command", lambda *_told: broken)
    begun = start(tmp_path, tmp_path, browser=False)
    with pytest.raises(CouldNotRun) as caught:
        begun.until_it_answers()
    assert caught.value.message.startswith("JupyterLab did not run (no room for it); ")
    assert "wqverify step" in caught.value.message
    assert "first" in (tmp_path / "lab.log").read_text("utf-8")
    begun.stop()


def test_one_that_was_killed_is_not_taken_for_one_that_runs(tmp_path: Path) -> None:
    (tmp_path / "runtime").mkdir()
    left = {"url": "http://127.0.0.1:9/", "token": "secret", "root_dir": str(tmp_path)}
    (tmp_path / "runtime" / "jpserver-1.json").write_text(json.dumps(left), "utf-8")
    assert running(tmp_path, tmp_path) == ""
