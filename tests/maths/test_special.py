"""The special functions are SciPy's own, and its package is as whole after them as before."""

import subprocess
import sys
import textwrap

import numpy as np
import pytest
import scipy.special
from scipy.special import logsumexp

from bpvet.maths import special
from bpvet.maths.special import log_sum_exp


def ran(code: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code)], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def test_the_functions_are_those_of_the_package() -> None:
    assert special.functions() == {name: getattr(scipy.special, name) for name in special.NAMES}


def test_they_are_the_same_where_the_package_is_loaded_later() -> None:
    code = """
        import sys
        from bpvet.maths import special
        assert "scipy.special" not in sys.modules, "the package was loaded"
        import pickle
        import scipy.optimize, scipy.special, scipy.stats
        same = [getattr(special, name) is getattr(scipy.special, name) for name in special.NAMES]
        assert pickle.loads(pickle.dumps(special.ndtri)) is scipy.special.ndtri
        assert scipy.special.__spec__ is not None and scipy.special._ufuncs.ndtr is special.ndtr
        print(all(same), round(scipy.stats.norm.ppf(0.975), 6), scipy.special.jv(0, 0.0))
    """
    assert ran(code) == "True 1.959964 1.0"


@pytest.mark.parametrize("fault", ["raise ImportError", "return ModuleType('other')"])
def test_the_package_serves_where_the_compiled_module_is_elsewhere(fault: str) -> None:
    code = f"""
        import sys
        from types import ModuleType
        import importlib
        before = importlib.import_module
        def other(name, *more):
            if name == "scipy.special._ufuncs":
                {fault}
            return before(name, *more)
        importlib.import_module = other
        from bpvet.maths import special
        import scipy.special
        print(special.ndtr is scipy.special.ndtr, special.ndtri(0.5))
    """
    assert ran(code) == "True 0.0"


def test_who_imports_the_package_meanwhile_has_all_of_it() -> None:
    code = """
        import importlib
        before, seen = importlib.import_module, []
        def meanwhile(name, *more):
            if name == "scipy.special._ufuncs" and not seen:
                seen.append(name)
                from scipy.special import jv
                seen.append(jv(0, 0.0))
            return before(name, *more)
        importlib.import_module = meanwhile
        from bpvet.maths import special
        import scipy.special
        print(seen[1], special.ndtr is scipy.special.ndtr)
    """
    assert ran(code) == "1.0 True"


@pytest.mark.parametrize("axis", [None, 0, 1, 2])
@pytest.mark.parametrize("spread", [1e-9, 1.0, 40.0, 900.0])
def test_digits_of_sums_are_those_of_scipy(axis: int | None, spread: float) -> None:
    rng = np.random.default_rng(20)
    logs = rng.normal(-3.0, spread, (7, 20, 33))
    logs[:, 3] = logs[:, 4]  # equal ones, the largest among them here and there
    # Older releases take other steps, whose last digit may be another.
    wanted = logsumexp(logs, axis=axis)
    np.testing.assert_allclose(log_sum_exp(logs, axis), wanted, rtol=1e-14, atol=1e-14)


@pytest.mark.parametrize(
    "logs",
    [
        [-np.inf, 0.0, -np.inf],
        [-np.inf, -np.inf],
        [np.inf, 1.0],
        [np.nan, 1.0],
        [800.0, 800.0, -800.0],
        [0.0],
    ],
)
def test_sums_of_what_is_infinite_or_missing(logs: list[float]) -> None:
    assert np.array_equal(log_sum_exp(np.array(logs)), logsumexp(logs), equal_nan=True)
