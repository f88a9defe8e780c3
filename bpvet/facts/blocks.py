"""Reading a block of TOML as a frozen object: what is not known in it is refused by name."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from bpvet.facts.sources import BLOCK_FILES, TOPICS, table
from bpvet.frozen import field_names, required_names

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any, TypeVar

    _Block = TypeVar("_Block")


def read_blocks(file: str, kind: type[_Block]) -> dict[str, _Block]:
    """Return the blocks of a data file by name, in its order.

    Parameters
    ----------
    file : str
        One of `bpvet.facts.sources.BLOCK_FILES`.
    kind : type
        A dataclass; its field ``name`` is the block's name where the block gives none, its fields
        that are tuples are lists in the file, and ``facts`` are read by `bpvet.facts.sources`.

    Raises
    ------
    ValueError
        If a block has something that is not known, lacks something, or holds a fact whose topic
        is not known; the message names it.
    """
    assert file in BLOCK_FILES, file
    return {
        name: _block(f"{file}: {name}", name, entry, kind) for name, entry in table(file).items()
    }


def _block(where: str, name: str, entry: Mapping[str, Any], kind: type[_Block]) -> _Block:
    known = field_names(kind)
    strange = sorted(set(entry) - set(known) - {"facts"})
    if strange:
        raise ValueError(f"{where}: {strange[0]!r} is not known; a block has {', '.join(known)}")
    for id in entry.get("facts", ()):
        if id.partition(".")[0] not in TOPICS:
            raise ValueError(f"{where}: {id!r} is of no topic of facts")
    given = {"name": name} | {
        key: _frozen(entry_value) for key, entry_value in entry.items() if key != "facts"
    }
    missing = [key for key in required_names(kind) if key not in given]
    if missing:
        raise ValueError(f"{where}: {missing[0]!r} is missing")
    return kind(**given)


def _frozen(value: Any) -> Any:
    if isinstance(value, dict):
        return MappingProxyType({key: _frozen(member) for key, member in value.items()})
    return tuple(_frozen(member) for member in value) if isinstance(value, list) else value
