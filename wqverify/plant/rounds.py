"""Rounds of a plant: analyzers in walking order, with the answers that are the same at each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Stop:
    """One analyzer of a round: which procedure is done there, and which answers are usual there."""

    tag: str
    procedure: str
    usual: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Round:
    """Stops in walking order, and the answers that are the same on every sheet."""

    name: str
    stops: tuple[Stop, ...]
    head: Mapping[str, Any] = field(default_factory=dict)
