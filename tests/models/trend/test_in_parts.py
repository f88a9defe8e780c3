"""Trends over parts: the digits of the whole, whoever works on them, a killed worker included."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import bpvet
from bpvet.errors import CallError, FitError, RecordsError
from bpvet.mixed.executors import OnCluster, Workers
from bpvet.models.records_in_parts import gathered
from reference_checks.speed.due import AS_OF, tables

KEYS = ["animal", "method", "condition", "quantity"]


def write(folder, held, animals):
    """Write the tables of some animals as Parquet."""
    folder.mkdir(parents=True)
    for name, table in held.items():
        table[table["animal"].isin(animals)].to_parquet(folder / f"{name}.parquet", index=False)
    return folder


@pytest.fixture(scope="module")
def held():
    return tables(40, 3)


@pytest.fixture(scope="module")
def clinics(held, tmp_path_factory):
    """A folder of one, two and seven parts each: animals dealt in turn, as they come."""
    home, names = tmp_path_factory.mktemp("clinics"), list(held["animals"]["animal"])
    for count in (1, 2, 7):
        for i in range(count):
            write(home / str(count) / f"part-{i}", held, names[i::count])
    return home


@pytest.fixture(scope="module")
def whole(clinics):
    records = bpvet.read(clinics / "1" / "part-0", as_of=AS_OF)
    return bpvet.fit_trends(records, progress=False).to_frame()


def of_files(paths):
    """Return what files hold; Parquet keeps milliseconds where a frame has seconds."""
    return together(
        pd.read_parquet(path).astype({"latest_date": "datetime64[s]"}) for path in paths
    )


def together(frames):
    return pd.concat(list(frames)).sort_values(KEYS, ignore_index=True)


@pytest.mark.parametrize("count", ["2", "7"])
def test_parts_have_the_digits_of_the_whole(clinics, whole, count):
    frames = bpvet.fit_trends_in_parts(clinics / count, as_of=AS_OF)
    assert len(frames) == int(count)
    pd.testing.assert_frame_equal(together(frames), whole, check_exact=True)


def test_files_hold_what_frames_do(clinics, whole, tmp_path):
    paths = bpvet.fit_trends_in_parts(clinics / "2", output=tmp_path / "trends", as_of=AS_OF)
    assert sorted((tmp_path / "trends").iterdir()) == paths
    assert os.listdir(tmp_path) == ["trends"]
    pd.testing.assert_frame_equal(of_files(paths), whole, check_exact=True)
    with pytest.raises(CallError, match="is there already"):
        bpvet.fit_trends_in_parts(clinics / "2", output=tmp_path / "trends")


def test_two_processes_give_the_digits_of_one(clinics, whole):
    frames = bpvet.fit_trends_in_parts(clinics / "7", executor=2, as_of=AS_OF)
    pd.testing.assert_frame_equal(together(frames), whole, check_exact=True)
    with Workers(2) as crew:
        frames = bpvet.fit_trends_in_parts(clinics / "2", executor=crew, as_of=AS_OF)
    pd.testing.assert_frame_equal(together(frames), whole, check_exact=True)


def killed_once(job):
    """Return the square of a number; whoever has the third first is killed over it."""
    number, folder = job
    if number == 3 and not Path(folder, "killed").exists():
        Path(folder, "killed").touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number**2


def killed(job):
    os.kill(os.getpid(), signal.SIGKILL)


def test_a_killed_process_changes_nothing(tmp_path):
    jobs = [(number, str(tmp_path)) for number in range(6)]
    assert gathered(killed_once, jobs, 2) == [0, 1, 4, 9, 16, 25]
    assert (tmp_path / "killed").exists()
    with pytest.raises(FitError, match="again and again"):
        gathered(killed, [1, 2], 2)


class _KillsOne(OnCluster):
    """Kills a worker that has begun."""

    def __init__(self, client, cluster):
        super().__init__(client)
        self.cluster = cluster

    def scatter(self, function, parts):
        handles = super().scatter(function, parts)
        handles[0].result()
        os.kill(next(iter(self.cluster.workers.values())).pid, signal.SIGKILL)
        return handles


def test_a_cluster_survives_a_killed_worker(clinics, whole, tmp_path):
    distributed = pytest.importorskip("distributed")
    cluster = distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0"
    )
    with cluster, distributed.Client(cluster) as client:
        crew = _KillsOne(client, cluster)
        paths = bpvet.fit_trends_in_parts(
            clinics / "7", output=tmp_path / "trends", executor=crew, as_of=AS_OF
        )
    assert sorted((tmp_path / "trends").iterdir()) == paths
    pd.testing.assert_frame_equal(of_files(paths), whole, check_exact=True)


def test_an_animal_in_two_parts_is_refused_by_name(held, tmp_path):
    names = list(held["animals"]["animal"])[:6]
    for part, some in (("east", names[:3]), ("south", names[4:]), ("west", names[2:4])):
        write(tmp_path / "clinic" / part, held, some)
    told = rf'Animal "{names[2]}" is in two parts, ".*east" and ".*west"'
    for executor in (None, 2):
        with pytest.raises(CallError, match=told):
            bpvet.fit_trends_in_parts(
                tmp_path / "clinic", output=tmp_path / "trends", executor=executor, as_of=AS_OF
            )
        assert os.listdir(tmp_path) == ["clinic"]


def test_two_ids_of_one_code_are_two_animals(clinics, whole, monkeypatch):
    import bpvet.models.trend.in_parts as module

    monkeypatch.setattr(module, "animal_codes", lambda records: np.zeros(1, np.uint64))
    frames = bpvet.fit_trends_in_parts(clinics / "2", as_of=AS_OF)
    pd.testing.assert_frame_equal(together(frames), whole, check_exact=True)


def test_an_empty_part_has_no_trends(held, whole, clinics, tmp_path):
    empty = write(tmp_path / "empty", held, [])
    parts = [empty, clinics / "1" / "part-0"]
    none, every = bpvet.fit_trends_in_parts(parts, as_of=AS_OF)
    assert len(none) == 0
    assert list(none.dtypes) == list(every.dtypes)
    pd.testing.assert_frame_equal(every, whole, check_exact=True)


def test_errors_name_the_part(clinics, tmp_path):
    (tmp_path / "bare").mkdir()
    for executor in (None, 2):
        with pytest.raises(RecordsError, match=r'Part ".*bare": .*no readings file'):
            bpvet.fit_trends_in_parts([tmp_path / "bare"], executor=executor)


def test_a_full_disk_is_an_error_and_leaves_nothing(clinics, tmp_path, monkeypatch):
    def full(self, content):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(CallError, match="cannot be written: No space left"):
        bpvet.fit_trends_in_parts(clinics / "2", output=tmp_path / "trends", as_of=AS_OF)
    assert os.listdir(tmp_path) == []


def test_calls_that_are_wrong(clinics, tmp_path):
    (tmp_path / "records").mkdir()
    with pytest.raises(CallError, match="holds no folders"):
        bpvet.fit_trends_in_parts(tmp_path / "records")
    with pytest.raises(CallError, match="no parts"):
        bpvet.fit_trends_in_parts([])
    with pytest.raises(CallError, match="more than once"):
        bpvet.fit_trends_in_parts([tmp_path, tmp_path])
    with pytest.raises(CallError, match="processes is none of"):
        bpvet.fit_trends_in_parts(clinics / "2", processes=2)
    with pytest.raises(CallError, match="1 process or more"):
        bpvet.fit_trends_in_parts(clinics / "2", executor=0)
    with pytest.raises(CallError, match="with gather"):
        bpvet.fit_trends_in_parts(clinics / "2", executor="two")
    with pytest.raises(CallError, match="among the parts"):
        bpvet.fit_trends_in_parts(clinics / "2", output=clinics / "2" / "trends")
    with pytest.raises(CallError, match="cannot be written: No such file"):
        bpvet.fit_trends_in_parts(clinics / "2", output=tmp_path / "nowhere" / "trends")
    (tmp_path / "readings.csv").touch()
    with pytest.raises(CallError, match=r"beside them the records .readings.csv"):
        bpvet.fit_trends_in_parts(tmp_path)
