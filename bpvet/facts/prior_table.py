"""A table of priors by kind of series, kept in a file of its own."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bpvet.errors import CallError
from bpvet.facts.priors import Priors, check_kind
from bpvet.files import write_whole


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
        try:
            held = tomllib.loads(Path(path).read_text(encoding="utf-8"))
            cells = {
                (one["species"], one["method"], one["quantity"]): _read_cell(one)
                for one in held["cell"]
            }
            return cls(cells, str(held["name"]))
        except OSError as error:
            raise CallError(f"{path} cannot be read: {error.strerror}.") from None
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise CallError(f"{path} is no table of priors that bpvet saved: {error!r}.") from None

    def _toml(self) -> str:
        lines = [
            "# Priors learned from a clinic's records by bpvet; used only when named.",
            f"name = {_quoted(self.name)}",
        ]
        for (species, method, quantity), one in self.cells.items():
            lines += [
                "",
                "[[cell]]",
                f"species = {_quoted(species)}",
                f"method = {_quoted(method)}",
            ]
            lines += [f"quantity = {_quoted(quantity)}", f"source = {_quoted(one.source)}"]
            lines += [f"{name} = {list(getattr(one, name))!r}" for name in _PAIRS]
            lines += [f"{name} = {getattr(one, name)!r}" for name in _NUMBERS]
            for name in _OPTIONAL:
                if getattr(one, name) is not None:
                    lines.append(f"{name} = {list(getattr(one, name))!r}")
            taus = ", ".join(f"{_quoted(drug)} = {tau!r}" for drug, tau in one.tau_days.items())
            joins = ", ".join(
                f"{_quoted(key)} = {list(pair)!r}" for key, pair in one.condition_offset.items()
            )
            lines += [f"tau_days = {{ {taus} }}", f"condition_offset = {{ {joins} }}"]
        return "\n".join(lines) + "\n"


_PAIRS = ("level", "sv", "sr", "sw")
_OPTIONAL = ("first_visit", "method_offset")
_NUMBERS = ("slope_sd", "effect_sd", "increment_sd", "wander_days")


def _quoted(text: str) -> str:
    """Return text as a TOML basic string: JSON's escapes, and DEL, which TOML wants escaped."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _read_cell(one: Mapping[str, Any]) -> Priors:
    check_kind(one["species"], one["method"], one["quantity"])

    def pair(values: Any) -> tuple[float, float]:
        first, second = values
        return (float(first), float(second))

    values: dict[str, Any] = {name: pair(one[name]) for name in _PAIRS}
    values |= {name: float(one[name]) for name in _NUMBERS}
    values |= {name: pair(one[name]) for name in _OPTIONAL if name in one}
    return Priors(
        **values,
        tau_days={drug: float(tau) for drug, tau in one["tau_days"].items()},
        condition_offset={key: pair(held) for key, held in one["condition_offset"].items()},
        source=str(one["source"]),
    )
