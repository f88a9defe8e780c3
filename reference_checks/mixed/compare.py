"""Our fits of the reference data beside the outside programs' answers, difference by difference."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from bpvet.mixed.cohort import Cohort, fit_cohort

HERE = Path(__file__).parent

TOLERANCE = {
    "criterion": 1e-6,
    "fixed effect": 1e-6,
    "standard error": 1e-5,
    "SD": 1e-4,
    "prediction": 1e-4,
    "Satterthwaite df": 1e-3,
    "Kenward-Roger df": 1e-3,
    "Kenward-Roger SE": 1e-3,
    "profile interval": 1e-3,
    "likelihood ratio": 1e-6,
    "share": 1e-6,
    "AIC and BIC": 1e-6,
    "interval end": 1e-4,
    "p value": 1e-5,
    "marginal mean": 1e-5,
}


@dataclass(frozen=True)
class Difference:
    """One number of ours beside theirs; `size` is absolute or relative as the tolerance is."""

    case: str
    what: str
    which: str
    size: float

    @property
    def tolerance(self) -> float:
        """Return the tolerance of this kind of number."""
        return TOLERANCE[self.what]


@dataclass(frozen=True)
class Case:
    """How a reference fit is asked of us."""

    file: str
    fits: tuple[str, ...]
    formula: str
    options: dict[str, Any]


SLEEP = {"animal": "Subject", "session": None}
DAYS = SLEEP | {"slope": "Days"}
CHILD = {"animal": "Subject", "session": None}
DOG = {"animal": "Dog", "session": "Side"}
OATS = {"animal": "Block", "session": "Variety"}
LOT = {"animal": "Lot", "session": "Wafer"}
TREE = {"animal": "Tree", "session": None}
BATCH = {"animal": "Batch", "session": None}
BY_SEX = CHILD | {"residual_by": "Sex"}

CASES = (
    Case("sleepstudy", ("slope_reml", "slope_ml"), "Reaction ~ Days", DAYS),
    Case("sleepstudy", ("intercept_reml", "intercept_ml"), "Reaction ~ Days", SLEEP),
    Case("sleepstudy", ("uncorrelated_reml",), "Reaction ~ Days", DAYS | {"correlated": False}),
    Case("sleepstudy", ("slope_ml_no_days",), "Reaction ~ 1", DAYS),
    Case("orthodont", ("slope_reml", "slope_ml"), "distance ~ age * Sex", CHILD | {"slope": "age"}),
    Case("orthodont", ("intercept_reml", "intercept_ml"), "distance ~ age * Sex", CHILD),
    Case("orthodont", ("intercept_ml_no_interaction",), "distance ~ age + Sex", CHILD),
    Case(
        "orthodont",
        (
            "dense_intercept_residual_by_sex_reml",
            "dense_intercept_residual_by_sex_ml",
            "nlme_intercept_residual_by_sex_reml",
            "nlme_intercept_residual_by_sex_ml",
        ),
        "distance ~ age * Sex",
        BY_SEX,
    ),
    Case(
        "orthodont",
        ("dense_slope_at_age11_residual_by_sex_reml",),
        "distance ~ age * Sex",
        BY_SEX | {"slope": "age11"},
    ),
    Case(
        "pixel",
        ("dog_slope_side_reml", "dog_slope_side_ml"),
        "pixel ~ day + {day ** 2}",
        DOG | {"slope": "day"},
    ),
    Case("pixel", ("dog_side_reml",), "pixel ~ day + {day ** 2}", DOG),
    Case("oats", ("nested_reml", "nested_ml"), "yield ~ nitro + Variety", OATS),
    Case("oxide", ("nested_reml", "nested_ml"), "Thickness ~ 1", LOT),
    Case("oxide_unbalanced", ("nested_unbalanced_reml",), "Thickness ~ Source", LOT),
    Case("orange", ("intercept_reml",), "circumference ~ age", TREE),
    Case(
        "orange", ("slope_scaled_reml",), "circumference ~ kilodays", TREE | {"slope": "kilodays"}
    ),
    Case(
        "chickweight",
        ("slope_reml", "slope_ml"),
        "weight ~ Time * Diet",
        {"animal": "Chick", "session": None, "slope": "Time"},
    ),
    Case("dyestuff", ("reml", "ml"), "Yield ~ 1", BATCH),
    Case("dyestuff2", ("reml", "ml"), "Yield ~ 1", BATCH),
)
CODES = ("Subject", "Dog", "Side", "Block", "Variety", "Lot", "Wafer", "Tree", "Batch", "Chick")


def data(file: str) -> pd.DataFrame:
    """Return a reference data set, codes as text, with the columns some fits derive."""
    text = dict.fromkeys((*CODES, "Diet", "Source", "Sex"), str)
    frame = pd.read_csv(HERE / "data" / f"{file}.csv", dtype=text)
    if file == "orthodont":
        frame["age11"] = frame["age"] - 11
    if file == "orange":
        frame["kilodays"] = frame["age"] / 1000
    return frame


def reference(file: str) -> dict[str, Any]:
    """Return the outside programs' answers of a data set."""
    name = "oxide" if file == "oxide_unbalanced" else file
    answers: dict[str, Any] = json.loads((HERE / "outputs" / f"{name}.json").read_text())
    return answers


def our_fit(case: Case, name: str) -> Cohort:
    """Return our fit of a case."""
    reml = not (name.endswith("_ml") or name == "ml" or "_ml_" in name)
    return fit_cohort(data(case.file), case.formula, reml=reml, **case.options)


def all_fits() -> Iterator[tuple[Case, str, dict[str, Any], Cohort]]:
    """Yield each case, the name of its fit, their answer and ours."""
    for case in CASES:
        answers = {fit["name"]: fit for fit in reference(case.file)["fits"]}
        for name in case.fits:
            yield case, name, answers[name], our_fit(case, name)


def differences(
    case: Case, name: str, theirs: dict[str, Any], ours: Cohort, profiles: bool = True
) -> list[Difference]:
    """Return every comparison one fit allows."""
    label = f"{case.file} {name}"
    by_nlme = name.startswith("nlme")
    found: list[Difference] = []

    def note(what: str, which: str, size: float) -> None:
        found.append(Difference(label, what, which, abs(size)))

    if not by_nlme:
        note("criterion", "", ours.criterion + 2 * theirs["loglik"])
        for name in ("aic", "bic"):
            if name in theirs:
                note("AIC and BIC", name, getattr(ours, name) - theirs[name])
    _fixed(theirs, ours, by_nlme, note)
    _variance(theirs, ours, by_nlme, note)
    _predictions(theirs, ours, note)
    if profiles and isinstance(theirs.get("profile_intervals_ml_95"), list):
        _profiles(theirs, ours, note)
    return found


def _relative(ours: float, theirs: float) -> float:
    return (ours - theirs) / max(abs(theirs), 1e-12)


def _fixed(theirs: dict[str, Any], ours: Cohort, by_nlme: bool, note: Any) -> None:
    # A coefficient near zero is held against its standard error instead of itself.
    inside = not theirs.get("singular", False)
    adjusted = None
    if any("se_kenward_roger" in term for term in theirs["fixed"]):
        adjusted = ours.with_df("kenward_roger").fixed
    for place, term in enumerate(theirs["fixed"]):
        mine = ours.fixed.iloc[place]
        which = term["term"]
        scale = max(abs(term["estimate"]), term["se"])
        if not by_nlme:
            note("fixed effect", which, (mine["estimate"] - term["estimate"]) / scale)
        note("standard error", which, _relative(mine["se"], term["se"]))
        if inside and "satterthwaite_df" in term:
            note("Satterthwaite df", which, _relative(mine["df"], term["satterthwaite_df"]))
        if inside and "p_satterthwaite" in term:
            note("p value", which, mine["p"] - term["p_satterthwaite"])
            ends = term["lower_satterthwaite"], term["upper_satterthwaite"]
            for mark, end in zip(("lower", "upper"), ends, strict=True):
                size = (mine[mark] - end) / (ends[1] - ends[0])
                note("interval end", f"{which} {mark}", size)
        if inside and adjusted is not None:
            other = adjusted.iloc[place]
            note("Kenward-Roger SE", which, _relative(other["se"], term["se_kenward_roger"]))
            note("Kenward-Roger df", which, _relative(other["df"], term["kenward_roger_df"]))


def component(entry: dict[str, Any], ours: Cohort) -> str:
    """Return our name of a variance component of theirs."""
    slopes = ours.data.spec.slopes
    if entry["group"] == "Residual":
        return "residual"
    if ":" in entry["group"]:
        return "visit"
    if "with" in entry:
        return f"animal: correlation of intercept and {slopes[0]}"
    return "animal" if entry["term"] == "(Intercept)" else f"animal: {slopes[0]}"


def _variance(theirs: dict[str, Any], ours: Cohort, by_nlme: bool, note: Any) -> None:
    mine = ours.variance.set_index("component")
    entries = theirs["variance"]
    if isinstance(entries, dict):
        pairs = [
            (f"residual: {sex}", entries["residual_sd"][sex]) for sex in entries["residual_sd"]
        ]
        for key, name in (
            ("subject_intercept_sd", "animal"),
            ("sd_intercept_at_11", "animal"),
            ("sd_slope", "animal: age11"),
        ):
            if key in entries:
                pairs.append((name, entries[key]))
        if "correlation" in entries:
            name = "animal: correlation of intercept and age11"
            note("SD", name, mine.loc[name, "estimate"] - entries["correlation"])
    else:
        pairs = [(component(e, ours), e["sd"]) for e in entries if "sd" in e]
        by_sex = theirs.get("residual_sd_by_group", {})
        pairs += [(f"residual: {sex}", sd) for sex, sd in by_sex.items()]
        for entry in entries:
            if entry.get("correlation") is not None:
                name = component(entry, ours)
                note("SD", name, mine.loc[name, "estimate"] - entry["correlation"])
    for name, sd in pairs:
        note("SD", name, _relative(mine.loc[name, "sd"], sd) if sd else mine.loc[name, "sd"])


def _predictions(theirs: dict[str, Any], ours: Cohort, note: Any) -> None:
    slopes = ours.data.spec.slopes
    for group, levels in theirs.get("predictions", {}).items():
        for level in levels:
            for term, value in level.items():
                if term == "level":
                    continue
                if ":" in group:
                    sessions = ours.sessions
                    label = sessions["animal"].astype(str) + ":" + sessions["session"].astype(str)
                    row = sessions[label == level["level"]].iloc[0]
                    mine, sd = row["visit"], row["visit_sd"]
                else:
                    name = "intercept" if term == "(Intercept)" else slopes[0]
                    row = ours.animals.loc[level["level"]]
                    mine, sd = row[name], row[f"{name}_sd"]
                which = f"{group} {level['level']} {term}"
                scale = max(abs(value["predicted"]), value["conditional_sd"], 1e-3)
                note("prediction", which, (mine - value["predicted"]) / scale)
                note("prediction", f"SD of {which}", (sd - value["conditional_sd"]) / scale)


def _profiles(theirs: dict[str, Any], ours: Cohort, note: Any) -> None:
    names = [component(entry, ours) for entry in theirs["variance"]]
    names += list(ours.terms)
    mine = ours.profile()
    intervals = theirs["profile_intervals_ml_95"]
    order = sorted(range(len(intervals)), key=lambda i: _place(intervals[i]["parameter"], i))
    for name, place in zip(names, order, strict=True):
        row = mine[mine["parameter"] == name].iloc[0]
        for side in ("lower", "upper"):
            value = intervals[place][side]
            scale = max(abs(value), abs(intervals[place]["upper"] - intervals[place]["lower"]))
            note("profile interval", f"{name} {side}", (row[side] - value) / scale)


def _place(parameter: str, place: int) -> int:
    return place - 1000 if parameter.startswith(".sig") else place


def other_answers() -> list[Difference]:
    """Return likelihood-ratio tests, R², ICC and the Kenward-Roger F test."""
    fits: dict[str, dict[str, Cohort]] = {}
    for case in CASES:
        for name in case.fits:
            fits.setdefault(case.file, {})[name] = our_fit(case, name)
    found = []
    for file in ("sleepstudy", "orthodont", "pixel"):
        for test in reference(file)["likelihood_ratio_tests"]:
            small, large = fits[file][test["smaller"]], fits[file][test["larger"]]
            mine = small.compare(large).iloc[1]
            for key in ("chisq", "df", "p"):
                size = mine[key] - test[key]
                found.append(
                    Difference(file, "likelihood ratio", f"{test['name']} {key}", abs(size))
                )
    sleep, fit = reference("sleepstudy"), fits["sleepstudy"]["slope_reml"]
    for kind in ("marginal", "conditional"):
        size = abs(fit.r2[kind] - sleep["r2"][kind])
        found.append(Difference("sleepstudy", "share", f"R2 {kind}", size))
    icc = fits["sleepstudy"]["intercept_reml"].icc.loc["all", "same_animal"]
    found.append(Difference("sleepstudy", "share", "ICC", abs(icc - sleep["icc"]["value"])))
    test, theirs = fit.with_df("kenward_roger").test("Days"), sleep["kenward_roger_F_test_of_Days"]
    for key, name in (("f", "F"), ("denominator", "ddf"), ("p", "p")):
        size = abs(test[key] - theirs[name]) / abs(theirs[name])
        found.append(Difference("sleepstudy", "Kenward-Roger df", f"F test {name}", size))
    return found
