"""The latest usual pressure of many trends side by side is that of each asked alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.maths import newest
from bpvet.models.trend.fit import subset
from bpvet.models.trend.newest import usual_newest
from bpvet.models.trend.outlook import before_newest
from bpvet.models.trend.trend import Trend


def trends(counts: list[int], seed: int = 5) -> list[Trend]:
    """Return the trends of cats, half of them on a drug, with so many readings a session.

    One session of the second cat was taken at another site; a third of them were at home.
    """
    rng = np.random.default_rng(seed)
    readings, drugs = [], []
    for a in range(12):
        level = 150 + 20 * rng.normal()
        setting = "home" if a % 3 == 2 else "clinic"
        for visit in range(1 + a % 5):
            date = str(np.datetime64("2025-01-01") + int(50 * visit + rng.integers(30)))
            site = "tail" if (a, visit) == (2, 0) else "foreleg"
            readings += [
                (f"C{a}", date, "doppler", round(level + 8 * rng.normal()), setting, site)
                for _ in range(int(rng.choice(counts)))
            ]
        if a % 2:
            drugs.append((f"C{a}", "amlodipine", "2025-02-20", "0.625", "mg"))
    names = ["animal", "taken_at", "method", "systolic", "setting", "site"]
    records = bpvet.Records.from_frames(
        pd.DataFrame(readings, columns=names),
        animals=pd.DataFrame({"animal": [f"C{a}" for a in range(12)], "species": "cat"}),
        treatments=pd.DataFrame(
            drugs, columns=["animal", "drug", "started_on", "dose", "dose_unit"]
        ),
        as_of="2025-12-01",
    )
    return list(bpvet.fit_trends(records, rule="all", progress=False).values())


@pytest.fixture(scope="module", params=[[5], [2, 3, 5]], ids=["even", "uneven"])
def fitted(request: pytest.FixtureRequest) -> list[Trend]:
    return trends(request.param)


def test_side_by_side_equals_alone(fitted):
    assert {len(one.posterior.parts) for one in fitted} > {1}
    for one, usual in zip(fitted, usual_newest(fitted), strict=True):
        alone = one.at(one.latest_date)
        np.testing.assert_allclose(usual.means, alone.means, rtol=1e-10)
        np.testing.assert_allclose(usual.sds, alone.sds, rtol=1e-10)
        np.testing.assert_allclose(usual.weights, alone.weights, rtol=1e-12)


def test_others_have_no_say_in_any_digit():
    together = [*trends([5]), *trends([2, 3, 5])]
    whole = usual_newest(together)
    assert len({(one.posterior.weight.size, one.posterior.parts[0].batch.sessions)
                for one in together}) > 12  # fmt: skip
    for some in (range(0, 24, 2), range(5, 24, 7), range(12), *([i] for i in range(24))):
        for i, usual in zip(some, usual_newest([together[i] for i in some]), strict=True):
            assert np.array_equal(usual.means, whole[i].means)
            assert np.array_equal(usual.sds, whole[i].sds)


def test_the_product_and_the_filter_agree(monkeypatch):
    fitted = trends([5])
    by_product = usual_newest(fitted)
    asked = []

    def never(batch):
        asked.append(batch)
        return np.zeros(batch.y.shape[1], dtype=bool)

    monkeypatch.setattr(newest, "even_counts", never)
    for product, filtered in zip(by_product, usual_newest(fitted), strict=True):
        np.testing.assert_allclose(product.means, filtered.means, rtol=1e-10)
        np.testing.assert_allclose(product.sds, filtered.sds, rtol=1e-10)
    assert asked


@pytest.mark.parametrize("later", [0.0, 1.0, 400.0])
def test_a_session_ahead_equals_that_of_one_animal(fitted, later):
    shape = {}
    for one in fitted:
        batch = one.posterior.parts[0].batch
        shape.setdefault((batch.sessions, batch.terms), []).append(one)
    for alike in shape.values():
        row = [one.columns.rows(np.array([later]), visit=3)[0] for one in alike]
        found = newest.session_ahead(
            [one.posterior for one in alike],
            row,
            [later] * len(alike),
            [3.0] * len(alike),
            [0] * len(alike),
        )
        for one, design, ahead in zip(alike, row, found, strict=True):
            alone = one.posterior.session(design[None], np.array([later]), np.array([3.0])).first()
            np.testing.assert_allclose(ahead.means, alone.means, rtol=1e-10)
            np.testing.assert_allclose(ahead.sds, alone.sds, rtol=1e-10)


def test_the_newest_row_is_that_of_day_0(fitted):
    assert any("first_visit" in one.columns.terms for one in fitted)
    assert any(one.columns.changes for one in fitted)
    for one in fitted:
        np.testing.assert_allclose(one.columns.newest(), one.columns.rows(np.zeros(1))[0])


def test_all_but_the_newest_session_are_kept(fitted):
    for one in fitted:
        series, count = one.series, one.series.y.size
        before = before_newest(one)
        if count == 1:
            assert before is None
            continue
        kept = subset(series, np.arange(count) < count - 1)
        assert repr(before) == repr(replace(kept, method=series.method, condition=series.condition))
