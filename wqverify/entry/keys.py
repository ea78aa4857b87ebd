"""What a key does: each is a function of the visit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from wqverify.entry import drawn, offered, taken
from wqverify.entry.answering import another, ask_why, leave_out
from wqverify.entry.around import found
from wqverify.entry.asides import Aside, not_done
from wqverify.entry.fold import Voice
from wqverify.entry.journal import JournalLine
from wqverify.entry.lines import held
from wqverify.entry.proposals import heading
from wqverify.entry.screen import Choice
from wqverify.entry.steps import Step, abreast
from wqverify.errors import CorrectTheEntry

if TYPE_CHECKING:
    from wqverify.entry.visit import Visit


def back(visit: Visit) -> None:
    """Go to the question before."""
    step = visit.step
    if step is not None and (read := _read_before(visit, step)):
        visit.voice, visit.at = None, read
        return
    paths = [one.path for one in visit.steps if one.stands != "open" or one is step]
    index = paths.index(step.path) if step is not None else len(paths)
    if index == 0:
        raise CorrectTheEntry("This is the first question.")
    visit.voice, visit.at = None, paths[index - 1]


def _read_before(visit: Visit, step: Step) -> str:
    """Return which list was read before where lists are read point by point, empty where none was."""
    if step.stands != "open" or not step.question.ask.apart:
        return ""
    lists = [one for one in abreast(step, visit.steps) if one is step or one.rows]
    index = lists.index(step)
    begun_anew = bool(lists[1:] and step.rows) and not visit.at
    return lists[index - 1].path if index or begun_anew else ""


def forward(visit: Visit) -> None:
    """Go to the next question, whether this one is answered or not."""
    step = visit.step
    if step is not None:
        paths = [one.path for one in visit.steps]
        visit.voice, visit.at = None, next(iter(paths[paths.index(step.path) + 1 :]), "")


def same_as(visit: Visit) -> None:
    """Say of the part that it is the same as an earlier stage."""
    step = visit.step
    form = next((one for one in visit.steps if step and one.path == step.group and one.kind == "form"), None)
    if step is None or not step.same_as:
        raise CorrectTheEntry("This part cannot be the same as another one.")
    text = offered.same_as(visit, step.group)
    if not text:
        raise CorrectTheEntry("There is no earlier stage this one could be the same as; read it.")
    standing = found(visit.folded.raw, step.group)
    visit.write(visit.spoken(JournalLine(do="same as", path=step.group, text=text, was=standing)))
    visit.at = form.path if form and visit.at else ""


def more(visit: Visit) -> None:
    """Add a row or reading."""
    step = visit.step
    rows = [one for one in visit.steps if one.kind == "rows"]
    here = next((one for one in rows if step and step.path.startswith(one.path)), None)
    if step is not None and step.kind == "list" and step.stands == "answered":
        visit.write(JournalLine(do="more", path=step.path))
    elif here is None:
        raise CorrectTheEntry("There are no rows here that could be added to.")
    else:
        another(visit, here)


def also(visit: Visit) -> None:
    """Ask a question of this part that is not asked by itself."""
    hidden = drawn.also_here(visit)
    if not hidden:
        raise CorrectTheEntry("Everything that belongs here is asked.")

    def take(path: str) -> None:
        if path not in [step.path for step in hidden]:
            raise CorrectTheEntry(f"{path!r} is none of the choices.", found=path)
        visit.write(JournalLine(do="ask", path=path))
        visit.read_steps()
        visit.at = next(step.path for step in visit.steps if f"{step.path}.".startswith(f"{path}."))

    ways = tuple(Choice(step.path, heading(step)) for step in hidden)
    visit.ask(Aside("?also", "Which question?", take, ways, "word"))


def leave_out_shown(visit: Visit) -> None:
    """Leave out what is shown, whatever is proposed."""
    step = visit.step
    if step is None or step.stands == "answered":
        raise CorrectTheEntry("What stands here is taken back with %, not left out.")
    leave_out(visit, step)


def told_by(visit: Visit) -> None:
    """Let somebody else say the answer."""

    def heard(who: str) -> Callable[[str], None]:
        def take(how: str) -> None:
            if how not in offered.HEARD:
                known = ", ".join(offered.HEARD)
                raise CorrectTheEntry(f"{how!r} is none of {known}; choose by the number.", found=how)
            label = f"{offered.person(visit, who)}, {how}: was the value read back?"
            ways = (Choice("yes"), Choice("no"))
            visit.ask(Aside("?read back", label, read_back(who, how), ways, "confirm"))

        return take

    def read_back(who: str, how: str) -> Callable[[str], None]:
        def take(text: str) -> None:
            if text not in ("yes", "no"):
                raise CorrectTheEntry(f"{text!r} is neither yes nor no.", found=text, expected="yes or no")
            visit.voice = Voice(who, how, text)

        return take

    def who(text: str) -> None:
        if not any(letter.isalpha() for letter in text):
            raise CorrectTheEntry(f"{text!r} is no name; type a staff id, or a name and office.", found=text)
        ways = tuple(map(Choice, offered.HEARD))
        visit.ask(Aside("?heard", f"How is it heard from {offered.person(visit, text)}?", heard(text), ways))

    people = tuple(Choice(one.id, f"{one.id}  {one.name}") for one in visit.about.people.values())
    visit.ask(Aside("?who", "Who says this value? A staff id, or a name and office.", who, people))


def correct(visit: Visit) -> None:
    """Correct or take back what stands here: the answer, one reading of a list, a whole row."""
    step = visit.step
    standing = found(visit.folded.raw, step.path) if step is not None else None
    if step is None or standing is None:
        raise CorrectTheEntry("Nothing stands here that could be corrected; go back to it with ^.")
    items = [f"{step.path}.{n}" for n in range(len(standing))] if isinstance(standing, list) else [step.path]
    row = offered.row_of(step)
    ways = [Choice(path, offered.said(visit, path)) for path in items if step.kind != "rows"]
    ways += [Choice(row, f"take the whole {offered.row_label(visit, row)} back")] if row else []

    def take(path: str) -> None:
        if path not in [way.text for way in ways]:
            raise CorrectTheEntry(f"{path!r} is none of the choices.", found=path)
        if path == row:
            _take_back(visit, path)
            return
        label = f"{offered.said(visit, path)}: what is right? An empty answer takes it back."
        visit.ask(Aside(f"{path}?right", label, right(path), may_be_empty=True))

    def right(path: str) -> Callable[[str], None]:
        def store(text: str) -> None:
            if not text:
                _take_back(visit, path)
                return
            taken.refuse_unknown(step, text, visit.about)
            taken.refuse_form(step, text)
            ask_why(visit, path, text, str(found(visit.folded.raw, path)))

        return store

    if len(ways) == 1:
        take(ways[0].text)
    else:
        visit.ask(Aside(f"{step.path}?which", "Which one?", take, tuple(ways), "word"))


def _take_back(visit: Visit, path: str) -> None:
    def take(why: str) -> None:
        was = found(visit.folded.raw, path)
        visit.write(visit.spoken(JournalLine(do="remove", path=path, was=was, why=why)))
        visit.notice = "Taken back; it stays in the journal."
        visit.at = ""

    ways = tuple(map(Choice, offered.WHY_CORRECTED))
    visit.ask(Aside(f"{path}?back", f"{offered.said(visit, path)}: why is it taken back?", take, ways))


def put_away(visit: Visit) -> None:
    """Let the sheet wait for the laboratory, pass it on, or put it aside: it was begun by mistake."""

    def take(text: str) -> None:
        if text == offered.LABORATORY:
            visit.ask(Aside("?wait", "What is waited for?", wait))
        elif text == offered.PASS_ON:
            people = tuple(Choice(one.id, f"{one.id}  {one.name}") for one in visit.about.people.values())
            visit.ask(Aside("?to", "To whom is the sheet passed on?", to, people))
        elif text == offered.ASIDE and may_be_aside:
            ways = tuple(map(Choice, offered.WHY_BEGUN))
            visit.ask(Aside("?aside", "Begun by mistake, because?", aside, ways))
        else:
            raise CorrectTheEntry(f"{text!r} is none of the choices.", found=text)

    def aside(text: str) -> None:
        visit.write(JournalLine(do="put aside", text=text))
        still = held(visit)
        left = f" It stays on the list of today: {still}." if still else ""
        visit.ended = (
            f"{visit.sheet.name} is put aside as begun by mistake: {text}. Nothing is lost: its journal "
            f"stays, and wqverify step with the name of the sheet takes it up again.{left}"
        )

    def wait(text: str) -> None:
        visit.write(JournalLine(do="wait", text=text))
        visit.ended = f"{visit.sheet.name} waits for the laboratory: {text}. Everything is saved."

    def to(who: str) -> None:
        visit.ask(Aside("?what", f"What is left to do for {offered.person(visit, who)}?", rest(who)))

    def rest(who: str) -> Callable[[str], None]:
        def done(text: str) -> None:
            visit.write(JournalLine(do="pass on", to=who, text=text))
            name = offered.person(visit, who)
            visit.ended = f"{visit.sheet.name} is passed on to {name}: {text}. Everything is saved."

        return done

    may_be_aside = not visit.about.in_round and visit.folded.state != "complete"
    texts = (offered.LABORATORY, offered.PASS_ON, *([offered.ASIDE] if may_be_aside else []))
    ways = tuple(map(Choice, texts))
    visit.ask(Aside("?put away", "What happens to this sheet now?", take, ways, "word"))


def show_overview(visit: Visit) -> None:
    """Show the parts of the sheet to go to."""
    visit.overview = True


KEYS: Mapping[str, Callable[[Visit], None]] = {
    "back": back,
    "forward": forward,
    "not done": not_done,
    "same as": same_as,
    "more": more,
    "also": also,
    "leave out": leave_out_shown,
    "told by": told_by,
    "correct": correct,
    "put away": put_away,
    "overview": show_overview,
}
