"""Does it pay, what term to offer, how much to hold?"""
