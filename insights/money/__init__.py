"""Whether it pays, what term to offer, how much to hold."""
