"""Make a plant folder to start from: small, commented, valid."""

from __future__ import annotations

import json
from pathlib import Path
from string import Template

from wqverify.durable import make_folder, write_durably
from wqverify.errors import ChooseAnother

FOLDERS = ("field_sheets", "trends", "certificates", "book")
EXAMPLE_SHEET = "example ph_calibration.toml"


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
    write_durably(folder / "field_sheets" / EXAMPLE_SHEET, _SHEET.encode())


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
# take = ["key of the panel"]          # keys and tools to take along; wqverify due lists them

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
# converter_bits = "16"                # of the input of the control system; left out: 12
# volume_per_reading_ml = "50"         # of a buffer for one point; wqverify due adds it up
# interval_target_percent = "95"       # to be found in tolerance; wqverify history goes by it
# interval_change_most = "2"           # by how much one review changes an interval at most
# must_show = "9.0"                    # a value it has to show exceeded: no range may end at or below it

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
name = "7.00 ready-made (placeholder)"
lot = "LOT-0001"
unit = "pH"
certificate = "placeholder: number of the certificate"
expanded = "0.01"                      # expanded uncertainty on the certificate
k = "2"
table = "ph_buffers_ready_made"        # shipped tables: 4.01, 7.00, 7.00 three decimals, 10.01
edition = "trade 1"
column = "7.00"
# own = [["20", "7.02"], ["25", "7.00"]]   # the bottle's own table of (temperature, pH) wins
# left_ml = "500"                      # what is left in the bottle
opened = "2020-01-01"
in_use_days = "90"
printed_until = "2020-12-31"

[[standard]]
id = "B10"
kind = "buffer"
name = "10.01 ready-made (placeholder)"
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
name = "reference thermometer (placeholder)"
lot = "SERIAL-0002"                    # of an instrument: its serial number
unit = "°C"
certificate = "placeholder: number of the certificate"
expanded = "0.3"
k = "2"
calibration_due = "2020-12-31"
"""

_ROUNDS = """\
# Rounds: analyzers in walking order. wqverify round NAME --by ID writes one folder with a blank field sheet
# for each stop, these answers filled in. Readings and times are never usual: they are typed at the analyzer.

# [[round]]
# name = "weekly, filter gallery"

# [round.head]                           # the same on every sheet of the round
# reason = "routine"
# method = "placeholder: the method and its revision"

# [[round.stop]]
# tag = "AIT-0001"
# procedure = "ph_calibration"

# [round.stop.usual.thermometer_check]   # usual at this stop: which bottle, which instrument
# reference = "TH1"

# [[round.stop.usual.as_found.points]]
# standard = "B7"

# [[round.stop.usual.as_found.points]]
# standard = "B10"
"""

_SHEET = """\
# A field sheet in the order of the work, to copy for each visit. Every value stands in quotes, as it was
# read: "7.10" keeps its last zero. A part that was not done says why: [cleaned] with not_done = "no film".
# This one fits the placeholders of this folder (its date is as old as they are); try it with
#   wqverify run --check "field_sheets/example ph_calibration.toml"

procedure = "ph_calibration"
tag = "AIT-0001"
serial_on_plate = "SERIAL-0001"        # read off the instrument itself
reason = "routine"                     # routine, call-out, after repair, commissioning
performed_by = "P-01"
method = "placeholder: the method and its revision"
deviations = "none"
date = "2020-01-15"
started = "08:05"                      # past midnight with its date: "2020-01-16 00:20"
# replaces = "L1-2020-0001"            # to correct a record: run the corrected sheet with these two lines
# replaces_why = "..."

[clocks]
laptop = "08:06"
control_system = "08:06"

[cautions]                             # read them before you touch anything; wqverify cautions ph_calibration
read = "yes"

[operations_told]
who = "placeholder: operator"
how = "radio"
at = "08:10"

[output_held]
at = "08:14"
by = "P-01"

[loop_in_manual]
not_done = "nothing is controlled from this analyzer"

[alarm_blocked]
at = "08:13"
by = "placeholder: operator"

[condition]
as_arrived = "clean, flow steady"
alarms = "none"
sample_flow = "0.5 L/min"

[stored]                               # slope and offset as the menu shows them
slope_percent = "98.4"
offset_mv = "0.8"

[process_before]                       # before the output is held: display and control system together
ph = "7.61"
temperature_c = "12.0"
control_system = "7.60"
at = "08:12"

[thermometer_check]
reference = "TH1"
reference_c = "18.4"
shown_c = "18.5"

[[as_found.points]]                    # dirty, before anything is touched
standard = "B7"
temperature_c = "18.4"                 # of the buffer, by the reference thermometer
readings = ["7.06", "7.03", "7.02", "7.02"]
interval_s = "30"
at = "08:30"

[[as_found.points]]
standard = "B10"
temperature_c = "18.4"
readings = ["10.02", "10.06", "10.07", "10.07"]
interval_s = "30"
at = "08:36"
# use = "information only"             # an expired bottle: shown, no pass or fail

[cleaned]
how = "wiped with a soft cloth, rinsed"
at = "08:45"

[after_cleaning]
not_done = "as found was inside the tolerance"

[decision]
action = "leave alone"                 # leave alone, offset, two-point, replace
why = "inside the tolerance"

[adjusted]                             # slope_from, slope_to, offset_from, offset_to, at
not_done = "inside the tolerance"

[[as_left.points]]
standard = "B7"
temperature_c = "18.5"
readings = ["7.02", "7.02", "7.02"]
interval_s = "30"
at = "08:50"

[[as_left.points]]
standard = "B10"
temperature_c = "18.5"
readings = ["10.07", "10.07", "10.07"]
interval_s = "30"
at = "08:56"

[check_buffer]
not_done = "nothing was adjusted"

[constants_as_left]
slope_percent = "98.4"
offset_mv = "0.8"

[output_released]
at = "09:02"
by = "P-01"

[alarm_restored]
at = "09:03"
by = "placeholder: operator"

[process_after]
ph = "7.61"
temperature_c = "12.0"
control_system = "7.60"
at = "09:05"

[signal]
display = "7.61"
ma = "12.70"
control_system = "7.60"
read_by = "placeholder: operator"
heard_how = "radio"                    # own eyes, radio, phone
at = "09:06"

[operations_told_after]
who = "placeholder: operator"
how = "radio"
at = "09:08"

[status]
state = "in service"                   # in service, in service with restriction, out of service
"""
