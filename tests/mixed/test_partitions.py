"""A cohort in parts: same fit whoever keeps the parts, a killed worker included."""

from __future__ import annotations

import os
import signal
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pandas as pd
import pytest

from bpvet.errors import CallError, FitError, FormulaError
from bpvet.mixed.cohort import fit_cohort
from bpvet.mixed.executors import OnCluster, Workers
from tests.mixed.cohort_data import readings

FORMULA = "systolic ~ months * treated + method"
OPTIONS = {"slope": "months", "residual_by": "method", "group": "clinic"}


@pytest.fixture(scope="module")
def frame():
    return readings(11, animals=60, clinics=5)


@pytest.fixture(scope="module")
def whole(frame):
    return fit_cohort(frame, FORMULA, **OPTIONS)


@pytest.fixture(scope="module")
def paths(frame, tmp_path_factory):
    folder = tmp_path_factory.mktemp("parts")
    number = frame["animal"].str[1:].astype(int) // 15
    found = []
    for part, rows in frame.groupby(number):
        found.append(folder / f"part-{part}.parquet")
        rows.to_parquet(found[-1])
    return [str(path) for path in found]


def same(one, other):
    assert one.criterion == pytest.approx(other.criterion, abs=1e-9 * abs(other.criterion))
    np.testing.assert_allclose(one.coefficients, other.coefficients, rtol=1e-7)
    np.testing.assert_allclose(one.fixed["se"], other.fixed["se"], rtol=1e-7)
    columns = ["estimate", "sd"]
    np.testing.assert_allclose(one.variance[columns], other.variance[columns], rtol=1e-5)


def test_parts_in_this_process(frame, whole, paths):
    parts = [pd.read_parquet(path) for path in paths]
    for data in (parts, paths):
        fit = fit_cohort(data, FORMULA, **OPTIONS)
        same(fit, whole)
    pd.testing.assert_frame_equal(
        fit.animals.sort_index(), whole.animals.sort_index(), rtol=1e-4, check_names=False
    )
    with pytest.raises(CallError, match="one frame"):
        fit.sessions  # noqa: B018


def test_a_pool_maps_one_frame(frame, whole):
    with ThreadPoolExecutor(2) as pool:
        fit = fit_cohort(frame, FORMULA, map=pool.map, **OPTIONS)
    same(fit, whole)


def test_two_processes_give_the_digits_of_one(paths):
    serial = fit_cohort(paths, FORMULA, **OPTIONS)
    with Workers(2) as crew:
        fit = fit_cohort(paths, FORMULA, map=crew, **OPTIONS)
        assert fit.criterion == serial.criterion
        np.testing.assert_array_equal(fit.coefficients, serial.coefficients)
        np.testing.assert_array_equal(fit.animals["months"], serial.animals["months"])


def test_errors_come_home(paths, frame):
    with Workers(2) as crew:
        with pytest.raises(CallError, match="holds no numbers"):
            fit_cohort(paths, "method ~ months", map=crew)
        with pytest.raises(CallError, match=r"nowhere.parquet: cannot be read: there is no such"):
            fit_cohort([*paths, "nowhere.parquet"], FORMULA, map=crew)
    with pytest.raises(FormulaError, match="all rows at once"):
        fit_cohort(paths, "systolic ~ scale(months)")
    with pytest.raises(CallError, match="must all be in one part"):
        fit_cohort([frame[:101], frame[101:]], FORMULA)


def test_a_lost_process_is_an_error(paths):
    with Workers(1) as crew:
        crew._processes[0].kill()
        crew._processes[0].join()
        with pytest.raises(FitError, match="ended before"):
            fit_cohort(paths, FORMULA, map=crew)


class _KillsOne(OnCluster):
    """Kills a worker in the middle of the fit."""

    def __init__(self, client, cluster):
        super().__init__(client)
        self.cluster, self.calls = cluster, 0

    def gather(self, function, parts):
        self.calls += 1
        if self.calls == 9:
            # Not by the cluster's own means: those would open a loop of events here, and leave it.
            os.kill(next(iter(self.cluster.workers.values())).pid, signal.SIGKILL)
        return super().gather(function, parts)


def test_a_cluster_of_two_survives_a_killed_worker(paths):
    distributed = pytest.importorskip("distributed")
    serial = fit_cohort(paths, FORMULA, **OPTIONS)
    cluster = distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0"
    )
    with cluster, distributed.Client(cluster) as client:
        calm = fit_cohort(paths, FORMULA, map=OnCluster(client), **OPTIONS)
        assert calm.criterion == serial.criterion
        crew = _KillsOne(client, cluster)
        fit = fit_cohort(paths, FORMULA, map=crew, **OPTIONS)
        assert crew.calls > 9
        assert fit.criterion == serial.criterion
        np.testing.assert_array_equal(fit.coefficients, serial.coefficients)


def test_animals_are_told_apart_by_label_and_type(frame):
    """Labels travel as hashes: numbers of any type are one kind, as they are to a reader."""
    number = frame.assign(animal=frame["animal"].str[1:].astype(int))
    half = number["animal"] < 30
    parts = [number[half], number[~half].astype({"animal": float})]
    assert fit_cohort(parts, FORMULA).n_animals == 60
    with pytest.raises(CallError, match="must all be in one part"):
        fit_cohort([number[half], number[number["animal"] > 28].astype({"animal": float})], FORMULA)
