"""Fills of patches as pure connectivity: grids, one pole, and trees of chords."""
