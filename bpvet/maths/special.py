"""SciPy's special functions, of the compiled module that has them.

Importing ``scipy.special`` takes half as long as importing pandas: so that other array libraries
may be passed, it copies NumPy, loading all that NumPy leaves until it is asked for, and writes a
hundred docstrings anew. The functions are made in a compiled module below it, and without
``SCIPY_ARRAY_API`` they are the same objects. Where a version of SciPy has them elsewhere, the
package itself is imported.
"""

from __future__ import annotations

import sys
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import TYPE_CHECKING, Any

__all__ = (
    *("erfcx", "expit", "gammainccinv", "gammaincinv", "gammaln", "log_ndtr"),
    *("ndtr", "ndtri", "stdtrit"),
)

_PACKAGE = "scipy.special"


def functions() -> dict[str, Any]:
    """Return the functions by name, from the compiled module or else from the package."""
    if _PACKAGE not in sys.modules:
        try:
            compiled = _compiled()
            return {name: getattr(compiled, name) for name in __all__}
        except (ImportError, AttributeError):
            pass
    package = import_module(_PACKAGE)
    return {name: getattr(package, name) for name in __all__}


def _compiled() -> ModuleType:
    """Return the compiled module, imported below a package that stands there until it is."""
    scipy = find_spec("scipy")
    if scipy is None or not scipy.submodule_search_locations:
        raise ImportError("no folder of SciPy")
    package = ModuleType(_PACKAGE)
    package.__path__ = [f"{one}/special" for one in scipy.submodule_search_locations]

    # For another thread that imports the package meanwhile.
    def whole(name: str) -> Any:
        if sys.modules.get(_PACKAGE) is package:
            del sys.modules[_PACKAGE]
        return getattr(import_module(_PACKAGE), name)

    package.__getattr__ = whole  # type: ignore[method-assign]
    sys.modules[_PACKAGE] = package
    try:
        return import_module(f"{_PACKAGE}._ufuncs")
    finally:
        if sys.modules.get(_PACKAGE) is package:
            del sys.modules[_PACKAGE]


if TYPE_CHECKING:
    from scipy.special import erfcx as erfcx
    from scipy.special import expit as expit
    from scipy.special import gammainccinv as gammainccinv
    from scipy.special import gammaincinv as gammaincinv
    from scipy.special import gammaln as gammaln
    from scipy.special import log_ndtr as log_ndtr
    from scipy.special import ndtr as ndtr
    from scipy.special import ndtri as ndtri
    from scipy.special import stdtrit as stdtrit
else:
    globals().update(functions())
