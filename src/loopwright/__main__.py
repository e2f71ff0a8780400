"""Run the command line with ``python -m loopwright``."""

from __future__ import annotations

if __name__ == "__main__":
    try:
        from loopwright.cli.main import run_and_exit
    except KeyboardInterrupt:
        from loopwright.cli.main import stop_and_exit

        stop_and_exit()
    run_and_exit()
