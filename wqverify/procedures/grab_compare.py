"""From the sheet to the comparisons: each grab with its online values, or why it cannot be compared."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from decimal import Decimal

from wqverify.calculations import pairing
from wqverify.errors import ChooseAnother
from wqverify.procedures.grab_budget import Compared, at_line, differences
from wqverify.procedures.grab_pairs import (
    Online,
    Paired,
    attached,
    between,
    held_during,
    online_values,
    paired,
    why_unsteady,
)
from wqverify.procedures.grab_sheet import Adjusted, Grab, GrabSheet, LabResult, grab_done
from wqverify.procedures.grab_sizes import PH, Measurand, holding_minutes, measurand_of
from wqverify.procedures.rules import overdue, setting, standard
from wqverify.terms import Given, Place, Quantity, Slices, Standard, Tolerance

PLACES: tuple[Place, ...] = ("analyzer", "control system")


@dataclass(frozen=True)
class Comparison:
    """One grab against the online value of one place."""

    stage: str
    name: str
    path: str
    grab: Grab
    instrument: Standard
    pair: Paired
    reference: str  # the grab at the temperature of the line; empty where it is no number to compare
    reason: str = ""
    quantity: Quantity | None = None

    @property
    def place(self) -> Place:
        return self.pair.online.place

    @property
    def key(self) -> str:
        word = "difference" if self.place == "analyzer" else "control_system"
        return f"{self.stage}.{self.name}.{word}"

    @property
    def which(self) -> str:
        """Which grab."""
        number = self.name.partition("_")[2]
        return f"grab {number}" if number else "the grab after"

    @property
    def short(self) -> str:
        """Which place against which grab."""
        return f"{'Display' if self.place == 'analyzer' else 'Control system'} against {self.which}"

    @property
    def label(self) -> str:
        return f"{self.short}, {self.instrument.name} ({self.instrument.id})"

    @property
    def compared(self) -> Compared:
        return Compared(self.name, self.path, self.grab, self.instrument, self.pair)


@dataclass(frozen=True)
class Compare:
    """All comparisons of a visit, in the order of work."""

    measurand: Measurand
    all: tuple[Comparison, ...]
    means: Mapping[Place, Quantity] = field(default_factory=dict)  # of two grabs or more, as found

    def sound(self, place: Place, stage: str = "as_found") -> tuple[Comparison, ...]:
        """Return the comparisons that can be judged."""
        return tuple(c for c in self.all if c.place == place and c.stage == stage and not c.reason)

    def place(self) -> Place:
        """Return the place whose differences say whether two grabs agree: the analyzer where it was read."""
        return "analyzer" if any(c.place == "analyzer" for c in self.all) else "control system"


def compare(sheet: GrabSheet, given: Given, slices: Slices) -> Compare:
    """Return every comparison of a visit."""
    measurand = measurand_of(given.analyzer)
    trend = attached("trend", given, slices)
    if sheet.trend is not None and trend is None:
        raise ChooseAnother(
            f"trend names {sheet.trend!r}, and the case holds no values of it; put the export into the "
            f"plant's folder trends/, or type the online values instead.",
            found=sheet.trend,
            where="trend",
        )
    adjusted = given.times.get("adjusted.at") if isinstance(sheet.adjusted, Adjusted) else None
    before = online_values("online", sheet.online, trend, sheet.paired_by, given)
    found = [
        _comparison(
            "as_found", f"grab_{n}", f"grab.{n - 1}", grab, between(online, None, adjusted), sheet, given
        )
        for n, grab in enumerate(sheet.grab, 1)
        for online in _ordered(before)
    ]
    last = grab_done(sheet.grab_after)
    if last is not None:
        after = online_values("online_after", sheet.online_after, trend, sheet.paired_by, given)
        found += [
            _comparison("as_left", "grab", "grab_after", last, between(online, adjusted, None), sheet, given)
            for online in _ordered(after)
        ]
    return _with_quantities(Compare(measurand, tuple(found)), given)


def _ordered(online: Mapping[Place, Online]) -> list[Online]:
    return [online[place] for place in PLACES if place in online]


def _comparison(
    stage: str, name: str, path: str, grab: Grab, online: Online, sheet: GrabSheet, given: Given
) -> Comparison:
    measurand = measurand_of(given.analyzer)
    instrument = standard(grab.instrument, f"{path}.instrument", given)
    pair = paired(given.times[f"{path}.collected"], grab, online, flow_of(sheet), given)
    other = another_measurand(grab, given)
    reference = "" if other or grab.lab.below else f"{at_line(grab, measurand):f}"
    reasons = [
        other,
        *why_no_result(path, grab.lab, instrument, given),
        why_no_limit(reference, given),
        _unit_of_export(online, given),
        pair.reason,
    ]
    if pair.value is not None:
        reasons += [
            why_unsteady(pair, _limit(reference, given), given),
            held_during(pair, given.times),
        ]
    reason = "; ".join(filter(None, reasons))
    return Comparison(stage, name, path, grab, instrument, pair, reference, reason)


def _unit_of_export(online: Online, given: Given) -> str:
    if online.unit and _plain_unit(online.unit) != _plain_unit(given.analyzer.unit):
        return f"{online.source} is in {online.unit} and {given.analyzer.tag} shows {given.analyzer.unit}"
    return ""


def flow_of(sheet: GrabSheet) -> Decimal | None:
    """Return the sample flow that was measured at the visit, mL/min."""
    return sheet.sample_flow_ml_min.value if sheet.sample_flow_ml_min is not None else None


def _with_quantities(known: Compare, given: Given) -> Compare:
    """Enter the differences, those of one stage and place in one propagation, and the mean of the sound."""
    means: dict[Place, Quantity] = {}
    quantities: dict[str, Quantity] = {}
    for stage in ("as_found", "as_left"):
        for place in PLACES:
            here = [c for c in known.all if c.stage == stage and c.place == place]
            numbers = [c for c in here if c.reference and c.pair.value is not None]
            if numbers:
                found = differences([c.compared for c in numbers], known.measurand, given)
                quantities |= {c.key: found[c.name] for c in numbers}
            sound = [c for c in numbers if not c.reason]
            if stage == "as_found" and len(sound) > 1:
                means[place] = differences([c.compared for c in sound], known.measurand, given)["mean"]
    done = tuple(replace(c, quantity=quantities.get(c.key)) for c in known.all)
    return Compare(known.measurand, done, means)


def tolerance_of(given: Given) -> Tolerance | None:
    """Return the tolerance of a comparison with grabs, one for display and control system; none is shipped.

    The register's control_system tolerance is that of a control system against the display or a standard:
    too narrow for a grab, whose own scatter it does not hold.
    """
    return given.analyzer.tolerances.get("grab")


def why_no_limit(reference: str, given: Given) -> str:
    """Return why a grab has no tolerance although the register holds one: it is a percent of nothing."""
    tolerance = tolerance_of(given)
    if tolerance is None or tolerance.percent is None or not reference:
        return ""
    if tolerance.half_width(Decimal(reference)) != 0:
        return ""
    return (
        f"{tolerance.percent} % of a grab of {reference} is no tolerance; the register needs a floor (low, "
        f"high and larger_of)"
    )


def _limit(reference: str, given: Given) -> Decimal | None:
    """The half width of the tolerance at a grab, or its one side; None where there is none."""
    tolerance = tolerance_of(given)
    if tolerance is None or not reference:
        return None
    low, high = tolerance.at(Decimal(reference))
    half = tolerance.half_width(Decimal(reference))
    one = high if high is not None else low
    return half if half is not None else (abs(one) if one is not None else None)


# ---------------------------------------------------------------- why a grab is none


def another_measurand(grab: Grab, given: Given) -> str:
    """Return why a result is of something else, or in another unit, than the analyzer shows; both said."""
    analyzer, lab = given.analyzer, grab.lab
    if grab.measurand and grab.measurand.casefold() != analyzer.measures.casefold():
        return f"the grab is {grab.measurand} and {analyzer.tag} measures {analyzer.measures}"
    if analyzer.species and not grab.species:
        return (
            f"the grab does not say its species, and {analyzer.tag} measures {analyzer.species} "
            f"{analyzer.measures}"
        )
    if grab.species and plain_species(grab.species) != plain_species(analyzer.species):
        has = analyzer.species or "no species in the register"
        return f"the grab is {grab.species} and {analyzer.tag} measures {has}"
    return other_unit(lab, given)


def other_unit(lab: LabResult, given: Given) -> str:
    """Return why a result is in another unit than the analyzer shows, or in none; both said."""
    analyzer = given.analyzer
    if not lab.unit and analyzer.unit != "pH":
        return (
            f"the result {lab.text} has no unit, and {analyzer.tag} shows {analyzer.unit}; type it as the "
            f"slip states it"
        )
    if lab.unit and _plain_unit(lab.unit) != _plain_unit(analyzer.unit):
        return f"the grab is in {lab.unit} and {analyzer.tag} shows {analyzer.unit}"
    return ""


def plain_species(species: str) -> str:
    """Return a species without the word it is often written with: "Free chlorine" is "free"."""
    return species.casefold().removesuffix(" chlorine").strip()


def _plain_unit(unit: str) -> str:
    return unit.replace("µ", "u").replace("μ", "u").casefold()


def why_no_result(path: str, lab: LabResult, instrument: Standard, given: Given) -> list[str]:
    """Return why a result cannot be judged: too small to tell, kept too long, instrument past its date."""
    found = []
    if lab.below:
        found.append(
            f"the result is {lab.text}: below what the laboratory can tell, so a difference to it cannot be "
            f"judged"
        )
    kept, source = holding_minutes(measurand_of(given.analyzer), given.analyzer.settings)
    waited = minutes_waited(path, given)
    if kept is not None and waited > kept:
        found.append(
            f"the grab was analysed {waited} min after it was collected, more than {kept} min ({source})"
        )
    if overdue(instrument, given, f"{path}.analysed"):
        found.append(f"the calibration of {instrument.id} was due on {instrument.calibration_due}")
    return found


def minutes_waited(path: str, given: Given) -> int:
    """Return how many minutes a grab stood before it was analysed."""
    taken, analysed = (datetime.fromisoformat(given.times[f"{path}.{w}"]) for w in ("collected", "analysed"))
    return (analysed - taken) // timedelta(minutes=1)


# ---------------------------------------------------------------- do two agree


AGREE = {
    2: "two results of one method: 2.77 standard deviations of one grab",
    3: "range of three results of one method: 3.3 standard deviations of one grab",
    4: "range of four results of one method: 3.6 standard deviations of one grab",
    5: "range of five results of one method: 3.9 standard deviations of one grab",
    6: "range of six results of one method: 4.0 standard deviations of one grab",
}


def agreement(known: Compare, given: Given) -> tuple[Decimal | None, Tolerance]:
    """Return how far the sound differences lie apart, None for fewer than two, and how far they may."""
    sound = known.sound(known.place())
    labs = [c.grab.lab for c in sound]
    level = max((abs(lab.value) for lab in labs), default=Decimal(0))
    limit = agreement_limit(labs, level, known.measurand, given)
    if len(sound) < 2:
        return None, limit
    texts = [Decimal(c.quantity.text) for c in sound if c.quantity is not None]
    return pairing.change(texts), limit


def agreement_limit(
    grabs: Sequence[LabResult], level: Decimal, measurand: Measurand, given: Given
) -> Tolerance:
    """Return how far results about a level may lie apart; fewer than two are taken as two."""
    settings, n = given.analyzer.settings, max(2, len(grabs))
    if measurand.agree in settings:
        return _apart(Decimal(settings[measurand.agree]), "set in the register", given)
    if measurand is PH:
        return _apart(setting(given, measurand.agree, "0.10"), "common practice, no source", given)
    exact = pairing.agreement_limit(measurand.repeatability(level, settings), n)
    digits = [lab.reading.digit for lab in grabs]
    finest = min(
        [*digits, *([given.analyzer.digit] if given.analyzer.digit is not None else [])], default=exact
    )
    source = f"{AGREE[n]}, ISO 5725-6:1994 (from memory), rounded down two digits beyond the display"
    return _apart(pairing.fixed_limit(exact, finest), source, given)


def _apart(limit: Decimal, source: str, given: Given) -> Tolerance:
    return Tolerance(
        unit=given.analyzer.unit, rule="simple", basis="common practice", source=source, high=limit
    )
