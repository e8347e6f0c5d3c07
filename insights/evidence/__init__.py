"""Does a practice work?"""
