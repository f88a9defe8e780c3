"""Writing files: whole or not at all, also when killed at any moment or on a full disk."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from bpvet.errors import CallError
from bpvet.files import unfinished, write_all, write_whole

posix = pytest.mark.skipif(os.name != "posix", reason="signals and limits of another kind")


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_files_are_written_together_and_nothing_is_left_behind(tmp_path: Path) -> None:
    write_all(tmp_path, {"a": b"1", "b": b"2"})
    write_all(tmp_path, {"a": b"3"}, replace=True)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"a": b"3", "b": b"2"}


def test_an_existing_file_is_replaced_only_where_that_was_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "a"
    write_whole(path, b"old")
    with pytest.raises(CallError, match=r'a" is there already'):
        write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    write_whole(path, b"new", replace=True)
    assert path.read_bytes() == b"new"
    assert names(tmp_path) == ["a"]


def test_a_disk_without_links_replaces_nothing_either(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refused)
    write_whole(tmp_path / "a", b"old")
    with pytest.raises(CallError, match="is there already"):
        write_whole(tmp_path / "a", b"new")
    assert (tmp_path / "a").read_bytes() == b"old"


def test_a_link_is_replaced_and_what_it_leads_to_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "far").write_bytes(b"far")
    (tmp_path / "a").symlink_to(tmp_path / "far")
    write_whole(tmp_path / "a", b"new", replace=True)
    assert (tmp_path / "far").read_bytes() == b"far"
    assert not (tmp_path / "a").is_symlink()


@pytest.mark.parametrize("name", ["none/a", "a\0b"])
def test_what_cannot_be_written_is_said(tmp_path: Path, name: str) -> None:
    with pytest.raises(CallError, match="cannot be written: "):
        write_whole(tmp_path / name, b"1")


@posix
def test_new_files_have_the_usual_permissions(tmp_path: Path) -> None:
    write_whole(tmp_path / "a", b"1")
    (tmp_path / "b").write_bytes(b"1")
    assert (tmp_path / "a").stat().st_mode == (tmp_path / "b").stat().st_mode


@posix
def test_on_a_full_disk_none_is_replaced_and_nothing_is_left(tmp_path: Path) -> None:
    """A limit on the size of files stands for a disk that fills up in mid-write."""
    write_all(tmp_path, {"a": b"old", "b": b"old"})
    code = (
        "import resource, signal, sys; from pathlib import Path\n"
        "from bpvet.errors import CallError; from bpvet.files import write_all\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))\n"
        "try:\n"
        "    write_all(Path(sys.argv[1]), {'a': b'new', 'b': b'n' * 5000}, replace=True)\n"
        "except CallError as error:\n"
        "    print(error)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)], capture_output=True, text=True, check=True
    )
    assert 'b" cannot be written: File too large.' in done.stdout
    assert names(tmp_path) == ["a", "b"]
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes() == b"old"


@posix
def test_killed_at_random_moments_only_whole_files_are_there(tmp_path: Path) -> None:
    """A process writes two files over and over and is killed; seeds make the moments the same."""
    code = (
        "import itertools, sys; from pathlib import Path; from bpvet.files import write_all\n"
        "for i in itertools.count():\n"
        "    part = bytes([65 + i % 26]) * 300_000\n"
        "    write_all(Path(sys.argv[1]), {'a': part, 'b': part}, replace=True)\n"
        "    if not i: print('begun', flush=True)\n"
    )
    moments = random.Random(5)
    for _ in range(12):
        writer = subprocess.Popen(
            [sys.executable, "-c", code, str(tmp_path)], stdout=subprocess.PIPE
        )
        assert writer.stdout is not None
        assert writer.stdout.readline() == b"begun\n"
        time.sleep(moments.uniform(0, 0.05))
        writer.send_signal(signal.SIGKILL)
        writer.wait()
        writer.stdout.close()
        for name in ("a", "b"):
            content = (tmp_path / name).read_bytes()
            assert len(content) == 300_000
            assert len(set(content)) == 1
    assert all(name in ("a", "b") or unfinished(name) for name in names(tmp_path))
