"""A desk that goes through screens as told and keeps the acts it was sent: for the tests of a face."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from wqverify.entry.screen import Act, Choice, Key, Line, Screen, Section, Trace

KEYS = (
    Key("!", "not done", "not done, because"),
    Key("^", "back", "back to the question before"),
    Key("_", "forward", "forward again"),
    Key("+", "more", "another row"),
    Key("=", "same as", "the same as an earlier stage"),
    Key("@", "told by", "somebody else says it"),
    Key("#", "overview", "all parts of the sheet"),
    Key("~", "wait", "wait for the laboratory, or pass on"),
    Key("&", "stop", "stop for now"),
    Key("?", "help", "all keys"),
)
BASE = Screen(
    "question",
    title="pH calibration in buffers of AIT-2101",
    sheet="2026-03-03 AIT-2101.toml",
    state="open",
    keys=KEYS,
)
CHOOSE = Screen(
    "choose",
    title="Ellodale",
    heading="What do you want to do?",
    label="Your choice",
    form="pick",
    choices=(
        Choice("open:night", "night.toml, pH of AIT-2101", "output held since 02:14"),
        Choice("new", "a new visit"),
    ),
    keys=KEYS[-2:],
)
PLATE = replace(
    BASE,
    place="1 answered, about 40 to go",
    heading="The visit",
    label="Serial on the plate",
    help="Read it off the plate at the analyzer, not off the register.",
    form="text",
    path="serial_on_plate",
    required=True,
    proposal="PH-30417",
    proposed="as in the register",
)
REASON = replace(
    BASE,
    place="2 answered, about 39 to go",
    heading="The visit",
    label="Reason",
    form="word",
    path="reason",
    required=True,
    choices=(Choice("routine"), Choice("call-out"), Choice("after repair")),
)
STANDARD = replace(
    BASE,
    held="output held since 08:16",
    place="11 answered, about 20 to go",
    heading="As found, point 2",
    label="Buffer",
    form="pick",
    path="as_found.points.1.standard",
    required=True,
    cautions=("Rinse with the buffer itself, never with the last one.",),
    choices=(
        Choice("B7-4471", "pH 7.00 at 25 °C", "usable until 2026-06-01"),
        Choice("B10-1180", "pH 10.01 at 25 °C", "usable until 2026-05-01"),
    ),
)
TEMPERATURE = replace(
    BASE,
    held="output held since 08:16",
    place="12 answered, about 19 to go",
    heading="As found, point 2",
    label="Temperature of the buffer",
    unit="°C",
    form="number",
    path="as_found.points.1.temperature_c",
    required=True,
    proposal="18.4",
    proposed="point 1",
)
READINGS = replace(
    BASE,
    held="output held since 08:16",
    place="13 answered, about 18 to go",
    heading="As found, point 2",
    label="Reading",
    unit="pH",
    help="Type each reading as the display shows it, at the interval of the procedure, until they agree.",
    form="numbers",
    path="as_found.points.1.readings",
    required=True,
    lines=(
        Line("value", "The buffer has pH 10.06 at 18.4 °C."),
        Line("tolerance", "Tolerance: 0.10 pH."),
        Line("last time", "10.02 (2026-02-03)"),
    ),
    trace=Trace((), "pH", "10.06", "9.96", "10.16"),
)
AT = replace(BASE, heading="As found, point 2", label="Time", form="time", path="as_found.points.1.at")
DAY = replace(BASE, heading="The visit", label="Date", form="date", path="date", required=True)
READ = replace(
    BASE, label="Cautions read", form="confirm", path="cautions.read", required=True, choices=(Choice("yes"),)
)
BUFFERS = replace(BASE, label="Buffers of the meter", form="texts", path="grab_after.buffers")
REMARKS = replace(BASE, label="Remarks", form="notes", path="remarks")
SURE = replace(
    BASE,
    kind="aside",
    heading="As found, point 2: readings",
    label="1.002 has 3 decimals, the reading before has 2; the display shows its last zero too. Is it 1.002?",
    form="confirm",
    path="as_found.points.1.readings?sure",
    choices=(Choice("1.002", "yes, 1.002"), Choice("", "no, type it again")),
)
WHY = replace(
    BASE,
    kind="aside",
    heading="Cleaned",
    label="Not done, because",
    form="pick",
    path="cleaned",
    choices=(Choice("already clean"), Choice("no time"), Choice("not permitted")),
)
OVERVIEW = replace(
    BASE,
    kind="overview",
    heading="All parts of the sheet",
    label="Go to",
    form="pick",
    choices=(
        Choice("visit", "The visit: answered"),
        Choice("as_found", "As found: now"),
        Choice("cleaned", "Cleaned: open"),
    ),
    sections=(
        Section("visit", "The visit", "answered"),
        Section("as_found", "As found", "now"),
        Section("cleaned", "Cleaned", "open"),
    ),
)
END = replace(
    BASE,
    kind="end",
    heading="Everything is answered.",
    label="Next",
    form="pick",
    choices=(Choice("run", "Run it: record and page"), Choice("later", "Later")),
)
RESULT = replace(
    BASE,
    kind="result",
    state="complete",
    text=(
        "L1-2026-0001: pH calibration in buffers of AIT-2101\n  as found    fail\n  as left     pass\n\n"
        "Next: sign it in the terminal, wqverify sign L1-2026-0001 --by IQU"
    ),
    page="book/pages/L1-2026-0001.pdf",
    keys=(),
)
DONE = replace(RESULT, label="Done.", form="word", path="?result", choices=(Choice("other visits"),))
STOPPED = Screen("end", text="Saved in 2026-03-03 AIT-2101.toml. To go on:")

Answer = Callable[[Act], Screen]


class FakeDesk:
    """Shows one screen after the other; an act gives the next, or what a script says about it."""

    def __init__(self, screens: Sequence[Screen], script: dict[int, Answer] | None = None) -> None:
        self._screens, self._script = list(screens), script or {}
        self._at = 0
        self._now = self._screens[0]
        self.acts: list[Act] = []
        self.closed = False

    @property
    def screen(self) -> Screen:
        return self._now

    def act(self, act: Act) -> Screen:
        self.acts.append(act)
        if len(self.acts) in self._script:
            self._now = self._script[len(self.acts)](act)
        elif act.do == "stop":
            self._now = STOPPED
        else:
            self._at = min(self._at + 1, len(self._screens) - 1)
            self._now = self._screens[self._at]
        return self._now

    def close(self) -> None:
        self.closed = True


def refused(screen: Screen, notice: str) -> Answer:
    """Return what asks the same again, with the sentence why the act was not taken."""
    return lambda _act: replace(screen, notice=notice, refused=True)


def with_readings(*typed: str) -> Screen:
    """Return the question for readings as it stands after some."""
    lines = (*READINGS.lines, Line("steady", f"{len(typed)} readings, not steady yet."))
    return replace(READINGS, standing=typed, lines=lines, trace=replace(READINGS.trace, values=typed))


EVERY = (
    CHOOSE, PLATE, REASON, DAY, READ, STANDARD, TEMPERATURE, READINGS, AT, BUFFERS, REMARKS, SURE, WHY,
    OVERVIEW, END, DONE, RESULT,
)  # fmt: skip
