"""A small invented clinic for the tests of a cohort, made by rule: no chance in it.

Eight animals, K1 to K8 (K7 and K8 dogs), a session a month of five Doppler readings, the first
10 high; K1 to K4 also a session of three oscillometric readings at their second visit. K1 to K3
are treated from the day of their third session, K4 from before its first. Besides:

- K5 has a session at home and one after a calming drug; K6 one under sedation;
- K1's first session has one reading excluded, and one that is no number;
- K9 was seen once, at home; K10 stands among the animals and was never measured.
"""

from __future__ import annotations

from pathlib import Path

HEAD = "animal,taken_at,method,systolic,diastolic,setting,state,excluded"
#: Sessions of each animal in the clinic by Doppler.
SESSIONS = {"K1": 6, "K2": 6, "K3": 5, "K4": 5, "K5": 4, "K6": 4, "K7": 3, "K8": 1}
LEVELS = {"K1": 168, "K2": 172, "K3": 160, "K4": 150, "K5": 138, "K6": 144, "K7": 131, "K8": 125}
#: What a visit adds, in turn; and the readings of a session about its mean.
VISITS = (0, 9, -7, 4, -10, 6, -3)
SPREAD = (10, -4, 2, 5, -3)
AS_OF = "2026-12-01"


def _session(animal: str, day: str, mean: float, spread: tuple[int, ...], rest: str) -> list[str]:
    method = rest.split(",")[0]
    low = "80" if method == "oscillometric" else ""
    tail = ",".join(rest.split(",")[1:])
    return [
        f"{animal},{day}T10:{k:02d},{method},{mean + part:g},{low},{tail},"
        for k, part in enumerate(spread)
    ]


def readings() -> list[str]:
    """Return the rows of readings."""
    rows: list[str] = []
    for place, (animal, count) in enumerate(SESSIONS.items()):
        for month in range(count):
            day = f"2026-{month + 1:02d}-{10 + place}"
            lower = 12 if animal in ("K1", "K2", "K3") and month > 2 else 0
            mean = LEVELS[animal] + VISITS[(place + month) % 7] + month * (place % 3) - lower
            rows += _session(animal, day, mean, SPREAD, "doppler,clinic,awake")
            if month == 1 and place < 4:
                rows += _session(animal, day, mean - 6, (6, -8, 2), "oscillometric,,")
    rows += _session("K5", "2026-07-01", 120, (1, -1, 0), "doppler,home,awake")
    rows += _session("K5", "2026-08-01", 118, (1, -1, 0), "doppler,clinic,calmed")
    rows += _session("K6", "2026-07-01", 110, (1, -1), "doppler,clinic,sedated")
    rows += _session("K9", "2026-03-01", 140, (1, -1, 0), "doppler,home,awake")
    rows += ["K1,2026-01-10T10:30,doppler,240,,clinic,awake,moved"]
    rows += ["K1,2026-01-10T10:31,doppler,high,,clinic,awake,"]
    return rows


def write_clinic(folder: Path, treated: bool = True, method: str = "") -> Path:
    """Write the clinic's records; `method` keeps one method only."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = [row for row in readings() if not method or f",{method}," in row]
    (folder / "readings.csv").write_text("\n".join([HEAD, *rows]) + "\n", encoding="utf-8")
    kinds = [
        f"{animal},{'dog' if animal in ('K7', 'K8') else 'cat'},Name of {animal},"
        f"{'female' if place % 2 else 'male'},{'' if animal == 'K8' else f'20{10 + place}-01-01'}"
        for place, animal in enumerate([*SESSIONS, "K9", "K10"])
    ]
    text = "\n".join(["animal,species,name,sex,birth_date", *kinds])
    (folder / "animals.csv").write_text(f"{text}\n", encoding="utf-8")
    if treated:
        starts = {"K1": "03-10", "K2": "03-11", "K3": "03-12", "K4": "01-01"}
        given = [f"{animal},amlodipine,2026-{day}" for animal, day in starts.items()]
        text = "\n".join(["animal,drug,started_on", *given])
        (folder / "treatments.csv").write_text(f"{text}\n", encoding="utf-8")
    return folder
