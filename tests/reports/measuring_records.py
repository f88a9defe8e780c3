"""Records of two methods whose ids, operators, sites and notes an enemy has written."""

from __future__ import annotations

from pathlib import Path

HOSTILE_ANIMAL = "<script>alert({})</script> **b** $x^2$"
HOSTILE_PERSON = "=cmd|' /C calc'!A0 <img src=x onerror=alert(1)>"


def write_hostile(folder: Path, animals: int = 3, methods: int = 2, people: int = 2) -> Path:
    """Write so many animals, each seen three times by each method, and return the folder."""
    folder.mkdir(parents=True)
    rows = ["animal,taken_at,method,systolic,operator,site,demeanour"]
    for i in range(animals):
        name = HOSTILE_ANIMAL.format(i)
        for visit in range(3):
            for m, method in enumerate(("doppler", "oscillometric")[:methods]):
                who = f"{HOSTILE_PERSON}{(i + visit) % people}" if people else ""
                for k in range(5):
                    value = 140 + 9 * i + 6 * visit + 5 * m + (k * (3 + i)) % 7
                    at = f"2026-0{visit + 1}-1{i}T1{m}:0{k}"
                    rows.append(f'"{name}",{at},{method},{value},"{who}","<u>tail</u>",calm')
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    species = "".join(f'"{HOSTILE_ANIMAL.format(i)}",cat\n' for i in range(animals))
    (folder / "animals.csv").write_text(f"animal,species\n{species}", encoding="utf-8")
    return folder
