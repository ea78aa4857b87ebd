"""What the lines of a journal come to: the sheet as far as it is typed, and what was said of its answers.

``fold`` takes all lines at once; ``Folded.after`` takes one more and leaves what it was called on as it is,
so that a line can be tried before it is written.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, field, fields, replace
from typing import Any

from wqverify.entry import tree
from wqverify.entry.journal import JournalLine
from wqverify.entry.tree import MISSING, Misfit, Steps, steps_of
from wqverify.errors import RepairTheFolder

BY_MISTAKE = "begun by mistake"  # the state of a sheet that was put aside
INSTEAD = ("not_done", "same_as")  # said where the answers of a group would stand
_ANEW = (
    "answer",
    "correct",
    "remove",
    "not done",
    "same as",
    "leave out",
    "ask",
    "no more",
    "more",
    "take up",
)


@dataclass(frozen=True, slots=True)
class Correction:
    """What stood at a path and was replaced; ``now`` is None where it was taken out.

    The path is that of the sheet as it stands: it moves along with its row or reading when an earlier one is
    taken out. Once that row or reading is itself taken out, with this correction or later, ``gone`` is its
    path, and both stay as they were then: another row may stand under that number now.
    """

    at: str
    path: str
    was: Any
    now: Any
    why: str = ""
    by: str = ""
    gone: str = ""  # the path of the row or reading it stood in, where that is on the sheet no more


@dataclass(frozen=True, slots=True)
class Voice:
    """Who said an answer, where that is not the performer."""

    by: str
    heard: str = ""
    read_back: str = ""


@dataclass(frozen=True, slots=True)
class Folded:
    """A visit as its journal tells it. Nobody changes what is in here: ``after`` gives the next one."""

    raw: Mapping[str, Any] = field(default_factory=dict)  # as the field sheet; nobody's group is in it empty
    closed: Set[str] = frozenset()  # lists of readings and rows that are complete
    left_out: Set[str] = frozenset()
    opened: Set[str] = frozenset()
    corrections: tuple[Correction, ...] = ()  # in the order in which they were made, at their paths of now
    voices: Mapping[str, Voice] = field(default_factory=dict)
    how: Mapping[str, str] = field(default_factory=dict)
    sure: Mapping[str, str] = field(default_factory=dict)
    state: str = "open"
    state_to: str = ""
    state_text: str = ""
    digest: str = ""  # of the sheet, where the visit is complete
    person: str = ""  # who took the sheet up last; empty where nobody did, so that it is the performer's
    seen: Set[tuple[str, int]] = frozenset()
    procedure: str = ""
    revision: int = 0
    tag: str = ""
    cut: int = 0
    began: str = ""
    last_at: str = ""
    count: int = 0  # of lines

    def after(self, *lines: JournalLine) -> Folded:
        """Return what more lines make of it; raises RepairTheFolder for one that does not fit."""
        folding = _Folding(self)
        for line in lines:
            folding.take(line)
        return folding.folded()


def fold(lines: Iterable[JournalLine]) -> Folded:
    """Return what lines come to; raises RepairTheFolder, naming the line, for one that does not fit."""
    return Folded().after(*lines)


class _Folding:
    """A fold under way: sets and maps are copied before they change, the sheet along the path that does."""

    def __init__(self, start: Folded) -> None:
        self._now = {f.name: getattr(start, f.name) for f in fields(Folded)}
        self._mine: set[str] = set()
        self._corrections = list(start.corrections)

    def folded(self) -> Folded:
        return Folded(**self._now | {"corrections": tuple(self._corrections)})

    def take(self, line: JournalLine) -> None:
        self._now["count"] += 1
        if line.do not in _DOES or (line.do == "begin") is not (self._now["count"] == 1):
            raise self._misfit(line, "a journal begins with begin, and only once, and knows no other doings")
        try:
            if line.do in _ANEW:
                self._now |= {"state": "open", "state_to": "", "state_text": "", "digest": ""}
            _DOES[line.do](self, line)
        except Misfit as misfit:
            raise self._misfit(line, misfit.what) from None
        self._now["last_at"] = line.at
        self._now["cut"] += line.cut
        if line.view:
            self._set("seen").add((line.view, line.seq))

    def _misfit(self, line: JournalLine, what: str) -> RepairTheFolder:
        number = self._now["count"]
        return RepairTheFolder(
            f"Line {number} of the journal ({f'{line.do} {line.path}'.strip()[:80]}) does not fit those "
            f"before it: {what}. The file was changed after it was written; put an unchanged copy back, "
            f"or keep it and report it.",
            found=what,
            where=f"line {number}",
        )

    # ------------------------------------------------------------ what each line does

    def begin(self, line: JournalLine) -> None:
        self._now |= {"procedure": line.procedure, "revision": line.revision, "tag": line.tag}
        self._now["began"] = line.at

    def resume(self, line: JournalLine) -> None:
        """Nothing of the visit changes."""

    def answer(self, line: JournalLine) -> None:
        steps = steps_of(line.path)
        if steps[-1] in INSTEAD:
            self._put_instead(steps[:-1], str(steps[-1]), line)
            return
        spot, said = self._said_instead(steps)
        if said:
            self._put(spot, {})
            self._forget(".".join(map(str, spot)))
        standing = self._get(steps)
        if standing not in (MISSING, ""):
            raise Misfit(f"it is answered already with {_short(standing)}")
        self._put(steps, line.text)
        if said:
            self._corrected(line, ".".join(map(str, spot)), said, self._get(spot))
        self._bring_back(steps)
        self._mark(line.path, line)

    def correct(self, line: JournalLine) -> None:
        steps = steps_of(line.path)
        standing = self._get(steps)
        if not isinstance(standing, str):
            raise Misfit("no answer stands there")
        if standing != line.was:
            raise Misfit(f"{_short(standing)} stands there, not {_short(line.was)}")
        self._put(steps, line.text)
        self._corrected(line, line.path, standing, line.text)
        self._mark(line.path, line)

    def remove(self, line: JournalLine) -> None:
        steps = steps_of(line.path)
        standing = self._get(steps)
        if standing is MISSING:
            raise Misfit("nothing stands there")
        if standing != line.was:
            raise Misfit(f"{_short(standing)} stands there, not {_short(line.was)}")
        self._now["raw"] = tree.without(self._now["raw"], steps)
        self._corrected(line, line.path, standing, None)
        if isinstance(steps[-1], int):
            self._shift(steps[:-1], steps[-1])
        else:
            self._forget(line.path)
        self._reopen_empty(steps)

    def not_done(self, line: JournalLine) -> None:
        self._put_instead(steps_of(line.path), "not_done", line)

    def same_as(self, line: JournalLine) -> None:
        self._put_instead(steps_of(line.path), "same_as", line)

    def leave_out(self, line: JournalLine) -> None:
        self._set("left_out").add(line.path)
        self._set("opened").discard(line.path)

    def ask(self, line: JournalLine) -> None:
        self._set("opened").add(line.path)
        self._set("left_out").discard(line.path)

    def no_more(self, line: JournalLine) -> None:
        self._set("closed").add(line.path)

    def more(self, line: JournalLine) -> None:
        self._set("closed").discard(line.path)

    def wait(self, line: JournalLine) -> None:
        self._now |= {"state": "waiting for the laboratory", "state_to": "", "state_text": line.text}

    def pass_on(self, line: JournalLine) -> None:
        self._now |= {"state": "passed on", "state_to": line.to, "state_text": line.text}

    def put_aside(self, line: JournalLine) -> None:
        """It was begun by mistake: what was entered stays, and nobody goes on with it."""
        self._now |= {"state": BY_MISTAKE, "state_to": "", "state_text": line.text}

    def take_up(self, line: JournalLine) -> None:
        """Who goes on is said, or the sheet is taken up as it lies; the state is open again."""
        if line.by:
            self._now["person"] = line.by

    def complete(self, line: JournalLine) -> None:
        self._now |= {"state": "complete", "state_to": "", "state_text": line.text, "digest": line.digest}

    # ------------------------------------------------------------ how it is done

    def _get(self, steps: Steps) -> Any:
        return tree.get(self._now["raw"], steps)

    def _put(self, steps: Steps, value: Any) -> None:
        self._now["raw"] = tree.put(self._now["raw"], steps, value)

    def _set(self, name: str) -> Any:
        """Return a set or map of this fold to change; that of the fold it started from stays as it is."""
        if name not in self._mine:
            self._mine.add(name)
            now = self._now[name]
            self._now[name] = dict(now) if isinstance(now, Mapping) else set(now)
        return self._now[name]

    def _said_instead(self, steps: Steps) -> tuple[Steps, Any]:
        """Return the group around a path that says not done or same as, and what it says; else nothing."""
        for depth in range(1, len(steps)):
            value = self._get(steps[:depth])
            if isinstance(value, dict) and not value.keys().isdisjoint(INSTEAD):
                return steps[:depth], value
        return (), None

    def _put_instead(self, steps: Steps, key: str, line: JournalLine) -> None:
        """Let a group say not done or same as; what stood there is kept as a correction."""
        if not steps:
            raise Misfit("it names no group")
        path = ".".join(map(str, steps))
        around, said = self._said_instead(steps)
        if said:
            raise Misfit(f"{'.'.join(map(str, around))} says {_short(said)}")
        standing = self._get(steps)
        if isinstance(standing, str) or (isinstance(standing, list) and not isinstance(standing[0], dict)):
            raise Misfit(f"{_short(standing)} stands there, which is no group")
        there = standing not in (MISSING, {})
        if line.was is not None and standing != line.was:
            raise Misfit(f"{_short(standing) if there else 'nothing'} stands there, not {_short(line.was)}")
        said = {key: line.text}
        self._put(steps, said)
        self._forget(path)
        if there:
            self._corrected(line, path, standing, said)
        self._bring_back(steps)
        self._mark(f"{path}.{key}", line)

    def _corrected(self, line: JournalLine, path: str, was: Any, now: Any) -> None:
        why = line.why or (line.text if line.do == "not done" else "")
        self._corrections.append(Correction(line.at, path, was, now, why, line.by))

    def _mark(self, path: str, line: JournalLine) -> None:
        """Keep who said an answer, where it is from and what was confirmed; nothing of the one before."""
        told: tuple[tuple[str, Any], ...] = (
            ("voices", Voice(line.by, line.heard, line.read_back) if line.by else None),
            ("how", line.how),
            ("sure", line.sure),
        )
        for name, value in told:
            if value:
                self._set(name)[path] = value
            elif path in self._now[name]:
                del self._set(name)[path]

    def _bring_back(self, steps: Steps) -> None:
        """What is answered is not left out, nor is what it stands in."""
        for depth in range(1, len(steps) + 1):
            path = ".".join(map(str, steps[:depth]))
            if path in self._now["left_out"]:
                self._set("left_out").discard(path)

    def _forget(self, path: str) -> None:
        """Drop what was said of a path and of those inside it; that it is asked or left out stays."""
        self._renamed(lambda one: None if _inside(one, path) else one)
        for name in _PATHS:
            if path in self._now[name] and name not in ("opened", "left_out"):
                _discard(self._set(name), path)
        for number, one in enumerate(self._corrections):
            row = _row_inside(one.path, path)
            if row and not _gone_at(one, row):
                self._corrections[number] = replace(one, gone=row)

    def _shift(self, rows: Steps, gone: int) -> None:
        """Drop what was said of a row or reading that was taken out and move that of the later ones up."""
        start = ".".join(map(str, rows)) + "."

        def renamed(path: str) -> str | None:
            if not path.startswith(start):
                return path
            index, dot, rest = path[len(start) :].partition(".")
            if not tree.is_index(index) or int(index) < gone:
                return path
            return None if int(index) == gone else f"{start}{int(index) - 1}{dot}{rest}"

        self._renamed(renamed)
        for number, one in enumerate(self._corrections):
            if one.path.startswith(start) and not _gone_at(one, f"{start}{gone}"):
                path = renamed(one.path)
                self._corrections[number] = (
                    replace(one, gone=f"{start}{gone}")
                    if path is None
                    else replace(one, path=path, gone=renamed(one.gone) or "")
                )

    def _reopen_empty(self, steps: Steps) -> None:
        """A list is not complete once nothing is left in it."""
        for depth in range(1, len(steps)):
            path = ".".join(map(str, steps[:depth]))
            if path in self._now["closed"] and self._get(steps[:depth]) is MISSING:
                self._set("closed").discard(path)

    def _renamed(self, name: Callable[[str], str | None]) -> None:
        for what in _PATHS:
            now = self._now[what]
            if all(name(path) == path for path in now):
                continue
            self._mine.add(what)
            if isinstance(now, Mapping):
                self._now[what] = {new: now[path] for path, new in _pairs(now, name)}
            else:
                self._now[what] = {new for _path, new in _pairs(now, name)}


_PATHS = ("closed", "left_out", "opened", "voices", "how", "sure")
_DOES: Mapping[str, Callable[[_Folding, JournalLine], None]] = {
    "begin": _Folding.begin,
    "resume": _Folding.resume,
    "answer": _Folding.answer,
    "correct": _Folding.correct,
    "remove": _Folding.remove,
    "not done": _Folding.not_done,
    "same as": _Folding.same_as,
    "leave out": _Folding.leave_out,
    "ask": _Folding.ask,
    "no more": _Folding.no_more,
    "more": _Folding.more,
    "wait": _Folding.wait,
    "pass on": _Folding.pass_on,
    "put aside": _Folding.put_aside,
    "take up": _Folding.take_up,
    "complete": _Folding.complete,
}


def _pairs(paths: Iterable[str], name: Callable[[str], str | None]) -> Iterator[tuple[str, str]]:
    return ((path, new) for path in paths if (new := name(path)) is not None)


def _inside(path: str, group: str) -> bool:
    return path.startswith(f"{group}.")


def _row_inside(path: str, group: str) -> str:
    """Return the path of the row or reading of a group that a path lies in, empty where it is in none."""
    steps = path.split(".")
    above = group.count(".") + 1
    numbers = [n for n, step in enumerate(steps) if n >= above and tree.is_index(step)]
    return ".".join(steps[: numbers[0] + 1]) if _inside(path, group) and numbers else ""


def _gone_at(one: Correction, row: str) -> bool:
    """Whether what a correction stood in is gone already, at the level of a row or above it."""
    return bool(one.gone) and one.gone.count(".") <= row.count(".")


def _discard(these: Any, path: str) -> None:
    if isinstance(these, dict):
        del these[path]
    else:
        these.discard(path)


def _short(value: Any) -> str:
    said = "nothing" if value is None or value is MISSING else repr(value)
    return said if len(said) <= 60 else said[:59] + "…"
