"""Make a plant folder to start from: small, commented, valid."""

from __future__ import annotations

import json
from pathlib import Path
from string import Template

from wqverify.durable import make_folder, write_durably
from wqverify.errors import ChooseAnother

FOLDERS = ("field_sheets", "trends", "certificates", "book")


def new_plant(folder: Path, name: str = "Example water plant", zone: str = "America/Chicago") -> None:
    """Write a plant folder with one pH analyzer, two people and three standards as an example.

    Raises ChooseAnother where the folder holds anything (nothing is ever overwritten), and CouldNotRun
    where the disk refuses.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ChooseAnother(
            f"{folder} is not an empty folder; name one that is empty or does not exist yet.",
            found=str(folder),
            expected="an empty folder",
            where=str(folder),
        )
    plant = Template(_PLANT).substitute(name=_quoted(name), zone=_quoted(zone))
    for file, text in (
        ("plant.toml", plant),
        ("analyzers.toml", _ANALYZERS),
        ("people.toml", _PEOPLE),
        ("standards_on_hand.toml", _STANDARDS),
        ("rounds.toml", _ROUNDS),
    ):
        write_durably(folder / file, text.encode())
    for inner in FOLDERS:
        make_folder(folder / inner)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


_PLANT = """\
# The plant. Numbers and dates stand in double quotes, as in all files of this folder.
name = $name
# address = "1 Example Road"
time_zone = $zone               # IANA name; typed times are wall-clock times there
retention_years = "10"          # how long records are kept
synthetic = false               # true: every page says that the data are made up
holidays = []                   # dates such as "2026-12-25"

[book]
device = "L1"                   # begins the record numbers of this computer: L1-2026-0001
# url = "book/book.sqlite"      # not on a network share: a database file is not safe there
"""

_ANALYZERS = """\
# The register: one [[analyzer]] for each tag and the instrument now behind it.
# After an edit: wqverify plant check, then wqverify plant accept --by ID --why "..."

[[analyzer]]
tag = "AIT-0001"                       # placeholder
serial = "SERIAL-0001"                 # placeholder: as on the plate
kind = "pH analyzer"
measures = "pH"
unit = "pH"
low = "0.00"                           # range set in the analyzer
high = "14.00"
digit = "0.01"                         # last place of the display
location = "placeholder: building, room, panel"
sample_point = "placeholder: where the sample comes from"
owner = "placeholder: who answers for it"
output = "4-20 mA"
control_system_tag = "AI0001.PV"       # placeholder

# [analyzer.sample_line]
# bore_mm = "6.0"
# length_m = "12"
# flow_ml_min = "500"

# The signal, hop by hop: where it is, which range is set there.
[[analyzer.hop]]
name = "analyzer output"
low = "0.00"
high = "14.00"
unit = "pH"

[[analyzer.hop]]
name = "control system"
low = "0.00"
high = "14.00"
unit = "pH"

# A tolerance has a size (low and high, percent, or both with larger_of = true), a rule and a source.
# rule:  "as the method states"  observed values are compared, as a published method says
#        "simple"                pass or fail by the value; its uncertainty is shown beside it
#        "guarded"               pass only where the uncertainty leaves no doubt; needs U at most 0.7 of T
# basis: "rule", "State protocol", "manufacturer", "local", "common practice"
[analyzer.tolerance.error]             # display minus buffer
low = "-0.10"
high = "0.10"
unit = "pH"
rule = "simple"
basis = "common practice"
source = "placeholder: the plant's own procedure, section"

[analyzer.tolerance.control_system]    # control system minus buffer
low = "-0.10"
high = "0.10"
unit = "pH"
rule = "simple"
basis = "common practice"
source = "placeholder: the plant's own procedure, section"

[analyzer.tolerance.check_buffer]      # a third buffer, after adjusting
low = "-0.05"
high = "0.05"
unit = "pH"
rule = "simple"
basis = "common practice"
source = "commonly used criterion for a check buffer"

[analyzer.tolerance.slope]             # of the electrode, in percent of the Nernst slope
low = "95"
high = "105"
unit = "%"
rule = "simple"
basis = "common practice"
source = "commonly used criterion for a glass electrode"

[analyzer.tolerance.offset_mv]         # of the electrode at pH 7
low = "-30"
high = "30"
unit = "mV"
rule = "simple"
basis = "common practice"
source = "commonly used criterion for a glass electrode"

[analyzer.tolerance.grab]              # online minus grab sample
low = "-0.2"
high = "0.2"
unit = "pH"
rule = "simple"
basis = "common practice"
source = "commonly used criterion for a grab comparison"

[analyzer.tolerance.thermometer]       # the analyzer's temperature minus the reference thermometer
low = "-0.5"
high = "0.5"
unit = "°C"
rule = "simple"
basis = "common practice"
source = "commonly used criterion for a plant thermometer"

[analyzer.settings]
stability_ph = "0.02"                  # stable: the last readings lie within this range
stability_readings = "3"               # how many last readings
stability_interval_s = "30"            # at least so many seconds apart

[analyzer.interval_days]
ph_calibration = "30"
"""

_PEOPLE = """\
# Who may perform and who may review; the reviewer of a record is never its performer.

[[person]]
id = "P-01"                            # placeholder staff id
name = "Placeholder Performer"
may_perform = true
may_review = false
# licence = "number"
# licence_until = "2027-12-31"         # nobody signs with an expired licence
# approval = "State approval for pH, number"

[[person]]
id = "R-01"
name = "Placeholder Reviewer"
may_perform = true
may_review = true
"""

_STANDARDS = """\
# Bottles and reference instruments. Usable until the earliest of: the printed date, opened + in use,
# prepared + life. The dates below are placeholders and long past.

[[standard]]
id = "B7"
kind = "buffer"
name = "placeholder: ready-made buffer 7.00"
lot = "LOT-0001"
unit = "pH"
certificate = "placeholder: number of the certificate"
expanded = "0.01"                      # expanded uncertainty on the certificate
k = "2"
table = "ph_buffers_ready_made"        # shipped tables: 4.01, 7.00, 7.00 three decimals, 10.01
edition = "trade 1"
column = "7.00"
# own = [["20", "7.02"], ["25", "7.00"]]   # the bottle's own table of (temperature, pH) wins
opened = "2020-01-01"
in_use_days = "90"
printed_until = "2020-12-31"

[[standard]]
id = "B10"
kind = "buffer"
name = "placeholder: ready-made buffer 10.01"
lot = "LOT-0002"
unit = "pH"
certificate = "placeholder: number of the certificate"
expanded = "0.02"
k = "2"
table = "ph_buffers_ready_made"
edition = "trade 1"
column = "10.01"
opened = "2020-01-01"
in_use_days = "30"
printed_until = "2020-12-31"

[[standard]]
id = "TH1"
kind = "thermometer"
name = "placeholder: reference thermometer"
lot = "SERIAL-0002"                    # of an instrument: its serial number
unit = "°C"
certificate = "placeholder: number of the certificate"
expanded = "0.3"
k = "2"
calibration_due = "2020-12-31"
"""

_ROUNDS = """\
# Analyzers in walking order.

# [[round]]
# name = "weekly, filter gallery"
# tags = ["AIT-0001"]
"""
