"""Operators on meshes: they know nothing of the trade."""
