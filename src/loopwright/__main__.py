"""Run the command line with ``python -m loopwright``."""

from __future__ import annotations

from loopwright.cli.main import run_and_exit

if __name__ == "__main__":
    run_and_exit()
