"""A small clinic to run commands on, and a way to run them in this process."""

from collections.abc import Callable
from pathlib import Path

import pytest

from bpvet.command.main import main
from tests.command.small import Ended, write_readings


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., Ended]:
    """Run the command line in this process; a traceback fails the test."""

    def command(*argv: object) -> Ended:
        capsys.readouterr()
        status = main([str(one) for one in argv])
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        return Ended(status, said.out, said.err)

    return command


@pytest.fixture(scope="session")
def clinic(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two animals: A17, Pilchard, a treated cat with three sessions; B2, Tuppence, with one."""
    folder = tmp_path_factory.mktemp("records") / "clinic"
    rows = [
        f"A17,{day}T10:0{minute},doppler,{value}"
        for day, values in {
            "2026-01-05": (192, 186, 184, 185, 186),
            "2026-01-19": (182, 180, 178, 181, 180),
            "2026-03-02": (160, 152, 150, 151, 154),
        }.items()
        for minute, value in enumerate(values)
    ]
    rows += [f"B2,2026-02-02T09:0{minute},doppler,{150 + minute}" for minute in range(3)]
    write_readings(folder, "\n".join(rows))
    (folder / "animals.csv").write_text(
        "animal,species,name\nA17,cat,Pilchard\nB2,cat,Tuppence\n", encoding="utf-8"
    )
    (folder / "treatments.csv").write_text(
        "animal,drug,started_on,dose,dose_unit\nA17,amlodipine,2026-01-19,0.5,ml\n",
        encoding="utf-8",
    )
    return folder
