"""The field sheet of a loop check, in the order of work."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from wqverify.plant.fields import Name, Text, said
from wqverify.procedures.parts import (
    ByOperations,
    Done,
    DoneOrSame,
    Head,
    Holds,
    Moment,
    NotDone,
    Number,
    Part,
    Readings,
    SameAs,
    Tail,
    Time,
    insist_on_decision,
)
from wqverify.terms import Ask, Reading

Place = Literal["transmitter", "input card", "display", "archive"]
MadeBy = Literal["a source", "the transmitter"]
Root = Literal["nowhere, it is linear", "in the transmitter", "in the control system"]
TakenAs = Literal["a value", "a failure", "clamped", "held"]
INSTRUMENTS = ("source", "meter", "multimeter", "calibrator")  # words of the kind of a standard
# What is read at each point, in the order of the signal.
READ = ("measured_ma", "card", "display", "archive")


class FarEnd(Part):
    """Who reads at the far end."""

    who: Annotated[Text, Ask("who is at the far end", usual="{told}")]
    heard_how: Annotated[
        Literal["own eyes", "radio", "phone"] | None,
        Ask("heard how", when="own visit", again=True),
    ] = None


class Reference(Part):
    """What makes or measures the current."""

    made_by: Annotated[
        MadeBy,
        Ask(
            "current made by",
            help="a source: in its place; the transmitter: by its menu, with a meter in the loop",
            when="own visit",
        ),
    ] = "a source"
    instrument: Annotated[
        Name,
        Ask(
            "source or meter",
            refers="standard",
            help="its id, as on its label",
            beside="reference",
            again=True,
            kinds=INSTRUMENTS,
        ),
    ]
    meter: Annotated[
        Name | None,
        Ask(
            "meter at the other end",
            refers="standard",
            help="reads the current besides the source",
            when="on request",
            kinds=INSTRUMENTS,
        ),
    ] = None
    cross_check_ma: Annotated[
        Number | None,
        Ask(
            "second instrument at 12 mA",
            "mA",
            help="what it reads while the first gives or reads 12 mA, before the work",
            when="own visit",
        ),
    ] = None
    ambient_c: Annotated[Number | None, Ask("temperature where it is used", "°C", when="own visit")] = None
    card_in: Annotated[
        Literal["mA", "V"],
        Ask("input card read in", help="V: volts across its input, by a multimeter", when="on request"),
    ] = "mA"


class RangeSet(Part):
    """A range as it is read at a hop, not as a drawing has it."""

    place: Annotated[Place, Ask("where it is set", beside="range")]
    low: Annotated[Number, Ask("4 mA is", "analyzer", beside="range")]
    high: Annotated[Number, Ask("20 mA is", "analyzer", beside="range")]
    unit: Annotated[
        Text | None, Ask("unit set there", help="left out: that of the analyzer", when="own visit")
    ] = None


class Supply(Part):
    """What drives the current through the loop."""

    supply_v: Annotated[Number | None, Ask("supply", "V", help="with the loop open", beside="supply")] = None
    least_v: Annotated[
        Number | None, Ask("transmitter needs", "V", help="least voltage, from its manual", beside="supply")
    ] = None
    loop_ohm: Annotated[
        Number | None,
        Ask(
            "resistance of the loop",
            "ohm",
            help="wires, barrier, input; with the loop dead",
            caution="Resistance is measured dead: the supply off and locked, or the wire lifted.",
            beside="supply",
        ),
    ] = None
    input_ohm: Annotated[
        Number | None, Ask("input resistor", "ohm", help="left out: that of the register", beside="supply")
    ] = None
    terminal_v: Annotated[
        Number | None, Ask("volts at the transmitter", "V", help="at its highest current", beside="supply")
    ] = None
    at_ma: Annotated[Number | None, Ask("at a current of", "mA", beside="supply")] = None
    failure_ma: Annotated[
        Number | None,
        Ask("failure current", "mA", help="that it has to reach; left out: 21 mA", when="on request"),
    ] = None

    @model_validator(mode="after")
    def _something(self) -> Self:
        if (self.terminal_v is None) != (self.at_ma is None):
            raise said("terminal_v and at_ma belong together: the volts, and the current that flowed then.")
        return self


class Applied(Part):
    """The currents of the way up."""

    applied_ma: Annotated[
        Readings,
        Ask("currents applied", "mA", help="0 25 50 75 100 %: 4 8 12 16 20", beside="applied", apart=True),
    ]


class AppliedAgain(Part):
    """The currents of the way down."""

    applied_ma: Annotated[
        Readings | None,
        Ask(
            "currents applied",
            "mA",
            help="left out: the same, from high to low",
            beside="applied",
            when="on request",
            apart=True,
        ),
    ] = None


class Shown(Part):
    """What each place showed with the currents."""

    measured_ma: Annotated[
        Readings | None,
        Ask("measured by the meter", "mA", beside="point", when="own visit", apart=True),
    ] = None
    card: Annotated[
        Readings | None,
        Ask(
            "at the input card, mA or V",
            help="as the card itself shows it, or volts across its input",
            beside="point",
            when="own visit",
            apart=True,
        ),
    ] = None
    display: Annotated[
        Readings | None,
        Ask("on the display", "analyzer", help="of the control system", beside="point", apart=True),
    ] = None
    archive: Annotated[
        Readings | None,
        Ask(
            "in the archive",
            "analyzer",
            help="once it has stored this current; or left out now and read off after the run",
            beside="point",
            when="own visit",
            apart=True,
        ),
    ] = None
    at: Annotated[Time | None, Ask("last point at", clock=True)] = None

    @model_validator(mode="after")
    def _some_read(self) -> Self:
        if not any(getattr(self, name) for name in READ):
            raise said("nothing was read with these currents; enter what the display showed, or not_done.")
        return self


class Rising(Shown, Applied):
    """The currents from low to high, and what each place showed with them."""


class Falling(Shown, AppliedAgain):
    """The same currents from high to low."""


class Sweep(Part):
    """One stage: the signal up and down."""

    rising: Annotated[Rising, Ask("rising")]
    falling: Annotated[
        Done[Falling] | None, Ask("falling", help="the same points on the way down, for hysteresis")
    ] = None

    @model_validator(mode="after")
    def _alike(self) -> Self:
        for way, run, applied in runs_of(self):
            for name in READ:
                read = getattr(run, name)
                if read is not None and len(read) != len(applied):
                    raise said(
                        f"{way}.{name} holds {len(read)} and {len(applied)} currents were applied; type one "
                        f"for each, or leave {name} out and say so in the remarks."
                    )
        return self


def runs_of(sweep: Sweep) -> Iterator[tuple[str, Shown, tuple[Reading, ...]]]:
    """Give the ways of a sweep, what was read and the currents applied."""
    up = sweep.rising.applied_ma
    yield "rising", sweep.rising, up
    if isinstance(sweep.falling, Falling):
        yield "falling", sweep.falling, sweep.falling.applied_ma or up[::-1]


class SignalState(Part):
    """A current outside the range, or a lifted wire, and what the far end makes of it."""

    applied_ma: Annotated[
        Number,
        Ask(
            "current applied",
            "mA",
            help="3.6 3.8 20.5 21, and 0 for a lifted wire",
            caution="A failure current can trip what hangs on it: in manual and blocked first.",
            beside="state",
        ),
    ]
    taken_as: Annotated[TakenAs, Ask("taken as", help="by the control system", beside="state")]
    shown: Annotated[
        Text | None, Ask("what it shows and alarms", help="value, quality, alarm", when="own visit")
    ] = None


class Decision(Part):
    action: Annotated[
        Literal["leave alone", "set the range", "trim", "repair"], Ask("decision", beside="decision")
    ]
    why: Annotated[Text, Ask("decided so because", beside="decision")]


class Adjusted(Part):
    """What was changed, from what to what."""

    what: Annotated[Text, Ask("what was changed, and where", help="range of the display, trim, root, wire")]
    setting_from: Annotated[Text, Ask("setting from", help="as it was: 0 to 10 ft")]
    setting_to: Annotated[Text, Ask("setting to", help="as it is now: 0 to 40 ft")]
    at: Annotated[Time, Ask("changed at", clock=True)]


class LoopHolds(Holds):
    """What is taken out of use before a current is put into the loop."""

    output_held: Annotated[
        Done[Moment] | None,
        Ask(
            "output held",
            help="in the transmitter or the control system, where either can hold it",
            caution="What is applied is shown and acted on as if it were the water: nothing may act on it.",
        ),
    ] = None
    loop_in_manual: Annotated[
        Done[ByOperations] | None,
        Ask(
            "loop in manual",
            help="where a controller or pump acts on this signal; by operations",
            caution="In manual nobody controls but a person: agree with operations who watches it.",
        ),
    ] = None
    alarm_blocked: Annotated[
        Done[ByOperations] | None,
        Ask(
            "alarm blocked",
            help="where an alarm or a shutdown hangs on this signal; by operations",
            caution="A blocked alarm warns nobody: only as the site allows, and unblocked again after.",
        ),
    ] = None


class Work(Part):
    """From the far end to the loop as left."""

    far_end: Annotated[Done[FarEnd], Ask("far end", help="where the display and the archive are")]
    reference: Annotated[
        Reference,
        Ask(
            "reference",
            caution="Lifting a wire drops the signal to zero: only once nothing acts on it. No second source "
            "against a supply that is still on.",
        ),
    ]
    root: Annotated[
        Root | None,
        Ask(
            "square root is taken",
            help="flow by differential pressure: where it belongs, once; ask, never guess",
            when="own visit",
        ),
    ] = None
    ranges: Annotated[
        tuple[RangeSet, ...],
        Field(max_length=8),
        Ask("range", help="as it is set at each hop, read there", when="own visit"),
    ] = ()
    supply: Annotated[Done[Supply] | None, Ask("supply and load", when="own visit")] = None
    as_found: Annotated[Done[Sweep], Ask("as found", help="before anything is set, trimmed or repaired")]
    states: Annotated[
        tuple[SignalState, ...],
        Field(max_length=12),
        Ask("state", help="beyond the range and with a lifted wire", when="own visit"),
    ] = ()
    decision: Annotated[Decision | None, Ask("decision", when="own visit or not passed")] = None
    adjusted: Annotated[
        Done[Adjusted] | None, Ask("adjusted", help="from what to what", when="decided to adjust")
    ] = None
    as_left: Annotated[
        DoneOrSame[Sweep] | None, Ask("as left", help="the same points", when="own visit or changed")
    ] = None


class LoopSheet(Tail, Work, LoopHolds, Head):
    """One check of a loop."""

    UNIT: ClassVar[str] = ""

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        action = self.decision.action if self.decision else "leave alone"
        changed = isinstance(self.adjusted, Adjusted)
        insist_on_decision(action, self.adjusted, without=("leave alone",))
        if changed and self.as_left is None:
            raise said(
                "something was changed and as_left is missing; enter the points again, or "
                'as_left.not_done = "because ..."'
            )
        if isinstance(self.as_left, SameAs):
            if self.as_left.same_as != "as_found":
                raise said('a loop has no stage after_cleaning; write same_as = "as_found".')
            if changed:
                raise said("as_left cannot be the same as as_found: something was changed since; read again.")
        by_itself = self.reference.made_by == "the transmitter"
        for stage in ("as_found", "as_left"):
            sweep = getattr(self, stage)
            for way, run, _ in runs_of(sweep) if isinstance(sweep, Sweep) else ():
                if by_itself and run.measured_ma is None:
                    raise said(
                        f"{stage}.{way}.measured_ma is missing: the transmitter makes the current, so "
                        f"a meter must read it; enter what it read."
                    )
                if not by_itself and run.measured_ma is not None and self.reference.meter is None:
                    raise said(
                        f"{stage}.{way}.measured_ma was read beside a source, and reference.meter does not "
                        f"say with which meter; name it."
                    )
        return self


def sweep_of(part: Sweep | NotDone | SameAs | None) -> Sweep | None:
    """Return the readings of a stage, None where there are none of its own."""
    return part if isinstance(part, Sweep) else None
