"""The field sheet of a flow check, in the order of work."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, ClassVar, Literal, Self

from pydantic import model_validator

from wqverify.plant.fields import Name, Text, said
from wqverify.procedures.parts import (
    ALARM_BLOCKED,
    LOOP_IN_MANUAL,
    OUTPUT_HELD,
    AtTime,
    Because,
    ByOperations,
    Condition,
    Done,
    Head,
    Holds,
    Moment,
    NotDone,
    Number,
    Part,
    Readings,
    Tail,
    Time,
    Visit,
    insist_on_decision,
)
from wqverify.terms import Ask

TANKS = {"tank draw-down, levels in m": "m", "tank draw-down, levels in ft": "ft"}
STRAP_ON, TOTALISER = "strap-on meter", "totaliser"
TOTALS = {f"totals in {unit}": unit for unit in ("m3", "L", "gal", "kgal", "Mgal")}
RATES = "rates"
PRESSURE = "differential pressure"

Against = Literal[
    "tank draw-down, levels in m", "tank draw-down, levels in ft", "strap-on meter", "totaliser"
]
ReadAs = Literal["totals in m3", "totals in L", "totals in gal", "totals in kgal", "totals in Mgal", "rates"]


class Meter(Part):
    """What kind of meter it is and what is done to its signal."""

    kind: Annotated[Literal["magnetic", "differential pressure"], Ask("kind of meter", again=True)]
    root: Annotated[
        Literal["in the transmitter", "in the control system", "in both", "nowhere", "not known"] | None,
        Ask(
            "where the square root is taken",
            help="as the menus of transmitter and control system say, each looked up",
            beside="root",
            when="differential pressure",
        ),
    ] = None
    full_scale: Annotated[
        Number | None,
        Ask("flow at 20 mA", "analyzer", help="left out: the top of its range in the register"),
    ] = None
    cut_off: Annotated[
        Number | None,
        Ask("low-flow cut", "analyzer", help="below it the meter shows 0; 0 where there is none"),
    ] = None


class Reference(Part):
    """What the meter is compared with."""

    against: Annotated[Against, Ask("compared with", again=True)]
    standard: Annotated[
        Name | None,
        Ask(
            "tank, strap-on meter or totaliser",
            refers="standard",
            help="by its id; of a round tank its value is the inner diameter",
            again=True,
            kinds=("tank", "strap", "totalis", "flow", "meter"),
        ),
    ] = None
    diameter: Annotated[
        Number | None,
        Ask("inner diameter of the tank", help="in the unit of the levels", when="on request"),
    ] = None
    area_m2: Annotated[
        Number | None,
        Ask(
            "area of the tank",
            "m2",
            help="instead of a diameter: columns and ladders already taken off",
            when="on request",
        ),
    ] = None
    level_by: Annotated[
        Name | None,
        Ask(
            "levels read by",
            refers="standard",
            help="tape, gauge or transmitter, by its id; never one just found in error",
            again=True,
            kinds=("tape", "gauge", "level", "transmitter"),
            when="against a tank, own visit",
        ),
    ] = None
    read_as: Annotated[
        ReadAs, Ask("meter read as", help="totals are surer than an average of rates", again=True)
    ]


class Run(Part):
    """One comparison: what the reference gave, and what the meter and the control system showed."""

    duration_s: Annotated[
        Number,
        Ask(
            "time between start and stop",
            "s",
            help="by stopwatch, started and stopped with the readings below",
            beside="duration",
        ),
    ]
    level_start: Annotated[
        Number | None,
        Ask(
            "level of the tank at the start",
            help="in m or ft, as chosen above",
            beside="level",
            when="against a tank",
            caution="Over open water or at a hatch: harness, second person, permit where it is a confined "
            "space.",
        ),
    ] = None
    level_stop: Annotated[
        Number | None,
        Ask(
            "level of the tank at the stop",
            help="in the same unit",
            beside="level",
            when="against a tank",
        ),
    ] = None
    reference_start: Annotated[
        Number | None,
        Ask(
            "reference totaliser at the start",
            help="in its own unit",
            beside="level",
            when="against a totaliser",
        ),
    ] = None
    reference_stop: Annotated[
        Number | None,
        Ask(
            "reference totaliser at the stop",
            help="in its own unit",
            beside="level",
            when="against a totaliser",
        ),
    ] = None
    reference_rates: Annotated[
        Readings | None,
        Ask(
            "flow on the strap-on meter",
            help="in its own unit; several, spread over the time",
            beside="level",
            when="against a strap-on meter",
        ),
    ] = None
    meter_start: Annotated[
        Number | None,
        Ask(
            "total of the meter at the start",
            help="in the unit chosen above",
            beside="meter",
            when="totals compared",
        ),
    ] = None
    meter_stop: Annotated[
        Number | None,
        Ask(
            "total of the meter at the stop",
            help="in the same unit",
            beside="meter",
            when="totals compared",
        ),
    ] = None
    rates: Annotated[
        Readings | None,
        Ask(
            "flow on the display",
            "analyzer",
            help="several, spread over the time",
            beside="meter",
            when="rates compared",
        ),
    ] = None
    control_system: Annotated[
        Readings | None,
        Ask(
            "flow in the control system meanwhile",
            "analyzer",
            help="several, spread over the time; only where the output is not held",
            beside="meter",
            when="output not held",
        ),
    ] = None
    ma: Annotated[
        Number | None,
        Ask(
            "loop current meanwhile",
            "mA",
            help="at the test terminals or from the menu",
            caution="Opening the loop drops the flow to zero: never while it controls or paces dosing.",
            beside="current",
            when="own visit or not passed",
        ),
    ] = None
    at: Annotated[AtTime | None, Ask("stopped at", clock=True)] = None


class Zero(Part):
    """The meter with its pipe full and no water moving."""

    how: Annotated[
        Text,
        Ask("how the flow was stopped", help="which valves; that they are tight and the pipe is full"),
    ]
    readings: Annotated[
        Readings,
        Ask("flow shown at standstill", "analyzer", help="with its sign", beside="zero"),
    ]
    ma: Annotated[
        Number | None,
        Ask(
            "loop current at standstill",
            "mA",
            beside="zero_current",
            caution="Differential pressure: close the equalizing valve again before the flow is believed. "
            "Left open, the meter shows too little, and dosing follows.",
        ),
    ] = None
    at: Annotated[Time | None, Ask("standstill read at", clock=True)] = None


class Action(Part):
    action: Annotated[
        Literal["leave alone", "zero", "span", "root extraction", "replace"],
        Ask("decision", beside="decision"),
    ]
    put_in: Annotated[
        Text | None, Ask("what was put in", help="its type, with serial or lot", when="replaced")
    ] = None


class Decision(Because, Action):
    """What is done about what was found, and why."""


class Adjusted(Part):
    """What was changed, where, from what to what."""

    what: Annotated[Text, Ask("what was changed", help="and where: transmitter, card, control system")]
    setting_from: Annotated[Text, Ask("setting from", help="as its menu shows it")]
    setting_to: Annotated[Text, Ask("setting to")]
    at: Annotated[Time, Ask("adjusted at", clock=True)]


class Compared(Visit):
    """The comparison as found: nothing is touched yet, and a held output would stand still."""

    condition: Annotated[Done[Condition] | None, Ask("condition")] = None
    meter: Annotated[Done[Meter] | None, Ask("meter", when="own visit or not passed")] = None
    reference: Annotated[Reference, Ask("reference")]
    as_found: Annotated[Done[Run], Ask("as found", help="before the zero is read or anything adjusted")]


_TOUCHED = "own visit or not passed"  # when something will be touched


class Touched(Holds):
    """What is taken out of use before the flow is stopped or the meter adjusted."""

    output_held: Annotated[
        Done[Moment] | None,
        replace(
            OUTPUT_HELD,
            when=_TOUCHED,
            help="before the flow is stopped or anything adjusted",
            caution="Dosing is paced by this flow: hold it before the flow is stopped.",
        ),
    ] = None
    loop_in_manual: Annotated[Done[ByOperations] | None, replace(LOOP_IN_MANUAL, when=_TOUCHED)] = None
    alarm_blocked: Annotated[Done[ByOperations] | None, replace(ALARM_BLOCKED, when=_TOUCHED)] = None


class Work(Part):
    """From the zero at standstill to the comparison as left."""

    zero: Annotated[
        Done[Zero] | None,
        Ask(
            "zero at standstill",
            help="before anything is adjusted",
            caution="Only operations stop a flow: pumps, surge and what the town drinks hang on it.",
            when="own visit or not passed",
        ),
    ] = None
    decision: Annotated[Decision | None, Ask("decision", when="own visit or not passed")] = None
    adjusted: Annotated[
        Done[Adjusted] | None, Ask("adjusted", help="from what to what", when="decided to change")
    ] = None
    zero_left: Annotated[
        Done[Zero] | None, Ask("zero as left", help="at standstill again", when="adjusted")
    ] = None
    as_left: Annotated[
        Done[Run] | None, Ask("as left", help="against the same reference", when="changed")
    ] = None


class FlowSheet(Tail, Work, Touched, Head, Compared):
    """One check of a flow meter."""

    UNIT: ClassVar[str] = ""

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        _reference_fits(self.reference)
        for name in ("as_found", "as_left"):
            run = getattr(self, name)
            if isinstance(run, Run):
                _run_fits(name, run, self.reference)
        action = self.decision.action if self.decision else "leave alone"
        insist_on_decision(action, self.adjusted, without=("leave alone", "replace"))
        if isinstance(self.adjusted, Adjusted) and self.as_left is None:
            raise said(
                "it was adjusted and as_left is missing; enter the comparison as left, or "
                'as_left.not_done = "because ..."'
            )
        meter = self.meter
        if isinstance(meter, Meter) and (meter.root is None) == (meter.kind == PRESSURE):
            raise said(
                "meter.root belongs to a differential pressure, and each of these needs it: say where the "
                "root is taken, or that it is not known."
            )
        return self


def _reference_fits(reference: Reference) -> None:
    shape = [x for x in (reference.standard, reference.diameter, reference.area_m2) if x is not None]
    if reference.against in TANKS and len(shape) != 1:
        raise said(
            "reference needs one thing that says how wide the tank is: standard (its id), diameter or "
            f"area_m2; it has {len(shape)}."
        )
    if reference.against not in TANKS and (reference.standard is None or len(shape) != 1):
        raise said(f"reference.standard names the {reference.against} by its id; a tank is none.")


def _run_fits(name: str, run: Run, reference: Reference) -> None:
    """Complain where what was read does not belong to the reference that was named."""
    of_reference = {
        **dict.fromkeys(TANKS, ("level_start", "level_stop")),
        STRAP_ON: ("reference_rates",),
        TOTALISER: ("reference_start", "reference_stop"),
    }
    wanted = of_reference[reference.against]
    wanted += ("rates",) if reference.read_as == RATES else ("meter_start", "meter_stop")
    every = {"level_start", "level_stop", "reference_start", "reference_stop", "reference_rates"}
    for field in sorted(every | {"meter_start", "meter_stop", "rates"}):
        there = getattr(run, field) is not None
        if field in wanted and not there:
            raise said(
                f"{name}.{field} is missing; the meter is read as {reference.read_as} and compared with "
                f"{reference.against}."
            )
        if there and field not in wanted:
            raise said(
                f"{name}.{field} does not belong to {reference.against} and {reference.read_as}; take it "
                f"out, or correct reference."
            )


def run_of(part: Run | NotDone | None) -> Run | None:
    """Return a comparison, None where none was made."""
    return part if isinstance(part, Run) else None
