"""Private folders: removed at the end, by the next run where a process was killed."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from bpvet import places
from bpvet.places import cache_folder, private_folder

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals and owners of another kind")

_RUN = """\
import sys; from pathlib import Path; from bpvet.places import private_folder
with private_folder() as folder:
    (folder / "kept").write_text("x")
    print(folder, flush=True)
    sys.stdin.read()
"""


@pytest.fixture
def temporary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder that is the system's for temporary ones."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    return tmp_path


def test_it_is_private_and_goes_with_all_in_it(temporary: Path) -> None:
    with private_folder() as folder:
        (folder / "in").mkdir()
        assert folder.stat().st_mode & 0o077 == 0
        assert folder.parent == temporary
    assert list(temporary.iterdir()) == []
    with pytest.raises(FileNotFoundError), private_folder() as folder:
        (folder / "none").unlink()
    assert list(temporary.iterdir()) == []


def test_those_of_killed_processes_are_cleared_and_those_at_work_are_not(temporary: Path) -> None:
    def started() -> tuple[subprocess.Popen[str], Path]:
        command = [sys.executable, "-c", _RUN]
        one = subprocess.Popen(command, stdin=-1, stdout=-1, text=True)
        assert one.stdout is not None
        return one, Path(one.stdout.readline().strip())

    (dead, left), (alive, used) = started(), started()
    dead.kill()
    dead.communicate()
    assert left.is_dir()
    with private_folder():
        assert not left.exists()
        assert (used / "kept").is_file()
    alive.communicate("")
    assert list(temporary.iterdir()) == []


def test_nothing_else_is_taken_for_one(temporary: Path, tmp_path: Path) -> None:
    far = tmp_path / "far"
    far.mkdir()
    (far / "held").write_text('{"pid": 4194305, "host": "x"}')
    (temporary / "bpvet-run-link").symlink_to(far)
    (temporary / "bpvet-run-file").write_text("mine")
    (temporary / "bpvet-run-new").mkdir()
    with private_folder():
        pass
    assert (far / "held").is_file()
    assert (temporary / "bpvet-run-file").is_file()
    assert (temporary / "bpvet-run-new").is_dir()
    os.utime(temporary / "bpvet-run-new", (0, 0))
    with private_folder():
        pass
    assert not (temporary / "bpvet-run-new").exists()


def test_the_cache_lies_in_the_users_cache_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(places.sys, "platform", "linux")
    monkeypatch.setenv("HOME", str(tmp_path))
    for given in ("", "relative"):
        monkeypatch.setenv("XDG_CACHE_HOME", given)
        assert cache_folder() == tmp_path / ".cache" / "bpvet"
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "own"))
    assert cache_folder() == tmp_path / "own" / "bpvet"
