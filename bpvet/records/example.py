"""The invented example records that ship with the package, written into a folder of yours."""

from __future__ import annotations

import os
from importlib.resources import files
from pathlib import Path

from bpvet.errors import CallError
from bpvet.files import unfinished, write_all


def example_texts() -> dict[str, bytes]:
    """Return the shipped files' content by name, in the order of their names.

    Returns
    -------
    dict of str to bytes
        ``ABOUT.txt`` and the tables of a record folder as CSV, UTF-8.

    Examples
    --------
    >>> list(example_texts())[:2]
    ['ABOUT.txt', 'animals.csv']
    """
    shipped = files("bpvet.records") / "example_records"
    content = {entry.name: entry.read_bytes() for entry in shipped.iterdir() if entry.is_file()}
    return dict(sorted(content.items()))


def write_example(folder: str | os.PathLike[str]) -> list[str]:
    """Write the invented example records into a folder that is new, empty or already holds them.

    Parameters
    ----------
    folder : str or path
        The folder; it is made if it is not there, with the folders above it.

    Returns
    -------
    list of str
        The names of the files, sorted.

    Raises
    ------
    CallError
        When the folder holds anything else, or a file of one of these names with other content:
        records of your own are never written over. Also when the folder cannot be written.
    """
    target, content = Path(folder), example_texts()
    try:
        _refuse_other_files(target, content)
        target.mkdir(parents=True, exist_ok=True)
        # Those that are there already are the same, as was seen above.
        write_all(target, {k: v for k, v in content.items() if not (target / k).exists()})
    except OSError as error:
        why = error.strerror or type(error).__name__
        raise CallError(
            f'The example records cannot be written into "{target}": {why}. '
            "Name a folder that you may write to."
        ) from error
    return list(content)


def _refuse_other_files(target: Path, content: dict[str, bytes]) -> None:
    """Raise a CallError if writing into `target` would touch or mix with anything else."""
    if not target.exists():
        return
    if not target.is_dir():
        raise CallError(f'"{target}" is a file, not a folder. Name a new or empty folder.')
    for entry in sorted(target.iterdir()):
        if unfinished(entry.name):
            continue
        if entry.name not in content:
            raise CallError(
                f'The folder "{target}" already holds "{entry.name}", and example records are '
                "not mixed with other files. Name a new or empty folder."
            )
        if not entry.is_file() or entry.read_bytes() != content[entry.name]:
            raise CallError(
                f'The folder "{target}" already holds another "{entry.name}", which is not written '
                "over. Name a new or empty folder."
            )
