"""How records are to be read: what a caller settles that the files do not say themselves."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bpvet.errors import CallError
from bpvet.frozen import dataclass, field_names

#: Orders of a date's parts: year first, day first, month first.
DATE_ORDERS = {"ymd": "year first", "dmy": "day first", "mdy": "month first"}
UNITS = ("mmHg", "kPa")


@dataclass(frozen=True)
class ReadOptions:
    """The options of `bpvet.read`; None is for what is left to the records.

    Parameters
    ----------
    columns : mapping of str to str, or str, optional
        Other people's headings: ``{"Pet ID": "animal"}`` or ``"Pet ID=animal,When=taken_at"``.
    dates : str, optional
        ``ymd``, ``dmy`` or ``mdy``: the order of a date's parts where it is not YYYY-MM-DD.
    unit : str, optional
        ``mmHg`` or ``kPa``: the unit of all pressures.
    encoding : str, optional
        Encoding of the files that are not UTF-8 and bear no mark, such as ``cp1252``.
    query : str, optional
        One SELECT that gives the readings, for a database.

    Raises
    ------
    CallError
        An order or a unit is not known.
    """

    columns: Mapping[str, str] | str | None = None
    dates: str | None = None
    unit: str | None = None
    encoding: str | None = None
    query: str | None = None

    def __post_init__(self) -> None:
        if self.dates is not None and self.dates not in DATE_ORDERS:
            raise CallError(f'The order of dates is ymd, dmy or mdy, not "{self.dates}".')
        if self.unit is not None and self.unit not in UNITS:
            raise CallError(f'The unit of pressures is mmHg or kPa, not "{self.unit}".')

    def to_plain(self) -> dict[str, Any]:
        """Return the options that were given, as JSON values: the keywords of `bpvet.read`."""
        given = {option: getattr(self, option) for option in field_names(self)}
        if isinstance(self.columns, Mapping):
            given["columns"] = dict(self.columns)
        return {name: value for name, value in given.items() if value is not None}
