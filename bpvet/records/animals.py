"""The animals table: one row for each animal met anywhere, and ids that look like one animal."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.facts.species import judged
from bpvet.facts.words import SPECIES
from bpvet.records.checks.row_findings import in_turn
from bpvet.records.findings import Finding, shown
from bpvet.records.headings.near_names import hints
from bpvet.records.ledger import Ledger
from bpvet.records.parsing.codes import firsts
from bpvet.records.parsing.columns import TEXT, distinct, distinct_cells, uncoded
from bpvet.records.parsing.dates import NAT
from bpvet.records.parsing.values import Values
from bpvet.records.tables import TABLES, column_names

#: What no animal has two of, and the kind of the finding that one id has.
_UNDER_TWO = {
    "species": "one animal under two species",
    "birth_date": "one animal under two birth dates",
    "breed": "one animal under two breeds",
    "sex": "one animal under two sexes",
}
#: An animal's own target outside these is a slip, mmHg.
TARGET_RANGE = (80, 200)


def animals_table(ledger: Ledger, values: Values, met: list[str]) -> pd.DataFrame:
    """Return one row for each animal: those of the animals table, then others as met.

    Parameters
    ----------
    ledger : Ledger
        Cells of the animals table; it may have no rows.
    values : dict
        Its values.
    met : list of str
        Ids met in the other tables, in order.
    """
    columns = {name: values[name] for name in ("animal", *column_names("animals"))}
    columns |= {name: ledger.cells(name) for name in ledger.unknown}
    frame = pd.DataFrame(
        {
            name: _objects(column) if isinstance(column, pa.Array) else column
            for name, column in columns.items()
        }
    )
    frame["species_written"] = _as_written(ledger, frame)
    kept = frame
    if ledger.n:
        usable = ledger.usable
        _join_doubled(ledger, frame, usable)
        kept = frame[usable].drop_duplicates("animal")
    listed = set(kept["animal"])
    others = [animal for animal in dict.fromkeys(met) if animal not in listed]
    blank = {
        name: pd.Series([_blank_of(frame[name])] * len(others), dtype=frame[name].dtype)
        for name in frame.columns[1:]
    }
    rest = pd.DataFrame({"animal": pd.Series(others, dtype=frame["animal"].dtype), **blank})
    parts = [part for part in (kept, rest) if len(part)] or [kept]
    whole: pd.DataFrame = parts[0] if len(parts) == 1 else pd.concat(parts)
    return whole.reset_index(drop=True)


def _as_written(ledger: Ledger, frame: pd.DataFrame) -> NDArray[np.object_]:
    """Return the species as it was written (n,) where no guideline speaks of it; else blank.

    A rabbit is not judged as a cat: whoever judges needs to know that something was written.
    """
    written = np.array([text.strip() for text in _objects(ledger.cells("species"))], dtype=object)
    known = [kind for kind in SPECIES if judged(kind)]
    return np.where(frame["species"].isin(known).to_numpy(), "", written)


def check_animals(ledger: Ledger, values: Values, as_of: np.datetime64) -> None:
    """Check an animal's own dates and target; what is set aside becomes NaN or NaT in `values`."""
    low, high = TARGET_RANGE
    target = values["target_systolic"]
    odd = (target < low) | (target > high)
    ledger.say(
        odd,
        "target_systolic",
        lambda v: f"{shown(v.strip())} is not a plausible systolic target: {low} to {high} mmHg.",
        "Correct it, or leave the cell blank for the guideline's target.",
        "impossible value",
        "cell",
    )
    values["target_systolic"] = np.where(odd, np.nan, target)
    _check_own_dates(ledger, values, as_of)
    ledger.say(
        ledger.blank("species") & ledger.has("species") & ledger.usable,
        "species",
        f"The species is blank: the limits used are the widest of {' and '.join(SPECIES)}.",
        f"Write {' or '.join(SPECIES)}.",
        "species unknown",
    )


def _check_own_dates(ledger: Ledger, values: Values, as_of: np.datetime64) -> None:
    for name, mend in (
        ("birth_date", "Correct the date, or leave the cell blank."),
        ("left_on", "The animal counts as present until then; nothing to do if that is right."),
    ):
        later = values[name] > as_of
        ledger.say(
            later,
            name,
            lambda v: f"{shown(v.strip())} is later than {as_of}, the date of this report.",
            mend,
            "future date",
            "cell",
        )
        values[name] = np.where(later, NAT, values[name])
    ledger.say(
        values["left_on"] < values["birth_date"],
        "left_on",
        "The animal left before it was born. Both dates are kept.",
        "Correct one of the two.",
        "order of dates",
    )


def say_strangers(ledgers: Mapping[str, Ledger], known: set[str], with_readings: set[str]) -> None:
    """Say which animals of the side tables have no reading, or are in no animals table."""
    hint = hints(sorted(with_readings - {""}), n=2)
    for table, ledger in ledgers.items():
        if table == "readings" or ledger.n == 0:
            continue
        texts, code = distinct(ledger.cells("animal"))
        strange = [animal != "" and animal not in with_readings for animal in texts]

        def reason(value: str) -> str:
            animal = value.strip()
            place = "nor in the animals table" if animal not in known and known else ""
            return f"{f'No reading belongs to {shown(animal)} {place}'.rstrip()}. The row is kept."

        def mend(value: str) -> str:
            return hint(value.strip()) or "Nothing to do if it has not been measured."

        _say_of_first(ledger, strange, code, reason, mend, "no readings")


def say_unlisted(ledgers: Mapping[str, Ledger]) -> list[Finding]:
    """Say which animals with readings stand in no animals table; return a finding if none does."""
    readings, animals = ledgers["readings"], ledgers["animals"]
    texts, code = distinct(readings.cells("animal"))
    if animals.n == 0:
        many = len([text for text in texts if text])
        if not many:
            return []
        reason = f"There is no animals table: the species of {many} animals is not known."
        if many == 1:
            reason = "There is no animals table: the animal's species is not known."
        mend = f"Add animals.csv with the columns animal and species ({', '.join(SPECIES)})."
        return [Finding(readings.files[0], None, "", "", reason, mend, kind="species unknown")]
    listed = set(distinct(animals.cells("animal"))[0])
    hint = hints(sorted(listed - {""}), n=2)
    _say_of_first(
        readings,
        [animal != "" and animal not in listed for animal in texts],
        code,
        lambda v: f"{shown(v.strip())} is not in the animals table, so its species is not known.",
        lambda v: f"Add it there. {hint(v.strip())}".rstrip(),
        "species unknown",
    )
    return []


def _say_of_first(
    ledger: Ledger,
    strange: list[bool],
    code: NDArray[np.integer],
    reason: Callable[[str], str],
    mend: Callable[[str], str],
    kind: str,
) -> None:
    """Say something of the first row of each animal that is `strange`, by its code (n,)."""
    first = firsts(code, len(strange))
    rows = np.sort(first[np.array(strange, dtype=bool) & (first >= 0)])
    in_order = in_turn(mend, lambda: ledger.raw("animal").take(pa.array(rows)))
    ledger.say(rows, "animal", reason, in_order, kind)


def say_look_alikes(ledgers: Mapping[str, Ledger]) -> None:
    """Say which ids differ in nothing but case, white space or how a letter is encoded."""
    if _plainly_different(
        [distinct_cells(ledger.cells("animal"))[0] for ledger in ledgers.values()]
    ):
        return
    groups: dict[str, list[tuple[str, Ledger, int]]] = {}
    seen: set[str] = set()
    for ledger in ledgers.values():
        texts, code = distinct(ledger.cells("animal"))
        for animal, row in zip(texts, firsts(code, len(texts)).tolist(), strict=True):
            if animal and row >= 0 and animal not in seen:
                seen.add(animal)
                if not animal.isprintable():
                    _say_unprintable(ledger, row, animal)
                groups.setdefault(_folded(animal), []).append((animal, ledger, row))
    for found in groups.values():
        for animal, ledger, row in found[1:]:
            ledger.say(
                np.array([row]),
                "animal",
                f"{shown(animal)} looks like {shown(found[0][0])}: they differ only in case or "
                "white space. They are kept as two animals.",
                "If they are one animal, write its id in one way.",
                "one animal under two ids?",
            )


def _plainly_different(ids: list[pa.Array]) -> bool:
    """Whether ids of all tables are plain ASCII, and differ in more than case and blanks."""
    different = pc.unique(pa.concat_arrays([one.cast(TEXT) for one in ids]))
    if not pc.all(pc.ascii_is_printable(different), min_count=0).as_py():
        return False
    bare = pc.ascii_lower(pc.replace_substring(different, " ", ""))
    return len(pc.unique(bare)) == len(different)


def _say_unprintable(ledger: Ledger, row: int, animal: str) -> None:
    ledger.say(
        np.array([row]),
        "animal",
        f"{shown(animal)} holds characters that cannot be seen. It is kept as it stands.",
        "Check the id, here and wherever it is used.",
        "odd id",
    )


def _folded(animal: str) -> str:
    if animal.isascii():
        # Nothing to normalise, and nothing that joins or formats.
        return "".join(animal.lower().split())
    text = unicodedata.normalize("NFKC", animal).casefold()
    return "".join(c for c in text if not c.isspace() and unicodedata.category(c) != "Cf")


def _join_doubled(ledger: Ledger, frame: pd.DataFrame, usable: NDArray[np.bool_]) -> None:
    """Join the rows of one animal: a cell on which they disagree is left blank, and said."""
    doubled = frame["animal"].duplicated(keep=False).to_numpy() & usable
    if not doubled.any():
        return
    for animal, rows in frame[doubled].groupby("animal", sort=False):
        index = rows.index.to_numpy()
        lines = ", ".join(str(ledger.line[row]) for row in index)
        ledger.say(
            index,
            "",
            f"{shown(str(animal))} is in several rows (lines {lines}); they are read as one.",
            "Keep one row for each animal.",
            "animal listed twice",
        )
        for name in frame.columns[1:]:
            blank = _blank_of(frame[name])
            given = (v for v in rows[name].dropna().unique() if v != "")
            # Case is no disagreement; the first way of writing stays.
            different = list({_alike(v): v for v in reversed(list(given))}.values())[::-1]
            if len(different) == 1:
                frame.loc[index, name] = different[0]
            elif len(different) > 1:
                frame.loc[index, name] = blank
                two = " and ".join(_words(value) for value in different[:3])
                kind = _UNDER_TWO.get(str(name), "rows disagree")
                ledger.say(
                    index,
                    name if name in ledger.unknown or name in column_names("animals") else "",
                    f"The rows of {shown(str(animal))} disagree: {two}. None of them is used.",
                    "Keep the right one; if they are two animals, give them two ids.",
                    kind,
                )


def _blank_of(column: pd.Series) -> Any:
    """Return what stands for nothing in a column of this type."""
    blanks = {"f": np.nan, "M": pd.NaT}
    return blanks.get(column.dtype.kind, "")


def _alike(value: object) -> object:
    return " ".join(value.casefold().split()) if isinstance(value, str) else value


def _words(value: object) -> str:
    return str(value.date()) if isinstance(value, pd.Timestamp) else f"{value}"


def _objects(cells: pa.Array) -> NDArray[np.object_]:
    objects: NDArray[np.object_] = uncoded(cells).to_numpy(zero_copy_only=False)
    return objects


def met_animals(ledgers: Mapping[str, Ledger]) -> list[str]:
    """Return every id that stands in any table, in order of tables and rows."""
    met: dict[str, None] = {}
    for table in TABLES:
        met.update(dict.fromkeys(distinct(ledgers[table].cells("animal"))[0]))
    return [animal for animal in met if animal]
