"""Make the invented example records that `bpvet example DIR` writes.

Run ``python examples/make_example_records.py [FOLDER]``; without a folder it writes the files that
ship with the package, byte for byte the same each time. Everything here is invented: the practice,
the town, the people's initials, the animals, their pressures and their treatments. The doses are
in drops, millilitres and tablets of no stated strength, so that none can be read as advice.

The animals and the story of their visits stand in example_animals.toml. Each has a `Truth` here:
the usual pressure that its readings were drawn round, so that an answer can be held against it.
"""

from __future__ import annotations

import csv
import io
import math
import random
import sys
import tomllib
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from statistics import NormalDist
from typing import Any

SEED = 19
START = date(2024, 10, 1)
CLINIC = "Gull Slip Veterinary Practice, Wrackmouth (invented)"
PLAN = Path(__file__).parent / "example_animals.toml"
SHIPPED = Path(__file__).parent.parent / "bpvet" / "records" / "example_records"

HEADERS = {
    "readings": "animal,taken_at,method,systolic,diastolic,mean,heart_rate,counted_pulse,session,"
    "reading,excluded,setting,state,site,side,cuff_width_cm,limb_circumference_cm,"
    "cuff_above_heart_cm,posture,demeanour,operator,note",
    "animals": "animal,species,name,breed,sex,neutered,birth_date,measured_before,"
    "target_systolic,clinic,left_on,left_reason",
    "treatments": "animal,drug,started_on,stopped_on,dose,dose_unit,purpose,note",
    "labs": "animal,sampled_on,analyte,value,unit",
    "observations": "animal,seen_on,sign,status,note",
    "contacts": "animal,date,outcome,note",
}
#: Talks with owners: who is booked, and who could not be reached.
CONTACTS = (
    ("M33", "2026-10-28", "booked", "for the first week of November"),
    ("E31", "2026-10-27", "no answer", ""),
    ("L09", "2026-10-20", "declined", "eyes were looked at elsewhere, letter asked for"),
)
UNITS = {
    "creatinine": ("umol/L", 0),
    "sdma": ("ug/dL", 0),
    "upc": ("ratio", 2),
    "phosphate": ("mmol/L", 2),
    "potassium": ("mmol/L", 1),
    "total_t4": ("nmol/L", 0),
    "weight": ("kg", 2),
}


@dataclass(frozen=True)
class Shift:
    """A lasting change of usual pressure by `by` mmHg from `start`, with time constant `tau` d."""

    start: str
    by: float
    stop: str = ""
    tau: float = 3.0

    def on(self, day: date) -> float:
        """Return the part of the change that is there at noon of `day`, from 0 to 1."""
        begun = (day - date.fromisoformat(self.start)).days
        if begun <= 0:
            return 0.0
        over = (day - date.fromisoformat(self.stop)).days if self.stop else 0
        reached = 1 - math.exp(-(begun - max(over, 0)) / self.tau)
        return reached * math.exp(-max(over, 0) / self.tau)


@dataclass(frozen=True)
class Truth:
    """The usual systolic pressure behind an animal's readings, mmHg, and the noise round it.

    `level` is the untreated pressure on 1 October 2024 in the clinic, awake, by Doppler (by the
    oscillometric method for animals measured only so), without first-visit excitement;
    `slope` is per 30 days; `sv` and `sr` are the SDs between visits and between readings;
    `first` is the excitement of the first visit, which fades; `home`, `calmed` and
    `oscillometric` are what those conditions and that method add.
    """

    level: float
    slope: float = 0.0
    sv: float = 9.0
    sr: float = 5.5
    first: float = 6.0
    home: float = 0.0
    calmed: float = 0.0
    oscillometric: float = 0.0
    shifts: tuple[Shift, ...] = ()
    heart_rate: float = 180.0

    def usual(self, day: date) -> float:
        """Return the usual systolic pressure at noon of `day`, mmHg, as defined above."""
        months = (day - START).days / 30
        return self.level + self.slope * months + sum(s.by * s.on(day) for s in self.shifts)


# The table of truths: what a good answer about these records should come near to.
TRUTHS = {
    "A17": Truth(171, 0.7, first=8, shifts=(Shift("2025-01-14", -22), Shift("2025-10-21", -10))),
    "B04": Truth(147, shifts=(Shift("2026-08-20", 122, tau=10), Shift("2026-10-26", -60))),
    "C22": Truth(176, shifts=(Shift("2025-08-19", -34), Shift("2026-10-06", -6, tau=5))),
    "D08": Truth(124, sv=8, sr=7, first=44, heart_rate=115),
    "D15": Truth(156, sr=7, home=-24, heart_rate=105),
    "007": Truth(157, first=5, home=-26, oscillometric=3),
    "012": Truth(158, sv=11, sr=7, calmed=-18),
    "E02": Truth(
        150,
        0.7,
        sv=10,
        oscillometric=5,
        shifts=(Shift("2025-06-10", -22), Shift("2026-02-10", -8)),
        heart_rate=200,
    ),
    "E31": Truth(
        182,
        sv=11,
        sr=8,
        oscillometric=-6,
        shifts=(
            Shift("2024-12-03", -8, "2025-09-16", tau=7),
            Shift("2025-03-11", -22),
            Shift("2025-09-16", -12, tau=5),
        ),
        heart_rate=112,
    ),
    "F19": Truth(149, sr=8),
    "G03": Truth(145),
    "G11": Truth(122, sr=6, heart_rate=205),
    "H27": Truth(138, first=8),
    "J05": Truth(169, sv=5, first=1),
    "J40": Truth(167, sv=8, sr=4, oscillometric=6, shifts=(Shift("2024-10-29", -36),)),
    "K12": Truth(106, 2.6, sr=5),
    "L09": Truth(144, sv=10, sr=6.5, first=10, heart_rate=118),
    "M33": Truth(
        178,
        sv=10,
        oscillometric=4,
        shifts=(
            Shift("2025-04-15", -13, "2025-06-03", tau=5),
            Shift("2025-07-01", -25),
        ),
    ),
    "N14": Truth(
        170,
        0.5,
        sv=8,
        first=8,
        shifts=(Shift("2026-03-10", -22, "2026-04-02", tau=5), Shift("2026-04-14", -28)),
    ),
}


@dataclass(frozen=True)
class Visit:
    """How one session was measured, and what is special about it."""

    n: int = 6
    method: str = "doppler"
    also: bool = False  # measured by the other method too, a quarter of an hour later
    setting: str = "clinic"
    state: str = "awake"
    demeanour: str = ""  # blank: mostly calm, drawn
    operator: str = ""  # blank: drawn
    site: str = "foreleg"
    posture: str = "sternal"
    note: str = ""
    label: str = ""
    mean: float | None = None  # a session mean that is not the usual pressure's doing
    excluded: dict[str, str] = field(default_factory=dict)  # reading -> reason
    written: dict[str, str] = field(default_factory=dict)  # reading -> systolic as written
    timed: bool = True
    ordered: bool = True  # the `reading` column is filled
    falling: float = 0.0  # how far the readings fall, either side of the mean, while measuring
    gap: int = 1  # minutes between readings
    cuff: float = 0.0  # another cuff than this animal's own, cm
    above: str = ""  # cuff above the heart, cm


#: Visits that are like one another: ``like = "home"`` in the table of animals.
LIKE: dict[str, dict[str, Any]] = {
    "home": {"setting": "home", "n": 5, "operator": "BR", "posture": "lying", "demeanour": "calm"},
    "calmed": {"state": "calmed", "demeanour": "sleepy", "note": "given two hours before"},
}


@dataclass(frozen=True)
class Case:
    """One invented animal: the keys of its entry in example_animals.toml, explained there."""

    animal: str
    name: str
    species: str
    breed: str
    sex: str
    neutered: str
    birth_date: str
    shows: str
    limb: float
    cuff: float
    visits: list[str]
    usual: dict[str, Any] = field(default_factory=dict)
    special: dict[str, dict[str, Any]] = field(default_factory=dict)
    measured_before: str = ""
    target_systolic: str = ""
    left_on: str = ""
    left_reason: str = ""
    treatments: list[list[str]] = field(default_factory=list)
    observations: list[list[str]] = field(default_factory=list)
    lab_dates: list[str] = field(default_factory=list)
    labs: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    labs_on: dict[str, dict[str, float]] = field(default_factory=dict)
    counted: bool = False

    def visit(self, token: str) -> Visit:
        """Return how the visit called `token` was measured."""
        own = dict(self.special.get(token, {}))
        return Visit(**self.usual | LIKE.get(own.pop("like", ""), {}) | own)


def cases() -> list[Case]:
    """Return the invented animals, in the order of the table."""
    told = tomllib.loads(PLAN.read_text(encoding="utf-8"))
    return [Case(animal=animal, **entry) for animal, entry in told.items()]


def normal(draw: random.Random, mean: float, sd: float) -> float:
    """Return a normal draw that is the same under every Python (only `random()` is promised)."""
    return NormalDist(mean, sd).inv_cdf(draw.random())


def systolics(visit: Visit, truth: Truth, centre: float, draw: random.Random) -> list[float]:
    """Return the session's systolic readings in order, mmHg, the first often a little high."""
    lift = max(0.0, normal(draw, 4, 4))
    # The oscillometric method scatters more from inflation to inflation.
    sr = truth.sr * (1.3 if visit.method == "oscillometric" else 1)
    values = []
    for i in range(visit.n):
        value = normal(draw, centre, sr) + lift * 0.35**i
        if visit.falling:
            steps = visit.falling * (1 - 2 * i / (visit.n - 1))
            value = centre + lift * 0.35**i + steps + normal(draw, 0, 1)
        values.append(value)
    return values


def oscillometric_cells(
    systolic: float, shift: float, truth: Truth, draw: random.Random
) -> dict[str, str]:
    """Return diastolic, mean and heart rate that belong to one systolic reading."""
    diastolic = 0.59 * systolic + shift + normal(draw, 0, 5)
    mean = diastolic + (systolic - diastolic) * min(max(normal(draw, 0.38, 0.04), 0.25), 0.5)
    rate = normal(draw, truth.heart_rate, 0.04 * truth.heart_rate)
    return {
        "diastolic": f"{diastolic:.0f}",
        "mean": f"{mean:.0f}",
        "heart_rate": f"{rate:.0f}",
    }


def session_rows(
    case: Case, visit: Visit, when: datetime, centre: float, draw: random.Random
) -> list[dict[str, str]]:
    """Return one session's rows of the readings table."""
    calm = draw.choice(("calm", "calm", "calm", "alert"))
    person = draw.choice(("EN", "EN", "EN", "TK", "BR"))
    taped = draw.random() < 0.7 or visit.cuff > 0
    limb = round(case.limb + draw.choice((-0.2, 0.0, 0.0, 0.2)), 1)
    truth = TRUTHS[case.animal]
    shift = normal(draw, 0, 5)
    common = {
        "animal": case.animal,
        "method": visit.method,
        "session": visit.label,
        "setting": visit.setting,
        "state": visit.state,
        "site": visit.site,
        "side": "left" if visit.site == "foreleg" else "",
        "cuff_width_cm": f"{visit.cuff or case.cuff}",
        "limb_circumference_cm": f"{limb}" if taped and visit.site == "foreleg" else "",
        "cuff_above_heart_cm": visit.above,
        "posture": visit.posture,
        "demeanour": visit.demeanour or calm,
        "operator": visit.operator or person,
    }
    rows = []
    for i, value in enumerate(systolics(visit, truth, centre, draw)):
        # A Doppler's gauge is read to 2 mmHg.
        shown = 2 * round(value / 2) if visit.method == "doppler" else round(value)
        taken = when + timedelta(minutes=visit.gap * i + (i >= 3))
        row = common | {
            "taken_at": taken.isoformat(timespec="minutes") if visit.timed else str(when.date()),
            "systolic": visit.written.get(str(i + 1), str(shown)),
            "reading": str(i + 1) if visit.ordered else "",
            "excluded": visit.excluded.get(str(i + 1), ""),
            "note": visit.note if i == 0 else "",
        }
        if visit.method == "oscillometric":
            row |= oscillometric_cells(value, shift, truth, draw)
        if case.counted:  # over half a minute
            row["counted_pulse"] = str(2 * round(int(row["heart_rate"]) / 2))
        rows.append(row)
    return rows


def visit_rows(
    case: Case, token: str, visit: Visit, excitement: float, draw: random.Random
) -> list[dict[str, str]]:
    """Return the rows of one visit: one session, or one by each method."""
    hour, minute = draw.choice((9, 9, 10, 10, 11, 14, 15, 16)), draw.randrange(0, 60, 5)
    when = datetime.fromisoformat(token)
    if "T" not in token:
        when = when.replace(hour=hour, minute=minute)
    truth = TRUTHS[case.animal]
    usual = truth.usual(when.date())
    usual += truth.home if visit.setting == "home" else excitement
    usual += truth.calmed if visit.state == "calmed" else 0
    usual += 12 if visit.demeanour == "tense" else 0
    centre = normal(draw, usual, truth.sv)
    rows = session_rows(case, visit, when, visit.mean or centre, draw)
    if visit.also:
        other = replace(visit, method="oscillometric", also=False, n=5, note="", excluded={})
        again = normal(draw, usual + truth.oscillometric, truth.sv)
        # Most of a visit's own noise is the animal's mood, which both methods meet.
        shared = 0.7 * (centre + truth.oscillometric) + 0.3 * again
        rows += session_rows(case, other, when + timedelta(minutes=15), shared, draw)
    return rows


def reading_rows(case: Case) -> list[dict[str, str]]:
    """Return all rows of one animal's readings; each animal has its own stream of draws."""
    draw = random.Random(f"{SEED} {case.animal}")
    rows, clinic_dates = [], list[str]()
    for token in case.visits:
        visit = case.visit(token)
        in_trend = visit.setting != "home" and visit.state in ("", "awake", "calmed")
        if in_trend and token[:10] not in clinic_dates:
            clinic_dates.append(token[:10])
        nth = max(len(clinic_dates) - 1, 0)
        fading = TRUTHS[case.animal].first * math.exp(-nth / 1.5)
        rows += visit_rows(case, token, visit, fading, draw)
    return rows


def lab_rows(case: Case) -> list[dict[str, str]]:
    """Return one animal's laboratory values, straight on the log scale between two ends."""
    draw = random.Random(f"{SEED} {case.animal} labs")
    days = [date.fromisoformat(d) for d in case.lab_dates]
    rows = []
    for day in days:
        part = (day - days[0]).days / max((days[-1] - days[0]).days, 1)
        for analyte, (first, last, scatter) in case.labs.items():
            log_value = math.log(first) + part * math.log(last / first)
            log_value += math.log(case.labs_on.get(day.isoformat(), {}).get(analyte, 1.0))
            unit, digits = UNITS[analyte]
            value = f"{math.exp(normal(draw, log_value, scatter)):.{digits}f}"
            rows.append([day.isoformat(), analyte, value, unit])
    return entries("labs", case.animal, rows)


def with_slips(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """Return the readings with a few slips of the kind that every clinic's records hold."""

    def find(animal: str, day: str) -> int:
        return next(
            i
            for i, row in enumerate(rows)
            if row["animal"] == animal and row["taken_at"].startswith(day)
        )

    rows[find("D15", "2025-06-17") + 2]["diastolic"] = "92"  # a Doppler does not give one
    rows[find("012", "2026-07-28") + 1]["excluded"] = "no"
    rows[find("L09", "2025-11-11") + 3]["heart_rate"] = "61"  # half of what was counted
    copied = find("E02", "2025-12-08") + 4
    rows.insert(copied + 1, dict(rows[copied]))  # typed in twice
    return rows


def entries(name: str, animal: str, told: list[list[str]]) -> list[dict[str, str]]:
    """Return what is told of one animal as rows of the table called `name`."""
    columns = HEADERS[name].split(",")
    return [dict(zip(columns, (animal, *cells), strict=True)) for cells in told]


def csv_text(name: str, rows: list[dict[str, str]]) -> str:
    """Return rows as the text of the table called `name`, lines ending in a line feed."""
    text = io.StringIO()
    columns = HEADERS[name].split(",")
    writer = csv.DictWriter(text, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def about(animals: list[Case]) -> str:
    """Return the note that is written beside the tables."""
    lines = [
        "ABOUT THESE RECORDS",
        "",
        "Everything here is invented: the practice, the town of Wrackmouth, the people's initials,",
        "the animals, their pressures, laboratory values, signs and treatments. Doses stand as a",
        "clinic might write them, in drops, millilitres and tablets of no stated strength; they",
        "recommend nothing. Any likeness to a real animal or practice is chance.",
        "",
        "A few slips are left in on purpose, so that the record check has something to say. The",
        'last row is of 29 October 2026: "--as-of 2026-11-01" reads the records as they were then.',
        "",
        *(f"{c.animal}  {c.name:<11} {c.species}  {c.shows}" for c in animals),
    ]
    return "\n".join(lines) + "\n"


def example_files() -> dict[str, str]:
    """Return the text of every file, by name."""
    animals = cases()
    readings = [row for case in animals for row in reading_rows(case)]
    # As a clinic's book fills up: by day, then by animal; the sort keeps each visit's own order.
    readings.sort(key=lambda row: (row["taken_at"][:10], row["animal"]))
    rows = {
        "animals": [
            {k: getattr(c, k, CLINIC) for k in HEADERS["animals"].split(",")} for c in animals
        ],
        "contacts": [
            dict(zip(HEADERS["contacts"].split(","), row, strict=True)) for row in CONTACTS
        ],
        "labs": [row for c in animals for row in lab_rows(c)],
        "observations": [
            row for c in animals for row in entries("observations", c.animal, c.observations)
        ],
        "readings": with_slips(readings),
        "treatments": [
            row for c in animals for row in entries("treatments", c.animal, c.treatments)
        ],
    }
    tables = {f"{name}.csv": csv_text(name, table) for name, table in rows.items()}
    return {"ABOUT.txt": about(animals), **tables}


def main(folder: Path = SHIPPED) -> None:
    """Write the files into `folder`, replacing earlier ones."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in example_files().items():
        (folder / name).write_bytes(text.encode("utf-8"))


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:2]))
