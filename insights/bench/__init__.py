"""The bench: final readings against limits, whose claim a comeback is, what failed."""
