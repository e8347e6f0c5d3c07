"""The steps, each named by the version it leads to."""
