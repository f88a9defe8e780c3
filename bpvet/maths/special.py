"""SciPy's special functions, of the compiled module that has them.

Importing ``scipy.special`` takes over a quarter as long as pandas: so that other array libraries
may be passed, it copies NumPy, loading all that NumPy leaves until it is asked for, and writes a
hundred docstrings anew. The functions are made in a compiled module below it, and without
``SCIPY_ARRAY_API`` they are the same objects. Where a version of SciPy has them elsewhere, the
package itself is imported. `log_sum_exp` takes the steps of the package's own, in NumPy alone, and
has its digits.
"""

from __future__ import annotations

import sys
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: What is taken from SciPy.
NAMES = (
    *("betainc", "chdtrc", "chdtri", "erfcx", "expit", "gammainccinv", "gammaincinv", "gammaln"),
    *("log_ndtr", "ndtr", "ndtri", "stdtr", "stdtrit"),
)

_PACKAGE = "scipy.special"


def log_sum_exp(logs: Array, axis: int | None = None) -> Array:
    """Return the logarithm of the sum of the exponentials of `logs` along an axis, or of all.

    Parameters
    ----------
    logs : (...) float
        At least one along the axis; −∞ stands for 0.
    axis : int or None
        The axis that is summed over and falls away; all of them by default.
    """
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        top = np.max(logs, axis=axis, keepdims=True)
        highest = logs == top
        count = np.sum(highest.astype(float), axis=axis, keepdims=True)
        # The largest stand apart, so that what they leave of the others' digits is kept.
        rest = np.sum(np.exp(np.where(highest, -np.inf, logs) - top), axis=axis, keepdims=True)
        found = np.log1p(np.where(rest == 0, rest, rest / count)) + np.log(count) + top
        if not np.isfinite(found).all():
            plain = np.log(np.sum(np.exp(logs), axis=axis, keepdims=True))
            found = np.where(np.isfinite(found), found, plain)
    return np.asarray(np.squeeze(found, axis=axis))


def functions() -> dict[str, Any]:
    """Return the functions by name, from the compiled module or else from the package."""
    if _PACKAGE not in sys.modules:
        try:
            compiled = compiled_module(_PACKAGE, "_ufuncs")
            return {name: getattr(compiled, name) for name in NAMES}
        except (ImportError, AttributeError):
            pass
    package = import_module(_PACKAGE)
    return {name: getattr(package, name) for name in NAMES}


def compiled_module(name: str, module: str) -> ModuleType:
    """Return a compiled module, imported below a package that stands there until it is.

    Parameters
    ----------
    name : str
        The package of SciPy that has it, such as ``scipy.special``.
    module : str
        Its own name.

    Raises
    ------
    ImportError
        This version of SciPy has none.
    """
    if name in sys.modules:
        return import_module(f"{name}.{module}")
    scipy = find_spec("scipy")
    if scipy is None or not scipy.submodule_search_locations:
        raise ImportError("no folder of SciPy")
    package = ModuleType(name)
    folder = name.removeprefix("scipy.")
    package.__path__ = [f"{root}/{folder}" for root in scipy.submodule_search_locations]

    # For another thread that imports the package meanwhile.
    def whole(attribute: str) -> Any:
        if sys.modules.get(name) is package:
            del sys.modules[name]
        return getattr(import_module(name), attribute)

    # A module may have such a function of its own; its type knows only the method.
    package.__getattr__ = whole  # type: ignore[method-assign]
    sys.modules[name] = package
    try:
        return import_module(f"{name}.{module}")
    finally:
        if sys.modules.get(name) is package:
            del sys.modules[name]


if TYPE_CHECKING:
    from scipy.special import betainc as betainc
    from scipy.special import chdtrc as chdtrc
    from scipy.special import chdtri as chdtri
    from scipy.special import erfcx as erfcx
    from scipy.special import expit as expit
    from scipy.special import gammainccinv as gammainccinv
    from scipy.special import gammaincinv as gammaincinv
    from scipy.special import gammaln as gammaln
    from scipy.special import log_ndtr as log_ndtr
    from scipy.special import ndtr as ndtr
    from scipy.special import ndtri as ndtri
    from scipy.special import stdtr as stdtr
    from scipy.special import stdtrit as stdtrit
else:
    globals().update(functions())
