"""Time to return, from counts."""
