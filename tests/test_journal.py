"""The journal of a visit: nothing acknowledged is lost or doubled, by kill, full disk or second window."""

from __future__ import annotations

import errno
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

import wqverify
from wqverify.entry.journal import Journal, JournalLine, journal_path, read_journal, stamped
from wqverify.errors import ChooseAnother, CorrectTheEntry, CouldNotRun, RepairTheFolder

AT = "2026-03-03T08:10:21.500-05:00"
LATER = "2026-03-03T09:40:00.000-05:00"
DISK = "(No space left on device). All that was entered before is kept; make room or repair the disk"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "field_sheets" / "AIT-2101.journal.jsonl"


def begun(path: Path, at: str = AT) -> Journal:
    return Journal.begin(path, at, procedure="ph_calibration", revision=2, tag="AIT-2101")


def typed(index: int, text: str = "7.05") -> JournalLine:
    return JournalLine(at=AT, do="answer", path=f"as_found.points.0.readings.{index}", text=text)


def written(path: Path, answers: int) -> bytes:
    """A journal of one begin and some answers, closed."""
    journal = begun(path)
    for index in range(answers):
        journal.append(typed(index, f"7.{index:02}"))
    journal.close()
    return path.read_bytes()


# ---------------------------------------------------------------- lines


def test_the_journal_lies_beside_its_sheet() -> None:
    assert journal_path(Path("plant/field_sheets/a b.toml")) == Path("plant/field_sheets/a b.journal.jsonl")


def test_a_line_says_what_was_done_and_nothing_that_is_empty(path: Path) -> None:
    journal = begun(path)
    journal.append(
        JournalLine(at=AT, do="answer", path="started", text="08:10", how="clock", view="v1", seq=3),
        JournalLine(at=AT, do="remove", path="cause", was={"opinion": "älter\u2028"}, why="not said by him"),
    )
    journal.close()
    assert path.read_text("utf-8").split("\n") == [
        '{"n":1,"at":"2026-03-03T08:10:21.500-05:00","do":"begin","format":1,"procedure":"ph_calibration",'
        f'"revision":2,"tag":"AIT-2101","wqverify":"{wqverify.__version__}"}}',
        '{"n":2,"at":"2026-03-03T08:10:21.500-05:00","do":"answer","path":"started","text":"08:10",'
        '"how":"clock","view":"v1","seq":3}',
        '{"n":3,"at":"2026-03-03T08:10:21.500-05:00","do":"remove","path":"cause",'
        '"was":{"opinion":"älter\u2028"},"why":"not said by him"}',
        "",
    ]
    assert read_journal(path.read_bytes()) == (journal.lines, "")
    assert journal.lines[2].was == {"opinion": "älter\u2028"}


@pytest.mark.parametrize("text", ["", " ", "\n", "\x00", '"}\n{"', "\\u0041", "ÿ\u2029", "x" * 100_000])
def test_any_text_comes_back_as_it_was_typed(path: Path, text: str) -> None:
    journal = begun(path)
    journal.append(typed(0, text))
    journal.close()
    assert read_journal(path.read_bytes())[0][1].text == text


def test_half_a_character_is_refused_and_not_written(path: Path) -> None:
    journal = begun(path)
    before = path.read_bytes()
    with pytest.raises(CorrectTheEntry) as caught:
        journal.append(typed(0), typed(1, "\ud800"))
    assert str(caught.value) == (
        "as_found.points.0.readings.1 holds half a character, which cannot be kept; type it again."
    )
    assert path.read_bytes() == before
    journal.append(typed(0))
    assert [line.n for line in journal.lines] == [1, 2]
    journal.close()


def test_a_moment_is_stamped_to_the_millisecond_with_its_offset() -> None:
    assert stamped(datetime(2026, 3, 3, 8, 10, 21, 987654, tzinfo=UTC)) == "2026-03-03T08:10:21.987+00:00"
    with pytest.raises(ValueError, match="needs its offset"):
        stamped(datetime(2026, 3, 3, 8, 10))


def changed(data: bytes, number: int, **keys: Any) -> bytes:
    lines = data.split(b"\n")
    told = json.loads(lines[number - 1]) | keys
    lines[number - 1] = json.dumps({key: value for key, value in told.items() if value is not None}).encode()
    return b"\n".join(lines)


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (lambda d: changed(d, 2, typo="x"), "Line 2 of the journal has a key 'typo' that this wqverify"),
        (lambda d: changed(d, 2, text=7), "Line 2 of the journal says text in another form"),
        (lambda d: changed(d, 2, seq=True), "Line 2 of the journal says seq in another form"),
        (lambda d: changed(d, 2, n=3), "Line 2 of the journal bears the number 3: lines were taken out"),
        (lambda d: changed(d, 2, n=None), "Line 2 of the journal bears the number 0"),
        (lambda d: changed(d, 3, do="erase"), "Line 3 of the journal says 'erase', which is nothing"),
        (lambda d: changed(d, 1, do="resume"), "Line 1 of the journal is not the beginning of a visit"),
        (lambda d: changed(d, 3, do="begin"), "Line 3 of the journal begins the visit a second time"),
        (lambda d: changed(d, 1, format=2), "Line 1 of the journal is of format 2, and this wqverify reads"),
        (lambda d: changed(d, 3, lines=4), "Line 3 of the journal says it begins 4 lines, which none but"),
        (lambda d: changed(d, 1, lines=-1), "Line 1 of the journal says it begins -1 lines"),
        (lambda d: changed(d, 1, lines=4).replace(b'"text"', b'"txt"', 1), "Line 2 of the journal has a key"),
        (lambda d: changed(d, 3, at="08:10"), "Line 3 of the journal says '08:10' where the time with its"),
        (lambda d: changed(d, 3, at="2026-03-03T08:10"), "says '2026-03-03T08:10' where the time with its"),
        (
            lambda d: d.replace(b'"text":"7.00"', b'"text":"7.00","text":"7.0"'),
            "Line 2 of the journal is not",
        ),
        (lambda d: d.replace(b'"text":"7.00"', b'"was":NaN'), "Line 2 of the journal is not a line of JSON"),
        (lambda d: d.replace(b"7.00", b"7.\xff0"), "Line 2 of the journal is not a line of JSON"),
        (lambda d: d.replace(b'"7.00"', b"[" * 9999), "Line 2 of the journal is not a line of JSON"),
        (lambda d: d.replace(b"\n", b"\n\n", 1), "Line 2 of the journal is not a line of JSON"),
        (lambda d: d.split(b"\n", 1)[1], "Line 1 of the journal bears the number 2"),
        (lambda d: d + b"[]\n", "Line 5 of the journal is not a line of JSON"),
    ],
)
def test_a_line_damaged_in_the_middle_is_named_and_nothing_is_deleted(
    path: Path, damage: Callable[[bytes], bytes], said: str
) -> None:
    data = damage(written(path, 3))
    path.write_bytes(data)
    with pytest.raises(RepairTheFolder) as caught:
        read_journal(data)
    assert said in str(caught.value)
    assert str(caught.value).endswith(
        "; nothing was deleted: put an unchanged copy of the file back, or keep it and report it."
    )
    with pytest.raises(RepairTheFolder):
        Journal.resume(path, LATER)
    assert path.read_bytes() == data


# ---------------------------------------------------------------- begin and resume


def test_a_journal_is_begun_once(path: Path) -> None:
    data = written(path, 1)
    with pytest.raises(ChooseAnother) as caught:
        begun(path, LATER)
    assert str(caught.value) == (
        "AIT-2101.journal.jsonl exists already: this visit was begun at 2026-03-03 08:10. Go on with it by "
        "`wqverify step`, or give the new sheet another name."
    )
    assert path.read_bytes() == data


def test_a_journal_is_gone_on_with_where_it_stood(path: Path) -> None:
    written(path, 2)
    journal = Journal.resume(path, LATER)
    journal.append(typed(2))
    journal.close()
    journal.close()
    lines, torn = read_journal(path.read_bytes())
    assert [(line.n, line.do, line.cut) for line in lines] == [
        (1, "begin", 0),
        (2, "answer", 0),
        (3, "answer", 0),
        (4, "resume", 0),
        (5, "answer", 0),
    ]
    assert (lines, torn) == (journal.lines, "")


def test_a_journal_that_is_not_there_is_said(path: Path) -> None:
    with pytest.raises(CouldNotRun) as caught:
        Journal.resume(path, LATER)
    assert "AIT-2101.journal.jsonl could not be opened (No such file or directory)" in str(caught.value)


def test_what_a_kill_left_of_the_beginning_is_begun_again(path: Path) -> None:
    first = written(path, 0)
    for cut in range(len(first)):
        path.write_bytes(first[:cut])
        assert read_journal(first[:cut]) == ((), first[:cut].decode())
        with pytest.raises(RepairTheFolder, match=r"holds no whole line, so nothing was entered in it"):
            Journal.resume(path, LATER)
        assert path.read_bytes() == first[:cut]
        begun(path).close()
        (line,), torn = read_journal(path.read_bytes())
        assert (line.do, line.cut, line.torn, torn) == ("begin", cut, first[:cut].decode(), "")


# ---------------------------------------------------------------- begun with lines that are taken up

TAKEN = tuple(
    [JournalLine(at=AT, do="take up", digest="ab")]
    + [JournalLine(at=AT, do="answer", path=f"r.{n}", text=f"7.{n:02} naß", how="sheet") for n in range(9)]
)


def taken_up(path: Path, more: tuple[JournalLine, ...] = TAKEN) -> Journal:
    return Journal.begin(path, AT, procedure="ph_calibration", revision=2, tag="AIT-2101", more=more)


def is_taken_up(path: Path, torn: bytes = b"") -> bool:
    """Whether a journal holds the whole beginning, and keeps what stood there before."""
    lines, rest = read_journal(path.read_bytes())
    first = lines[0]
    assert [(line.n, line.text) for line in lines[1:]] == [(n, one.text) for n, one in enumerate(TAKEN, 2)]
    return (first.lines, first.cut, first.torn, rest) == (1 + len(TAKEN), len(torn), torn.decode(), "")


def test_a_sheet_is_taken_up_in_the_one_write_that_begins_its_journal(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = FullDisk()
    monkeypatch.setattr("wqverify.entry.journal.os", disk)
    journal = taken_up(path)
    assert (len(disk.writes), disk.syncs) == (1, 2)  # the file, and its folder
    assert is_taken_up(path)
    journal.append(typed(0))
    journal.close()
    Journal.resume(path, LATER).close()
    assert [line.do for line in read_journal(path.read_bytes())[0][-2:]] == ["answer", "resume"]
    with pytest.raises(ChooseAnother, match="exists already"):
        taken_up(path)


def test_a_beginning_of_one_line_states_no_number_of_lines(path: Path) -> None:
    taken_up(path, ()).close()
    assert b"lines" not in path.read_bytes()


def test_a_beginning_of_which_a_part_was_written_is_begun_again_wherever_it_ends(path: Path) -> None:
    taken_up(path).close()
    whole = path.read_bytes()
    first = whole.index(b"\n") + 1
    for cut in [*range(first, first + 130), *range(first + 130, len(whole), 37), len(whole) - 1]:
        half = whole[:cut].decode(errors="ignore").encode()  # in the middle of a letter: see the next test
        path.write_bytes(half)
        assert read_journal(half) == ((), half.decode())
        with pytest.raises(RepairTheFolder) as caught:
            Journal.resume(path, LATER)
        assert str(caught.value) == (
            "AIT-2101.journal.jsonl holds only a part of its beginning, so nothing was entered in it; remove "
            "the file and begin the visit again."
        )
        assert path.read_bytes() == half
        taken_up(path).close()
        assert is_taken_up(path, half)
        Journal.resume(path, LATER).close()


class Killed(BaseException):
    """Stands for the end of the process: nothing is put in order after it."""


class KilledDisk:
    """Stands in for ``os``: after some bytes the process is killed."""

    def __init__(self, left: int) -> None:
        self.left = left

    def __getattr__(self, name: str) -> Any:
        return getattr(os, name)

    def write(self, handle: int, data: bytes) -> int:
        written = os.write(handle, data[: self.left])
        self.left -= written
        if written < len(data):
            raise Killed
        return written


def test_a_kill_while_it_is_begun_again_leaves_a_beginning_that_can_be_begun_again(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    taken_up(path).close()
    half = path.read_bytes()[:-20]
    for left in [*range(30), *range(30, 3 * len(half), 61)]:
        path.write_bytes(half)
        with monkeypatch.context() as dying:
            dying.setattr("wqverify.entry.journal.os", KilledDisk(left))
            try:
                taken_up(path).close()
            except Killed:
                lines, torn = read_journal(path.read_bytes())
                assert (lines, bool(torn)) == ((), True), left
            else:
                assert is_taken_up(path, half)
                break
        kept = path.read_bytes().decode(errors="backslashreplace")
        taken_up(path).close()
        assert read_journal(path.read_bytes())[0][0].torn == kept
    else:
        pytest.fail("it was never begun")


@pytest.mark.parametrize("touch", ["write", "short write", "fsync"])
@pytest.mark.parametrize("half", [False, True], ids=["anew", "again"])
def test_a_full_disk_leaves_nothing_or_what_stood_there_of_a_beginning(
    path: Path, monkeypatch: pytest.MonkeyPatch, touch: str, half: bool
) -> None:
    taken_up(path).close()
    before = path.read_bytes()[:-20]
    path.write_bytes(before) if half else path.unlink()
    with monkeypatch.context() as full:
        full.setattr("wqverify.entry.journal.os", FullDisk(touch, times=1))
        with pytest.raises(CouldNotRun, match="NOT SAVED"):
            taken_up(path)
    assert (path.read_bytes() if path.exists() else b"") == (before if half else b"")
    taken_up(path).close()
    assert is_taken_up(path, before if half else b"")


@pytest.mark.skipif(sys.platform == "win32", reason="fork and SIGKILL are POSIX")
def test_kills_while_a_long_sheet_is_taken_up_leave_all_of_it_or_a_beginning(path: Path) -> None:
    seed = int(os.environ.get("WQVERIFY_SEED") or time.time_ns() % 1_000_000)
    print(f"seed {seed}")
    chance = random.Random(seed)
    more = tuple(JournalLine(at=AT, do="answer", path=f"r.{n}", text="x" * 400) for n in range(2_000))
    ended = set()
    for _kill in range(12):
        path.unlink(missing_ok=True)
        child = os.fork()
        if child == 0:
            try:
                taken_up(path, more)
            finally:
                os._exit(0)
        for _moment in range(2_000):  # till the file is there, or it is over
            if path.exists():
                break
            time.sleep(0.0005)
        time.sleep(chance.uniform(0, 0.15))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        if path.exists():
            lines, _torn = read_journal(path.read_bytes())
            ended.add(len(lines))
            if not lines:
                taken_up(path, more).close()
                assert len(read_journal(path.read_bytes())[0]) == 2_001, f"seed {seed}"
    print(f"lines left: {sorted(ended)}")
    assert ended, f"seed {seed}"
    assert ended <= {0, 2_001}, f"seed {seed}"


# ---------------------------------------------------------------- torn


@pytest.mark.parametrize("last", ["7.02", "7,02 naß \u2028"])
def test_a_torn_last_line_is_cut_off_counted_and_kept_wherever_it_was_torn(path: Path, last: str) -> None:
    whole = written(path, 2)
    line = JournalLine(n=4, at=AT, do="answer", path="as_found.points.0.readings.2", text=last).written()
    for cut in range(1, len(line)):
        path.write_bytes(whole + line[:cut])
        torn = line[:cut].decode(errors="backslashreplace")
        assert read_journal(path.read_bytes()) == (read_journal(whole)[0], torn)
        journal = Journal.resume(path, LATER)
        assert (journal.lines[-1].do, journal.lines[-1].cut, journal.lines[-1].torn) == ("resume", cut, torn)
        journal.append(typed(2, last))
        journal.close()
        lines, rest = read_journal(path.read_bytes())
        assert (lines, rest) == (journal.lines, "")
        assert [one.text for one in lines if one.do == "answer"] == ["7.00", "7.01", last]
        assert path.read_bytes().startswith(whole)


@pytest.mark.parametrize("torn", [b'{"n":4,\n', b"\0" * 40, b"\0" * 39 + b"\n", b"\xff\n", b'{"n":4}{\n'])
def test_a_last_line_that_is_no_json_is_torn_too(path: Path, torn: bytes) -> None:
    whole = written(path, 2)
    path.write_bytes(whole + torn)
    journal = Journal.resume(path, LATER)
    assert (journal.lines[-1].cut, journal.lines[-1].torn) == (
        len(torn),
        torn.decode(errors="backslashreplace"),
    )
    journal.close()
    assert read_journal(path.read_bytes()) == (journal.lines, "")


def test_what_was_torn_is_kept_where_the_disk_refuses_the_line_that_keeps_it(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = written(path, 1) + b'{"n":3,"at":"2026'
    path.write_bytes(data)
    for touch in ("short write", "fsync"):
        with monkeypatch.context() as full:
            full.setattr("wqverify.entry.journal.os", FullDisk(touch, times=1))
            with pytest.raises(CouldNotRun, match="NOT SAVED"):
                Journal.resume(path, LATER)
        assert path.read_bytes() == data
    Journal.resume(path, LATER).close()
    assert read_journal(path.read_bytes())[0][-1].torn == '{"n":3,"at":"2026'


# ---------------------------------------------------------------- two windows

OTHER = """
import sys
from pathlib import Path
from wqverify.entry.journal import Journal
journal = Journal.resume(Path(sys.argv[1]), sys.argv[2])
print("open", flush=True)
sys.stdin.readline()
"""


@pytest.fixture
def other(path: Path) -> Iterator[subprocess.Popen[str]]:
    """Another process that has gone on with the journal and waits."""
    written(path, 1)
    with subprocess.Popen(
        [sys.executable, "-c", OTHER, str(path), LATER],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "open\n"
        yield process
        process.kill()


@pytest.mark.usefixtures("other")
def test_a_sheet_that_is_open_in_another_window_is_refused_in_words(path: Path) -> None:
    before = path.read_bytes()
    for opening in (lambda: Journal.resume(path, AT), lambda: begun(path)):
        with pytest.raises(ChooseAnother) as caught:
            opening()
        assert str(caught.value) == (
            "This sheet is open in another window since 2026-03-03 09:40 (AIT-2101.journal.jsonl); go on "
            "there, or close it there first."
        )
    assert path.read_bytes() == before
    assert [line.do for line in read_journal(before)[0]] == ["begin", "answer", "resume"]  # anyone may read


def test_a_window_that_was_killed_gives_the_sheet_free(path: Path, other: subprocess.Popen[str]) -> None:
    other.kill()
    other.wait()
    journal = Journal.resume(path, LATER)
    journal.append(typed(1))
    journal.close()


def test_two_windows_of_one_process_are_kept_apart_too(path: Path) -> None:
    journal = begun(path)
    with pytest.raises(ChooseAnother, match="open in another window since 2026-03-03 08:10"):
        Journal.resume(path, LATER)
    journal.close()
    Journal.resume(path, LATER).close()


def test_a_refused_opening_leaves_no_lock_behind(path: Path) -> None:
    written(path, 1)
    with pytest.raises(ChooseAnother, match="exists already"):
        begun(path)
    Journal.resume(path, LATER).close()


def test_a_disk_that_cannot_lock_is_said(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    written(path, 1)

    def refuse(_handle: int, _how: int) -> None:
        raise OSError(errno.ENOLCK, os.strerror(errno.ENOLCK))

    monkeypatch.setattr("wqverify.entry.journal.fcntl.flock", refuse)
    with pytest.raises(CouldNotRun) as caught:
        Journal.resume(path, LATER)
    assert str(caught.value) == (
        "AIT-2101.journal.jsonl could not be locked (No locks available), so two windows could write into "
        "it; move the plant folder to a disk of this computer."
    )


# ---------------------------------------------------------------- the disk


class FullDisk:
    """Stands in for ``os`` in wqverify.entry.journal: some kinds of touch find no room, once or always."""

    def __init__(self, *touches: str, times: int = 1_000) -> None:
        self.touches = touches
        self.left = times
        self.writes: list[bytes] = []
        self.syncs = 0

    def __getattr__(self, name: str) -> Any:
        return getattr(os, name)

    def _refuses(self, touch: str) -> bool:
        if touch in self.touches and self.left:
            self.left -= 1
            return True
        return False

    def _refuse(self, touch: str) -> None:
        if self._refuses(touch):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def write(self, handle: int, data: bytes) -> int:
        self._refuse("write")
        if self._refuses("short write"):
            return os.write(handle, data[: len(data) // 2])
        self.writes.append(data)
        return os.write(handle, data)

    def fsync(self, handle: int) -> None:
        self._refuse("fsync")
        self.syncs += 1
        os.fsync(handle)

    def ftruncate(self, handle: int, size: int) -> None:
        self._refuse("ftruncate")
        os.ftruncate(handle, size)


def test_lines_that_belong_together_go_in_one_write_and_are_on_the_disk_after_it(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = FullDisk()
    monkeypatch.setattr("wqverify.entry.journal.os", disk)
    journal = begun(path)
    assert (len(disk.writes), disk.syncs) == (1, 2)  # the file, and its folder
    journal.append(typed(0), typed(1), typed(2))
    assert (len(disk.writes), disk.syncs) == (2, 3)
    assert disk.writes[1].count(b"\n") == 3
    journal.close()


@pytest.mark.parametrize("touch", ["write", "short write", "fsync"])
@pytest.mark.parametrize("stuck", [False, True], ids=["cut off at once", "cut off with the next line"])
def test_a_full_disk_saves_nothing_of_the_line_and_says_so(
    path: Path, monkeypatch: pytest.MonkeyPatch, touch: str, stuck: bool
) -> None:
    journal = begun(path)
    journal.append(typed(0))
    before, lines = path.read_bytes(), journal.lines
    with monkeypatch.context() as full:
        full.setattr("wqverify.entry.journal.os", FullDisk(touch, *(["ftruncate"] if stuck else [])))
        with pytest.raises(CouldNotRun) as caught:
            journal.append(typed(1), typed(2))
    why = "only a part of it was written" if touch == "short write" else "No space left on device"
    assert str(caught.value) == (
        f"NOT SAVED: AIT-2101.journal.jsonl could not be written ({why}). All that was entered before is "
        "kept; make room or repair the disk, then enter this again."
    )
    assert journal.lines == lines
    if not stuck:
        assert path.read_bytes() == before
    journal.append(typed(1))
    journal.close()
    found, torn = read_journal(path.read_bytes())
    assert (found, torn) == (journal.lines, "")
    assert path.read_bytes().startswith(before)
    assert [line.path[-1] for line in found if line.do == "answer"] == ["0", "1"]


@pytest.mark.parametrize("touch", ["write", "fsync"])
def test_a_visit_that_could_not_be_begun_leaves_nothing_behind(
    path: Path, monkeypatch: pytest.MonkeyPatch, touch: str
) -> None:
    with monkeypatch.context() as full:
        full.setattr("wqverify.entry.journal.os", FullDisk(touch))
        with pytest.raises(CouldNotRun, match="No space left on device"):
            begun(path)
    assert not path.exists()
    begun(path).close()


LIMITED = """
import resource, sys
from pathlib import Path
from wqverify.entry.journal import Journal, JournalLine
from wqverify.errors import CouldNotRun
path, limit = Path(sys.argv[1]), int(sys.argv[2])
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
journal = Journal.resume(path, sys.argv[3])
for index in range(1000):
    try:
        journal.append(JournalLine(at=sys.argv[3], do="answer", path=f"a.{index}", text="7.05"))
    except CouldNotRun as problem:
        print(index, problem)
        break
"""


def test_a_real_limit_in_the_middle_of_a_line_leaves_whole_lines(path: Path) -> None:
    written(path, 0)
    ended = subprocess.run(
        [sys.executable, "-c", LIMITED, str(path), "2000", LATER], capture_output=True, text=True, check=True
    )
    saved, _, said = ended.stdout.partition(" ")
    assert said.startswith("NOT SAVED: AIT-2101.journal.jsonl could not be written (")
    lines, torn = read_journal(path.read_bytes())
    assert torn == ""
    assert [line.path for line in lines if line.do == "answer"] == [f"a.{i}" for i in range(int(saved))]
    assert int(saved) > 10


@pytest.mark.parametrize(
    ("meddle", "what"),
    [
        (lambda path: path.write_bytes(path.read_bytes() + b"\n"), "changed"),
        (lambda path: path.write_bytes(path.read_bytes()[:-9]), "changed"),
        (
            lambda path: path.rename(path.with_name("x")) and (path.write_bytes(b""), path)[1],
            "moved or replaced",
        ),
    ],
)
def test_a_file_that_another_program_touches_is_not_written_on(
    path: Path, meddle: Callable[[Path], object], what: str
) -> None:
    journal = begun(path)
    meddle(path)
    before = path.read_bytes()
    with pytest.raises(CouldNotRun) as caught:
        journal.append(typed(0))
    assert str(caught.value) == (
        f"NOT SAVED: AIT-2101.journal.jsonl was {what} by another program while it was open here. Put it "
        "back as it was, close this window and go on by `wqverify step`."
    )
    assert path.read_bytes() == before
    journal.close()


def test_a_file_that_was_removed_takes_no_answer(path: Path) -> None:
    journal = begun(path)
    path.unlink()
    with pytest.raises(CouldNotRun, match="NOT SAVED"):
        journal.append(typed(0))
    journal.close()


# ---------------------------------------------------------------- kills


def answering(path: Path, acknowledge: int) -> None:
    """Go on with the journal and answer without pause; each answer is acknowledged after it was taken."""
    journal = Journal.resume(path, LATER)
    count = sum(line.do == "answer" for line in journal.lines)
    while True:
        journal.append(typed(count, f"{count:06}"))
        os.write(acknowledge, f"{count}\n".encode())
        count += 1


def killed_answering(path: Path, after: float) -> list[int]:
    """Let a process answer, kill it after some seconds, return what it acknowledged."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        try:
            answering(path, writer)
        finally:
            os._exit(1)
    os.close(writer)
    time.sleep(after)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(reader, "rb") as told:
        whole = told.read().split(b"\n")[:-1]
    return [int(line) for line in whole]


@pytest.mark.skipif(sys.platform == "win32", reason="fork and SIGKILL are POSIX")
def test_sixty_kills_lose_and_double_no_acknowledged_answer(path: Path) -> None:
    seed = int(os.environ.get("WQVERIFY_SEED") or time.time_ns() % 1_000_000)
    kills = int(os.environ.get("WQVERIFY_KILLS") or 60)
    print(f"seed {seed}, kills {kills}")
    chance = random.Random(seed)
    written(path, 0)
    acknowledged = 0
    for _kill in range(kills):
        told = killed_answering(path, chance.uniform(0, 0.03))
        lines, _torn = read_journal(path.read_bytes())
        answers = [int(line.text) for line in lines if line.do == "answer"]
        assert answers == list(range(len(answers))), f"seed {seed}"  # none doubled, none between lost
        if told:
            assert told[-1] < len(answers) <= told[-1] + 2, f"seed {seed}"
        acknowledged += len(told)
        assert acknowledged <= len(answers) <= acknowledged + kills, f"seed {seed}"
    assert acknowledged > kills, f"seed {seed}"
