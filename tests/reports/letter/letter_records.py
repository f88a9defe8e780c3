"""A record that asks much of a letter: twelve drugs, twenty signs, sixty sessions, long names."""

from __future__ import annotations

from pathlib import Path

ANIMAL, AS_OF = "K-88/<b>7</b>", "2026-08-20"
#: Long, hostile, with letters that hide and one that turns what follows.
NAME = (
    "Sir Bartholomew Thistlewick of the Long Meadow, called “Tom”\u202e & <script>alert(1)</script>"
    "\u200b, the third of that name in a very old and far too carefully kept register"
)
RECENT, OLD = "2026-08-05", "2025-01-05"
DRUGS = (
    *("amlodipine", "telmisartan", "pimobendan", "furosemide", "levothyroxine", "clopidogrel"),
    *("prednisolone", "moonroot <i>tincture</i>", "mirtazapine", "maropitant", "spironolactone"),
    "a powder in a paper bag of which nobody knows the name, given by the neighbour at weekends",
)
SIGNS = (
    *("weakness", "vomiting", "cough", "lethargy", "ataxia?", "snorf", "head tilt", "itch"),
    *("diarrhoea", "weight loss", "polyuria", "dental disease", "murmur", "lameness", "goitre"),
    *("<u>facial twitching</u>", "epistaxis, twice, after the walk of Tuesday, stopped by itself"),
)
OLD_SIGNS = (("blind", "longstanding"), ("seizure", ""), ("collapse", "resolved"))
NOTE = "owner: blind since yesterday? =HYPERLINK(1)"


def full_records(folder: Path) -> Path:
    """Write the records into a new folder."""
    folder.mkdir(parents=True)

    def write(name: str, *lines: str) -> None:
        (folder / name).write_text("\n".join(lines) + "\n", encoding="utf-8")

    name = NAME.replace('"', '""')
    write("animals.csv", "animal,species,name,birth_date", f'"{ANIMAL}",dog,"{name}",2015-04-02')
    days = [f"{2024 + m // 12}-{m % 12 + 1:02d}-{d}" for m in range(2, 32) for d in ("04", "18")]
    write(
        "readings.csv",
        "animal,taken_at,method,systolic,site,cuff_width_cm,limb_circumference_cm",
        *(
            f'"{ANIMAL}",{date}T10:0{k},doppler,{148 + place % 9 + k},foreleg,4.5,{12 + k % 2}'
            for place, date in enumerate(days)
            for k in range(5)
        ),
    )
    write(
        "treatments.csv",
        "animal,drug,started_on,stopped_on,dose,dose_unit,note",
        *(
            f'"{ANIMAL}","{drug}",2025-{i % 9 + 1:02d}-0{i % 8 + 1},,{i},mg,'
            for i, drug in enumerate(DRUGS, start=1)
        ),
        f'"{ANIMAL}",amlodipine,2026-01-10,,"three quarters",tablet,',
        f'"{ANIMAL}",gabapentin,2025-01-01,2025-02-01,1,capsule,',
    )
    write(
        "observations.csv",
        "animal,seen_on,sign,status,note",
        *(f'"{ANIMAL}",{RECENT},"{sign}",,' for sign in SIGNS),
        *(f'"{ANIMAL}",{OLD},"{sign}",{status},' for sign, status in OLD_SIGNS),
        f'"{ANIMAL}",{RECENT},murmur,present,"{NOTE}"',
    )
    markers = (("creatinine", "mg/dL"), ("sdma", "µg/dL"), ("potassium", "mmol/L"))
    write(
        "labs.csv",
        "animal,sampled_on,analyte,value,unit",
        *(
            f'"{ANIMAL}",{date},{marker},{2 + place + i / 10:.1f},{unit}'
            for place, (marker, unit) in enumerate(markers)
            for i, date in enumerate(days[::5])
        ),
        f'"{ANIMAL}",2024-02-02,total_t4,31,nmol/L',
        f'"{ANIMAL}",2026-04-10,phosphate,plenty,mmol/L',
    )
    return folder
