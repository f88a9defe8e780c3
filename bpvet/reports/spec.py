"""What every report is asked for, as plain JSON beside its notebook; it is read with care."""

from __future__ import annotations

import json
import math
import os
import re
from collections.abc import Callable, Mapping
from dataclasses import fields
from hashlib import sha256
from pathlib import Path
from typing import Any, ClassVar, Self, TypeVar

from bpvet import __version__
from bpvet.errors import BpvetError, CallError
from bpvet.frozen import dataclass, field, field_names, replace
from bpvet.records.headings.conventions import is_toml
from bpvet.records.read_options import ReadOptions
from bpvet.records.records import Records
from bpvet.wording.en.pages.parameters import PARAMETERS, WANTED

#: A database's URL as a path, which keeps one stroke of two.
_URL = re.compile(r"[A-Za-z][A-Za-z0-9+.-]+:/")
#: Bytes of a file of parameters beyond which it is none; priors of all kinds take 30 kB.
LONGEST = 2_000_000
#: Letters of one text in it.
_LONGEST_TEXT = 100_000

Taken = TypeVar("Taken")
#: A value of a named argument as JSON holds it.
Value = str | float | bool | None


def text(value: Any) -> str:
    """Return a JSON value that is a text."""
    if not isinstance(value, str) or len(value) > _LONGEST_TEXT:
        raise ValueError
    return value


def filled(value: Any) -> str:
    """Return a JSON value that is a text, and not blank."""
    if not text(value).strip():
        raise ValueError
    return text(value)


def text_or_none(value: Any) -> str | None:
    """Return a JSON value that is a text or null."""
    return None if value is None else text(value)


def truth(value: Any) -> bool:
    """Return a JSON value that is true or false."""
    if not isinstance(value, bool):
        raise ValueError
    return value


def finite(value: Any) -> float:
    """Return a JSON value that is a number."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError
    return value


def texts(value: Any) -> tuple[str, ...]:
    """Return a JSON value that is a list of texts."""
    if not isinstance(value, list) or len(value) > 100:
        raise ValueError
    return tuple(text(member) for member in value)


def read_options(value: Any) -> ReadOptions:
    """Return a JSON value that says how records are read."""
    given: dict[str, Any] = {
        name: {filled(k): filled(v) for k, v in option.items()}
        if name == "columns" and isinstance(option, dict)
        else text_or_none(option)
        for name, option in value.items()
    }
    return ReadOptions(**given)


def choice(take: Callable[[Any], Any], *, newer: bool = False, **default: Any) -> Any:
    """Return a field of parameters, and how its value is read back from a file.

    Parameters
    ----------
    take : callable
        Returns the value from a JSON value, or raises an error for another kind.
    newer : bool
        Whether reports of before the option have none: such a file means the default.
    **default
        ``default``, where there is one: the value of who makes the parameters without it.
    """
    return field(metadata={"take": take, "newer": newer}, **default)


@dataclass(frozen=True, kw_only=True)
class ReportSpec:
    """Where a report's records are, and how they are read; each kind of report adds its choices.

    A kind adds fields, each made by `choice`, and with it how it is read back from a file.

    Parameters
    ----------
    records : str
        Path of the records; as published from the notebook's folder, and "" where that would be
        a way across the machine.
    as_of : str
        The date that the report speaks for, YYYY-MM-DD.
    reading : ReadOptions
        How the records are read.

    These three are those of the records that a report is made from, and need not be given to who
    writes it.
    """

    records: str = choice(filled, default="")
    as_of: str = choice(filled, default="")
    reading: ReadOptions = field(
        default_factory=ReadOptions, metadata={"take": read_options, "newer": False}
    )

    @classmethod
    def from_file(cls, path: str | os.PathLike[str]) -> Self:
        """Return the parameters in a file, as a report of this kind wrote it.

        Parameters
        ----------
        path : str or path
            A JSON file.

        Raises
        ------
        CallError
            Where the file cannot be read, is no such file, or holds a value of another kind.
        """
        file = ParametersFile(path)
        return cls(
            **{
                field_.name: file.get(field_.name, field_.metadata["take"])
                for field_ in fields(cls)
                if file.has(field_.name) or not field_.metadata["newer"]
            }
        )

    def settled(self, records: Records) -> Self:
        """Return the same with what only the records can say, such as an animal's id."""
        return self

    @property
    def read(self) -> dict[str, Any]:
        """The named arguments of `bpvet.read`."""
        return {"as_of": self.as_of} | self.reading.to_plain()

    def to_plain(self) -> dict[str, Any]:
        """Return all of it as JSON values; a path that is not known is left out."""
        values = {name: getattr(self, name) for name in field_names(self)}
        values["reading"] = self.reading.to_plain()
        if not self.records:
            del values["records"]
        return values

    def to_json(self, mark: str, digest: str = "") -> str:
        """Return the parameters as JSON text that bears the mark of its report and its run's."""
        marks = {"bpvet_report": mark} | ({"digest": digest} if digest else {})
        return json.dumps(marks | self.to_plain(), indent=2, ensure_ascii=False) + "\n"

    def digest(self, mark: str, records: str) -> str:
        """Return the digest of a run: of what was asked, of the records' own, and the version."""
        content = [__version__, mark, records, self.to_plain()]
        return sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()

    def seen_from(self, folder: Path) -> Self:
        """Return the same with paths as seen from `folder`, none across the machine."""
        reading = reading_from(folder, self.reading)
        return replace(self, records=path_from(folder, Path(self.records)), reading=reading)


def path_from(folder: Path, records: Path) -> str:
    """Return the path of the records as seen from `folder`.

    Returns
    -------
    str
        "" where there is none, or only one by way of the machine's topmost folder, which would
        tell where on the machine they are.

    Raises
    ------
    CallError
        The records are no files, so that the notebook could not read them again; and the URL of
        a database, which may hold a password, is never written down.
    """
    if str(records) == "-" or _URL.match(str(records)):
        raise CallError(
            "A report's notebook reads its records again, so it is made from files. Export the "
            "database's table as CSV, or save what is piped in, and give that."
        )
    here, there = folder.resolve(), records.resolve()
    try:
        shared = Path(os.path.commonpath([here, there]))
    except ValueError:
        return ""
    if shared == Path(shared.anchor) and shared not in (here, here.parent):
        return ""
    return Path(os.path.relpath(there, here)).as_posix()


def reading_from(folder: Path, reading: ReadOptions) -> ReadOptions:
    """Return how the records are read, a mapping file's path as seen from `folder`.

    Where there is no such path, its bare name is kept: it is asked for when it is not found, and
    never passed over.
    """
    if not is_toml(reading.columns):
        return reading
    columns = Path(str(reading.columns))
    return replace(reading, columns=path_from(folder, columns) or columns.name)


class ParametersFile:
    """The values of a file of parameters, each asked for by its name and kind.

    Parameters
    ----------
    path : str or path
        A JSON file.

    Raises
    ------
    CallError
        Where the file cannot be read, is longer than any such file, or is no JSON object.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = path
        values = plain_json(Path(path), LONGEST, PARAMETERS)
        if not isinstance(values, dict):
            raise self._not(f"it is no JSON object, but a {type(values).__name__}")
        self._values: Mapping[str, Any] = values

    def has(self, name: str) -> bool:
        """Return whether a value of that name is there."""
        return name in self._values

    def get(self, name: str, take: Callable[[Any], Taken]) -> Taken:
        """Return one value.

        Parameters
        ----------
        name : str
            Its name, one of `WANTED`.
        take : callable
            Returns the value from a JSON value, or raises an error for another kind.

        Raises
        ------
        CallError
            It is not there, or of another kind; the records' path is left out where it would have
            been a way across a machine.
        """
        if name == "records" and not self.has(name) and self.has("bpvet_report"):
            raise CallError(
                f"{self.path} does not say where the records are, because they did not lie near "
                'the report. Write their path, as seen from this folder, into it as "records".'
            )
        if not self.has(name):
            raise self._not(f"“{name}” is missing")
        try:
            return take(self._values[name])
        except BpvetError as error:
            raise self._not(f"“{name}”: {error}") from None
        except (KeyError, TypeError, ValueError, AttributeError, RecursionError, OverflowError):
            shallow = isinstance(self._values[name], str | int | float | None)
            shown = json.dumps(self._values[name])[:60] if shallow else "…"
            raise self._not(f"“{name}” is to be {WANTED[name]}, not {shown}") from None

    def _not(self, why: str) -> CallError:
        return CallError(f"{self.path} does not hold the parameters of a report: {why}.")


def plain_json(path: Path, longest: int, what: str) -> Any:
    """Return what a JSON file holds.

    Parameters
    ----------
    path : Path
    longest : int
        Bytes beyond which it is not looked at.
    what : str
        What it should hold, for the message.

    Raises
    ------
    CallError
        It cannot be read, is longer, or is no JSON; in one sentence.
    """
    try:
        with path.open("rb") as file:
            data = file.read(longest + 1)
        if len(data) > longest:
            raise CallError(f"{path} does not hold {what}: it is too long.")
        return json.loads(data.decode(), parse_constant=_no_number)
    except OSError as error:
        raise CallError(f"{path} cannot be read: {error.strerror or error}.") from error
    except RecursionError:
        raise CallError(f"{path} does not hold {what}: it is nested too deep.") from None
    except ValueError as error:
        raise CallError(f"{path} does not hold {what}: {str(error)[:200]}.") from None


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number")


def _plain(value: Any) -> dict[str, Value]:
    """Return a JSON object of texts, numbers, true, false and null."""
    return {
        text(name): member
        if member is None or isinstance(member, bool)
        else (text(member) if isinstance(member, str) else finite(member))
        for name, member in value.items()
    }


@dataclass(frozen=True, kw_only=True)
class Options(ReportSpec):
    """What a report is asked for that hands named arguments to one function of the library.

    Parameters
    ----------
    records, as_of, reading
        As `ReportSpec` takes them.
    options : dict
        The named arguments, JSON values; those left out are the kind's `DEFAULTS`.
    """

    DEFAULTS: ClassVar[Mapping[str, Value]] = {}

    options: Mapping[str, Any] = choice(_plain)

    def settled(self, records: Records) -> Self:
        """Return the same with every argument named, as the notebook beside it has to know."""
        return replace(self, options={**self.DEFAULTS, **self.options})
