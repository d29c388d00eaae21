"""What a person can do to a claim, record or letter: checks, then one event."""
