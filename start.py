#!/usr/bin/env python3
"""Set Loopwright up in this folder and run it: ``python3 start.py demo`` or ``python3 start.py test``.

Needs nothing but Python 3.11 or newer.  Everything goes into the folder ``.venv`` beside this file; delete it to undo.
This file itself also runs on older Pythons, far enough to say which one is needed.
"""

import hashlib
import os
import subprocess
import sys

ROOT = os.path.dirname(os.path.abspath(__file__))
VENV = os.path.join(ROOT, ".venv")
PYTHON = os.path.join(VENV, "Scripts", "python.exe") if os.name == "nt" else os.path.join(VENV, "bin", "python")
SETUPS = os.path.join(VENV, "loopwright-setups.txt")
OLDEST = (3, 11)
STOPPED = 130
USAGE = """usage: python3 start.py COMMAND

  demo    set up, then make a demo sculpt, its mesh and a report (further words go to the demo)
  test    set up, then run the style check, the type check and all tests (further words go to pytest)
  setup   set up only
"""
OFFLINE = """The installation did not succeed; the lines above say why.
If this machine is offline, connect it once: the packages come from Python's package index.
Behind a proxy, set HTTPS_PROXY first.  If a package has no build for this Python ({}.{}) or this machine,
use Python 3.12 or 3.13 on 64-bit Windows, macOS or Linux."""
NO_VENV = """A virtual environment could not be made with {}.
On Debian and Ubuntu, Python comes without that part; install it with
    sudo apt-get install python3-venv
and run the same command again."""


def main(words: "list[str]") -> int:
    """Run one command and return its exit code, or STOPPED if it was stopped from the keyboard."""
    try:
        return run(words)
    except KeyboardInterrupt:
        sys.stderr.write("start.py: stopped\n")
        return STOPPED


def run(words: "list[str]") -> int:
    """Run one command and return its exit code."""
    if sys.version_info[:2] < OLDEST:
        here = ".".join(str(part) for part in sys.version_info[:2])
        return complain(
            f"Loopwright needs Python 3.11 or newer; this is Python {here} at {sys.executable}.\n"
            "Install a newer one and start this script with it, for example: python3.12 start.py demo"
        )
    if not words or words[0] in ("-h", "--help"):
        sys.stdout.write(USAGE)
        return 0 if words else 2
    if words[0] not in ("demo", "test", "setup"):
        return complain(f'"{words[0]}" is no command.\n\n{USAGE}')
    code = set_up("test" if words[0] == "test" else "")
    if code != 0 or words[0] == "setup":
        return code
    if words[0] == "test":
        return run_checks(words[1:])
    return call([PYTHON, "-m", "loopwright", "demo", *words[1:]], folder=os.getcwd())


def run_checks(pytest_words: "list[str]") -> int:
    """Run the style check, the type check and the tests; return 0 if all pass."""
    checks = {
        "style": ["ruff", "check", "."],
        "format": ["ruff", "format", "--check", "."],
        "types": ["mypy"],
        "tests": ["pytest", *(pytest_words or side_by_side())],
    }
    failed = []
    for name, words in checks.items():
        say(f"{name}: {' '.join(words)}")
        code = call([PYTHON, "-m", *words])
        if code == STOPPED:
            return code
        if code != 0:
            failed.append(name)
    if failed:
        return complain(f"failed: {', '.join(failed)}")
    say("style, format, types and tests are fine")
    return 0


def side_by_side() -> "list[str]":
    """Return the words that let pytest run all tests in a few processes, each with one thread for linear algebra."""
    count = min(os.cpu_count() or 1, 4)
    if count < 2:
        return []
    os.environ["OMP_NUM_THREADS"] = "1"
    return ["-n", str(count), "--dist", "worksteal"]


def set_up(extra: str) -> int:
    """Make the virtual environment and install the package into it, unless that is done already."""
    wanted = fingerprint(extra)
    is_made = has_pip()
    if is_made and wanted in finished_setups():
        return 0
    if not is_made:
        say("making a virtual environment in .venv")
        if not make_venv():
            return complain(NO_VENV.format(sys.executable))
    say("installing Loopwright and what it needs (the first time takes a few minutes)")
    package = f"{ROOT}[{extra}]" if extra else ROOT
    code = call([PYTHON, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--editable", package])
    if code != 0:
        return code if code == STOPPED else complain(OFFLINE.format(*sys.version_info[:2]))
    with open(SETUPS, "a", encoding="utf-8") as done:
        done.write(wanted + "\n")
    return 0


def make_venv() -> bool:
    """Make .venv anew with pip in it; say whether that worked.

    What an earlier run left half made is cleared away.  Where the part of Python that brings pip is missing, this
    Python's own pip, if it has one, installs another.
    """
    if is_quiet_success([sys.executable, "-m", "venv", "--clear", VENV]) and has_pip():
        return True
    if not is_quiet_success([sys.executable, "-m", "venv", "--clear", "--without-pip", VENV]):
        return False
    return is_quiet_success([sys.executable, "-m", "pip", "--python", PYTHON, "install", "pip"])


def has_pip() -> bool:
    """Return whether .venv was made to its end: pip is what comes into it last."""
    return os.path.exists(PYTHON) and is_quiet_success([PYTHON, "-m", "pip", "--version"])


def fingerprint(extra: str) -> str:
    """Return what the installation depends on: the extra, this folder and the project's settings."""
    with open(os.path.join(ROOT, "pyproject.toml"), "rb") as settings:
        return hashlib.sha256(f"{extra} {ROOT} ".encode() + settings.read()).hexdigest()


def finished_setups() -> "list[str]":
    """Return the fingerprints of the installations that have succeeded in .venv."""
    try:
        with open(SETUPS, encoding="utf-8") as done:
            return done.read().split()
    except OSError:
        return []


def call(command: "list[str]", folder: str = ROOT) -> int:
    """Run a command and return its exit code, or STOPPED if it was stopped from the keyboard."""
    child = subprocess.Popen(command, cwd=folder)
    while True:
        try:
            code = child.wait()
            return STOPPED if code == -2 else code
        except KeyboardInterrupt:  # the child got it too and is ending by itself
            continue


def is_quiet_success(command: "list[str]") -> bool:
    """Run a command without showing what it prints and return whether it succeeded."""
    try:
        return subprocess.call(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) == 0
    except OSError:  # it cannot even be started
        return False


def say(text: str) -> None:
    """Print a line about what happens next."""
    sys.stdout.write(f"--- {text}\n")
    sys.stdout.flush()


def complain(text: str) -> int:
    """Print what is wrong and return the exit code for it."""
    sys.stderr.write(f"start.py: {text}\n")
    return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
