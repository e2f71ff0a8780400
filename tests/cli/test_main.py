"""Whatever happens in a command, its user sees one message and a fitting exit code."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from loopwright import errors
from loopwright.cli import check
from loopwright.cli.commands import COMMANDS
from loopwright.cli.main import main

CONSOLE_SCRIPT = "import sys; from loopwright.cli.main import run_and_exit; sys.exit(run_and_exit())"
"""What the script does that an installation makes of the entry in pyproject.toml."""
STOP_AT_IMPORT = """import sys
class Stop:
    def find_spec(self, name, path=None, target=None):
        if name == "{}":
            sys.meta_path.remove(self)  # the key is pressed once
            raise KeyboardInterrupt
sys.meta_path.insert(0, Stop())
"""


def fail_with(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def run(*_: object) -> int:
        raise error

    monkeypatch.setattr(check, "run", run)


ERROR_CLASSES = [
    errors.InputError,
    errors.MarksError,
    errors.InfeasibleError,
    errors.ConvergenceError,
    errors.InternalError,
    errors.Cancelled,
]


@pytest.mark.parametrize("kind", ERROR_CLASSES)
def test_each_error_is_one_message_with_its_exit_code(
    kind: type[errors.LoopwrightError], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    fail_with(monkeypatch, kind("the lips clash with the nose", places=["lips", 7]))
    assert main(["check", "x.ply"]) == kind.exit_code
    shown = capsys.readouterr()
    assert shown.err == "loopwright: the lips clash with the nose\n"
    assert shown.out == ""
    assert main(["check", "x.ply", "--json"]) == kind.exit_code
    told = json.loads(capsys.readouterr().out)
    assert told == {"error": "the lips clash with the nose", "exit_code": kind.exit_code, "places": ["lips", "7"]}


def test_exit_codes_are_distinct() -> None:
    codes = [kind.exit_code for kind in ERROR_CLASSES]
    assert len(set(codes)) == len(codes)
    assert not {0, 1, 2} & set(codes)


def test_an_unexpected_error_leaves_a_log_and_no_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    fail_with(monkeypatch, ZeroDivisionError("secret detail"))
    assert main(["check", "x.ply"]) == 7
    shown = capsys.readouterr().err
    assert "internal fault" in shown and "Traceback" not in shown and shown.count("\n") == 1
    found = re.search(r"the log is (.+)$", shown.strip())
    assert found is not None
    log = Path(found[1]).read_text(encoding="utf-8")
    assert "secret detail" in log and "Traceback" in log and "x.ply" in log


def test_lack_of_memory_is_said(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    fail_with(monkeypatch, MemoryError())
    assert main(["check", "x.ply"]) == 7
    assert "memory" in capsys.readouterr().err


def test_a_keyboard_interrupt_is_130(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    fail_with(monkeypatch, KeyboardInterrupt())
    assert main(["check", "x.ply"]) == 130
    assert capsys.readouterr().err == "loopwright: stopped\n"


@pytest.mark.skipif(os.name == "nt", reason="Windows sends Ctrl-C to a whole console, also to the tests")
def test_ctrl_c_ends_the_process_without_a_traceback() -> None:
    # Exit code 128 + signal number: common practice of POSIX shells.
    code = (
        "import sys, time\n"
        "from loopwright.cli import check, main\n"
        "def run(arguments, console):\n"
        "    console.progress('read', 0.0)\n"
        "    print('ready', flush=True)\n"
        "    time.sleep(60)\n"
        "check.run = run\n"
        "sys.exit(main.main(['check', 'x.ply']))\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as child:
        assert child.stdout is not None and child.stderr is not None
        assert child.stdout.readline() == "ready\n"
        child.send_signal(signal.SIGINT)
        assert child.wait(timeout=30) == 128 + signal.SIGINT
        assert "Traceback" not in child.stderr.read()


AROUND = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
AFTER_ENTRY = [
    "loopwright.cli.run_command",
    "loopwright.cli.console",
    "loopwright.cli.log_fault",
    "loopwright.errors",
    "loopwright.write_json",
    "loopwright.cli.commands",
    "loopwright.options",
    "numpy",
]
"""Modules that load one after the other, from the first one after the entry point on."""


@pytest.mark.parametrize(
    ("start", "library"),
    [
        *[pytest.param(["-c", CONSOLE_SCRIPT], library, id=f"script-{library}") for library in AFTER_ENTRY],
        *[pytest.param(["-m", "loopwright"], each, id=f"module-{each}") for each in ("loopwright.cli.main", "numpy")],
    ],
)
def test_ctrl_c_while_libraries_load_is_130(library: str, start: list[str], tmp_path: Path) -> None:
    # What loads before the first of these is Python's own start, which nothing of ours can guard.
    (tmp_path / "sitecustomize.py").write_text(STOP_AT_IMPORT.format(library), encoding="utf-8")
    around = {**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path), *sys.path])}
    for words, shown in (([], ""), (["--json"], "stopped")):
        child = subprocess.run(
            [sys.executable, *start, "check", "x.ply", *words], env=around, capture_output=True, text=True
        )
        assert child.returncode == 130
        assert child.stderr == "loopwright: stopped\n"
        assert (json.loads(child.stdout)["error"] if child.stdout else "") == shown


def test_the_entry_point_loads_nothing_else() -> None:
    # Before its guard there is nothing to interrupt but Python's own start and three small files.
    code = "import sys; before = set(sys.modules); import loopwright.cli.main; print(*(set(sys.modules) - before))"
    child = subprocess.run([sys.executable, "-S", "-c", code], capture_output=True, text=True, check=True, env=AROUND)
    assert set(child.stdout.split()) <= {"__future__", "loopwright", "loopwright.cli", "loopwright.cli.main"}


@pytest.mark.skipif(os.name == "nt", reason="Windows reports a closed pipe in another way")
def test_a_reader_that_leaves_is_no_error() -> None:
    code = (
        "import sys\n"
        "from loopwright.cli import check, main\n"
        "check.run = lambda arguments, console: [console.say('x' * 100) for _ in range(10000)] and 0\n"
        "sys.exit(main.main(['check', 'x.ply']))\n"
    )
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE) as child:
        assert child.stdout is not None and child.stderr is not None
        child.stdout.close()
        assert child.stderr.read() == b""
        assert child.wait(timeout=30) == 0


@pytest.mark.parametrize(
    "words", [[], ["fly"], ["build"], ["build", "x.ply"], ["check"], ["build", "x", "-o", "y", "--mirror", "q"]]
)
def test_wrong_usage_is_2(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(words) == 2
    assert "usage:" in capsys.readouterr().err


@pytest.mark.parametrize("name", [command.NAME for command in COMMANDS])
def test_every_command_has_help(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([name, "--help"]) == 0
    shown = capsys.readouterr().out
    assert "--quiet" in shown and "--json" in shown


def test_the_module_runs() -> None:
    child = subprocess.run(
        [sys.executable, "-m", "loopwright", "--version"], capture_output=True, text=True, check=True
    )
    assert re.fullmatch(r"loopwright \d+\.\d+\.\d+\n", child.stdout)


def test_what_libraries_in_c_print_is_kept_out_of_the_output() -> None:
    # seen with the solver, whose lines stood before the JSON
    script = (
        "import os; from loopwright.cli import main as entry\n"
        "entry.main = lambda: (os.write(1, b'noise'), print('ours \\u2713'), 3)[-1]\n"
        "entry.run_and_exit()"
    )
    ran = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, timeout=60, env={**os.environ, "PYTHONIOENCODING": "utf-8"}
    )
    assert (ran.stdout.decode().strip(), ran.returncode) == ("ours \u2713", 3)


@pytest.mark.skipif(os.name != "posix", reason="streams are closed by a shell's words for it")
@pytest.mark.parametrize("more", ["", "--json", "--quiet"])
@pytest.mark.parametrize(("closed", "name", "code"), [(">&-", "one.obj", 0), ("2>&-", "none.obj", 3)])
def test_streams_that_are_closed_are_no_fault(tmp_path: Path, closed: str, name: str, code: int, more: str) -> None:
    (tmp_path / "one.obj").write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", encoding="ascii")
    script = f'exec "$0" -c "$1" check {name} {more} {closed}'
    ran = subprocess.run(
        ["/bin/sh", "-c", script, sys.executable, CONSOLE_SCRIPT],
        capture_output=True,
        timeout=60,
        env={**os.environ, "TMPDIR": str(tmp_path)},
        cwd=tmp_path,
        check=False,
    )
    assert ran.returncode == code and b"Traceback" not in ran.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["one.obj"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no device here that is always full")
@pytest.mark.parametrize("unbuffered", ["", "1"])
@pytest.mark.parametrize("stream", ["stdout", "stderr"])
@pytest.mark.parametrize("more", [[], ["--json"]])
def test_output_that_cannot_be_written_is_one_line_and_no_fault_of_the_program(
    tmp_path: Path, more: list[str], stream: str, unbuffered: str
) -> None:
    (tmp_path / "one.obj").write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", encoding="ascii")
    streams: dict[str, Any] = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    with open("/dev/full", "wb") as full:
        ran = subprocess.run(
            [sys.executable, "-c", CONSOLE_SCRIPT, "check", "one.obj", *more],
            timeout=60,
            env={**os.environ, "PYTHONUNBUFFERED": unbuffered, "TMPDIR": str(tmp_path)},
            cwd=tmp_path,
            check=False,
            **{**streams, stream: full},
        )
    assert ran.returncode == errors.InputError.exit_code
    told = [line for line in (ran.stderr or b"").splitlines() if line.startswith(b"loopwright: ")]
    assert told == [b"loopwright: the output cannot be written (No space left on device)"] * (stream == "stdout")
    assert [path.name for path in tmp_path.iterdir()] == ["one.obj"]  # and no log


@pytest.mark.skipif(sys.platform == "win32", reason="pipes break with another error there")
@pytest.mark.parametrize("words", [["--help"], ["check", "missing.obj", "--json"]])
@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_little_output_that_nobody_reads_is_no_fault(words: list[str], unbuffered: str) -> None:
    read, write = os.pipe()
    os.close(read)
    ran = subprocess.run(
        [sys.executable, "-c", CONSOLE_SCRIPT, *words],
        stdout=write,
        stderr=subprocess.PIPE,
        timeout=60,
        env={**os.environ, "PYTHONUNBUFFERED": unbuffered},
        check=False,
    )
    os.close(write)
    assert ran.returncode == 0 and b"Traceback" not in ran.stderr and b"Exception" not in ran.stderr
