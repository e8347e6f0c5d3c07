"""Whether a practice works."""
