"""Published values computed again on the computer that makes records: the proof that a record cites."""
