"""Whose readings are saved: a name typed for an id must not make a second animal."""

from __future__ import annotations

from pathlib import Path

from bpvet.errors import CallError, RecordsError
from bpvet.records.findings import shown
from bpvet.records.folder import ENDINGS, READINGS_FILE
from bpvet.wording.en.command.entries import IS_ANIMAL, NEW_ANIMAL, NOT_LOOKED_UP


def own_id(folder: Path, text: str) -> tuple[str, str]:
    """Return the id of the animal that is meant, and what is to be said of it.

    Parameters
    ----------
    folder : Path
        Where readings are to be saved. Without records in it the text is the id.
    text : str
        What was typed: an id, or a name in any case.

    Returns
    -------
    id : str
        An animal's id if it is one, or if only one animal bears the name; else the text.
    said : str
        What was decided, as a sentence; blank where nothing was.

    Raises
    ------
    CallError
        More than one animal may be meant.
    """
    if not _holds_records(folder):
        return text, ""
    # Only here is anything but the standard library needed: records of any form are read.
    from bpvet.records.read import read

    try:
        animals = read(folder).animals
    except (CallError, RecordsError) as error:
        reason = str(error).splitlines()[0]
        return text, NOT_LOOKED_UP.format(typed=shown(text), reason=reason)
    ids = [str(id_) for id_ in animals["animal"]]
    if text in ids:
        return text, ""
    folded = " ".join(text.casefold().split())
    names = [str(name).casefold() for name in animals["name"]]
    fits = [
        id_
        for id_, name in zip(ids, names, strict=True)
        if folded in (id_.casefold(), " ".join(name.split()))
    ]
    if len(fits) > 1:
        listed = ", ".join(shown(id_) for id_ in fits[:10])
        raise CallError(f"--animal {shown(text)} may be any of {listed}: give the id.")
    if fits:
        return fits[0], IS_ANIMAL.format(typed=shown(text), found=shown(fits[0]))
    return text, NEW_ANIMAL.format(typed=shown(text))


def _holds_records(folder: Path) -> bool:
    try:
        names = [entry.name for entry in folder.iterdir()]
    except OSError:
        return False
    animals = {f"animals.{ending}" for ending in ENDINGS}
    return any(READINGS_FILE.fullmatch(name) or name.lower() in animals for name in names)
