"""Calls that meet what is there: earlier outputs, files of ours, other processes at work."""

from __future__ import annotations

import contextlib
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

from reference_checks.fuzzing.draws import Draws
from reference_checks.fuzzing.judging import no_formula, plain_json
from reference_checks.fuzzing.watch import Broken, Said, Watch

AS_OF = "2026-01-01"
#: Settings that a mapping file may hold, right and wrong, to be put together at random.
_SETTINGS = (
    *('dates = "dmy"', "dates = 3", "[columns]", "[readings]", "[readings.columns]", "[animals]"),
    *('"BP" = "systolic"', '"BP" = "systolc"', "x = 1", 'layout = "plain"', "layout = []", "[a.b]"),
    *('[file."readings.csv"]', "file = 3", '[every_row]\nmethod = "doppler"', 'unit = "kPa"'),
    *('[animals.every_row]\nspecies = "rabbit"', 'encoding = "cp1252"', 'encoding = "\\u0000"'),
    *("x = " + "1" * 5000, "x = " + "[" * 2000, "a." * 3000 + "a = 1", "x = 1979-99-99", "\x00"),
    *("x = nan", "x = inf", '"" = ""', '"animal" = "animal"', "columns = 5", "every_row = [1]"),
)


def earlier(draws: Draws, watch: Watch, path: str, name: str, records: Path, own: Path) -> None:
    """Write where something stands already: it is kept unless it was asked to be replaced."""
    out = own / name
    call = _writing(draws, path, out)
    kind = draws.below(6)
    if kind == 0:
        out.mkdir()
        (out / "mine").write_text("mine")
    elif kind == 1:
        out.write_bytes(draws.raw(200))
    elif kind == 2:
        (own / "far").write_text("mine")
        out.symlink_to(own / "far")
    elif kind == 3:
        out.symlink_to(own / "nowhere")
    elif kind == 4:
        os.mkfifo(out)
    else:
        watch.run(call, records, own)
    before = _state(own)
    said = watch.run(call, records, own)
    # Example records may stand in a folder with others; whatever was there stays as it was.
    after = _state(own)
    if any(after.get(place) != held for place, held in before.items()):
        raise Broken(f"what stood there was replaced unasked: {said.err[-300:]}")
    if call[0] not in ("average", "example"):
        watch.run([*call, "--force"], records, own)
    if any(one.name.endswith(".part") for one in own.rglob("*")):
        raise Broken("an unfinished file was left behind")


def _writing(draws: Draws, path: str, out: Path) -> list[str]:
    read = [path, "--as-of", AS_OF]
    calls = (
        ["sessions", *read, "-o", str(out)],
        ["figure", *read, "--animal", "A1", "-o", str(out)],
        ["fhir", *read, "-o", str(out)],
        ["average", "150", "148", "--method", "doppler", "--animal", "A1", "--save", str(out)],
        ["example", str(out)],
    )
    return draws.one(calls)


def _state(folder: Path) -> dict[str, object]:
    """Return what stands in a folder: kinds, contents and where links lead."""
    found: dict[str, object] = {}
    for one in sorted(folder.rglob("*")):
        key = str(one.relative_to(folder))
        if one.is_symlink():
            found[key] = ("link", os.readlink(one))
        elif one.is_file():
            found[key] = one.read_bytes()
        else:
            found[key] = "folder" if one.is_dir() else "other"
    return found


def read_back(draws: Draws, watch: Watch, path: str, records: Path, own: Path) -> None:
    """Write a file of ours, perhaps spoil it, and read it back."""
    kind = draws.below(4)
    out = own / "readings.csv"
    if kind == 0:
        texts = [draws.text(12), "=1", "'=1", "a;=b", "\tx", ""]
        animal, note = (draws.one([one for one in texts if one.strip()]) for _ in range(2))
        call = ["average", "150", "148", "--method", "doppler", f"--animal={animal}"]
        call += ["--save", str(out), "--note", note, "--taken-at", "2025-06-01T10:00"]
        _spoiled(draws, watch, call, out, own)
    elif kind == 1:
        _spoiled(draws, watch, ["sessions", path, "--as-of", AS_OF, "-o", str(out)], out, own)
    elif kind == 2:
        # What is proposed of the headings is read back as a mapping file.
        said = watch.run(["check", path, "--suggest", "--as-of", AS_OF], records, own)
        mapping = own / "bpvet-columns.toml"
        mapping.write_text(said.out, encoding="utf-8", errors="replace")
        watch.run(["check", path, "--as-of", AS_OF, "--columns", str(mapping)], records, own)
    else:
        mapping = own / "bpvet-columns.toml"
        lines = [draws.one(_SETTINGS) for _ in range(1 + draws.below(6))]
        mapping.write_bytes("\n".join(lines).encode() + (draws.raw(9) if draws.odd(4) else b""))
        watch.run(["check", path, "--as-of", AS_OF, "--columns", str(mapping)], records, own)


def _spoiled(draws: Draws, watch: Watch, call: list[str], out: Path, own: Path) -> None:
    said = watch.run(call, own, own) if out.exists() else _written(watch, call, own)
    if said.status or not out.exists():
        return
    no_formula(out)
    data = out.read_bytes()
    if draws.odd(3):
        at = draws.below(len(data))
        out.write_bytes(data[:at] + draws.raw(8) + data[at + draws.below(9) :])
    back = watch.run(["check", str(out), "--as-of", AS_OF, "--json"], own, own)
    if back.out:
        plain_json(back)


def _written(watch: Watch, call: list[str], own: Path) -> Said:
    empty = own / "no-input"
    empty.mkdir()
    return watch.run(call, empty, own)


def others_at_work(draws: Draws, watch: Watch, place: Path, own: Path) -> None:
    """Read while another process writes, cuts, removes and renames the files of the records."""
    files = sorted(one for one in place.rglob("*") if one.is_file()) if place.is_dir() else [place]
    if not files:
        return
    file = draws.one(files)
    empty = own / "no-input"
    empty.mkdir()
    command = draws.one(("check", "sessions", "fhir"))
    more = [] if command != "fhir" else ["-o", str(own / "b.json")]
    with _another(file):
        for _ in range(3):
            path = f"sqlite:///{place}" if place.suffix == ".db" else str(place)
            watch.run([command, path, "--as-of", AS_OF, "--quiet", *more], empty, own)


@contextlib.contextmanager
def _another(file: Path) -> Iterator[None]:
    """Let another process spoil a file over and over, and put it right again."""
    script = (
        'cp "$1" "$1.kept~"; while :; do head -c 40 "$1.kept~" > "$1"; rm -f "$1"; '
        'mkdir "$1" 2>/dev/null; rmdir "$1" 2>/dev/null; mv "$1.none" "$1" 2>/dev/null; '
        'cp "$1.kept~" "$1"; sleep 0.01; done'
    )
    # Started before the watch looks on.
    other = subprocess.Popen(["sh", "-c", script, "sh", str(file)], stderr=subprocess.DEVNULL)
    try:
        yield
    finally:
        other.kill()
        other.wait()
