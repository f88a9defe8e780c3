"""A table of priors by kind of series, kept in a file of its own."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

from bpvet.errors import CallError
from bpvet.facts.priors.groups import PriorGroups
from bpvet.facts.priors.prior_file import (
    GROUP_NUMBERS,
    LATER_NUMBERS,
    NUMBERS,
    OPTIONAL,
    PAIRS,
    read_cells,
)
from bpvet.facts.priors.priors import Priors, check_kind
from bpvet.files import write_whole
from bpvet.frozen import dataclass
from bpvet.printing import ShortTable
from bpvet.reasons import reason


@dataclass(frozen=True)
class PriorTable:
    """Priors by (species, method, quantity); a cell that is missing keeps the defaults.

    Parameters
    ----------
    cells : mapping of (str, str, str) to Priors
        The learned cells.
    name : str
        What they are called.
    """

    cells: Mapping[tuple[str, str, str], Priors]
    name: str = ""

    def __post_init__(self) -> None:
        if not isinstance(self.cells, Mapping) or not isinstance(self.name, str):
            raise CallError("a table of priors has cells, a mapping, and a name, a text.")
        for key, priors in self.cells.items():
            if not (isinstance(key, tuple) and len(key) == 3 and isinstance(priors, Priors)):
                raise CallError("a table of priors has Priors by (species, method, quantity).")
            check_kind(*key)
        object.__setattr__(self, "cells", dict(self.cells))

    def __repr__(self) -> str:
        rows = []
        for key, priors in self.cells.items():
            pairs = (priors.level, priors.sv, priors.sr, priors.sw)
            rows.append((*key, *(f"{centre:.4g}, {spread:.3g}" for centre, spread in pairs)))
        head = ("species", "method", "quantity", "level", "sv", "sr", "sw")
        return ShortTable(f"Priors {self.name}".rstrip(), head, tuple(rows)).brief()

    def __getitem__(self, key: tuple[str, str, str]) -> Priors:
        return self.cells.get(key) or Priors.default(*key)

    def save(self, path: str | Path) -> Path:
        """Write the table to a TOML file, which must not exist yet.

        A report made with a saved file never changes because another animal joined.

        Raises
        ------
        CallError
            Where the file exists, or cannot be written.
        """
        path = Path(path)
        if path.exists() or path.is_symlink():
            raise CallError(f"{path} exists already; give the new priors a name of their own.")
        write_whole(path, self._toml().encode("utf-8"))
        return path

    @classmethod
    def load(cls, path: str | Path) -> PriorTable:
        """Read a table that `save` wrote.

        Raises
        ------
        CallError
            Where the file cannot be read or is no such table.
        """
        return cls(*read_cells(Path(path)))

    def _toml(self) -> str:
        lines = [
            reason("priors.learned"),
            f"name = {_quoted(self.name)}",
        ]
        for (species, method, quantity), priors in self.cells.items():
            lines += [
                "",
                "[[cell]]",
                f"species = {_quoted(species)}",
                f"method = {_quoted(method)}",
            ]
            lines += [f"quantity = {_quoted(quantity)}", f"source = {_quoted(priors.source)}"]
            lines += [f"{name} = {list(getattr(priors, name))!r}" for name in PAIRS]
            lines += [f"{name} = {getattr(priors, name)!r}" for name in (*NUMBERS, *LATER_NUMBERS)]
            for name in OPTIONAL:
                if getattr(priors, name) is not None:
                    lines.append(f"{name} = {list(getattr(priors, name))!r}")
            taus = ", ".join(f"{_quoted(drug)} = {tau!r}" for drug, tau in priors.tau_days.items())
            joins = ", ".join(
                f"{_quoted(key)} = {list(pair)!r}" for key, pair in priors.condition_offset.items()
            )
            changes = ", ".join(f"{_quoted(key)} = {sd!r}" for key, sd in priors.change_sd.items())
            lines += [f"tau_days = {{ {taus} }}", f"condition_offset = {{ {joins} }}"]
            lines += [f"change_sd = {{ {changes} }}"]
            lines += [f"sitting_minus_lateral = {priors.sitting_minus_lateral!r}"]
            lines += _groups(priors.groups)
        return "\n".join(lines) + "\n"


def _groups(groups: PriorGroups | None) -> list[str]:
    """Return the lines of the groups of treated animals."""
    if groups is None:
        return []
    parts = []
    for group in groups.parts:
        effect = (
            f"effect_sd = {group.effect_sd!r}"
            if group.under_drug is None
            else f"under_drug = {list(group.under_drug)!r}"
        )
        parts.append(f"{{ weight = {group.weight!r}, level = {list(group.level)!r}, {effect} }}")
    return [
        f"groups = [{', '.join(parts)}]",
        *(f"{name} = {getattr(groups, name)!r}" for name in GROUP_NUMBERS),
    ]


def _quoted(text: str) -> str:
    """Return text as a TOML basic string: JSON's escapes, and DEL, which TOML wants escaped."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
