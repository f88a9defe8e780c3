"""What may work on parts: an executor, and not a cluster's client that has methods of its names."""

from __future__ import annotations

import pytest

from bpvet.errors import CallError
from bpvet.mixed.cohort import fit_cohort
from bpvet.mixed.executors import OnCluster, Workers, is_executor
from reference_checks.speed.cohort_data import readings


class Client:
    """The names of a Dask client's methods."""

    def submit(self) -> None: ...

    def scatter(self) -> None: ...

    def gather(self) -> None: ...


def test_a_client_is_no_executor() -> None:
    assert is_executor(OnCluster(Client()))
    assert is_executor(Workers.__new__(Workers))
    assert not is_executor(Client())
    assert not is_executor(map)


def test_a_client_in_place_of_an_executor_is_refused() -> None:
    with pytest.raises(CallError, match="with scatter and gather"):
        fit_cohort([readings(20)], "systolic ~ months", map=Client())
