"""Compiled facts: equal to the TOML, never used for another text, and made by the build."""

import datetime
import marshal
import os
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

from bpvet.facts import compiled, sources
from bpvet.facts.signs import lexicon

FOLDER = Path(compiled.__file__).parent
NAMES = sorted(one.stem for one in FOLDER.glob("*.toml"))


@pytest.fixture
def facts(tmp_path: Path) -> Path:
    """The data files in a folder of their own, compiled."""
    folder = tmp_path / "facts"
    folder.mkdir()
    for one in FOLDER.glob("*.toml"):
        shutil.copy(one, folder)
    paths = compiled.compile_all(str(folder))
    assert {Path(one).stem for one in paths} == set(NAMES)
    return folder


def without_parsing(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(text: bytes) -> None:
        raise AssertionError("parsed")

    monkeypatch.setattr(compiled, "parsed", refused)


def typed(value: object) -> object:
    """A value with the type of all that it holds: 1, 1.0 and True are not the same."""
    if isinstance(value, dict):
        return {name: typed(one) for name, one in value.items()} | {"": list(value)}
    return [typed(one) for one in value] if isinstance(value, list) else (type(value), value)


@pytest.mark.parametrize("name", NAMES)
def test_what_is_compiled_equals_the_toml(
    name: str, facts: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    toml = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
    assert typed(compiled.load(name)) == typed(toml)
    without_parsing(monkeypatch)
    assert typed(compiled.load(name, str(facts))) == typed(toml)


def test_the_facts_are_read_through_it() -> None:
    assert sources.table("protocol") == compiled.load("protocol")


def test_a_changed_toml_is_never_overlooked(facts: Path) -> None:
    """Of the same length and with the same dates of the file, too."""
    place = facts / "protocol.toml"
    text = place.read_bytes()
    changed = text.replace(b'grade = "J"', b'grade = "M"', 1)
    assert changed != text
    times = place.stat()
    place.write_bytes(changed)
    os.utime(place, ns=(times.st_atime_ns, times.st_mtime_ns))
    assert compiled.load("protocol", str(facts)) == tomllib.loads(changed.decode())
    place.unlink()
    with pytest.raises(OSError, match=r"protocol\.toml"):
        compiled.load("protocol", str(facts))


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"nothing of this kind",
        marshal.dumps(7),
        marshal.dumps((1, 2)),
        marshal.dumps((0, b"", {}, False)),
        None,
    ],
)
def test_what_is_no_compiled_file_is_not_used(facts: Path, content: bytes | None) -> None:
    place = facts / compiled.BUILT / f"unit{compiled.ENDING}"
    if content is None:
        place.write_bytes(place.read_bytes()[:-40])
    else:
        place.write_bytes(content)
    assert compiled.load("unit", str(facts)) == sources.table("unit")


def test_dates_are_dates_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.toml").write_text('x = [{d = 2026-03-01, n = 1}]\ny = "2026-03-01"\n')
    compiled.compile_all(str(tmp_path))
    without_parsing(monkeypatch)
    found = compiled.load("a", str(tmp_path))
    assert found == {"x": [{"d": datetime.date(2026, 3, 1), "n": 1}], "y": "2026-03-01"}


def test_what_was_compiled_of_a_file_that_is_gone_goes(facts: Path) -> None:
    (facts / "unit.toml").unlink()
    compiled.compile_all(str(facts))
    left = {one.name for one in (facts / compiled.BUILT).iterdir()}
    assert left == {f"{name}{compiled.ENDING}" for name in NAMES if name != "unit"}


def test_what_was_made_of_files_is_used_while_they_are_the_same(
    facts: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(compiled, "_HERE", str(facts))
    files = ("unit.toml", "tau.toml")
    assert compiled.made_of("a", files, lambda: "now") == "now"
    compiled.keep("a", files, {"x": ("kept", frozenset({1}))})
    compiled.compile_all(str(facts))
    assert compiled.made_of("a", files, lambda: "now") == {"x": ("kept", frozenset({1}))}
    assert compiled.made_of("a", files[:1], lambda: "now") == "now"
    (facts / "tau.toml").write_bytes((facts / "tau.toml").read_bytes() + b"\n")
    assert compiled.made_of("a", files, lambda: "now") == "now"
    (facts / compiled.BUILT / f"a{compiled.MADE}").write_bytes(b"no such file")
    assert compiled.made_of("a", files, lambda: "now") == "now"


def test_signs_are_read_by_kept_lists_as_by_those_made_now(
    facts: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in lexicon._MADE_OF:
        if name.endswith(".py"):
            (facts / name).parent.mkdir(exist_ok=True)
            shutil.copy(FOLDER / name, facts / name)
    monkeypatch.setattr(compiled, "_HERE", str(facts))
    made = lexicon._lists()
    lexicon.keep_lexicon()

    def refused() -> None:
        raise AssertionError("made anew")

    assert compiled.made_of(lexicon._NAME, lexicon._MADE_OF, refused) == made


def test_a_package_within_an_archive_has_its_facts(tmp_path: Path) -> None:
    archive = tmp_path / "bpvet.zip"
    root = FOLDER.parents[1]
    with zipfile.ZipFile(archive, "w") as file:
        for one in (root / "bpvet").rglob("*"):
            if one.suffix in (".py", ".toml"):
                file.write(one, one.relative_to(root))
    code = "from bpvet.facts.sources import fact; print(fact('acvim2018.goal.minimum').value)"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={"PYTHONPATH": str(archive), "PATH": ""},
        cwd=tmp_path,
        capture_output=True,
        text=True,
    )
    assert (done.stdout, done.stderr) == ("160.0\n", "")
