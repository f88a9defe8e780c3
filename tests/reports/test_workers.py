"""Processes beside this one: branched off or begun anew, all jobs are done, once and in order."""

from __future__ import annotations

import os
import subprocess
import sys
import threading

import pytest

from bpvet.reports import workers

from . import worker_jobs

BRANCHES = sys.platform == "linux"
branching = pytest.mark.skipif(not BRANCHES, reason="no branches on this system")
#: A process that has no threads, as the command is: pytest's may have some.
CALLED = """\
import sys
from bpvet.reports import workers
from tests.reports import worker_jobs
{before}
try:
    print(workers.made(worker_jobs.{job}, range({jobs}), {processes}))
except BaseException as error:
    print(type(error).__name__, error)
"""


def called(job: str, jobs: int = 12, processes: int = 3, before: str = "") -> str:
    code = CALLED.format(before=before, job=job, jobs=jobs, processes=processes)
    env = {key: value for key, value in os.environ.items() if key != "BPVET_TEST_PARENT"}
    call = [sys.executable, "-W", "error", "-c", code]
    done = subprocess.run(call, capture_output=True, text=True, env=env, timeout=120, check=True)
    return done.stdout.strip()


@pytest.mark.parametrize("before", ["", "workers.may_branch = lambda: False"])
def test_each_job_is_done_once_and_in_order_by_several(before: str) -> None:
    jobs = 30
    found = eval(called("square", jobs, before=before))
    assert [answer for answer, _ in found] == [job * job for job in range(jobs)]
    assert {beside for _, beside in found} == {True, False}


def test_one_process_does_all_itself() -> None:
    assert workers.made(worker_jobs.failing, [1, 2], 1) == [1, 2]
    assert workers.made(worker_jobs.failing, [], 4) == []


@branching
def test_a_process_that_was_killed_is_an_error() -> None:
    assert called("killed").startswith("BrokenProcessPool")


@branching
def test_what_hangs_is_ended_and_done_here() -> None:
    assert called("hanging", before="workers._PATIENCE = 0.5") == str(list(range(12)))


@branching
def test_the_error_of_a_job_is_raised() -> None:
    assert called("failing") == "ValueError of the third"


@branching
def test_nothing_is_branched_off_beside_a_thread() -> None:
    ready = "import threading; print(workers.may_branch())"
    waiting = "threading.Thread(target=threading.Event().wait, daemon=True).start()"
    told = called("failing", 1, 1, f"{ready}\n{waiting}\nprint(workers.may_branch())")
    assert told.split() == ["True", "False", "[0]"]


def test_a_thread_branches_nothing_off() -> None:
    found: list[bool] = []
    asking = threading.Thread(target=lambda: found.append(workers.may_branch()))
    asking.start()
    asking.join()
    assert found == [False]


def test_few_jobs_are_not_worth_a_process_begun_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workers, "may_branch", lambda: False)
    monkeypatch.setattr(workers, "ProcessPoolExecutor", None)
    assert workers.made(worker_jobs.failing, [0, 1, 2], 4) == [0, 1, 2]
