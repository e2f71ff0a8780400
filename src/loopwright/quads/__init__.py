"""Placing fills in the surface and welding them."""
