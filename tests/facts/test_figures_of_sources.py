"""Figures typed in a second time, by hand, and laid beside the data files and the evidence."""

import math

import pytest

from bpvet.facts.categories import guideline, guidelines
from bpvet.facts.recheck import rows
from reference_checks.evidence.lookup import every as facts
from reference_checks.evidence.lookup import known as fact

# id, value, low, high, unit, species, n, source, grade
TYPED = [
    ("acvim2018.normotensive", None, None, 140, "mmHg", "", None, "ACVIM2018", "S"),
    ("acvim2018.prehypertensive", None, 140, 160, "mmHg", "", None, "ACVIM2018", "S"),
    ("acvim2018.hypertensive", None, 160, 180, "mmHg", "", None, "ACVIM2018", "S"),
    ("acvim2018.severe", None, 180, None, "mmHg", "", None, "ACVIM2018", "S"),
    ("acvim2018.confirm.140_179", None, 4, 8, "weeks", "", None, "ACVIM2018", "M"),
    ("acvim2018.confirm.180", None, 1, 2, "weeks", "", None, "ACVIM2018", "M"),
    ("acvim2018.goal.minimum", 160, None, None, "mmHg", "", None, "ACVIM2018", "S"),
    ("acvim2018.goal.ideal", 140, None, None, "mmHg", "", None, "ACVIM2018", "M"),
    ("acvim2018.floor", 120, None, None, "mmHg", "", None, "ACVIM2018", "M"),
    ("acvim2018.recheck.changed", None, 7, 10, "d", "", None, "ACVIM2018", "M"),
    ("acvim2018.recheck.tod", None, 1, 3, "d", "", None, "ACVIM2018", "M"),
    ("acvim2018.recheck.stable", None, 4, 6, "months", "", None, "ACVIM2018", "M"),
    ("acvim2018.emergency.series.median", 230, 190, 300, "mmHg", "", 15, "Beeston2022", "R"),
    ("acvim2018.emergency.series.survival", 53, None, None, "%", "", 15, "Beeston2022", "R"),
    ("protocol.acclimatise_min", None, 5, 10, "min", "", None, "ACVIM2018", "S"),
    ("protocol.n.enough", None, 5, 7, "readings", "", None, "ACVIM2018", "S"),
    ("protocol.n.minimum", 3, None, None, "readings", "", None, "ACVIM2007", "M"),
    ("protocol.consistency", 20, None, None, "%", "", None, "ACVIM2007", "M"),
    ("protocol.height_correction.slope", 0.8, None, None, "mmHg/cm", "", None, "ACVIM2007", "M"),
    ("protocol.cuff_ratio.dog.2007", 0.40, None, None, "1", "dog", None, "ACVIM2007", "S"),
    ("protocol.cuff_ratio.dog.2018", None, 0.30, 0.40, "1", "dog", None, "ACVIM2018", "M"),
    ("protocol.calibration", 6, None, None, "months", "", None, "ACVIM2018", "M"),
    ("validation.bias", 10, None, None, "mmHg", "", None, "ACVIM2018", "M"),
    ("validation.sd", 15, None, None, "mmHg", "", None, "AJVR2020", "R"),
    ("validation.r", 0.9, None, None, "1", "", None, "ACVIM2018", "M"),
    ("validation.within10", 50, None, None, "%", "", None, "ACVIM2018", "M"),
    ("validation.within20", 80, None, None, "%", "", None, "ACVIM2018", "M"),
    ("validation.n.direct", 8, None, None, "animals", "", None, "ACVIM2018", "M"),
    ("validation.n.indirect", 25, None, None, "animals", "", None, "ACVIM2018", "M"),
    ("iris.creatinine.dog.2", None, 125, 250, "µmol/L", "dog", None, "IRIS2019", "R"),
    ("iris.creatinine.cat.1", None, None, 140, "µmol/L", "cat", None, "IRIS2019", "R"),
    ("iris.creatinine_mg.cat.2", None, 1.6, 2.8, "mg/dL", "cat", None, "IRIS2019", "R"),
    ("iris.creatinine_mg.dog.4", None, 5.0, None, "mg/dL", "dog", None, "IRIS2019", "S"),
    ("iris.creatinine_2017.dog.umol", None, 125, 180, "µmol/L", "dog", None, "IRIS2017", "R"),
    ("iris.sdma.dog.3", None, 36, 54, "µg/dL", "dog", None, "IRIS2019", "R"),
    ("iris.sdma.cat.3", None, 26, 38, "µg/dL", "cat", None, "IRIS2019", "S"),
    ("iris.upc.cat.borderline", None, 0.2, 0.4, "1", "cat", None, "IRIS2019", "S"),
    ("iris.upc.dog.proteinuric", None, 0.5, None, "1", "dog", None, "IRIS2019", "S"),
    ("iris.sighthound.moderate", None, 20, 40, "mmHg", "dog", None, "IRIS2019", "M"),
    ("iris.target", 160, None, None, "mmHg", "cat", None, "IRIS2019", "S"),
    ("iris.creatinine_rise.umol", 45, None, None, "µmol/L", "", None, "IRIS2019", "M"),
    ("iris.target.dog", 160, None, None, "mmHg", "dog", None, "IRIS2019", "M"),
    ("iris.sdma_rise", 2, None, None, "µg/dL", "", None, "IRIS2019", "M"),
    ("kidney.acute.umol", 26.5, None, None, "µmol/L", "", None, "IRISAcute", "M"),
    ("kidney.acute.mg", 0.3, None, None, "mg/dL", "", None, "IRISAcute", "M"),
    ("kidney.acute.soon", 48, None, None, "h", "", None, "IRISAcute", "M"),
    ("kidney.acute.share", 50, None, None, "%", "", None, "IRISAcute", "M"),
    ("kidney.acute.week", 7, None, None, "d", "", None, "IRISAcute", "M"),
    ("kidney.potassium.repeat", 5.5, None, None, "mmol/L", "", None, "Electrolytes", "M"),
    ("kidney.potassium.high", 6.0, None, None, "mmol/L", "", None, "Electrolytes", "M"),
    ("kidney.potassium.low", 3.0, None, None, "mmol/L", "", None, "Electrolytes", "M"),
    ("kidney.rise.glomerular.2", 30, None, None, "%", "dog", None, "Glomerular2013", "M"),
    ("kidney.rise.glomerular.3", 10, None, None, "%", "dog", None, "Glomerular2013", "M"),
    ("kidney.rise.glomerular.4", 0, None, None, "%", "dog", None, "Glomerular2013", "M"),
    ("kidney.upc.day_to_day.low", 80, None, None, "%", "dog", None, "Nabity2007", "M"),
    ("kidney.upc.day_to_day.high", 35, None, None, "%", "dog", None, "Nabity2007", "M"),
    ("kidney.phosphate.3", 1.6, None, None, "mmol/L", "", None, "IRIS2019", "M"),
    ("project.kidney.acute_share", 15, None, None, "%", "", None, "project", "J"),
    ("project.kidney.response", None, 3, 30, "d", "", None, "project", "J"),
    ("project.kidney.baseline", 60, None, None, "d", "", None, "project", "J"),
    ("project.weight.fall", 10, None, None, "%", "", None, "project", "J"),
    ("iris.recheck.stable", 3, None, None, "months", "", None, "IRIS2019", "M"),
    ("isfm.treat.tod", 150, None, None, "mmHg", "cat", None, "ISFM2017", "M"),
    ("isfm.treat.no_tod", 160, None, None, "mmHg", "cat", None, "ISFM2017", "S"),
    ("isfm.floor", 110, None, None, "mmHg", "cat", None, "ISFM2017", "M"),
    ("isfm.recheck.start.severe", None, 24, 72, "h", "cat", None, "ISFM2017", "M"),
    ("isfm.screen.11y", None, 6, 12, "months", "cat", None, "ISFM2017", "M"),
    ("size.cat.healthy.doppler.median", 120.6, 110.4, 132.4, "mmHg", "cat", 780, "Payne2017", "R"),
    ("size.cat.healthy.osc.median", 147, 134, 158, "mmHg", "cat", 137, "Isayama2019", "R"),
    ("size.cat.practice.median", 150, 80, 310, "mmHg", "cat", 8884, "Sparkes2022", "R"),
    ("size.cat.old.doppler.dh.ckd", 147.2, 140.4, 156.1, "mmHg", "cat", 27, "Bijsmans2015", "R"),
    ("size.dog.direct24h.systolic", 123.4, None, None, "mmHg", "dog", 7, "Mishina1999", "R"),
    ("size.dog.elderly.doppler", 147.3, 105, 239, "mmHg", "dog", 102, "Marynissen2023", "R"),
    ("size.within.dog.wernick.discarded_osc2", 28, None, None, "%", "dog", 29, "Wernick2012", "R"),
    (
        "size.between.dog.osc_untrained.between_day",
        None,
        21,
        27.1,
        "mmHg",
        "dog",
        5,
        "Rattez2008",
        "R",
    ),
    ("size.between.dog.samehour.bias", -0.6, -26.3, 25.1, "mmHg", "dog", 40, "Domingues2022", "R"),
    ("size.situational.cat.telemetry.renal", 22.3, None, None, "mmHg", "cat", 13, "Belew1999", "R"),
    (
        "size.situational.cat.clinic.arrival",
        167.6,
        None,
        None,
        "mmHg",
        "cat",
        30,
        "Sastravaha",
        "R",
    ),
    ("size.adaptation.dog.day35", 127, None, None, "mmHg", "dog", 12, "Schellenberg2007", "R"),
    ("size.posture.dog.difference", 25.1, None, None, "mmHg", "dog", 51, "Rondeau2013", "R"),
    ("size.premed.cat.change", -12, -95, 21, "mmHg", "cat", 29, "Quimby2024", "R"),
    ("size.breed.wolfhound.systolic", 116.0, None, None, "mmHg", "dog", 158, "Bright2002", "R"),
    ("size.breed.wolfhound.diastolic", 69.2, None, None, "mmHg", "dog", 158, "Bright2002", "R"),
    ("size.incidence.cat", 19.5, 17.5, 21.6, "%", "cat", None, "Conroy2018", "R"),
    ("size.od.cat.2026.three", 3.1, -21.0, 27.1, "mmHg", "cat", 16, "JFMS2026", "R"),
    ("size.osc_direct.cat.anaesth.b", -10.3, -52.9, 32.2, "mmHg", "cat", 21, "JAVMA2010", "R"),
    ("size.osc_direct.dog.awake.diastolic", 9.4, -28.3, 47.0, "mmHg", "dog", 19, "AwakeDogs", "R"),
    ("effect.amlodipine.cat.huhtinen.end", 154, None, None, "mmHg", "cat", 42, "Huhtinen2015", "R"),
    ("effect.amlodipine.dog.geigy.change", -24, -34, -12, "mmHg", "dog", 22, "Geigy2011", "R"),
    (
        "effect.telmisartan.cat.glaus.day28",
        -24.6,
        -28.1,
        -21.1,
        "mmHg",
        "cat",
        285,
        "Glaus2019",
        "R",
    ),
    (
        "effect.telmisartan.cat.coleman.placebo_day14",
        -7.5,
        -13.6,
        -1.5,
        "mmHg",
        "cat",
        221,
        "Coleman2019",
        "R",
    ),
    ("effect.telmisartan.dog.fowler", -13, -22, -4, "mmHg", "dog", 42, "Fowler2021", "R"),
    ("tau.amlodipine", 3, 2, 7, "d", "", None, "project", "J"),
    ("tau.telmisartan", 5, 3, 11, "d", "", None, "project", "J"),
    ("unit.mmHg", 133.322387415, None, None, "Pa", "", None, "SI", "R"),
    ("unit.kPa", 7.5006157585, None, None, "mmHg", "", None, "SI", "D"),
    ("position.recheck_start.aafp2021", None, 3, 5, "d", "cat", None, "AAFP2021", "R"),
    ("position.recheck_stable.acvim2007", None, 1, 4, "months", "", None, "ACVIM2007", "M"),
    ("project.urgent.low_on_drug", 100, None, None, "mmHg", "", None, "project", "J"),
]


@pytest.mark.parametrize("typed", TYPED, ids=lambda typed: typed[0])
def test_figure_as_typed(typed: tuple[object, ...]) -> None:
    found = fact(str(typed[0]))
    seen = (found.value, found.low, found.high, found.unit, found.species, found.n)
    assert (*seen, found.source, found.grade) == typed[1:]


def test_what_is_doubtful_says_so_and_is_not_used() -> None:
    doubtful = [found for found in facts() if found.caution.startswith("Doubtful")]
    roots = {found.id.rpartition(".")[0] for found in doubtful}
    assert roots == {"acvim2018.recheck.tod.split", "isfm.categories"}
    assert all(found.grade == "M" for found in doubtful)
    chosen = [guideline(key) for key in guidelines()]
    windows = [one for row in rows().values() for one in row.windows.values()]
    used = {one.fact.id for one in windows if one.fact is not None}
    used |= {one.fact_id for each in chosen for one in each.categories}
    assert not used & {found.id for found in doubtful}


def test_the_bounds_of_2023_were_not_seen_and_none_is_shown() -> None:
    newer = [found for found in facts("iris") if found.source == "IRIS2023"]
    assert len(newer) == 3
    assert all("those shown are of 2019" in found.caution for found in newer)
    assert all(found.low is found.high is found.value is None for found in newer)


def test_the_target_of_dogs_is_a_fact_of_its_own() -> None:
    assert guideline("iris2023", "dog").target.fact.id == "iris.target.dog"
    assert guideline("iris2023", "cat").target.fact.id == "iris.target"
    assert guideline("iris2023", "dog").target.fact.remembered
    assert guideline("acvim2018", "dog").target.fact.id == "acvim2018.goal.minimum"


# The sums of figures graded D, done again from the figures that they rest on.
def value(id: str) -> float:
    number = fact(id).value
    assert number is not None
    return number


def test_changes_are_differences() -> None:
    for root, before, after, change in [
        ("effect.amlodipine.cat.huhtinen", "baseline", "end", "change"),
        ("effect.amlodipine.cat.huhtinen", "baseline", "placebo_end", "placebo_change"),
        ("effect.amlodipine.cat.snyder", "baseline", "day7", "change"),
        (
            "effect.amlodipine.cat.snyder",
            "finishers_baseline",
            "finishers_week16",
            "finishers_change",
        ),
        ("effect.amlodipine.cat.henik", "baseline", "end", "change"),
        ("effect.amlodipine.cat.elliott", "baseline", "end", "change"),
        ("size.adaptation.dog", "start", "day35", "fall"),
        ("size.situational.dog.doppler", "home", "hospital", "rise"),
    ]:
        difference = value(f"{root}.{after}") - value(f"{root}.{before}")
        assert value(f"{root}.{change}") == pytest.approx(difference, abs=0.5), (root, change)


def test_net_of_placebo() -> None:
    for trial in ("glaus", "coleman"):
        root = f"effect.telmisartan.cat.{trial}"
        for day in ("day14", "day28"):
            net = value(f"{root}.{day}") - value(f"{root}.placebo_{day}")
            assert value(f"{root}.net_{day}") == pytest.approx(net, abs=0.5)


def test_spreads_from_quartiles_and_limits() -> None:
    for id, sd in [
        ("size.cat.healthy.doppler.median", "size.cat.healthy.doppler.sd"),
        ("size.cat.healthy.osc.median", "size.cat.healthy.osc.sd"),
        ("size.cat.old.doppler.ckd", "size.cat.old.doppler.ckd_sd"),
        ("size.cat.old.doppler.healthy", "size.cat.old.doppler.healthy_sd"),
    ]:
        quartiles = fact(id)
        assert quartiles.low is not None
        assert quartiles.high is not None
        assert value(sd) == pytest.approx((quartiles.high - quartiles.low) / 1.349, abs=0.5)
    limits = fact("size.between.dog.samehour.bias")
    assert limits.low is not None
    assert limits.high is not None
    difference = (limits.high - limits.low) / (2 * 1.96)
    assert value("size.between.dog.samehour.sd_difference") == pytest.approx(difference, abs=0.05)
    assert value("size.between.dog.samehour.sd_session") == pytest.approx(13.1 / 2**0.5, abs=0.05)
    for kind in ("doppler", "osc", "osc2"):
        repeatability = value(f"size.within.dog.wernick.repeatability_{kind}")
        sd_reading = repeatability / (1.96 * 2**0.5)
        assert value(f"size.within.dog.wernick.sd_{kind}") == pytest.approx(sd_reading, abs=0.05)


def test_physics() -> None:
    pascal = 13595.1 * 9.80665 * 0.001
    assert value("unit.mmHg") == pytest.approx(pascal, abs=1e-8)
    assert value("unit.kPa") == pytest.approx(1000 / pascal, abs=1e-9)
    slope = fact("physics.height.range")
    for density, end in ((1050, slope.low), (1060, slope.high)):
        assert end == pytest.approx(density * 9.80665 * 0.01 / pascal, abs=0.001)
    assert value("physics.height.anaemia") == pytest.approx(1040 * 0.0980665 / pascal, abs=0.001)
    fraction = (91.1 - 74.5) / (123.4 - 74.5)
    assert value("physics.mean_fraction.direct_dogs") == pytest.approx(fraction, abs=0.005)
    fraction = (87.8 - 69.2) / (116.0 - 69.2)
    assert value("physics.mean_fraction.wolfhounds") == pytest.approx(fraction, abs=0.005)
    accumulation = 53 / math.log(2) / 24
    assert value("tau.evidence.amlodipine.accumulation") == pytest.approx(accumulation, abs=0.05)


def test_every_falling_change_is_negative() -> None:
    changes = [found for found in facts("effect") if "change" in found.statistic]
    assert len(changes) > 10
    for found in changes:
        assert max(end for end in (found.value, found.low, found.high) if end is not None) < 0
