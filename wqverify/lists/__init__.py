"""Lists: what nobody signs."""
