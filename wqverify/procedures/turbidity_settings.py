"""The numbers of a turbidity procedure that the register may set for an analyzer."""

from __future__ import annotations

from wqverify.terms import Setting

DILUTION = {
    "mixing_percent": Setting("0", "20"),
    "volume_temperature_c": Setting("0", "40"),
    "pipetting_percent": Setting("0.001", "20"),
    "pipetting_adjustable_percent": Setting("0.001", "20"),
    "water_ntu": Setting("0", "1"),
}
SETTINGS = {
    "stability_percent": Setting("0.1", "50"),
    "stability_ntu": Setting("0.001", "1"),
    "stability_readings": Setting("1", "60", whole=True),  # 1: one reading is enough
    "stability_interval_s": Setting("1", "3600"),
    "signal_ma": Setting("0", "1"),
    # half widths and standard deviations of the budget
    **DILUTION,
    "cell_percent": Setting("0", "20"),
    "cell_ntu": Setting("0", "1"),
    "place_percent": Setting("0.01", "20"),
    "places_when_assigned": Setting("1", "60", whole=True),
    "assigned_primary_percent": Setting("0", "20"),
    "drift_percent": Setting("0", "50"),
    "standard_temperature_percent": Setting("0", "20"),
    "stray_ntu": Setting("0", "1"),
}
