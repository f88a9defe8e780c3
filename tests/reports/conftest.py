"""Reports written once for all tests of this folder: drawing one takes seconds."""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest

from bpvet.records.example import write_example

from .made import Made, write_animal

AS_OF = "2026-11-01"
#: Runs a notebook by a kernel of its own, as anybody would who has its files.
in_kernel = runpy.run_path(str(Path(__file__).parents[2] / "notebooks" / "make_notebooks.py"))[
    "in_kernel"
]
#: An id, a name and a note as an enemy would write them; all must come out as plain text.
HOSTILE_ID = "../../<img src=x onerror=alert(1)>"
HOSTILE_NAME = "<script>alert(1)</script> ]]> {{ 7*7 }} $x^2$"
HOSTILE_NOTE = "javascript:alert(1) <a href='javascript:alert(2)'>x</a> --> **b**"


def hostile_records(folder: Path) -> Path:
    """Write records of one animal, treated, with both methods, whose texts are all hostile."""
    folder.mkdir(parents=True)
    (folder / "animals.csv").write_text(
        f'animal,species,name,breed,clinic\n"{HOSTILE_ID}",cat,"{HOSTILE_NAME}",'
        '"<b>breed</b>","<style>*{display:none}</style>"\n',
        encoding="utf-8",
    )
    rows = ["animal,taken_at,method,systolic,diastolic,mean,heart_rate,excluded,note"]
    for month, start in enumerate((182, 176, 150, 146, 149), start=1):
        for step in range(5):
            given = f'"{HOSTILE_ID}",2026-0{month}-10T10:0{step},doppler,{start - step},,,,,'
            rows.append(f'{given}"{HOSTILE_NOTE}"')
        oscillometric = f'"{HOSTILE_ID}",2026-0{month}-10T11:00,oscillometric'
        rows.append(f"{oscillometric},{start - 9},90,115,180,,")
    rows.append(f'"{HOSTILE_ID}",2026-05-10T10:09,doppler,220,,,,"<u>moved</u>",')
    rows.append(f'"{HOSTILE_ID}",2026-05-10T10:10,doppler,<svg onload=alert(3)>,,,,,')
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (folder / "treatments.csv").write_text(
        "animal,drug,started_on,stopped_on,dose,dose_unit,purpose,note\n"
        f'"{HOSTILE_ID}",amlodipine,2026-02-20,,"<i>half</i>",tablet,,"{HOSTILE_NOTE}"\n',
        encoding="utf-8",
    )
    (folder / "observations.csv").write_text(
        "animal,seen_on,sign,status,note\n"
        f'"{HOSTILE_ID}",2026-05-10,"<script>blind</script>",present,"{HOSTILE_NOTE}"\n',
        encoding="utf-8",
    )
    (folder / "labs.csv").write_text(
        "animal,sampled_on,analyte,value,unit\n"
        f'"{HOSTILE_ID}",2026-05-10,creatinine,180,"<b>umol/L</b>"\n',
        encoding="utf-8",
    )
    return folder


@pytest.fixture(scope="session")
def clinic(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The example records."""
    folder = tmp_path_factory.mktemp("example") / "clinic"
    write_example(folder)
    return folder


@pytest.fixture(scope="session")
def urgent(clinic: Path) -> Made:
    """The report of a blind cat beyond the gauge, beside the records it is made from."""
    return write_animal(clinic, "Marzipan", clinic.parent / "out", as_of=AS_OF)


@pytest.fixture(scope="session")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """The report of an animal whose id, name and notes are hostile."""
    folder = tmp_path_factory.mktemp("hostile")
    records = hostile_records(folder / "records")
    return write_animal(records, HOSTILE_ID, folder / "out", as_of="2026-06-01")
