"""The clinic's list over records in parts: the rows of `due`, gathered and put in one order."""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from bpvet.answers.due.due import (
    Due,
    Origin,
    Ranked,
    due_of,
    left_by,
    nameless_rows,
    ranked_rows,
    reach_of,
)
from bpvet.answers.trend.recorded import unread_files
from bpvet.errors import CallError
from bpvet.facts.categories import DEFAULT
from bpvet.facts.categories import guideline as guideline_of
from bpvet.facts.priors.priors import Priors
from bpvet.facts.priors.table import PriorTable
from bpvet.frozen import dataclass
from bpvet.models.records_in_parts import (
    Codes,
    Executor,
    Paths,
    Reading,
    animal_codes,
    gathered,
    naming,
    paths_of,
    refuse_shared,
)

#: Keywords of `bpvet.due` that hold for every part alike.
_LISTING = ("pseudonyms", "rule", "priors")


@dataclass(frozen=True)
class Listing:
    """How the rows of every part are made.

    Parameters
    ----------
    guideline : str
    reach : int
        Windows that end within so many days are due.
    rule : str
    priors : Priors, PriorTable or None
    """

    guideline: str
    reach: int
    rule: str = "guideline"
    priors: Priors | PriorTable | None = None


@dataclass(frozen=True)
class PartRows:
    """What a worker brings home of a part.

    Parameters
    ----------
    ranked : tuple of (tuple, DueRow)
    left : int
        Animals that have left.
    nameless : int
        Readings and signs without an animal's id.
    unread : tuple of str
        Files that are not read.
    digest : str
        Of the part's records.
    findings : int
        What was found in them and stops no work.
    codes : (animals,) uint64
    """

    ranked: tuple[Ranked, ...]
    left: int
    nameless: int
    unread: tuple[str, ...]
    digest: str
    findings: int
    codes: Codes


def due_in_parts(
    parts: Paths,
    guideline: str = DEFAULT,
    *,
    days: int | None = None,
    executor: Executor | int | None = None,
    as_of: Any = None,
    reading: Mapping[str, Any] | None = None,
    **how: Any,
) -> Due:
    """Return which animals to see next over records in parts: the rows of `due` of the whole.

    All records of an animal must lie in one part. Findings that stop no work are not told here:
    look at the parts with ``bpvet check`` before.

    Parameters
    ----------
    parts, executor, as_of, reading
        As `bpvet.fit_trends_in_parts` takes them.
    guideline, days
        As `bpvet.due` takes them.
    **how
        ``pseudonyms``, ``rule`` and ``priors`` of `bpvet.due`.

    Returns
    -------
    Due
        Its digest is made of those of the parts in their order, and pseudonyms follow it.

    Raises
    ------
    CallError
        An animal is in two parts, which it names; or as `bpvet.due` raises it.
    RecordsError
        Where the records of a part have findings that stop the work; the message names the part.

    Examples
    --------
    >>> import bpvet, tempfile
    >>> from pathlib import Path
    >>> home = Path(tempfile.mkdtemp())
    >>> for part, animal, value in (("north", "A17", 150), ("south", "B2", 192)):
    ...     (home / part).mkdir()
    ...     text = f"animal,taken_at,method,systolic\\n{animal},2026-03-01,doppler,{value}"
    ...     _ = (home / part / "readings.csv").write_text(text)
    >>> [one.animal for one in bpvet.due_in_parts(home, as_of="2026-03-02").rows]
    ['B2', 'A17']
    """
    if unknown := sorted(set(how) - set(_LISTING)):
        raise CallError(f"{unknown[0]} is none of {', '.join(_LISTING)}.")
    pseudonyms = how.pop("pseudonyms", False)
    return due_and_findings(
        paths_of(parts),
        Listing(guideline, reach_of(days), **how),
        Reading.by(as_of, reading),
        executor,
        pseudonyms,
    )[0]


def due_and_findings(
    parts: list[str],
    listing: Listing,
    reading: Reading,
    executor: Executor | int | None,
    pseudonyms: bool,
) -> tuple[Due, dict[str, int]]:
    """Return the list, and how many findings there are about each part.

    Parameters
    ----------
    parts : list of str
    listing, reading
    executor
        As `due_in_parts` takes it.
    pseudonyms : bool
    """
    guideline_of(listing.guideline)
    done = gathered(_rows, [(path, reading, listing) for path in parts], executor)
    refuse_shared(parts, [found.codes for found in done], reading, executor)
    ranked = [pair for found in done for pair in found.ranked]
    digest = sha256(" ".join(found.digest for found in done).encode()).hexdigest()
    left, nameless = (sum(getattr(found, of) for found in done) for of in ("left", "nameless"))
    unread = tuple(dict.fromkeys(file for found in done for file in found.unread))
    origin = Origin(reading.as_of, digest, left, nameless, unread)
    due = due_of(ranked, origin, listing.guideline, listing.reach, pseudonyms)
    return due, {path: found.findings for path, found in zip(parts, done, strict=True)}


def _rows(job: tuple[str, Reading, Listing]) -> PartRows:
    path, reading, listing = job
    with naming(path):
        records = reading.of(path)
        how = (listing.guideline, listing.reach, listing.rule, listing.priors)
        ranked = tuple(ranked_rows(records, *how))
    codes, found = animal_codes(records), len(records.findings)
    return PartRows(
        ranked,
        left_by(records),
        nameless_rows(records),
        unread_files(records),
        records.digest,
        found,
        codes,
    )
