"""Carry a finished mesh, or marks, from one sculpt to another."""
