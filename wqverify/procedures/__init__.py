"""The list of procedures; a module is imported when its procedure is first asked for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wqverify.terms import Procedure


class Procedures(Mapping[str, "Procedure"]):
    """Procedures by name, each from the module of that name; `wqverify --help` must import none."""

    def __init__(self, *names: str) -> None:
        self._names = names

    def __getitem__(self, name: str) -> Procedure:
        if name not in self._names:
            raise KeyError(name)
        procedure: Procedure = import_module(f"{__name__}.{name}").PROCEDURE
        return procedure

    def __contains__(self, name: object) -> bool:
        return name in self._names

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


PROCEDURES = Procedures(
    "ph_calibration",
    "turbidity_standard_check",
    "turbidity_calibration",
    "standard_preparation",
    "grab_comparison",
    "chlorine_check",
    "loop_check",
    "flow_check",
    "level_check",
    "conductivity_check",
    "temperature_check",
    "call_out",
    "monitor_outage",
    "values_in_doubt",
    "turbidity_month",
)
