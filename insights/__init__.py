"""Comebacks of a repair workshop: who came back, when, why, and what it means."""
