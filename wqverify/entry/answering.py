"""What an answer does: refused, asked about once more, or stored; then the next question."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from wqverify.entry import drawn, offered, taken
from wqverify.entry.around import found
from wqverify.entry.asides import Aside, not_done
from wqverify.entry.journal import JournalLine
from wqverify.entry.proposals import CLOCK, PAPER, USUAL_PATH, heading, wall_clock
from wqverify.entry.screen import Choice, Form
from wqverify.entry.steps import Step
from wqverify.errors import CorrectTheEntry

if TYPE_CHECKING:
    from wqverify.entry.visit import Visit

AGAIN, SAME, INSTEAD = "read again", "same as ", "not done"
_WHY_NOT = "; ! says why the part was not done"
TOGETHER_S = 5  # readings nearer than this were noted down first and typed afterwards


def answer(visit: Visit, text: str) -> None:
    """Take an answer to the step that is shown; an empty one takes what is proposed or leaves it out."""
    step = visit.step
    assert step is not None
    {"form": _form, "rows": _more, "list": _reading, "leaf": _leaf}[step.kind](visit, step, text)


def _leaf(visit: Visit, step: Step, text: str) -> None:
    standing = found(visit.folded.raw, step.path)
    how = ""
    if not text:
        if standing is not None:
            go_on(visit, step)
            return
        offered = visit.proposal
        if not offered.text:
            leave_out(visit, step)
            return
        text, how = offered.text, "clock" if offered.whence == CLOCK else ""
    _take(visit, step, text, how)


def _take(visit: Visit, step: Step, text: str, how: str = "", sure: str = "", use: str = "") -> None:
    """Take one answer through all that may be wrong or odd about it, then store it."""
    raw, about = visit.folded.raw, visit.about
    if step.question.time:
        text = taken.time_of_day(text)
    taken.refuse_unknown(step, text, about)
    taken.refuse_form(step, text)
    if not sure:
        odd = _odd(visit, step, text)
        if odd is not None:
            _ask_sure(visit, step, odd, how)
            return
    standing = found(raw, step.path)
    if step.kind == "leaf" and standing is not None and standing != text:
        ask_why(visit, step.path, text, str(standing), sure)
        return
    path = f"{step.path}.{len(standing or [])}" if step.kind == "list" else step.path
    if step.kind == "list" or standing is None:
        lines = [JournalLine(do="answer", path=path, text=text, how=how, sure=sure)]
        lines += [JournalLine(do="answer", path=use, text=taken.INFORMATION)] if use else []
        visit.write(*map(visit.spoken, lines))
    _after(visit, step)


def _odd(visit: Visit, step: Step, text: str) -> taken.Odd | None:
    raw, about = visit.folded.raw, visit.about
    if step.question.time:
        date = str(raw.get("date", "")) or about.local().date().isoformat()
        return taken.which_time(text, date, about) or taken.odd_time(step, text, {**raw, "date": date}, about)
    if step.question.ask.refers == "standard":
        return taken.refused_standard(step, text, raw, about)
    return taken.odd_answer(step, text, raw, about)


def _ask_sure(visit: Visit, step: Step, odd: taken.Odd, how: str) -> None:
    def take(text: str) -> None:
        if text not in [way.text for way in odd.ways]:
            raise CorrectTheEntry(f"{text!r} is none of the choices; choose by its number.", found=text)
        if not text:
            return  # another answer is typed at the question itself
        _take(visit, step, text, how, odd.sentence, step.use if odd.for_information else "")

    form: Form = "confirm" if odd.ways[0].label.startswith("yes") else "word"
    visit.ask(Aside(f"{step.path}?sure", odd.sentence, take, odd.ways, form, may_be_empty=True))


def ask_why(visit: Visit, path: str, text: str, was: str, sure: str = "") -> None:
    """Ask why an answer is corrected; then both stay."""

    def take(why: str) -> None:
        line = JournalLine(do="correct", path=path, text=text, was=was, why=why, sure=sure)
        visit.write(visit.spoken(line))
        visit.notice = f"Corrected: {was} -> {text}; both stay in the journal."
        visit.voice, visit.at = None, ""

    label = f"{was} stands here. Why does it become {text}?"
    visit.ask(Aside(f"{path}?why", label, take, tuple(map(Choice, offered.WHY_CORRECTED))))


def _after(visit: Visit, step: Step) -> None:
    """Go on after an answer: what the clock tells, then the next question."""
    if step.kind == "leaf":
        if visit.voice is None:
            _by_the_clock(visit, step)
        visit.voice = None
        go_on(visit, step)
        _close_rows(visit)


def _close_rows(visit: Visit) -> None:
    """Within a round as many rows are read as last time; + adds another."""
    if not visit.about.in_round:
        return
    visit.read_steps()
    step = visit.step
    last = found(visit.about.last, step.path) if step is not None and step.kind == "rows" else None
    if step is None or not isinstance(last, list) or step.stands != "open" or not step.rows:
        return
    if step.rows < len(last):
        another(visit, step)
    else:
        visit.write(JournalLine(do="no more", path=step.path))


def go_on(visit: Visit, step: Step) -> None:
    """Show the next open step; among those gone back to the one after this."""
    if step.stands != "answered":
        visit.at = ""
    if not visit.at:
        return
    paths = [one.path for one in visit.steps]
    later = visit.steps[paths.index(step.path) + 1 :] if step.path in paths else []
    visit.at = next((one.path for one in later if one.stands != "left out"), "")


def _by_the_clock(visit: Visit, step: Step) -> None:
    """Answer what this computer's clock knows, once all that it times is answered or left out."""
    if visit.about.paper:
        return
    visit.read_steps()
    part = step.path.rpartition(".")[0]
    here = [
        one for one in visit.steps if one.path.rpartition(".")[0] == part and one.kind in ("leaf", "list")
    ]
    read = None  # the list of readings before it
    for one in here:
        if one.stands == "open" and not one.question.ask.clock:
            return
        if one.stands == "open":
            text = _moment(visit) if one.question.time else _apart(visit, one, read)
            if text:
                visit.write(JournalLine(do="answer", path=one.path, text=text, how="clock"))
        read = one if one.kind == "list" else read


def _moment(visit: Visit) -> str:
    """This computer's clock as a time of the sheet, empty where it lies in the repeated hour."""
    text = wall_clock(visit.about.local(), str(visit.folded.raw.get("date", "")))
    date = str(visit.folded.raw.get("date", ""))
    return text if date and taken.which_time(text, date, visit.about) is None else ""


def _apart(visit: Visit, step: Step, read: Step | None) -> str:
    """Return the shortest time between the readings of a list, in whole seconds; empty where not known."""
    if step.question.ask.unit != "s" or read is None:
        return ""
    at = drawn.answered_at(visit.journal.lines, read.path)
    if len(at) < 2:
        return ""
    shortest = min((b - a).total_seconds() for a, b in itertools.pairwise(at))
    return str(int(shortest)) if shortest >= TOGETHER_S else ""


def _reading(visit: Visit, step: Step, text: str) -> None:
    if text:
        _take(visit, step, text)
        return
    if not found(visit.folded.raw, step.path):
        leave_out(visit, step)
        return
    if step.stands != "answered":
        visit.write(JournalLine(do="no more", path=step.path))
    if visit.voice is None:
        _by_the_clock(visit, step)
    visit.voice = None
    go_on(visit, step)
    _close_rows(visit)


def _more(visit: Visit, step: Step, text: str) -> None:
    text = text or visit.proposal.text
    if text == "no":
        if step.rows:
            visit.write(JournalLine(do="no more", path=step.path))
            go_on(visit, step)
        else:
            leave_out(visit, step)
    elif text == "yes":
        another(visit, step)
    else:
        raise CorrectTheEntry(f"{text!r} is neither yes nor no.", found=text, expected="yes or no")


def another(visit: Visit, step: Step) -> None:
    """Begin another row of a rows step."""
    lines = [JournalLine(do="ask", path=f"{step.path}.{step.rows}")]
    if step.path in visit.folded.closed:
        lines.insert(0, JournalLine(do="more", path=step.path))
    visit.write(*lines)
    visit.at = ""


def _form(visit: Visit, step: Step, text: str) -> None:
    forms = [choice.text for choice in offered.forms(visit, step)]
    text = text or (forms[0] if step.stands == "open" and forms else "")
    if not text:
        go_on(visit, step)
    elif text == INSTEAD:
        not_done(visit)
    elif text == AGAIN:
        _open(visit, step)
    elif text in forms:
        visit.write(JournalLine(do="same as", path=step.path, text=text.removeprefix(SAME)))
        go_on(visit, step)
    else:
        raise CorrectTheEntry(f"{text!r} is none of {', '.join(forms)}.", found=text)


def _open(visit: Visit, step: Step) -> None:
    """Ask the answers of a part that says not done or same as, or is not begun."""
    lines = [JournalLine(do="ask", path=step.path)]
    standing = found(visit.folded.raw, step.path)
    if standing:
        lines.insert(0, JournalLine(do="remove", path=step.path, was=standing, why="it is done after all"))
    visit.write(*lines)
    visit.at = ""


def leave_out(visit: Visit, step: Step) -> None:
    """Leave an optional question, part or row out; raises where an answer is needed."""
    if step.kind in ("rows", "form") or not step.required:
        path = step.path
    elif step.spare and step.first and not (visit.about.paper and step.spare == PAPER):
        path = step.spare
    else:
        raise CorrectTheEntry(
            f"{heading(step)} needs an answer{_WHY_NOT if step.group else ''}.",
            where=step.path,
        )
    rows = found(visit.folded.raw, path)
    if step.required and step.kind != "rows" and isinstance(rows, list) and rows:
        visit.write(JournalLine(do="no more", path=path))  # the next row was begun in vain
    else:
        visit.write(JournalLine(do="leave out", path=path))
        _by_the_clock(visit, step)
    go_on(visit, step)


def all_as_usual(visit: Visit, text: str) -> None:
    """Answer together what is as usual, or ask it one by one."""
    if text not in ("", offered.ALL_AS_USUAL, offered.ONE_BY_ONE):
        raise CorrectTheEntry(f"{text!r} is none of the choices; choose by its number.", found=text)
    tops = dict.fromkeys(one.path.partition(".")[0] for one in visit.usual)
    lines = [JournalLine(do="leave out", path=f"{USUAL_PATH}{top}") for top in tops]
    if text != offered.ONE_BY_ONE:
        lines = [
            JournalLine(do=one.do, path=one.path, text=one.text, how="usual" if one.text else "")
            for one in visit.usual
        ]
    visit.write(*lines)
