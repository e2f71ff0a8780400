"""The name of a region as a mesh file can hold it."""

from __future__ import annotations


def group_name(name: str) -> str:
    """Return a name without blanks or signs that mean something in the format."""
    cleaned = "".join("_" if letter.isspace() or letter in "#\\" or not letter.isprintable() else letter
                      for letter in name)  # fmt: skip
    return cleaned or "_"
