"""A hand-made record of the invented plant Ellodale: synthetic, nothing of it is computed."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from wqverify.terms import (
    Analyzer,
    BudgetLine,
    Caution,
    Change,
    Chart,
    Check,
    Earlier,
    Entry,
    Given,
    Hop,
    Line,
    Note,
    Outcome,
    Person,
    Place,
    Previous,
    Quantity,
    Record,
    Result,
    Series,
    Site,
    Software,
    Standard,
    TableUse,
    Tolerance,
    Value,
    Working,
)

D = Decimal
SOURCE = "Ellodale procedure EP-12 rev. 3 (invented); size as in 30 TAC 290.111"
ERROR = Tolerance("pH", "guarded", "local", SOURCE, low=D("-0.10"), high=D("0.10"), date="2025-11-01")
SIGNAL = Tolerance("pH", "simple", "local", SOURCE, low=D("-0.15"), high=D("0.15"), date="2025-11-01")
CHECK = Tolerance(
    "pH", "simple", "common practice", "common practice, no source", low=D("-0.05"), high=D("0.05")
)
SLOPE = Tolerance("%", "simple", "common practice", "common practice, no source", low=D(95), high=D(105))
OFFSET = Tolerance("mV", "simple", "common practice", "common practice, no source", low=D(-30), high=D(30))
DEGREES = Tolerance("°C", "simple", "local", SOURCE, low=D("-0.5"), high=D("0.5"))
BOTTLES = {"7.00": "B7-4471", "10.01": "B10-2188"}


def budget(buffer: str, stage: str) -> tuple[BudgetLine, ...]:
    """Return the usual budget lines of one buffer."""
    bottle = BOTTLES.get(buffer, "B7-4502")
    cert = 0.010 if buffer == "10.01" else 0.005
    return (
        BudgetLine(
            f"bottle:{bottle}", 0.0, cert, "normal", None, -1.0, cert, "certificate", f"U {2 * cert:.2f}, k 2"
        ),
        BudgetLine(
            f"opened:{bottle}",
            0.0,
            0.0029,
            "rectangular",
            None,
            -1.0,
            0.0029,
            "memory",
            "taken up since opening, ±0.005",
        ),
        BudgetLine(
            "table:ph_buffers_ready_made",
            0.0,
            0.0029,
            "rectangular",
            None,
            -1.0,
            0.0029,
            "resolution",
            "printed to 0.01",
        ),
        BudgetLine(
            "thermometer:T-17",
            0.0,
            0.15,
            "normal",
            None,
            0.004,
            0.0006,
            "certificate",
            "U 0.3 °C, k 2, certificate K-17",
        ),
        BudgetLine(
            f"gradient:{stage}.{bottle}",
            0.0,
            0.58,
            "rectangular",
            None,
            0.004,
            0.00232,
            "common practice",
            "buffer, glass and sensor not yet at one temperature, within ±1 °C",
        ),
        BudgetLine(
            f"creep:{stage}.{bottle}",
            0.0,
            0.0058,
            "rectangular",
            7,
            1.0,
            0.0058,
            "readings",
            "stable within 0.02 pH",
        ),
        BudgetLine(
            f"reading:{stage}.{bottle}",
            0.0,
            0.0029,
            "rectangular",
            None,
            1.0,
            0.0029,
            "resolution",
            "display to 0.01 pH",
        ),
    )


def error(text: str, buffer: str, stage: str, expanded: str = "0.019") -> Quantity:
    return Quantity(
        text, "pH", float(text), float(expanded) / 2.05, 57, 2.05, expanded, budget(buffer, stage)
    )


def check(
    key: str,
    stage: str,
    label: str,
    outcome: Outcome,
    quantity: Quantity,
    tolerance: Tolerance | None,
    observed: str = "",
    reference: str = "",
    place: Place = "analyzer",
    counts: bool = True,
    reason: str = "",
) -> Check:
    low = str(tolerance.low) if tolerance else ""
    high = str(tolerance.high) if tolerance else ""
    share = ""
    if tolerance and quantity.expanded:
        half = tolerance.half_width(D(0))
        assert half is not None
        share = f"{D(quantity.expanded) / half:.2f}"
    return Check(
        key,
        stage,
        label,
        outcome,
        place,
        observed,
        reference,
        quantity,
        tolerance,
        low,
        high,
        share,
        reason,
        counts,
    )


def checks() -> tuple[Check, ...]:
    ok, bad = Outcome.PASS, Outcome.FAIL
    b7, b10 = "Buffer 7.00, B7-4471", "Buffer 10.01, B10-2188"
    found, clean, left = "as_found", "after_cleaning", "as_left"
    slope = Quantity("96.9", "%", 96.9, 0.4, None, 2.0, "0.80")
    offset = Quantity("-2.6", "mV", -2.6, 0.49, None, 2.0, "0.98")
    degrees = Quantity("0.3", "°C", 0.3, 0.0935, None, 2.0, "0.19")
    between = error("-0.13", "7.00", "process", "0.024")
    chain = Quantity("-0.13", "pH", -0.13, 0.012, None, 2.0, "0.024")
    return (
        check("thermometer", "thermometer", "Temperature against T-17", ok, degrees, DEGREES, "18.6", "18.3"),
        check("f7", found, b7, ok, error("0.034", "7.00", found), ERROR, "7.06", "7.026"),
        check("f10", found, b10, bad, error("-0.159", "10.01", found, "0.037"), ERROR, "9.92", "10.079"),
        check(
            "fp",
            found,
            "At the process value 8.62, between the buffers",
            Outcome.TOO_CLOSE,
            replace(between, text="-0.092", value=-0.092),
            ERROR,
            "8.62",
            "8.712",
        ),
        check("slope", found, "Slope of the electrode", ok, slope, SLOPE, counts=False),
        check("offset", found, "Offset of the electrode", ok, offset, OFFSET, counts=False),
        check(
            "fcs",
            found,
            "Process value in the control system",
            ok,
            chain,
            SIGNAL,
            "8.58",
            "8.71",
            "control system",
        ),
        check("c7", clean, b7, ok, error("0.014", "7.00", clean), ERROR, "7.04", "7.026"),
        check("c10", clean, b10, bad, error("-0.139", "10.01", clean, "0.037"), ERROR, "9.94", "10.079"),
        check("l7", left, b7, ok, error("-0.006", "7.00", left), ERROR, "7.02", "7.026"),
        check("l10", left, b10, ok, error("0.001", "10.01", left, "0.037"), ERROR, "10.08", "10.079"),
        check(
            "lc",
            left,
            "Check buffer 7.00, B7-4502, another lot",
            ok,
            error("0.01", "7.00", "check"),
            CHECK,
            "7.03",
            "7.02",
        ),
        Check(
            "grab_after",
            left,
            "Display against a grab with Bench pH meter of the laboratory (M-3)",
            Outcome.NOT_EVALUATED,
            observed="8.71",
            reference="8.68",
            quantity=Quantity("0.03", "pH", 0.03, 0.032, 40, 2.05, "0.066"),
            reason="the grab was measured 22 min after it was taken, more than 15 min",
            counts=False,
        ),
    )


def workings() -> tuple[Working, ...]:
    return (
        Working(
            "Buffer 10.01 at 18.4 °C",
            "B = B(15) + (B(20) - B(15)) (t - 15) / 5",
            "10.12 + (10.06 - 10.12) × (18.4 - 15) / 5",
            "10.0792 pH",
            "table ph_buffers_ready_made, trade 1; straight line between two rows",
        ),
        Working(
            "Error as found in buffer 10.01",
            "e = R - B",
            "9.92 - 10.0792",
            "-0.1592 pH",
            "error is reading minus reference",
        ),
        Working(
            "Error at the process value, for a displayed x",
            "e(x) = e1 + (e2 - e1)(x - R1) / (R2 - R1)",
            "0.0336 + (-0.1592 - 0.0336) × (8.62 - 7.06) / (9.92 - 7.06)",
            "-0.0716 pH",
            "straight line between two buffers; x is what the analyzer shows",
        ),
        Working(
            "Slope of the electrode",
            "S = (E2 - E1) / (B2 - B1); slope = -S / k(t)",
            "(-175.6 + 4.1) / (10.079 - 7.026)",
            "-56.18 mV/pH; 97.1 %",
            "k(18.4 °C) = 57.85 mV/pH, table nernst_slope, SI 2019",
        ),
    )


def chart() -> Chart:
    def points(*rows: tuple[str, str, str]) -> tuple[tuple[str, str, str], ...]:
        return rows

    return Chart(
        "errors",
        "Error in buffers against tolerance",
        "pH of the buffer",
        "error, pH",
        (
            Series("as found", points(("7.03", "0.034", "0.019"), ("10.08", "-0.159", "0.037"))),
            Series("after cleaning", points(("7.03", "0.014", "0.019"), ("10.08", "-0.139", "0.037"))),
            Series("as left", points(("7.03", "-0.006", "0.019"), ("10.08", "0.001", "0.037"))),
        ),
        (Line("tolerance +0.10", "0.10"), Line("tolerance -0.10", "-0.10")),
    )


def entries() -> tuple[Entry, ...]:
    def at(path: str, label: str, clock: str) -> Entry:
        return Entry(path, label, clock, "", f"2026-03-03T{clock}:00-06:00")

    lines = [
        Entry("procedure", "Procedure", "ph_calibration"),
        Entry("tag", "Analyzer", "AIT-2101"),
        Entry("serial_on_plate", "Serial on the plate", "EL-0417"),
        Entry("reason", "Reason of the visit", "routine"),
        Entry("performed_by", "Performed by", "T-07"),
        Entry("method", "Method", "EP-12 rev. 3"),
        Entry("deviations", "Deviations from the method", "none"),
        Entry("date", "Date", "2026-03-03"),
        at("started", "Work started", "08:15"),
        at("clocks.laptop", "Clocks: clock of the laptop", "08:15"),
        at("clocks.control_system", "Clocks: clock of the control system", "08:17"),
        Entry("cautions.read", "Cautions: read", "yes"),
        Entry("operations_told.who", "Operations told: who", "Odell Marsh"),
        Entry("operations_told.how", "Operations told: how", "radio"),
        at("output_held.at", "Output held: at", "08:18"),
        Entry("output_held.by", "Output held: by", "Odell Marsh"),
        Entry(
            "loop_in_manual.not_done", "Loop in manual: not done, because", "no loop acts on this analyzer"
        ),
        Entry(
            "condition.as_arrived", "Condition: condition on arrival", "brown film on the glass, flow steady"
        ),
        Entry("condition.sample_flow", "Condition: sample flow", "480 mL/min"),
        Entry("stored.slope_percent", "Stored on arrival: slope", "98.1", "%"),
        Entry("stored.offset_mv", "Stored on arrival: offset", "-1.2", "mV"),
        Entry("process_before.ph", "Process before: pH on the display", "8.62", "pH"),
        Entry("process_before.control_system", "Process before: pH in the control system", "8.58", "pH"),
        at("process_before.at", "Process before: read at", "08:17"),
        Entry("thermometer_check.reference", "Thermometer check: reference thermometer", "T-17"),
        Entry("thermometer_check.reference_c", "Thermometer check: reference shows", "18.3", "°C"),
        Entry("thermometer_check.shown_c", "Thermometer check: analyzer shows", "18.6", "°C"),
    ]
    for stage, label in (
        ("as_found", "As found"),
        ("after_cleaning", "After cleaning"),
        ("as_left", "As left"),
    ):
        shown = {
            "as_found": ("7.06", "9.92"),
            "after_cleaning": ("7.04", "9.94"),
            "as_left": ("7.02", "10.08"),
        }[stage]
        if stage == "after_cleaning":
            lines.append(
                Entry("cleaned.how", "Cleaned: how", "soft cloth, dilute acid for 2 min, rinsed 5 min")
            )
            lines.append(at("cleaned.at", "Cleaned: at", "08:41"))
        if stage == "as_left":
            lines += [
                Entry("decision.action", "Decision: decision", "two-point"),
                Entry(
                    "decision.why", "Decision: because", "10.01 outside its tolerance after cleaning as well"
                ),
                Entry("adjusted.slope_from", "Adjusted: slope from", "98.1", "%"),
                Entry("adjusted.slope_to", "Adjusted: slope to", "95.1", "%"),
                Entry("adjusted.offset_from", "Adjusted: offset from", "-1.2", "mV"),
                Entry("adjusted.offset_to", "Adjusted: offset to", "-2.6", "mV"),
                at("adjusted.at", "Adjusted: at", "08:58"),
            ]
        for n, (bottle, last) in enumerate(zip(("B7-4471", "B10-2188"), shown, strict=True)):
            path, part = f"{stage}.points.{n}.", f"{label}, point {n + 1}: "
            start = f"{D(last) + D('0.03')}"
            lines += [
                Entry(path + "standard", part + "standard", bottle),
                Entry(path + "temperature_c", part + "temperature of the buffer", "18.4", "°C"),
                Entry(path + "readings", part + "pH readings", f"{start}, {last}, {last}, {last}", "pH"),
                Entry(
                    path + "mv", part + "electrode voltage with the last reading", ("-4.1", "-175.6")[n], "mV"
                ),
                Entry(path + "interval_s", part + "time between readings", "30", "s"),
            ]
    lines += [
        Entry("check_buffer.standard", "Check buffer: standard", "B7-4502"),
        Entry("check_buffer.temperature_c", "Check buffer: temperature of the buffer", "18.5", "°C"),
        Entry("check_buffer.readings", "Check buffer: pH readings", "7.04, 7.03, 7.03", "pH"),
        Entry("signal.display", "Signal: on the display", "8.71", "pH"),
        Entry("signal.ma", "Signal: loop current", "13.95", "mA"),
        Entry("signal.control_system", "Signal: in the control system", "8.71", "pH"),
        Entry("signal.read_by", "Signal: control system read by", "Odell Marsh"),
        Entry("signal.heard_how", "Signal: heard how", "radio"),
        at("signal.at", "Signal: at", "09:12"),
        at("output_released.at", "Output released: at", "09:10"),
        Entry("output_released.by", "Output released: by", "Odell Marsh"),
        at("finished", "Work finished", "09:20"),
        Entry("status.state", "Status: status after the work", "in service"),
        Entry("cause.opinion", "Cause: likely cause", "glass aged; slope has fallen for three visits"),
        Entry("cause.author", "Cause: opinion of", "T-07"),
        Entry("remarks", "Remarks", "Order a spare electrode."),
    ]
    return tuple(lines)


def standards() -> dict[str, Standard]:
    table = {"table": "ph_buffers_ready_made", "edition": "trade 1"}
    found = (
        Standard(
            "B7-4471",
            "buffer",
            "pH 7.00 ready-made",
            "4471",
            "pH",
            "C-4471 (invented)",
            D("0.01"),
            D(2),
            column="7.00",
            opened="2026-01-12",
            usable_until="2026-07-11",
            because="opened + 180 days",
            **table,
        ),
        Standard(
            "B10-2188",
            "buffer",
            "pH 10.01 ready-made",
            "2188",
            "pH",
            "C-2188 (invented)",
            D("0.02"),
            D(2),
            column="10.01",
            opened="2026-01-12",
            usable_until="2026-04-12",
            because="opened + 90 days",
            **table,
        ),
        Standard(
            "B7-4502",
            "buffer",
            "pH 7.00 ready-made, kept for checking",
            "4502",
            "pH",
            "C-4502 (invented)",
            D("0.01"),
            D(2),
            column="7.00",
            opened="2026-01-12",
            usable_until="2026-07-11",
            because="opened + 180 days",
            **table,
        ),
        Standard(
            "T-17",
            "thermometer",
            "Reference thermometer",
            "serial 17-221",
            "°C",
            "K-17 (invented)",
            D("0.3"),
            D(2),
            calibration_due="2026-09-01",
        ),
        Standard(
            "M-3",
            "meter",
            "Bench pH meter of the laboratory",
            "serial BM-3",
            "pH",
            "own buffers each morning",
            D("0.024"),
            D(2),
            calibration_due="2026-09-01",
        ),
    )
    return {standard.id: standard for standard in found}


def given() -> Given:
    ranged = {"low": D(0), "high": D(14), "unit": "pH"}
    return Given(
        1,
        Site(
            "Ellodale water plant",
            "America/Chicago",
            10,
            synthetic=True,
            address="1 Weir Lane, Ellodale (invented)",
        ),
        Analyzer(
            "AIT-2101",
            "EL-0417",
            "pH transmitter with glass electrode and automatic temperature compensation",
            "pH",
            "pH",
            D(0),
            D(14),
            "Filter gallery, panel FG-2",
            "Settled water, tap S-4",
            "Ellodale water plant",
            "",
            D("0.01"),
            "4-20 mA for 0-14 pH",
            "AIT2101.PV",
            hops=(
                Hop("transmitter output", damping_s=D(10), **ranged),
                Hop("input card", input_ohm=D(250), **ranged),
                Hop("control-system display", clamp="0 to 14", **ranged),
                Hop("archive", interval_s=D(60), **ranged),
            ),
        ),
        standards(),
        {
            "T-07": Person(
                "T-07",
                "Ines Quarrow",
                True,
                False,
                "Class C 10417 (invented)",
                "2027-06-30",
                "State approval 88-T (invented): pH, turbidity, temperature, residual",
            ),
        },
        {
            "ph_buffers_ready_made": TableUse(
                "ph_buffers_ready_made", "trade 1", "5e" * 32, "trade labels, transcribed"
            )
        },
        earlier=(
            Earlier(
                "L1-2026-0009", "2026-02-24T08:05:00-06:00", "EL-0417", {"as_found at the analyzer": "pass"}
            ),
        ),
        changes=(
            Change(
                "2026-03-01T10:00:00-06:00",
                "tolerance control_system of AIT-2101: high",
                "0.10",
                "0.15",
                "S-02",
                "loop card resolves 0.014 pH only",
            ),
            Change("2026-03-02T07:30:00-06:00", "location of AIT-2101", "panel FG-1", "panel FG-2"),
        ),
    )


def notes() -> tuple[Note, ...]:
    return (
        Note(
            "caution",
            "10.01 is opened for 50 days; it takes up carbon dioxide and only falls.",
            "common practice",
        ),
        Note("advice", "Outside tolerance after cleaning: adjust in two buffers, then read both again."),
        Note(
            "cannot see",
            "A wrong bottle used for adjusting and for as left reads 0.00 by construction; the check buffer "
            "of another lot is there for that.",
            "budgets, pH",
        ),
        Note(
            "cannot see", "An error of the temperature compensation, as all buffers were at one temperature."
        ),
        Note("statement", "The error at the process value is the straight line between the two buffers."),
    )


def example() -> Record:
    """Return a visit that failed as found, was adjusted in two buffers and passed as left."""
    slope = Quantity("-56.18", "mV/pH", -56.18, 0.23, None, 2.0, "0.46")
    return Record(
        1,
        1,
        "L1-2026-0017",
        "AIT-2101 ph_calibration 2026-03-03T08:15:00-06:00",
        "ph_calibration",
        "pH calibration in buffers",
        1,
        "2026-03-03T08:15:00-06:00",
        "2026-03-03T09:24:31-06:00",
        "T-07",
        {"tag": "AIT-2101"},
        entries(),
        (
            Caution("Tell operations before the output is held.", "common practice"),
            Caution(
                "Eye protection with acid and buffers; rinse into the waste bottle.", "label of the bottle"
            ),
        ),
        given(),
        Result(
            checks(),
            (Value("slope_mv", "as_found", "Slope of the electrode", slope, "from the mV in two buffers"),),
            workings(),
            notes(),
            (chart(),),
        ),
        Software("0.1.0", "3.11.9", "0.15.2", "ph_calibration.ipynb", "0a" * 32),
        Previous("L1", 41, "9f" * 32),
        {"executed.ipynb": "1b" * 32, "chart-1.svg": "2c" * 32},
    )
