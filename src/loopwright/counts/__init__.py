"""Whole numbers of segments on every arc, by one integer program."""
