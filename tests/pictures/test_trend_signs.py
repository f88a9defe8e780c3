"""Signs beside a trend: a denied, past or doubted one is never drawn as present."""

import pandas as pd

import bpvet
from bpvet.pictures.trend import trend_picture
from bpvet.reports.animal.sections import signs
from bpvet.reports.letter.signs import sign_lines
from bpvet.reports.letter.source import Source


def trend_with(rows):
    readings = pd.DataFrame(
        {
            "animal": "A",
            "taken_at": ["2026-01-01", "2026-02-01", "2026-03-01"],
            "method": "doppler",
            "systolic": [150, 155, 152],
        }
    )
    seen = pd.DataFrame(rows, columns=["sign", "status"]).assign(animal="A", seen_on="2026-02-01")
    animals = pd.DataFrame({"animal": ["A"], "species": ["cat"]})
    records = bpvet.Records.from_frames(
        readings, animals=animals, observations=seen, as_of="2026-03-02"
    )
    return bpvet.fit_trend(records, "A")


def test_the_label_says_how_a_sign_is_meant():
    trend = trend_with(
        [
            ("seizure", ""),
            ("no collapse", ""),
            ("history of syncope", ""),
            ("?blind", ""),
            ("Krampf", ""),
            ("murmur", "resolved"),
            ("head tilt", "maybe"),
            ("ataxia", "longstanding"),
        ]
    )
    words = [mark.label for mark in trend_picture(trend).signs]
    assert words == [
        "seizure",
        "no collapse (absent)",
        "history of syncope (past)",
        "?blind (unclear)",
        "Krampf (not understood)",
        "murmur (resolved)",
        "head tilt (unclear)",
        "ataxia (longstanding)",
    ]
    (line,) = sign_lines(Source.of_trend(trend), trend.answer().signs).now
    assert "“no collapse” – collapse: absent" in line
    assert "“?blind” – blindness: unclear" in line
    assert "?blind</td>" in signs(trend).html
    assert "not understood" in signs(trend).html
