"""Bend a sculpt and its mesh alike, and see whether the flow bends well."""
