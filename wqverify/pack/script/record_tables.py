"""The tables of records: what they say is what the record.json in each PDF and the chains say."""

import re
from datetime import datetime
from pathlib import Path
from typing import Any

from wqverify.pack.script.pairing import quoted
from wqverify.pack.script.reading import rows_of
from wqverify.pack.script.said import DASH, NOT_JSON, Report

GOOD = "as in the book"
WORST_FIRST = ("fail", "too close to decide", "not evaluated", "pass")
# A number, perhaps with its unit, is shown as it is; before what could be computed stands an apostrophe.
NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?( [A-Za-z%/°µ][\w%/°µ]*)?")


class Tables:
    """index.csv, checks.csv and readings.csv, compared with the record.json in PDFs and with the chains."""

    def __init__(self, folder: Path, report: Report) -> None:
        self.report = report
        self.rows: dict[str, Any] = {}  # of each table the rows of each record
        for table in ("index", "checks", "readings"):
            rows = rows_of(folder, table, report)
            if rows is not None and rows and "record" not in rows[0]:
                report.bad.append(f"{table}.csv has no column record: it was altered, and not compared.")
                rows = None
            if rows is not None:
                self.rows[table] = {}
                for row in rows:
                    self.rows[table].setdefault(row["record"], []).append(row)
        self.before = len(report.bad)

    def index_of(self, number: str) -> Any:
        """Return the line of a record in the index, empty for none."""
        return (self.rows.get("index", {}).get(number) or [{}])[0]

    def compare(self, number: str, known: Any) -> None:
        """Compare the rows of one record with its record.json and with what the chains say of it."""
        record = known.pop("json", None)
        known.pop("data")
        told = self.index_of(number)
        try:
            index = of_chain(known, record or {}, told)
            if record is not None:
                index["procedure name"] = record["title"]
                checks, readings = list(checks_in(number, record)), list(readings_in(number, record))
                compare_with_chain(number, known, record, self.report)
        except NOT_JSON:
            what = "the chains say" if record is None else "its record.json and the chains say"
            self.report.bad.append(
                f"{number}: what {what} of it is not what can be compared with the tables."
            )
            record = None
        else:
            self.one("index", number, [index])
        if record is not None:
            self.one("checks", number, checks)
            self.one("readings", number, readings)
        for rows in self.rows.values():
            rows.pop(number, None)  # what could not be compared was said

    def one(self, table: str, number: str, expected: "list[Any]") -> None:
        """Compare the rows of a record in one table with those expected."""
        if table not in self.rows:
            return
        told = self.rows[table].pop(number, [])
        if len(told) != len(expected):
            counts = f"{len(told)} row{'' if len(told) == 1 else 's'} of {number}"
            self.report.bad.append(
                f"{table}.csv holds {counts}; by its record there must be {len(expected)}."
            )
            return
        by = "its record and the chains" if table == "index" else "its record"
        for row, wanted in zip(told, expected):  # noqa: B905 (Python 3.8)
            about = next((f", {wanted[name]}" for name in ("check", "label") if name in wanted), "")
            for head, text in wanted.items():
                cell = quoted(row[head]) if head in row else "nothing"
                if row.get(head) != inert(text):
                    self.report.bad.append(
                        f"{table}.csv, {number}{about}: {head} says {cell}, {by} {quoted(text)}."
                    )

    def end(self, expected: Any, month: str) -> None:
        """Say which rows are of no record of the month, and whether all held."""
        for table, rest in sorted(self.rows.items()):
            for number in sorted(rest):
                self.report.bad.append(
                    f"{table}.csv tells of {number}: the chains name no such record of {month}."
                )
        if len(self.rows) == 3 and len(self.report.bad) == self.before:
            self.report.good.append(
                f"index.csv, checks.csv and readings.csv say of {len(expected)} records what the record.json "
                f"in their PDFs and the chains say."
            )


def inert(text: Any) -> str:
    """Return a text as the tables hold it: what a spreadsheet could compute stands after an apostrophe.

    >>> inert("-0.05 mg/L"), inert("=1+1")
    ('-0.05 mg/L', "'=1+1")
    """
    text = str(text)
    steers = text[:1] in ("=", "+", "-", "@", "\t", "\r") and not NUMBER.fullmatch(text)
    return f"'{text}" if steers else text


def of_chain(known: Any, record: Any, told: Any) -> "dict[str, str]":
    """Return what the index must say of a record by the chains; people as told where it is their staff id."""
    found = {head: known[head] for head in ("record", "serial", "round")}
    found.update(
        {"analyzer": known["tag"], "procedure": known["procedure"], "performed": when(known["performed"])}
    )
    found["performed by"] = named(known["by"], record, told.get("performed by", ""))
    here: dict[str, str] = {}
    there: dict[str, str] = {}
    for said, outcome in known["outcomes"] or ():
        stage, _, place = said.rpartition(" at the ")
        (there if place == "control system" else here)[(stage or said).replace("_", " ")] = outcome
    found["as found"], found["as left"] = here.pop("as found", DASH), here.pop("as left", DASH)
    found["control system"] = "; ".join(f"{stage}: {said}" for stage, said in there.items()) or DASH
    found["other stages"] = "; ".join(f"{stage}: {said}" for stage, said in here.items()) or DASH
    found["state"], found["superseded by"] = state_of(known["events"])
    for event, head in (("signed", "signed"), ("reviewed", "countersigned")):
        given = [
            signature(body, record, told.get(head, "")) for body in known["events"] if body["event"] == event
        ]
        found[head] = told[head] if told.get(head) in given else (given or [DASH])[-1]
    told_of_pdf(found, known, told.get("PDF against the book", ""))
    return found


def told_of_pdf(found: "dict[str, str]", known: Any, was: str) -> None:
    """Add what the index must say of a PDF: the digest that the chains name, whatever the file is by now.

    Where the pack itself says that the file was another one, it is the digest of that file.
    """
    by_chain = known["pdfs"][-1:]
    good = by_chain == [known.get("digest", "")]
    if by_chain and (good or was == GOOD):
        found["SHA-256 of the PDF"], found["PDF against the book"] = by_chain[0], GOOD
    elif "digest" in known:
        found["SHA-256 of the PDF"], found["PDF against the book"] = known["digest"], was


def when(iso: str) -> str:
    """Return a time for reading.

    >>> when("2026-03-03T08:15:00-05:00")
    '2026-03-03 08:15 -05:00'
    """
    at = datetime.fromisoformat(iso)
    return f"{iso[:10]} {at.strftime('%H:%M:%S' if at.second else '%H:%M')} {at.isoformat()[-6:]}"


def named(staff: str, record: Any, told: str) -> str:
    """Return a person as the record names them; as the table does, where the record does not know them."""
    name = record.get("given", {}).get("people", {}).get(staff, {}).get("name", "")
    if not name and told.endswith(f" ({staff})"):
        return told
    return f"{name} ({staff})" if name else staff


def signature(body: Any, record: Any, told: str) -> str:
    """Return a signature as the index tells it."""
    ink = f", in ink (told, not proven; paper kept at {body['kept_at'] or '?'})"
    end = f", {when(body['at'])}{ink if body['mode'] == 'pen' else ''}"
    return named(body["by"], record, told[: -len(end)] if told.endswith(end) else "") + end


def state_of(events: "list[Any]") -> "tuple[str, str]":
    """Return where a record stands, and by which record it was superseded."""
    last = {body["event"]: body for body in events}
    if "superseded" in last:
        by = last["superseded"]["by_record"]
        return f"superseded by {by or 'another record'}", by
    asked, answered = (
        sum(body["event"] == event for body in events) for event in ("returned with a question", "answered")
    )
    if "voided" in last:
        return "voided", ""
    if "reviewed" in last:
        return "countersigned", ""
    if asked > answered:
        return "returned with a question", ""
    return ("signed, not countersigned" if "signed" in last else "performed, not signed"), ""


def compare_with_chain(number: str, known: Any, record: Any, report: Report) -> None:
    """Compare what the chain says of a record with its record.json: what it is, each stage's verdict."""
    own = {"record": record["number"], "tag": record["given"]["analyzer"]["tag"]}
    own.update({"serial": record["given"]["analyzer"]["serial"], "by": record["performed_by"]})
    own.update({word: record[word] for word in ("procedure", "performed")})
    own["at"] = record["entered"]
    for word, text in own.items():
        if known[word] != text:
            what = "that it was entered at" if word == "at" else word
            report.bad.append(f'{number}: the chain says {what} "{known[word]}", its record.json "{text}".')
    worst: dict[str, str] = {}
    for check in (each for each in record["result"]["checks"] if each["counts"]):
        stage = f"{check['stage']} at the {check['place']}"
        found = [check["outcome"], *([worst[stage]] if stage in worst else [])]
        worst[stage] = min(found, key=WORST_FIRST.index)
    told = {stage: outcome for stage, outcome in known["outcomes"] or ()}
    for stage in sorted(worst.keys() | told.keys()):
        if worst.get(stage) != told.get(stage):
            report.bad.append(
                f'{number}: the chain says "{told.get(stage, "nothing")}" of {stage}, the checks of its '
                f'record "{worst.get(stage, "nothing")}".'
            )


def checks_in(number: str, record: Any) -> Any:
    """Give the rows of checks.csv that a record gives."""
    for check in record["result"]["checks"]:
        quantity, tolerance = check["quantity"] or {}, check["tolerance"] or {}
        yield {
            "record": number,
            "analyzer": record["given"]["analyzer"]["tag"],
            "stage": check["stage"].replace("_", " "),
            "place": check["place"],
            "check": check["label"],
            "observed": check["observed"],
            "reference": check["reference"],
            "judged value": quantity.get("text", ""),
            "expanded uncertainty": quantity.get("expanded", ""),
            "low": check["low"],
            "high": check["high"],
            "unit": quantity.get("unit", "") or tolerance.get("unit", ""),
            "rule": tolerance.get("rule", ""),
            "outcome": check["outcome"],
            "part of the verdict": "yes" if check["counts"] else "no",
            "reason": check["reason"],
            "source of the tolerance": tolerance.get("source", ""),
        }


def readings_in(number: str, record: Any) -> Any:
    """Give the rows of readings.csv that a record gives: every answer, a list one by one."""
    given = record["given"]
    for entry in record["entries"]:
        path, typed, at, above = entry["path"], record["sheet"], "", entry["path"]
        for step in path.split("."):
            if isinstance(typed, list):
                typed = typed[int(step)] if step.isdigit() and int(step) < len(typed) else None
            else:
                typed = typed.get(step) if isinstance(typed, dict) else None
        while above and not at:
            above = above.rpartition(".")[0]
            at = given["times"].get(f"{above}.at", "") if above else ""
        each = [(path, entry["label"], entry["text"])]
        if isinstance(typed, list) and ", ".join(map(str, typed)) == entry["text"]:
            count = f"of {len(typed)}"
            each = [
                (f"{path}.{n}", f"{entry['label']}, {n + 1} {count}", str(one)) for n, one in enumerate(typed)
            ]
        row = {"record": number, "analyzer": given["analyzer"]["tag"], "unit": entry["unit"]}
        row.update({"time of its part": at, "resolved": entry["resolved"]})
        row["said by"] = given.get("said", {}).get(path, {}).get("by", "")
        for where, label, text in each:
            yield {**row, "path": where, "label": label, "value as typed": text}
