"""What is well written in a plant's files and still cannot be right."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from wqverify import tables
from wqverify.errors import ChooseAnother
from wqverify.plant.files import Document, Problem, leaves, unquoted
from wqverify.plant.messages import nearest
from wqverify.plant.models import (
    AnalyzerEntry,
    AnalyzersFile,
    PeopleFile,
    PlantFile,
    RoundsFile,
    StandardEntry,
    StandardsFile,
    StopEntry,
    ToleranceEntry,
)
from wqverify.plant.shares import GUARDED_UP_TO, share_of
from wqverify.plant.toml_places import Loc
from wqverify.terms import Analyzer, Reading, Setting

# What a rule makes an analyzer show, by what it measures: the value that has to be seen exceeded or undercut.
MUST_SHOW = {
    ("turbidity", "NTU"): ("1.0", "40 CFR 141.175(b)(1) and 141.563: more than 1.0 NTU, twice in a row"),
    ("chlorine", "mg/L"): ("0.2", "40 CFR 141.72: not less than 0.2 mg/L at the entry point"),
}
# Settings that are read here, by no procedure.
OF_THE_REGISTER = {
    "must_show": Setting("-9999999", "9999999"),
    "converter_bits": Setting("8", "24", whole=True),
    "volume_per_reading_ml": Setting("1", "10000"),
    "interval_target_percent": Setting("50", "99.9"),
    "interval_change_most": Setting("1.1", "10"),
}
BITS = "12"  # of a converter where none are entered; common practice
COARSE = 5  # a step of more than a fifth of a tolerance decides instead of the instrument; common practice
AUTHORITY_FILES = ("authority", "withdrawn")  # certificates/authority.pem and withdrawn.crl


def in_plant(file: PlantFile, document: Document) -> Iterator[Problem]:
    """Give what cannot be right in plant.toml."""
    if zone(file.time_zone) is None:
        hint = nearest(file.time_zone, available_timezones(), otherwise="write it as America/Chicago.")
        yield Problem(
            ("time_zone",), f"time_zone is {file.time_zone!r}, which is not known; {hint}", file.time_zone
        )
    yield from _twice(document, ((("holidays", i), text) for i, text in enumerate(file.holidays)), "holiday")


def in_register(file: AnalyzersFile, document: Document) -> Iterator[Problem]:
    """Give what cannot be right in analyzers.toml."""
    for index, entry in enumerate(file.analyzer):
        yield from _analyzer(("analyzer", index), entry, document)
    tags = ((("analyzer", i, "tag"), entry.tag) for i, entry in enumerate(file.analyzer))
    yield from _twice(document, tags, "tag")


def in_people(file: PeopleFile, document: Document) -> Iterator[Problem]:
    """Give what cannot be right in people.toml."""
    for index, entry in enumerate(file.person):
        loc = ("person", index)
        if entry.id.lower() in AUTHORITY_FILES:
            yield Problem(
                (*loc, "id"), f"the id {entry.id} is taken by the plant's authority; choose another."
            )
        if "_" in entry.id:
            text = f"the id {entry.id} has an underscore, which no certificate can hold; use a hyphen."
            yield Problem((*loc, "id"), text)
        if entry.licence_until and not entry.licence:
            yield Problem((*loc, "licence_until"), "licence_until stands without licence; add its number.")
    ids = ((("person", i, "id"), entry.id) for i, entry in enumerate(file.person))
    yield from _twice(document, ids, "staff id")


def in_standards(file: StandardsFile, document: Document, tags: Iterable[str]) -> Iterator[Problem]:
    """Give what cannot be right in standards_on_hand.toml."""
    known = list(tags)
    for index, entry in enumerate(file.standard):
        yield from _value(("standard", index), entry)
        yield from _assigned(("standard", index), entry, known, document)
        yield from _dates(("standard", index), entry)
    ids = ((("standard", i, "id"), entry.id) for i, entry in enumerate(file.standard))
    yield from _twice(document, ids, "standard id")


def in_rounds(file: RoundsFile, document: Document, tags: Iterable[str]) -> Iterator[Problem]:
    """Give what cannot be right in rounds.toml; what its answers may be, the procedures say."""
    known = list(tags)
    for index, entry in enumerate(file.round):
        stops: list[tuple[Loc, StopEntry]] = [
            (("round", index, "stop", i, "tag"), stop) for i, stop in enumerate(entry.stop)
        ]
        for loc, stop in stops:
            if stop.tag not in known:
                text = f"the round {entry.name} names {stop.tag}, which analyzers.toml does not hold."
                yield Problem(loc, text, stop.tag)
        twice = ((loc, f"{stop.procedure} of {stop.tag}") for loc, stop in stops)
        yield from _twice(document, twice, "stop")
    names = ((("round", i, "name"), entry.name) for i, entry in enumerate(file.round))
    yield from _twice(document, names, "round")
    for loc, value in leaves(document.data):
        if not isinstance(value, str):
            yield unquoted(document, loc, value)


def zone(name: str) -> ZoneInfo | None:
    """Return a time zone by its IANA name, None where there is none."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):  # OSError: the name of a folder such as America
        return None


# ---------------------------------------------------------------- parts


def _analyzer(loc: Loc, entry: AnalyzerEntry, document: Document) -> Iterator[Problem]:
    if entry.low >= entry.high:
        what = "has no width" if entry.low == entry.high else "is upside down"
        yield Problem((*loc, "low"), f"the range of {entry.tag} from {entry.low} to {entry.high} {what}.")
        return
    span = entry.high - entry.low
    if entry.digit is not None and entry.digit > span:
        yield Problem((*loc, "digit"), f"the digit {entry.digit} of {entry.tag} is wider than its range.")
    for index, hop in enumerate(entry.hop):
        place = (*loc, "hop", index)
        if (hop.low is None) != (hop.high is None):
            yield Problem(
                place, f"the hop {hop.name} of {entry.tag} has one end of its range; give low and high."
            )
        elif hop.low is not None and hop.low == hop.high:
            yield Problem(place, f"the range of the hop {hop.name} of {entry.tag} has no width.")
        if hop.damping_s is not None and hop.damping_s < 0:
            yield Problem(
                (*place, "damping_s"), f"the damping of the hop {hop.name} of {entry.tag} is negative."
            )
    hops = (((*loc, "hop", i, "name"), hop.name) for i, hop in enumerate(entry.hop))
    yield from _twice(document, hops, "hop")
    yield from _triggers(loc, entry)
    for name, tolerance in entry.tolerance.items():
        yield from _tolerance((*loc, "tolerance", name), entry, name, tolerance)


def _triggers(loc: Loc, entry: AnalyzerEntry) -> Iterator[Problem]:
    """A range that ends at a trigger can never show more: 0-1 NTU records 1.0 at most, whatever the water."""
    wrong = list(_settings_read_here((*loc, "settings"), entry))
    yield from wrong
    trigger, source = MUST_SHOW.get((entry.measures.lower(), entry.unit), ("", ""))
    if "must_show" in entry.settings:
        trigger, source = entry.settings["must_show"], "must_show under settings"
    if wrong or not trigger:
        return
    at = Reading.parse(trigger).value
    for place, what, low, high in _ranges(loc, entry):
        if low < at < high:
            continue
        end, side, verb, way = (
            (high, "high", "ends", "more") if high <= at else (low, "low", "begins", "less")
        )
        yield Problem(
            (*place, side),
            f"{what} {verb} at {end} {entry.unit} and can never show {way} than {trigger} {entry.unit}, "
            f"which it must ({source}); widen the range, or where another trigger holds here write "
            f'must_show = "..." under settings.',
            found=str(end),
            expected=f"{'above' if side == 'high' else 'below'} {trigger}",
        )


def _ranges(loc: Loc, entry: AnalyzerEntry) -> Iterator[tuple[Loc, str, Decimal, Decimal]]:
    """Give the range of the analyzer and of every hop in its unit: place, name, bottom, top."""
    yield loc, f"the range of {entry.tag}", entry.low, entry.high
    for index, hop in enumerate(entry.hop):
        if hop.low is not None and hop.high is not None and hop.unit in ("", entry.unit):
            bottom, top = sorted((hop.low, hop.high))
            yield (*loc, "hop", index), f"the range of the hop {hop.name} of {entry.tag}", bottom, top


def _settings_read_here(loc: Loc, entry: AnalyzerEntry) -> Iterator[Problem]:
    for name, setting in OF_THE_REGISTER.items():
        typed = entry.settings.get(name)
        if typed is not None and not setting.allows(typed):
            text = f"the setting {name} of {entry.tag} is {typed!r}; it is {setting}."
            yield Problem((*loc, name), text, typed, str(setting))


def coarse_steps(analyzer: Analyzer) -> Iterator[str]:
    """Say where the step of a display or of a converter is too coarse for a tolerance it serves."""
    for name, tolerance in analyzer.tolerances.items():
        half = tolerance.half_width(Decimal(0)) if tolerance.unit == analyzer.unit else None
        if half and analyzer.digit and analyzer.digit * COARSE > half:
            yield _too_coarse(f"{analyzer.tag} shows steps of {analyzer.digit}", name, half, analyzer)
    held = next((name for name in ("control_system", "error", "grab") if name in analyzer.tolerances), "")
    spans = [abs(hop.high - hop.low) for hop in analyzer.hops if hop.low is not None and hop.high is not None]
    if not held or not spans or analyzer.tolerances[held].unit != analyzer.unit:
        return
    bits = int(analyzer.settings.get("converter_bits", BITS))
    step = max(spans) / (2**bits - 1)
    half = analyzer.tolerances[held].half_width(Decimal(0))
    if half and step * COARSE > half:
        assumed = "" if "converter_bits" in analyzer.settings else " (assumed)"
        what = (
            f"a converter of {bits} bits{assumed} over {max(spans)} {analyzer.unit} has steps of {step:.2g}"
        )
        yield _too_coarse(f"{analyzer.tag}: {what}", held, half, analyzer)


def _too_coarse(what: str, name: str, half: Decimal, analyzer: Analyzer) -> str:
    return (
        f"{what} {analyzer.unit}, more than a fifth of the tolerance {name}, {half} {analyzer.unit}: the "
        f"step decides, not the instrument; narrow the range, show more digits, or widen the tolerance."
    )


def _tolerance(loc: Loc, entry: AnalyzerEntry, name: str, tolerance: ToleranceEntry) -> Iterator[Problem]:
    what = f"tolerance {name} of {entry.tag}"
    low, high, percent = tolerance.low, tolerance.high, tolerance.percent
    bounds = [bound for bound in (low, high) if bound is not None]
    if not bounds and percent is None:
        yield Problem(loc, f"{what} has no size; give low and high, or percent.")
    if low is not None and high is not None and low >= high:
        upside = "have no width" if low == high else "are upside down"
        yield Problem(loc, f"{what}: low {low} and high {high} {upside}.")
    elif tolerance.unit == entry.unit:
        yield from _within_range(loc, entry, what, tolerance)
    if percent is not None and percent > 100:
        yield Problem((*loc, "percent"), f"{what}: {percent} percent of the reference allows any reading.")
    if percent is not None and bounds and not tolerance.larger_of:
        yield Problem(
            loc, f"{what} has percent and low or high: write larger_of = true, or leave one of them out."
        )
    if tolerance.larger_of and (percent is None or not bounds):
        yield Problem(loc, f"{what}: larger_of needs both percent and low or high.")
    share = share_of(entry, name, tolerance)
    if tolerance.rule == "guarded" and share is not None and share.share > GUARDED_UP_TO:
        yield Problem(
            (*loc, "rule"),
            f"{what}: the rule guarded cannot decide here, the expanded uncertainty to expect "
            f"({share.expanded} {share.unit}) is {share.share} of the tolerance, more than {GUARDED_UP_TO}; "
            f'write rule = "simple", or expected_expanded from your own budget.',
            found=str(share.share),
            expected=f"at most {GUARDED_UP_TO}",
        )


def _within_range(loc: Loc, entry: AnalyzerEntry, what: str, tolerance: ToleranceEntry) -> Iterator[Problem]:
    """In the analyzer's own unit a tolerance is an allowed error: about zero and within the span."""
    span = entry.high - entry.low
    for side, bound in (("low", tolerance.low), ("high", tolerance.high)):
        if bound is not None and abs(bound) > span:
            yield Problem(
                (*loc, side),
                f"{what}: {side} {bound} {entry.unit} is an allowed error wider than the range "
                f"{entry.low} to {entry.high} {entry.unit}.",
                found=str(bound),
                expected=f"at most {span}",
            )
        elif bound is not None and (bound > 0 if side == "low" else bound < 0):
            yield Problem(
                (*loc, side),
                f"{what}: {side} {bound} leaves out an error of 0; write the allowed error, not the "
                f"allowed reading.",
                found=str(bound),
            )


def _value(loc: Loc, entry: StandardEntry) -> Iterator[Problem]:
    named = [part for part in (entry.table, entry.edition, entry.column) if part]
    if named and len(named) < 3:
        yield Problem(loc, f"{entry.id} names a table in part; give table, edition and column.")
    elif named:
        yield from _table(loc, entry)
    if entry.value is not None and (named or entry.own):
        yield Problem((*loc, "value"), f"{entry.id} has a value and a table; keep the one that counts.")
    worth = entry.value is not None or named or entry.own or entry.assigned
    if not worth and not entry.calibration_due:
        yield Problem(
            loc,
            f"nothing says what {entry.id} is worth; give value, or table, edition and column, or own, or a "
            f"value assigned for an analyzer, or for an instrument calibration_due.",
        )
    if (entry.expanded is None) != (entry.k is None):
        yield Problem(loc, f"{entry.id}: expanded and k belong together; the certificate states both.")
    temperatures = [x for x, _ in entry.own]
    if temperatures != sorted(set(temperatures)):
        yield Problem((*loc, "own"), f"{entry.id}: the temperatures of own must rise from row to row.")


def _assigned(loc: Loc, entry: StandardEntry, tags: list[str], document: Document) -> Iterator[Problem]:
    """A secondary standard has a value per analyzer; one that also has its own would be worth two things."""
    if entry.assigned and (entry.value is not None or entry.table or entry.own):
        yield Problem(
            (*loc, "assigned"), f"{entry.id} has assigned values and a value of its own; keep what counts."
        )
    for index, row in enumerate(entry.assigned):
        place = (*loc, "assigned", index)
        if row.tag not in tags:
            text = f"{entry.id} has a value for {row.tag}, which analyzers.toml does not hold."
            yield Problem((*place, "tag"), text, row.tag)
        if (row.expanded is None) != (row.k is None):
            yield Problem(place, f"{entry.id}: expanded and k of the value for {row.tag} belong together.")
    rows = (
        (("standard", loc[1], "assigned", i), f"{row.tag} on {row.on}")
        for i, row in enumerate(entry.assigned)
    )
    yield from _twice(document, rows, "the value for")
    causes = ((("standard", loc[1], "cause", i, "name"), row.name) for i, row in enumerate(entry.cause))
    yield from _twice(document, causes, "cause")


def _table(loc: Loc, entry: StandardEntry) -> Iterator[Problem]:
    try:
        table = tables.load(entry.table, entry.edition)
        table.nodes(entry.column)
    except ChooseAnother as problem:
        yield Problem((*loc, "table"), f"{entry.id}: {problem.message}", problem.found, problem.expected)
        return
    unit = table.columns[entry.column].unit
    if unit != entry.unit:
        yield Problem((*loc, "unit"), f"{entry.id} is in {entry.unit}, its table in {unit}.")


def _dates(loc: Loc, entry: StandardEntry) -> Iterator[Problem]:
    for life, start in (("in_use_days", "opened"), ("prepared_life_days", "prepared")):
        if getattr(entry, life) is not None and not getattr(entry, start):
            yield Problem(
                (*loc, life),
                f'{entry.id} has {life} without the day it runs from; add {start} = "2026-03-31".',
            )
    if entry.prepared and entry.opened and entry.opened < entry.prepared:
        yield Problem(
            (*loc, "opened"),
            f"{entry.id} was opened {entry.opened}, before it was prepared {entry.prepared}.",
        )


def _twice(document: Document, entries: Iterable[tuple[Loc, str]], what: str) -> Iterator[Problem]:
    """Names that differ in capitals only are one name: on some computers they are one file."""
    seen: dict[str, Loc] = {}
    for loc, name in entries:
        first = seen.setdefault(name.lower(), loc)
        if first != loc:
            line = document.line(first)
            yield Problem(loc, f"{what} {name} is given twice (first on line {line}).", found=name)
