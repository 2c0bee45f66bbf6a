"""Running the tool as a user runs it."""

import json
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the commands do, before anything imports numpy

ROOT = Path(__file__).parents[1]


@dataclass
class Run:
    status: int
    out: str
    err: str

    @property
    def json(self):
        return json.loads(self.out)


@pytest.fixture
def romwright(tmp_path):
    """Run the command line in a fresh process, in tmp_path, with its own data folder; returns status, out and err."""

    def run(*args, env=None, folder=tmp_path, **options):
        environment = {**os.environ, "ROMWRIGHT_DATA": str(tmp_path / "data"), "COLUMNS": "110", **(env or {})}
        done = subprocess.run(
            [sys.executable, "-m", "romwright", *map(str, args)], cwd=folder, env=environment,
            capture_output=True, text=True, encoding="utf-8", timeout=120, **options,
        )  # fmt: skip
        assert "Traceback" not in done.stderr, done.stderr
        return Run(done.returncode, done.stdout, done.stderr)

    return run


def require(program, package):
    """Skip unless a program of a Debian package is there; .ci/run installs it and fails on such a skip."""
    if shutil.which(program) is None:
        pytest.skip(f"needs the Debian package {package}")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """Where every package should be installed (ROMWRIGHT_NO_SKIPS is set), a skip for want of one is a failure."""
    report = yield
    if report.skipped and os.environ.get("ROMWRIGHT_NO_SKIPS") and "needs the Debian package" in str(report.longrepr):
        report.outcome = "failed"
        report.longrepr = f"skipped, although packages must be installed here: {report.longrepr}"
    return report
