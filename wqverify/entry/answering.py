"""What an answer does: refused, asked about once more, or stored; then the next question."""

from __future__ import annotations

import itertools
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from wqverify.entry import offered, taken
from wqverify.entry.around import found
from wqverify.entry.asides import Aside, not_done
from wqverify.entry.journal import JournalLine
from wqverify.entry.lines import beside_of
from wqverify.entry.proposals import CLOCK, LAST, PAPER, USUAL, USUAL_PATH, heading, wall_clock
from wqverify.entry.screen import Choice, Form
from wqverify.entry.steps import Step, abreast
from wqverify.errors import CorrectTheEntry

if TYPE_CHECKING:
    from wqverify.entry.visit import Visit

PASSED_OVER = "left out, no reason given"
_HOW = {CLOCK: "clock", LAST: "last", USUAL: "usual"}
AGAIN, SAME, INSTEAD = "read again", "same as ", "not done"
_WHY_NOT = "; ! says why the part was not done"
NIGHT_ENDS = 12  # a visit begun the evening before is still under way until then
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
        shown = visit.screen  # what is stored is what was shown
        if not shown.proposal:
            _pass_over(visit, step)
            return
        text, how = shown.proposal, _HOW.get(shown.proposed, "")
    _take(visit, step, text, how)


def _take(visit: Visit, step: Step, text: str, how: str = "", sure: str = "", use: str = "") -> None:
    """Take one answer through all that may be wrong or odd about it, then store it."""
    raw, about = visit.folded.raw, visit.about
    if step.question.time:
        text = taken.time_of_day(text)
    taken.refuse_unknown(step, text, about)
    taken.refuse_form(step, text)
    odd = _odd(visit, step, text) if not sure else _which(visit, step, text)
    if odd is not None:
        _ask_sure(visit, step, odd, how)
        return
    standing = found(raw, step.path)
    if step.kind == "leaf" and standing is not None and standing != text:
        ask_why(visit, step.path, text, str(standing), sure)
        return
    path = f"{step.path}.{len(standing or [])}" if step.kind == "list" else step.path
    if standing == text and visit.voice is not None:
        line = JournalLine(do="correct", path=path, text=text, was=text, why="said by somebody else too")
        visit.write(visit.spoken(line))
    if step.kind == "list" or standing is None:
        lines = [JournalLine(do="answer", path=path, text=text, how=how, sure=sure)]
        lines += [JournalLine(do="answer", path=use, text=taken.INFORMATION)] if use else []
        visit.write(*map(visit.spoken, lines))
    _after(visit, step)


def _odd(visit: Visit, step: Step, text: str) -> taken.Odd | None:
    raw, about = visit.folded.raw, visit.about
    if step.question.time:
        return _which(visit, step, text) or taken.odd_time(step, text, {"date": _date(visit), **raw}, about)
    if step.question.ask.refers == "standard":
        return taken.refused_standard(step, text, raw, about)
    closest = _closest(visit, step) if step.question.ask.clock and not about.paper else None
    if closest is not None and taken.is_more(text, closest + TOGETHER_S):
        near = f"The readings were typed {closest:.0f} s apart at the closest."
        return taken.keep(f"{near} Were they read {text} s apart?", text)
    return taken.odd_answer(step, text, raw, about, beside_of(visit, step))


def _date(visit: Visit) -> str:
    return str(visit.folded.raw.get("date", "")) or visit.about.local().date().isoformat()


def _which(visit: Visit, step: Step, text: str) -> taken.Odd | None:
    """Return the two readings of a time in the repeated hour, whatever was confirmed of it."""
    return taken.which_time(text, _date(visit), visit.about) if step.question.time else None


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
    elif len(abreast(step, visit.steps)) > 1:  # the next place of the point, or the next point
        if visit.voice is None:
            _by_the_clock(visit, step)
        visit.voice, visit.at = None, ""


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
    """Answer what this computer's clock has seen, once all that it times is answered or left out."""
    if visit.about.paper or not _is_under_way(visit):
        return
    visit.read_steps()
    part = step.path.rpartition(".")[0]
    beside = [one for one in visit.steps if one.path.rpartition(".")[0] == part]
    here = [one for one in beside if one.kind in ("leaf", "list")]
    before: list[Step] = []
    for one in here:
        if one.stands == "open" and not one.question.ask.clock:
            return
        if one.stands == "open":
            text = _moment(visit, before) if one.question.time else _apart(visit, one, before)
            if text:
                visit.write(JournalLine(do="answer", path=one.path, text=text, how="clock"))
        else:
            before.append(one)


def _is_under_way(visit: Visit) -> bool:
    """Whether the work is of now: of today, or of the night after the day on the sheet."""
    date, now = str(visit.folded.raw.get("date", "")), visit.about.local()
    night = now.hour < NIGHT_ENDS and date == (now - timedelta(days=1)).date().isoformat()
    return date == now.date().isoformat() or night


def _moment(visit: Visit, before: list[Step]) -> str:
    """Return when the last of the answers before a time was typed; empty where none was."""
    seen = [at for one in before for at in seen_at(visit, one.path)]
    return wall_clock(max(seen), _date(visit), visit.about.zone) if seen else ""


def _apart(visit: Visit, step: Step, before: list[Step]) -> str:
    """Return the shortest time between the readings of a list, in whole seconds; empty where not known."""
    read = next((one for one in reversed(before) if one.kind == "list"), None)
    at = seen_at(visit, read.path) if read is not None else []
    standing = found(visit.folded.raw, read.path) if read is not None else []
    if step.question.ask.unit != "s" or len(at) < 2 or len(at) != len(standing):
        return ""
    shortest = min((b - a).total_seconds() for a, b in itertools.pairwise(at))
    return str(int(shortest)) if shortest >= TOGETHER_S else ""


def _closest(visit: Visit, step: Step) -> float | None:
    """Return how near to each other the readings beside a question were typed, in seconds."""
    part = step.path.rpartition(".")[0]
    lists = [one for one in visit.steps if one.kind == "list" and one.path.rpartition(".")[0] == part]
    at = seen_at(visit, lists[0].path) if lists and step.question.ask.unit == "s" else []
    return min(((b - a).total_seconds() for a, b in itertools.pairwise(at)), default=None)


def _typed_at_once(visit: Visit, step: Step) -> bool:
    closest = _closest(visit, step)
    return closest is not None and closest < TOGETHER_S and not visit.about.paper


def seen_at(visit: Visit, path: str) -> list[datetime]:
    """Return when the answers that stand at a path were typed here; what was taken up elsewhere is none."""
    times: list[datetime | None] = []
    for line in (*visit.journal.lines, *(visit.waiting or ())):
        inside = line.path.rpartition(".")[0] == path and line.path.rpartition(".")[2].isdecimal()
        if line.do == "answer" and (inside or line.path == path):
            times.append(
                datetime.fromisoformat(line.at) if line.how in ("", "last") and not line.by else None
            )
        elif line.do == "remove" and inside:
            del times[int(line.path.rpartition(".")[2])]
        elif line.do in ("remove", "not done", "same as") and f"{path}.".startswith(f"{line.path}."):
            times.clear()
    return [at for at in times if at is not None]


def _reading(visit: Visit, step: Step, text: str) -> None:
    if step.waits:
        if text:
            raise CorrectTheEntry(
                f"{heading(step)} is read at this point already, or its turn comes later. Enter alone goes "
                f"on where the readings stopped; % corrects what stands here.",
                found=text,
                where=step.path,
            )
        go_on(visit, step)
        return
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
    text = text or visit.screen.proposal
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
        visit.write(visit.spoken(JournalLine(do="same as", path=step.path, text=text.removeprefix(SAME))))
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


def _pass_over(visit: Visit, step: Step) -> None:
    """Leave out what an empty answer passes over; that a whole part was, stands on the sheet."""
    whole_part = step.first and bool(step.spare) and step.spare == step.group
    if whole_part and not visit.about.in_round:
        line = JournalLine(do="not done", path=step.group, text=PASSED_OVER)
        visit.write(visit.spoken(line))
        go_on(visit, step)
    else:
        leave_out(visit, step)


def leave_out(visit: Visit, step: Step) -> None:
    """Leave an optional question, part or row out; raises where an answer is needed."""
    if step.question.ask.clock and _typed_at_once(visit, step):
        raise CorrectTheEntry(
            f"The readings were typed within {TOGETHER_S} s of each other; type the time that lay between "
            f"them when they were read.",
            where=step.path,
        )
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
