"""Results compare by what they hold: arrays, frames and mixtures too. Standard library only.

What was pickled or copied equals what it came from, also where a number is missing (NaN) or a
date is (NaT). Arrays, frames and Arrow columns are told by what they can do, so that nothing is
loaded for results that hold none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from functools import partial
from types import MappingProxyType

from bpvet.frozen import field_names, is_dataclass

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any


class Content:
    """A frozen dataclass that compares by content; make it with ``eq=False``.

    Fields declared with ``compare=False`` are left out; a class whose content is not its fields
    gives it in `_content`.
    """

    def _content(self) -> tuple[Any, ...]:
        """Return what makes one equal to another."""
        return _fields(self)

    def __eq__(self, other: object) -> bool:
        if type(other) is not type(self):
            return NotImplemented
        return self is other or same(self._content(), other._content())

    def __repr__(self) -> str:
        """Return what a dataclass prints of itself; made with ``repr=False`` it loads sooner."""
        if not is_dataclass(self):
            return object.__repr__(self)
        pairs = (f"{name}={getattr(self, name)!r}" for name in field_names(self, "repr"))
        return f"{type(self).__qualname__}({', '.join(pairs)})"

    def __hash__(self) -> int:
        return hash((type(self).__name__, *map(_mark, self._content())))

    def __getstate__(self) -> dict[str, Any]:
        """Return the fields, and what was worked out of them; read-only mappings travel plain."""
        return {
            name: _Proxied(value) if type(value) is MappingProxyType else value
            for name, value in self.__dict__.items()
        }

    def __setstate__(self, state: dict[str, Any]) -> None:
        self.__dict__.update(
            {
                name: MappingProxyType(dict(value)) if type(value) is _Proxied else value
                for name, value in state.items()
            }
        )


# Of any keys and values: a bare dictionary is what is unpickled.
class _Proxied(dict):  # type: ignore[type-arg]
    """What a read-only mapping holds, on its way."""


def same(first: Any, second: Any) -> bool:
    """Return whether two values hold the same, NaN and NaT being the same as themselves.

    Examples
    --------
    >>> same((1.0, float("nan"), {"a": [2]}), (1.0, float("nan"), {"a": [2]}))
    True
    >>> same(1, 1.0), same([1, 2], [2, 1])
    (False, False)
    """
    if first is second:
        return True
    if type(first) is not type(second):
        return False
    if isinstance(first, Content):
        return same(first._content(), second._content())
    if is_dataclass(first):
        return same(_fields(first), _fields(second))
    if isinstance(first, partial):
        return same(
            (first.func, first.args, first.keywords), (second.func, second.args, second.keywords)
        )
    if isinstance(first, Mapping):
        return first.keys() == second.keys() and all(same(first[key], second[key]) for key in first)
    if isinstance(first, (list, tuple)):
        return len(first) == len(second) and all(map(same, first, second))
    if hasattr(first, "equals"):
        return bool(first.equals(second))
    if hasattr(first, "tocoo"):
        return bool(first.shape == second.shape and not (first != second).nnz)
    if hasattr(first, "dtype") and _shape(first):
        if first.dtype != second.dtype or first.shape != second.shape:
            return False
        if first.dtype.kind == "O":
            return all(map(same, first.ravel().tolist(), second.ravel().tolist()))
        return bool(((first == second) | ((first != first) & (second != second))).all())
    return bool(first == second or (first != first and second != second))


def _shape(value: Any) -> tuple[int, ...]:
    return tuple(getattr(value, "shape", None) or ())


def _fields(value: Any) -> tuple[Any, ...]:
    return tuple(getattr(value, name) for name in field_names(value, "compare"))


def _mark(value: Any) -> Any:
    """Return something hashable that is equal for values that are the same, and quick to make."""
    if isinstance(value, (str, bytes, int, bool, type(None), Content)):
        return value
    if isinstance(value, float):
        return value if value == value else "nan"
    if _shape(value):
        return _shape(value)
    if isinstance(value, (Mapping, Sequence, Set)):
        return len(value)
    return type(value).__name__
