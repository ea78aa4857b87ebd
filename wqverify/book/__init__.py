"""The record book: append-only, hash-chained events."""
