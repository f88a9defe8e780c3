"""Unlike pictures of invented animals, made of numbers alone."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from bpvet.figures.pictures import (
    Band,
    CourseSpan,
    GuideLine,
    Level,
    Panel,
    ReadingMarks,
    SessionMarks,
    SignMark,
    TrendPicture,
)
from bpvet.wording.en.pictures.drawn import TREND

ACVIM = (
    Level("normotensive", -np.inf, 140),
    Level("prehypertensive", 140, 160),
    Level("hypertensive", 160, 180),
    Level("severely hypertensive", 180, np.inf),
)
STAGES = (
    Level("stage 1", -np.inf, 140),
    Level("stage 2", 140, 251),
    Level("stage 3", 251, 440),
    Level("stage 4", 440, np.inf),
)
BAND_WORDS = (
    "Usual systolic pressure as measured here: the line is the best estimate; it lies in the dark "
    "band with 50 %, in the light band with 95 % probability."
)
METHOD_NAMES = {"doppler": "Doppler", "oscillometric": "oscillometric"}


def on(*dates: str) -> np.ndarray:
    return np.array(dates, dtype="datetime64[D]")


def sessions(
    dates: np.ndarray,
    values: Sequence[Sequence[float]],
    method: str = "doppler",
    condition: str = "clinic",
    name: str = "",
    labels: dict[int, str] | None = None,
    bounds: dict[int, str] | None = None,
) -> SessionMarks:
    """Return sessions from their used readings."""
    mean = np.array([np.mean(row) if len(row) else np.nan for row in values])
    sd = np.array([np.std(row, ddof=1) if len(row) > 1 else np.nan for row in values])
    n = len(values)
    label, bound = [""] * n, [""] * n
    for index, word in (labels or {}).items():
        label[index] = word
    for index, word in (bounds or {}).items():
        bound[index] = word
    count = np.array([len(row) for row in values])
    name = name or METHOD_NAMES[method]
    return SessionMarks(
        name, method, condition, dates, mean, mean - sd, mean + sd, count, bound, label
    )


def readings(
    dates: np.ndarray,
    values: Sequence[Sequence[float]],
    fates: dict[tuple[int, int], str] | None = None,
    bounds: dict[tuple[int, int], str] | None = None,
) -> ReadingMarks:
    """Return readings, all used but those named by (session, place)."""
    rows = [
        (dates[i], value, (fates or {}).get((i, j), "used"), (bounds or {}).get((i, j), ""))
        for i, row in enumerate(values)
        for j, value in enumerate(row)
    ]
    date, value, fate, bound = zip(*rows, strict=True)
    return ReadingMarks(np.array(date), value, fate, bound)


def band(dates: np.ndarray, centre: np.ndarray, sd: np.ndarray | float) -> Band:
    sd = np.broadcast_to(sd, centre.shape)
    return Band(
        dates,
        centre,
        centre - 0.674 * sd,
        centre + 0.674 * sd,
        centre - 1.96 * sd,
        centre + 1.96 * sd,
        BAND_WORDS,
    )


def panel(marks: SessionMarks, marks_of_readings: ReadingMarks, **more: object) -> Panel:
    heading = f"Systolic pressure, {METHOD_NAMES[marks.method]}, in the clinic, awake"
    given = {
        "levels": ACVIM,
        "guideline": "ACVIM consensus 2018",
        "target": GuideLine(160, "target 160, the guideline's"),
        "floor": GuideLine(120, "floor 120"),
        "words": TREND,
    }
    return Panel(heading, "systolic", "mmHg", marks, marks_of_readings, **{**given, **more})


def drawn_from(seed: int, centre: np.ndarray, k: int = 5) -> list[list[float]]:
    """Return k readings a session around `centre`, whole mmHg, from a fixed seed."""
    random = np.random.default_rng(seed)
    visits = centre + random.normal(0, 9, centre.size)
    return [list(np.round(visit + random.normal(0, 7, k))) for visit in visits]


def one_session() -> TrendPicture:
    dates = on("2026-02-10")
    values = [[188.0, 176, 171, 174, 170]]
    used = [values[0][1:]]
    grid = dates[0] + np.arange(0, 1)
    return TrendPicture(
        "Fern (A03), cat",
        np.datetime64("2026-03-01"),
        (
            panel(
                sessions(dates, used, labels={0: "first visit"}),
                readings(dates, values, fates={(0, 0): "left out"}),
                band=band(grid, np.array([164.0]), 11.0),
            ),
        ),
        caption="One session.",
        alt_text="One session with a mean of 173 mmHg.",
    )


def two_sessions() -> TrendPicture:
    dates = on("2026-01-08", "2026-02-19")
    values = [[182.0, 178, 181, 176, 174], [154, 158, 151, 149, 152]]
    grid = dates[0] + np.arange(43)
    return TrendPicture(
        "Old Tom (007), cat",
        np.datetime64("2026-02-20"),
        (
            panel(
                sessions(dates, [row[1:] for row in values], labels={0: "first visit"}),
                readings(dates, values, fates={(0, 0): "left out", (1, 0): "left out"}),
                band=band(grid, np.linspace(170, 156, 43), np.linspace(10, 11, 43)),
            ),
        ),
        (
            CourseSpan(
                "amlodipine",
                "0.625 mg once a day",
                np.datetime64("2026-01-09"),
                np.datetime64("NaT"),
                True,
            ),
        ),
        caption="Two sessions.",
        alt_text="Two sessions.",
    )


def forty_sessions() -> TrendPicture:
    start = np.datetime64("2023-02-01")
    dates = start + np.round(np.linspace(0, 1090, 40)).astype(int)
    t = np.linspace(0, 1, 40)
    centre = np.where(t < 0.2, 178, 150) + 10 * t + 4 * np.sin(12 * t)
    values = drawn_from(4, centre)
    values[39] = [207.0, 203, 201, 199, 204]
    grid = start + np.arange(0, 1091, 7)
    smooth = np.interp(np.arange(0, 1091, 7) / 1090, t, centre)
    return TrendPicture(
        "Minka (A17), cat with kidney disease",
        np.datetime64("2026-02-01"),
        (
            panel(
                sessions(
                    dates,
                    [row[1:] for row in values],
                    labels={0: "first visit", 39: "very unusual"},
                ),
                readings(dates, values, fates={(i, 0): "left out" for i in range(40)}),
                band=band(grid, smooth, 5.0),
            ),
        ),
        (
            CourseSpan(
                "amlodipine",
                "0.625 mg once a day",
                np.datetime64("2023-09-10"),
                np.datetime64("2025-01-15"),
                True,
            ),
            CourseSpan(
                "amlodipine",
                "1.25 mg once a day",
                np.datetime64("2025-01-16"),
                np.datetime64("NaT"),
                True,
            ),
            CourseSpan("renal diet", "", np.datetime64("2023-03-01"), np.datetime64("NaT"), False),
        ),
        (SignMark(np.datetime64("2025-06-15"), "retinal haemorrhage"),),
        caption="Forty sessions.",
        alt_text="Forty sessions.",
    )


def both_methods() -> TrendPicture:
    dates = on(
        *("2025-03-03", "2025-04-07", "2025-05-12", "2025-06-30", "2025-08-25"),
        *("2025-10-13", "2025-12-01"),
    )
    centre = np.array([171.0, 166, 158, 150, 149, 152, 148])
    osc = drawn_from(8, centre, 6)
    doppler_dates = dates[[0, 2, 4, 6]]
    doppler = drawn_from(9, centre[[0, 2, 4, 6]] + 8)
    home_dates = on("2025-05-20", "2025-07-15", "2025-09-20")
    home = drawn_from(10, np.array([148.0, 140, 141]))
    calm = sessions(
        on("2025-11-05"),
        [[136.0, 139, 133]],
        method="oscillometric",
        condition="calmed",
        name="oscillometric, after a calming drug",
    )
    grid = dates[0] + np.arange(0, 274, 7)
    smooth = np.interp(grid.astype(int), dates.astype(int), centre)
    return TrendPicture(
        "Bruno (D04), dog",
        np.datetime64("2025-12-10"),
        (
            panel(
                sessions(dates, osc, method="oscillometric", labels={0: "first visit"}),
                readings(dates, osc),
                others=(
                    sessions(doppler_dates, doppler, name="Doppler, in the clinic"),
                    sessions(
                        home_dates,
                        home,
                        method="oscillometric",
                        condition="home",
                        name="oscillometric, at home",
                    ),
                    calm,
                ),
                band=band(grid, smooth, 6.5),
                note="The methods are not joined: the band speaks of the oscillometric sessions "
                "in the clinic alone.",
            ),
        ),
        caption="Both methods.",
        alt_text="Both methods.",
    )


def three_courses() -> TrendPicture:
    dates = on(
        *("2025-01-10", "2025-01-31", "2025-02-21", "2025-03-28", "2025-05-02", "2025-06-20"),
        *("2025-08-01", "2025-09-12", "2025-11-07"),
    )
    centre = np.array([192.0, 188, 176, 165, 158, 162, 150, 147, 151])
    values = drawn_from(21, centre)
    values[3] = [300.0, *values[3][1:]]
    grid = dates[0] + np.arange(0, 302, 5)
    smooth = np.interp(grid.astype(int), dates.astype(int), centre)

    def course(drug: str, dose: str, start: str, stop: str, modelled: bool = True) -> CourseSpan:
        return CourseSpan(drug, dose, np.datetime64(start), np.datetime64(stop), modelled)

    return TrendPicture(
        "Pearl (A22), cat",
        np.datetime64("2025-11-20"),
        (
            panel(
                sessions(
                    dates,
                    [row[1:] for row in values],
                    labels={0: "first visit"},
                    bounds={1: "at least"},
                ),
                readings(
                    dates,
                    values,
                    fates={(i, 0): "left out" for i in range(9) if i != 3} | {(3, 0): "excluded"},
                    bounds={(1, 2): "at least"},
                ),
                band=band(grid, smooth, np.linspace(9, 5, grid.size)),
                target=GuideLine(150, "target 150, set for this animal"),
            ),
        ),
        (
            course("amlodipine", "0.625 mg sid", "2025-02-01", "2025-05-02"),
            course("amlodipine", "1.25 mg sid", "2025-05-03", "NaT"),
            course("telmisartan", "2 mg/kg once a day with food", "2025-06-21", "NaT"),
            course("benazepril", "2.5 mg", "2024-12-01", "2025-02-10"),
            course("gabapentin", "before visits", "2025-03-20", "2025-08-05", False),
            course("thiamazole", "2.5 mg twice a day", "2025-01-12", "NaT", False),
        ),
        (
            SignMark(np.datetime64("2025-01-10"), "retinal detachment"),
            SignMark(np.datetime64("2025-03-28"), "retinal detachment resolved"),
        ),
        caption="Three courses.",
        alt_text="Three courses.",
    )


def all_excluded_but_one() -> TrendPicture:
    dates = on("2026-01-05", "2026-01-26", "2026-02-16")
    values = [[210.0, 204, 215], [166, 171, 232], [np.nan, np.nan]]
    fates = {(i, j): "excluded" for i in range(2) for j in range(3)} | {(1, 0): "used"}
    fates |= {(2, 0): "no sound", (2, 1): "no sound"}
    return TrendPicture(
        "Comet (D11), dog",
        np.datetime64("2026-02-16"),
        (
            panel(
                sessions(dates[1:2], [[166.0]]),
                readings(dates, values, fates=fates),
                band=band(dates[1:2], np.array([152.0]), 16.0),
            ),
        ),
        caption="One reading left.",
        alt_text="One reading left.",
    )


def many_signs() -> TrendPicture:
    dates = np.datetime64("2025-06-02") + np.array([0, 12, 26, 41, 60, 90])
    values = drawn_from(33, np.array([186.0, 178, 160, 131, 98, 88]))
    values[0] = [330.0, 326, 331, 329, 330]
    grid = dates[0] + np.arange(0, 91, 3)
    names = ("retinal detachment", "seizure", "blindness", "murmur", "weakness", "collapse")
    days = (0, 3, 14, 15, 60, 89)
    signs = [
        SignMark(dates[0] + np.timedelta64(d, "D"), n) for d, n in zip(days, names, strict=True)
    ]
    signs += [
        SignMark(dates[5], "collapse, found on the floor in the morning by the owner"),
        SignMark(dates[4], "ataxia"),
        SignMark(dates[0] + np.timedelta64(40, "D"), "seizure resolved"),
    ]
    return TrendPicture(
        "Juno (A30), cat",
        dates[5] + np.timedelta64(2, "D"),
        (
            panel(
                sessions(dates, values, labels={0: "first visit", 5: "unusual"}),
                readings(dates, values),
                band=band(grid, np.linspace(240, 90, grid.size), 9.0),
            ),
        ),
        signs=tuple(signs),
        caption="Many signs.",
        alt_text="Many signs.",
    )


def long_text() -> TrendPicture:
    base = three_courses()
    hostile = "<script>alert(1)</script> $x^2$ \\frac{a}{b} & % _\n\t second line אבג 高血圧 🐈 "
    shown = base.panels[0]
    long_panel = Panel(
        hostile + "Systolic pressure " * 12,
        "systolic",
        "mmHg",
        sessions(
            shown.sessions.date,
            [[float(m), float(m) + 4] for m in shown.sessions.mean],
            labels={0: hostile, 4: "very unusual " * 6, 8: "w" * 300},
        ),
        shown.readings,
        (sessions(on("2025-04-04"), [[150.0, 152]], condition="home", name=hostile * 3),),
        shown.band,
        tuple(Level(f"{level.name} {hostile}", level.low, level.high) for level in ACVIM),
        "A guideline with quite a long name by a panel of authors " * 3,
        GuideLine(160, "target set by Dr $Long$ " * 5),
        GuideLine(120, "floor" * 30),
        note=hostile * 10,
        words=TREND,
    )
    return TrendPicture(
        hostile + "M" * 300,
        base.as_of,
        (long_panel,),
        (
            *base.courses,
            CourseSpan("a" * 300, hostile, np.datetime64("2025-04-01"), np.datetime64("NaT"), True),
            CourseSpan("x", hostile * 4, np.datetime64("2025-10-30"), np.datetime64("NaT"), False),
        ),
        (*base.signs, SignMark(np.datetime64("2025-11-19"), hostile * 2)),
        caption="Long text.",
        alt_text=hostile,
    )


def one_day() -> TrendPicture:
    times = np.array(
        ["2026-02-03T08:40", "2026-02-03T11:55", "2026-02-03T17:10"], dtype="datetime64[m]"
    )
    values = drawn_from(50, np.array([182.0, 164, 158]))
    return TrendPicture(
        "Biscuit (D20), dog, day of admission",
        np.datetime64("2026-02-03"),
        (panel(sessions(times, values), readings(times, values)),),
        caption="One day.",
        alt_text="One day.",
    )


def with_laboratory() -> TrendPicture:
    base = three_courses()
    dates = on("2025-01-10", "2025-03-28", "2025-06-20", "2025-09-12", "2025-11-07")
    creatinine = SessionMarks(
        "creatinine",
        "",
        "",
        dates,
        [168.0, 181, 190, 214, 231],
        [np.nan] * 5,
        [np.nan] * 5,
        [1] * 5,
        [""] * 5,
        [""] * 5,
    )
    lower = Panel(
        "Creatinine",
        "creatinine",
        "µmol/L",
        creatinine,
        levels=STAGES,
        guideline="IRIS 2019",
        words=TREND,
    )
    return TrendPicture(
        base.title, base.as_of, (*base.panels, lower), base.courses, base.signs, "Labs.", "Labs."
    )


EXAMPLES: dict[str, Callable[[], TrendPicture]] = {
    build.__name__: build
    for build in (
        one_session,
        two_sessions,
        forty_sessions,
        both_methods,
        three_courses,
        all_excluded_but_one,
        many_signs,
        long_text,
        one_day,
        with_laboratory,
    )
}
