"""The printable report: the same answers as on the screen, on paper."""
