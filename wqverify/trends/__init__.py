"""Exports of control system and laboratory, read exactly as they are; says what it converted or dropped."""

from wqverify.trends.export import Channel, Export, read_export
from wqverify.trends.options import ChannelOptions, ExportOptions

__all__ = ["Channel", "ChannelOptions", "Export", "ExportOptions", "read_export"]
