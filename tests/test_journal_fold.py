"""What the lines of a journal come to: each doing, what does not fit, and a slow obvious model beside it."""

from __future__ import annotations

import copy
import time
from collections.abc import Iterator, Mapping
from dataclasses import fields
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wqverify.entry.fold import Correction, Folded, Voice, fold
from wqverify.entry.journal import DOINGS, JournalLine
from wqverify.errors import RepairTheFolder
from wqverify.procedures.walk import answered

BEGIN = JournalLine(
    at="2026-03-03T08:10:00.000-05:00",
    do="begin",
    format=1,
    procedure="ph_calibration",
    revision=2,
    tag="A-1",
)


def lines_of(*acts: Mapping[str, Any]) -> list[JournalLine]:
    """A journal of acts, one second apart."""
    stamps = (f"2026-03-03T08:{n // 60:02}:{n % 60:02}.000-05:00" for n in range(1, 3600))
    return [BEGIN, *(JournalLine(at=at, **act) for at, act in zip(stamps, acts, strict=False))]


def folded(*acts: Mapping[str, Any]) -> Folded:
    return fold(lines_of(*acts))


def a(path: str, text: str = "7.05", **more: Any) -> dict[str, Any]:
    return {"do": "answer", "path": path, "text": text, **more}


def correct(path: str, text: str, was: str, **more: Any) -> dict[str, Any]:
    return {"do": "correct", "path": path, "text": text, "was": was, "why": "mistyped", **more}


def remove(path: str, was: Any) -> dict[str, Any]:
    return {"do": "remove", "path": path, "was": was, "why": "not of this visit"}


def do(what: str, path: str = "", **more: Any) -> dict[str, Any]:
    return {"do": what, "path": path, **more}


TWO_POINTS = (
    a("as_found.points.0.standard", "B7"),
    a("as_found.points.0.readings.0", "7.06"),
    a("as_found.points.0.readings.1", "7.05"),
    do("no more", "as_found.points.0.readings"),
    a("as_found.points.1.standard", "B10", by="D. Axelby", heard="radio", read_back="yes"),
    a("as_found.points.1.readings.0", "10.02", sure="10.02 is far from 7.05. Sure?"),
    do("no more", "as_found.points.1.readings"),
    do("no more", "as_found.points"),
)
POINTS = [
    {"standard": "B7", "readings": ["7.06", "7.05"]},
    {"standard": "B10", "readings": ["10.02"]},
]


# ---------------------------------------------------------------- each doing


def test_answers_come_to_the_sheet_with_groups_rows_and_lists() -> None:
    now = folded(a("tag", "AIT-2101", how="usual"), a("clocks.laptop", "08:11", how="clock"), *TWO_POINTS)
    assert now.raw == {
        "tag": "AIT-2101",
        "clocks": {"laptop": "08:11"},
        "as_found": {"points": POINTS},
    }
    assert now.closed == {"as_found.points.0.readings", "as_found.points.1.readings", "as_found.points"}
    assert now.voices == {"as_found.points.1.standard": Voice("D. Axelby", "radio", "yes")}
    assert now.how == {"tag": "usual", "clocks.laptop": "clock"}
    assert now.sure == {"as_found.points.1.readings.0": "10.02 is far from 7.05. Sure?"}
    assert (now.procedure, now.revision, now.tag, now.state) == ("ph_calibration", 2, "A-1", "open")
    assert (now.began, now.last_at) == (BEGIN.at, "2026-03-03T08:00:10.000-05:00")
    assert now.corrections == ()


def test_a_correction_keeps_what_stood_there_and_who_says_it_now() -> None:
    now = folded(
        *TWO_POINTS,
        correct("as_found.points.1.readings.0", "10.03", "10.02"),
        correct("as_found.points.1.standard", "B4", "B10", by="R. Denholm", heard="phone", read_back="no"),
    )
    assert now.raw["as_found"]["points"][1] == {"standard": "B4", "readings": ["10.03"]}
    assert now.corrections == (
        Correction(
            "2026-03-03T08:00:09.000-05:00", "as_found.points.1.readings.0", "10.02", "10.03", "mistyped"
        ),
        Correction(
            "2026-03-03T08:00:10.000-05:00",
            "as_found.points.1.standard",
            "B10",
            "B4",
            "mistyped",
            "R. Denholm",
        ),
    )
    assert now.voices == {"as_found.points.1.standard": Voice("R. Denholm", "phone", "no")}
    assert now.sure == {}  # what was confirmed was the answer before


def test_an_answer_that_is_corrected_by_the_performer_loses_its_voice() -> None:
    now = folded(a("signal.ma", "12.6", by="W. Abernathy", how="paper"), correct("signal.ma", "12.7", "12.6"))
    assert (now.voices, now.how) == ({}, {})


def test_a_row_that_is_taken_out_takes_its_marks_along_and_moves_the_later_ones_up() -> None:
    before = folded(
        *TWO_POINTS,
        do("ask", "as_found.points.1.note"),
        do("leave out", "as_found.points.1.at"),
        do("leave out", "as_found.points.0.at"),
        do("leave out", "as_found.points_note.1"),
        a("as_found.points.2.standard", "B4", how="usual"),
    )
    assert before.left_out == {"as_found.points.1.at", "as_found.points.0.at", "as_found.points_note.1"}
    act = JournalLine(at=BEGIN.at, **remove("as_found.points.0", POINTS[0]))
    now = before.after(act)
    assert now.raw == {"as_found": {"points": [POINTS[1], {"standard": "B4"}]}}
    assert now.closed == {"as_found.points.0.readings", "as_found.points"}
    assert now.voices.keys() == {"as_found.points.0.standard"}
    assert now.sure.keys() == {"as_found.points.0.readings.0"}
    assert now.how == {"as_found.points.1.standard": "usual"}
    assert (now.opened, now.left_out) == (
        {"as_found.points.0.note"},
        {"as_found.points.0.at", "as_found.points_note.1"},
    )
    assert now.corrections == (
        Correction(
            BEGIN.at, "as_found.points.0", POINTS[0], None, "not of this visit", gone="as_found.points.0"
        ),
    )


def places(now: Folded) -> list[tuple[str, str]]:
    """Where corrections stand, and the row of those whose row is gone."""
    return [(c.path, c.gone) for c in now.corrections]


def test_a_correction_moves_along_with_its_row_and_keeps_the_number_of_one_that_is_gone() -> None:
    rows = [a(f"rows.{row}.r.{n}", f"{row}.{n}") for row in range(3) for n in range(2)]
    acts = [
        *rows,
        correct("rows.1.r.0", "1.5", "1.0"),
        correct("rows.2.r.1", "2.5", "2.1"),
        remove("rows.2.r.0", "2.0"),
    ]
    now = folded(*acts)
    assert places(now) == [("rows.1.r.0", ""), ("rows.2.r.0", ""), ("rows.2.r.0", "rows.2.r.0")]
    now = folded(*acts, remove("rows.1", {"r": ["1.5", "1.1"]}))
    taken = [("rows.1.r.0", "rows.1"), ("rows.1.r.0", ""), ("rows.1.r.0", "rows.1.r.0"), ("rows.1", "rows.1")]
    assert places(now) == taken
    last = now.after(JournalLine(at=BEGIN.at, **remove("rows.0", {"r": ["0.0", "0.1"]})))
    assert places(last) == [
        ("rows.1.r.0", "rows.1"),
        ("rows.0.r.0", ""),
        ("rows.0.r.0", "rows.0.r.0"),
        ("rows.1", "rows.1"),
        ("rows.0", "rows.0"),
    ]
    assert places(now) == taken  # the fold it was taken on is as it was


def test_a_row_taken_out_with_its_whole_group_is_gone_too() -> None:
    acts = [*TWO_POINTS, correct("as_found.points.1.readings.0", "10.03", "10.02"), a("as_found.at", "8:10")]
    acts += [correct("as_found.at", "8:11", "8:10")]
    kept = [("as_found.points.1.readings.0", "as_found.points.1"), ("as_found.at", ""), ("as_found", "")]
    assert places(folded(*acts, do("not done", "as_found", text="no"))) == kept
    whole = {"points": [POINTS[0], {"standard": "B10", "readings": ["10.03"]}], "at": "8:11"}
    again = [remove("as_found", whole), *TWO_POINTS, remove("as_found.points.0", POINTS[0])]
    assert places(folded(*acts, *again)) == [*kept, ("as_found.points.0", "as_found.points.0")]


def test_a_superscript_is_the_number_of_no_row() -> None:
    now = folded(a("rows.0.x", "1"), a("rows.1.x", "2"), do("ask", "rows.\u00b2.x"), remove("rows.0.x", "1"))
    gone = now.after(JournalLine(at=BEGIN.at, **remove("rows.0", {})))
    assert (gone.raw, gone.opened) == ({"rows": [{"x": "2"}]}, {"rows.\u00b2.x"})
    with pytest.raises(RepairTheFolder, match="what stands above it is no group"):
        folded(a("r.0"), a("r.\u00b2"))


def test_a_reading_that_is_taken_out_moves_the_later_ones_up() -> None:
    now = folded(
        *(a(f"r.{i}", f"7.0{i}", how="paper" if i == 2 else "") for i in range(4)), remove("r.1", "7.01")
    )
    assert now.raw == {"r": ["7.00", "7.02", "7.03"]}
    assert now.how == {"r.1": "paper"}


def test_what_holds_nothing_any_more_is_gone_and_asked_again() -> None:
    acts = [a("as_found.points.0.readings.0"), do("no more", "as_found.points.0.readings")]
    now = folded(*acts, remove("as_found.points.0.readings.0", "7.05"))
    assert now.raw == {"as_found": {"points": [{}]}}  # a row stays until it is taken out itself
    assert now.closed == set()
    assert answered(now.raw) == {}
    gone = now.after(JournalLine(at=BEGIN.at, **remove("as_found.points.0", {})))
    assert gone.raw == {}
    assert folded(a("a.b.c"), a("a.d"), remove("a.b.c", "7.05")).raw == {"a": {"d": "7.05"}}


def test_a_whole_group_that_is_taken_out_forgets_what_was_said_of_it() -> None:
    now = folded(
        do("ask", "as_found"), *TWO_POINTS, a("as_founded.x"), remove("as_found", {"points": POINTS})
    )
    assert now.raw == {"as_founded": {"x": "7.05"}}
    assert (now.closed, now.voices, now.sure, now.opened) == (set(), {}, {}, {"as_found"})


def test_a_group_that_was_not_done_keeps_what_stood_there_as_a_correction() -> None:
    now = folded(*TWO_POINTS, do("not done", "as_found", text="probe broke", was={"points": POINTS}))
    assert now.raw == {"as_found": {"not_done": "probe broke"}}
    (kept,) = now.corrections
    assert (kept.path, kept.was, kept.now) == ("as_found", {"points": POINTS}, {"not_done": "probe broke"})
    assert kept.why == "probe broke"
    assert (now.closed, now.voices, now.sure) == (set(), {}, {})
    assert folded(do("not done", "as_found", text="probe broke")).corrections == ()


def test_a_group_that_is_the_same_as_another_likewise() -> None:
    now = folded(a("as_left.at", "09:00"), do("same as", "as_left", text="as_found"))
    assert now.raw == {"as_left": {"same_as": "as_found"}}
    assert [c.was for c in now.corrections] == [{"at": "09:00"}]
    again = now.after(JournalLine(at=BEGIN.at, do="not done", path="as_left", text="night"))
    assert again.raw == {"as_left": {"not_done": "night"}}
    assert [c.was for c in again.corrections] == [{"at": "09:00"}, {"same_as": "as_found"}]


@pytest.mark.parametrize("key", ["not_done", "same_as"])
def test_an_answer_in_a_group_that_said_otherwise_takes_its_place(key: str) -> None:
    said = do(key.replace("_", " "), "as_found", text="as_left", by="D. Axelby")
    now = folded(said, a("as_found.points.0.standard", "B7", why="done after all"))
    assert now.raw == {"as_found": {"points": [{"standard": "B7"}]}}
    (kept,) = now.corrections
    assert (kept.path, kept.was, kept.why) == ("as_found", {key: "as_left"}, "done after all")
    assert kept.now == {"points": [{"standard": "B7"}]}
    assert now.voices == {}


def test_what_a_blank_sheet_says_of_a_group_may_come_as_an_answer() -> None:
    now = folded(a("alarm_blocked.not_done", "no alarm hangs on it", how="usual"))
    assert now.raw == {"alarm_blocked": {"not_done": "no alarm hangs on it"}}
    assert now.how == {"alarm_blocked.not_done": "usual"}
    assert now.corrections == ()


def test_leaving_out_asking_and_closing_are_taken_back_by_each_other() -> None:
    now = folded(do("leave out", "cause"), do("ask", "notes"), do("no more", "notes"))
    assert (now.left_out, now.opened, now.closed) == ({"cause"}, {"notes"}, {"notes"})
    now = folded(
        do("leave out", "cause"),
        do("ask", "cause"),
        do("ask", "notes"),
        do("leave out", "notes"),
        do("no more", "r"),
        do("more", "r"),
    )
    assert (now.left_out, now.opened, now.closed) == ({"notes"}, {"cause"}, set())


def test_an_answer_brings_back_what_was_left_out_around_it() -> None:
    assert folded(do("leave out", "cause"), a("cause.opinion")).left_out == set()
    assert folded(do("leave out", "cause"), do("not done", "cause", text="x")).left_out == set()


STATES = {
    "wait": ("waiting for the laboratory", "", "chlorine bottle 4"),
    "pass on": ("passed on", "D. Axelby", "chlorine bottle 4"),
    "put aside": ("begun by mistake", "", "chlorine bottle 4"),
    "complete": ("complete", "", "chlorine bottle 4"),
}


@pytest.mark.parametrize("what", STATES)
def test_a_visit_waits_is_passed_on_or_complete_until_something_is_done_again(what: str) -> None:
    to = "D. Axelby" if what == "pass on" else ""
    acts = (a("x"), do(what, to=to, text="chlorine bottle 4", digest="ab" if what == "complete" else ""))
    now = folded(*acts)
    assert (now.state, now.state_to, now.state_text) == STATES[what]
    assert now.digest == ("ab" if what == "complete" else "")
    assert folded(*acts, do("resume")).state == now.state  # looking at it does nothing to it
    for act in (
        a("y"),
        correct("x", "7", "7.05"),
        remove("x", "7.05"),
        do("take up", by="IQU"),
        do("ask", "y"),
    ):
        after = folded(*acts, act)
        assert (after.state, after.state_to, after.state_text, after.digest) == ("open", "", "", "")


def test_the_person_of_a_sheet_is_who_took_it_up_last() -> None:
    acts = (a("x"), do("pass on", to="D. Axelby"))
    assert folded(*acts).person == ""
    taken = folded(*acts, do("take up", by="D. Axelby"), a("y"), do("wait", text="bottle 4"))
    assert taken.person == "D. Axelby"
    as_it_lies = taken.after(JournalLine(at=BEGIN.at, do="take up", digest="ab"))
    assert (as_it_lies.person, as_it_lies.state) == ("D. Axelby", "open")
    assert taken.after(JournalLine(at=BEGIN.at, do="take up", by="IQU")).person == "IQU"


@pytest.mark.parametrize("what", ["not done", "same as"])
def test_what_is_said_of_a_group_keeps_where_it_is_from(what: str) -> None:
    key = what.replace(" ", "_")
    now = folded(a("tag", how="last"), do(what, "as_left", text="as_found", how="paper"))
    assert now.how == {"tag": "last", f"as_left.{key}": "paper"}


def test_acts_that_were_taken_are_known_by_view_and_number() -> None:
    now = folded(a("x", view="v", seq=0), a("y", view="v", seq=1), a("z"))
    assert now.seen == {("v", 0), ("v", 1)}


def test_what_was_cut_off_is_counted() -> None:
    assert folded(do("resume", cut=3, torn="abc"), do("resume", cut=10, torn="0123456789")).cut == 13


def test_every_doing_of_a_journal_is_folded() -> None:
    for doing in set(DOINGS) - {"begin", "answer", "correct", "remove", "not done", "same as"}:
        folded(do(doing, "x"))


# ---------------------------------------------------------------- what does not fit


@pytest.mark.parametrize(
    ("acts", "said"),
    [
        (
            [a("r.1")],
            "(answer r.1) does not fit those before it: the list has 0, so the next one is number 0",
        ),
        ([a("r.0"), a("r.2")], "the list has 1, so the next one is number 1, counted from 0"),
        ([a("r.0"), a("r.0")], "it is answered already with '7.05'"),
        ([a("x"), a("x")], "it is answered already with '7.05'"),
        ([a("x"), a("x.y")], "what stands above it is no group"),
        ([a("x.y"), a("x")], "it is answered already with {'y': '7.05'}"),
        ([a("x.y"), a("x.0")], "what stands above it is no list"),
        ([a("x.0"), a("x.y")], "what stands above it is no group"),
        ([a("r.0"), a("r.1.x")], "rows and single answers stand in one list"),
        ([a("r.0.x"), a("r.1")], "rows and single answers stand in one list"),
        ([a("r.1.x")], "the list has 0"),
        ([a("")], "it names no place of a sheet"),
        ([a("x..y")], "it names no place of a sheet"),
        ([a("0.x")], "it names no place of a sheet"),
        ([correct("x", "1", "2")], "no answer stands there"),
        ([a("x.y"), correct("x", "1", "2")], "no answer stands there"),
        ([a("r.0"), correct("r.1", "1", "7.05")], "no answer stands there"),
        ([a("x"), correct("x", "1", "7.0")], "'7.05' stands there, not '7.0'"),
        ([remove("x", "1")], "nothing stands there"),
        ([a("x"), remove("x", "7.0")], "'7.05' stands there, not '7.0'"),
        ([a("x"), remove("x", None)], "'7.05' stands there, not nothing"),
        ([a("r.0"), remove("r", ["7.05", "7.05"])], "['7.05'] stands there, not ['7.05', '7.05']"),
        ([a("x"), do("not done", "x", text="y")], "'7.05' stands there, which is no group"),
        ([a("r.0"), do("not done", "r", text="y")], "['7.05'] stands there, which is no group"),
        ([do("not done", "x", text="y", was={"a": "b"})], "nothing stands there, not {'a': 'b'}"),
        ([a("x.y"), do("not done", "x", text="y", was={})], "{'y': '7.05'} stands there, not {}"),
        ([do("not done", "x", text="y"), do("not done", "x.z", text="y")], "x says {'not_done': 'y'}"),
        ([a("not_done")], "it names no group"),
        ([do("begin")], "a journal begins with begin, and only once"),
        ([do("erase")], "and knows no other doings"),
    ],
)
def test_a_line_that_does_not_fit_is_named_with_what_stood(acts: list[dict[str, Any]], said: str) -> None:
    with pytest.raises(RepairTheFolder) as caught:
        folded(*acts)
    last = acts[-1]
    began = f"Line {len(acts) + 1} of the journal ({last['do']} {last['path']}".rstrip()
    assert str(caught.value).startswith(began)
    assert said in str(caught.value)
    assert str(caught.value).endswith(
        ". The file was changed after it was written; put an unchanged copy back, or keep it and report it."
    )


def test_a_journal_without_its_beginning_does_not_fit() -> None:
    with pytest.raises(RepairTheFolder, match=r"Line 1 of the journal \(answer x\) does not fit"):
        fold(lines_of(a("x"))[1:])


# ---------------------------------------------------------------- one line after the other


def test_one_line_more_changes_nothing_of_the_fold_it_is_taken_on() -> None:
    acts = lines_of(
        *TWO_POINTS,
        correct("as_found.points.0.readings.0", "7.04", "7.06"),
        do("ask", "cause"),
        do("leave out", "notes"),
        a("x", view="v", how="clock", sure="s", by="b"),
        remove("as_found.points.0", {"standard": "B7", "readings": ["7.04", "7.05"]}),
        do("not done", "as_found", text="no"),
    )
    stages: list[tuple[Folded, dict[str, Any]]] = []
    now = Folded()
    for line in acts:
        now = now.after(line)
        stages.append((now, {f.name: copy.deepcopy(getattr(now, f.name)) for f in fields(Folded)}))
    for stage, kept in stages:
        assert {f.name: getattr(stage, f.name) for f in fields(Folded)} == kept
    assert now == fold(acts)


def test_a_line_that_does_not_fit_leaves_the_fold_as_it_was() -> None:
    now = folded(*TWO_POINTS)
    with pytest.raises(RepairTheFolder):
        now.after(JournalLine(at=BEGIN.at, **a("y")), JournalLine(at=BEGIN.at, **a("as_found")))
    assert now == folded(*TWO_POINTS)


def test_a_thousand_answers_one_by_one_are_quick() -> None:
    """The bound is wide: what it catches is a fold of everything after each answer (some 6 s here)."""
    now, began = fold([BEGIN]), time.perf_counter()
    for index in range(1000):
        path = f"as_found.points.{index // 50}.readings.{index % 50}"
        now = now.after(JournalLine(at=BEGIN.at, **a(path, view="v", seq=index)))
    assert time.perf_counter() - began < 2
    assert len(now.raw["as_found"]["points"]) == 20


# ---------------------------------------------------------------- a slow obvious model

NAMES = ("a", "b", "g.x", "g.y", "g.h.z", "rows.{}.s", "rows.{}.g.t", "rows.{}.l.{}", "l.{}", "g.m.{}")


class Model:
    """Answers by path in one flat map, rows by path; the sheet is built from them each time."""

    def __init__(self) -> None:
        self.flat: dict[str, str] = {}
        self.rows = 0
        self.kept: list[tuple[str, Any, Any, str]] = []

    def length(self, listed: str) -> int:
        if listed == "rows":
            return self.rows
        return sum(path.rpartition(".")[0] == listed for path in self.flat)

    def sheet(self) -> dict[str, Any]:
        top: dict[str, Any] = {"rows": [{} for _ in range(self.rows)]} if self.rows else {}
        for path in sorted(self.flat, key=lambda p: [int(s) if s.isdigit() else s for s in p.split(".")]):
            *above, last = path.split(".")
            at: Any = top
            for step, following in zip(above, [*above, last][1:], strict=True):
                if step.isdigit():
                    at = at[int(step)]
                else:
                    at = at.setdefault(step, [] if following.isdigit() else {})
            if last.isdigit():
                at.append(self.flat[path])
            else:
                at[last] = self.flat[path]
        return top

    def standing(self, path: str) -> Any:
        at: Any = self.sheet()
        for step in path.split("."):
            at = at[int(step)] if step.isdigit() else at[step]
        return at

    def clear(self, group: str) -> None:
        self.flat = {p: t for p, t in self.flat.items() if p != group and not p.startswith(f"{group}.")}
        if group == "rows":
            self.rows = 0
        above = group.split(".")
        for number, (where, was, now, gone) in enumerate(self.kept):
            steps, deep = where.split("."), len(above)
            while deep < len(steps) and not steps[deep].isdigit():
                deep += 1
            if steps[: len(above)] == above and deep < len(steps) and (not gone or gone.count(".") > deep):
                self.kept[number] = (where, was, now, ".".join(steps[: deep + 1]))

    def renumber(self, above: list[str], out: int) -> None:
        """Let the corrections know that a row or reading is out."""
        deep = len(above)
        for number, (where, was, now, gone) in enumerate(self.kept):
            steps, row = where.split("."), gone.split(".")
            if steps[:deep] != above or len(steps) == deep or (gone and len(row) <= deep + 1):
                continue
            if int(steps[deep]) == out:
                row = steps[: deep + 1]
            elif int(steps[deep]) > out:
                steps[deep] = str(int(steps[deep]) - 1)
                row[deep:] = [steps[deep], *row[deep + 1 :]] if gone else []
            self.kept[number] = (".".join(steps), was, now, ".".join(row))

    def take_out(self, path: str) -> None:
        above, _, last = path.rpartition(".")
        self.clear(path)
        if last.isdigit():
            self.renumber(above.split("."), int(last))
            self.rows -= above == "rows"
            moved = {}
            for p, text in self.flat.items():
                rest = p.removeprefix(f"{above}.")
                index, dot, tail = rest.partition(".")
                if p != rest and index.isdigit() and int(index) > int(last):
                    p = f"{above}.{int(index) - 1}{dot}{tail}"
                moved[p] = text
            self.flat = moved

    def said_instead(self, path: str) -> str:
        steps = path.split(".")
        for depth in range(1, len(steps)):
            group = ".".join(steps[:depth])
            if f"{group}.not_done" in self.flat or f"{group}.same_as" in self.flat:
                return group
        return ""

    def everything(self) -> list[str]:
        found = set(self.flat) | {f"rows.{i}" for i in range(self.rows)}
        for path in self.flat:
            steps = path.split(".")
            found |= {".".join(steps[:depth]) for depth in range(1, len(steps))}
        return sorted(found)


@st.composite
def journals(draw: st.DrawFn) -> tuple[list[JournalLine], list[tuple[dict[str, Any], list[Any]]]]:
    """Random acts, with the sheet and the corrections of the model after each."""
    model, acts, after = Model(), [], []
    for _ in range(draw(st.integers(1, 25))):
        for act in one_act(draw, model):
            acts.append(act)
            after.append((model.sheet(), list(model.kept)))
    return lines_of(*acts), after


def one_act(draw: st.DrawFn, model: Model) -> Iterator[dict[str, Any]]:
    kind = draw(st.sampled_from(["answer", "answer", "answer", "correct", "remove", "not done", "same as"]))
    text = draw(st.text(min_size=1, max_size=3))
    if kind == "answer":
        name = draw(st.sampled_from(NAMES))
        path = name
        while "{}" in path:
            listed = path.partition(".{}")[0]
            last = path.count("{}") == 1 and path.endswith("{}")
            count = model.length(listed)
            path = path.replace("{}", str(count if last else draw(st.integers(0, count))), 1)
        instead = model.said_instead(path)
        if path in model.flat:
            return
        was = model.standing(instead) if instead else None
        model.clear(instead) if instead else None
        if path.startswith("rows."):
            model.rows = max(model.rows, int(path.split(".")[1]) + 1)
        model.flat[path] = text
        if instead:
            model.kept.append((instead, was, model.standing(instead), ""))
        yield a(path, text)
    elif kind in ("not done", "same as"):
        group = draw(st.sampled_from(["g", "g.h", "rows.0.g", "n"]))
        if model.said_instead(group) or (group.startswith("rows") and not model.rows):
            return
        was = model.standing(group) if group in model.everything() else None
        model.clear(group)
        model.flat[f"{group}.{kind.replace(' ', '_')}"] = text
        if was:
            model.kept.append((group, was, model.standing(group), ""))
        yield do(kind, group, text=text, was=draw(st.sampled_from([was, None])))
    elif kind == "correct" and model.flat:
        path = draw(st.sampled_from(sorted(model.flat)))
        was = model.flat[path]
        model.flat[path] = text
        model.kept.append((path, was, text, ""))
        yield correct(path, text, was)
    elif kind == "remove" and model.everything():
        path = draw(st.sampled_from(model.everything()))
        was = model.standing(path)
        model.take_out(path)
        model.kept.append((path, was, None, path if path.rpartition(".")[2].isdigit() else ""))
        yield remove(path, was)


@settings(max_examples=300, deadline=None)
@given(journals())
def test_a_journal_of_random_acts_comes_to_what_an_obvious_model_says(
    drawn: tuple[list[JournalLine], list[tuple[dict[str, Any], list[Any]]]],
) -> None:
    lines, after = drawn
    now = fold(lines[:1])
    for line, (sheet, kept) in zip(lines[1:], after, strict=True):
        now = now.after(line)
        assert now.raw == sheet
        assert [(c.path, c.was, c.now, c.gone) for c in now.corrections] == kept
    assert fold(lines) == now
