"""Topological filling of patches with quads, and placing the fill in the surface."""
