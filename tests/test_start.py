"""The starter makes its environment whole, or says so and makes it anew the next time."""

from __future__ import annotations

import importlib.util
import os
import signal
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

SCRIPT = Path(__file__).resolve().parents[1] / "start.py"


@pytest.fixture
def start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Return the starter with its environment in a folder for the test; it installs nothing."""
    spec = importlib.util.spec_from_file_location("start_for_test", SCRIPT)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    for name in ("VENV", "PYTHON", "SETUPS"):
        inside = Path(getattr(module, name)).relative_to(SCRIPT.parent)
        monkeypatch.setattr(module, name, str(tmp_path / inside))
    return module


def test_ctrl_c_while_the_environment_is_made_is_130(
    start: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def stop(*_: object, **__: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(subprocess, "call", stop)
    try:
        code = start.main(["setup"])
    except KeyboardInterrupt:  # it would end the tests too
        pytest.fail("the interrupt came through")
    assert code == 130
    assert capsys.readouterr().err == "start.py: stopped\n"


@pytest.mark.skipif(os.name == "nt", reason="Windows sends Ctrl-C to a whole console, also to the tests")
def test_ctrl_c_ends_the_script_without_a_traceback(tmp_path: Path) -> None:
    # Exit code 128 + signal number: common practice of POSIX shells.
    script = tmp_path / "start.py"
    script.write_bytes(SCRIPT.read_bytes())
    (tmp_path / "pyproject.toml").touch()
    (tmp_path / "sitecustomize.py").write_text(
        "import subprocess, time\nsubprocess.call = lambda *_, **__: time.sleep(60) or 0\n", encoding="ascii"
    )
    words = [sys.executable, str(script), "setup"]
    around = {**os.environ, "PYTHONPATH": str(tmp_path)}
    with subprocess.Popen(words, env=around, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None and child.stderr is not None
        assert child.stdout.readline().startswith("--- making")
        child.send_signal(signal.SIGINT)
        assert child.wait(timeout=30) == 128 + signal.SIGINT
        assert child.stderr.read() == "start.py: stopped\n"


def test_a_half_made_environment_is_made_anew(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("ensurepip", reason="this Python cannot put pip into an environment")
    Path(start.PYTHON).parent.mkdir(parents=True)
    Path(start.PYTHON).touch()  # what a stopped run may leave: a file that is there and cannot run
    Path(start.SETUPS).write_text(start.fingerprint(""), encoding="utf-8")
    ran: list[list[str]] = []
    run_quietly = start.is_quiet_success

    def note(command: list[str]) -> int:
        ran.append(command)
        return 0

    monkeypatch.setattr(start, "is_quiet_success", lambda command: note(command) == 0 and run_quietly(command))
    monkeypatch.setattr(start, "call", note)
    assert start.main(["setup"]) == 0
    assert [sys.executable, "-m", "venv", "--clear", start.VENV] in ran
    assert any("install" in command and start.PYTHON in command for command in ran)
    assert start.has_pip()
    assert start.finished_setups() == [start.fingerprint("")]
    ran.clear()
    assert start.main(["setup"]) == 0
    assert ran == [[start.PYTHON, "-m", "pip", "--version"]]


def test_all_tests_run_side_by_side_and_chosen_ones_as_asked(
    start: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[list[str]] = []

    def call(command: list[str]) -> int:
        asked.append(command)
        return 0

    monkeypatch.setattr(start, "call", call)
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    monkeypatch.setenv("OMP_NUM_THREADS", "2")
    assert start.run_checks(["tests/report", "-x"]) == 0
    assert asked[-1][1:] == ["-m", "pytest", "tests/report", "-x"]
    assert os.environ["OMP_NUM_THREADS"] == "2"
    assert start.run_checks([]) == 0
    assert asked[-1][1:] == ["-m", "pytest", "-n", "2", "--dist", "worksteal"]
    assert os.environ["OMP_NUM_THREADS"] == "1"  # or each process would use all processors again
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    assert start.run_checks([]) == 0
    assert asked[-1][1:] == ["-m", "pytest"]
