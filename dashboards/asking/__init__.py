"""Widgets that ask, and what was asked as plain data."""
