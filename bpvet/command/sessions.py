"""``bpvet sessions``: one row a session, as a table to look at or a file to take along."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from bpvet.command.shared import options
from bpvet.command.shared.opening import inputs_read, usable
from bpvet.command.shared.output import counted, print_json, printable, say, writable
from bpvet.files import write_all

if TYPE_CHECKING:
    import pandas as pd

ABOUT = """\
One row per session: its mean, SD and count, and remarks on it. With -o the whole table
goes into a file whose ending names the form: .csv, .xlsx, .parquet or .jsonl. What its
columns mean goes with it: in a second sheet, in the schema, or beside it (-columns.csv).

examples:
  bpvet sessions records --animal Pilchard
  bpvet sessions records -o sessions.csv
  bpvet sessions records -o sessions.parquet
"""


USAGE = "bpvet sessions PATH [--animal A] [-o FILE] [options]"
ARGUMENTS = (
    *options.PATH,
    options.OPTIONAL_ANIMAL,
    options.RULE,
    options.argument(
        "-o", "--output", metavar="FILE", help="a file to write: .csv, .xlsx, .parquet or .jsonl"
    ),
    *options.PLAIN,
    options.force("replace the file if it is there"),
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> None:
    """Print the sessions, or write them."""
    from bpvet.visits.sessions import sessions

    path = None
    if arguments.output is not None:
        from bpvet.records.table_files import table_files, written_names
        from bpvet.wording.en.sessions import session_words

        inputs = inputs_read(arguments)
        path = writable(arguments.output, inputs, arguments.force)
        for name in written_names(path)[1:]:
            writable(path.with_name(name), inputs, arguments.force)
    records = usable(arguments)
    table = sessions(records, arguments.rule)
    if arguments.animal is not None:
        table = table[table["animal"] == records.animal(arguments.animal)]
    if path is not None:
        contents = table_files(path, table, session_words(table.columns), arguments.plain)
        write_all(path.parent, contents, arguments.force)
    if arguments.json:
        print_json(session_rows(table))
    elif path is None:
        print(sessions_text(table))
    else:
        say(f'Wrote {counted(len(table), "session")} into "{path}".', arguments.quiet)


def session_rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the sessions as plain JSON values."""
    columns = {name: [_plain(value) for value in table[name]] for name in table.columns}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def sessions_text(table: pd.DataFrame) -> str:
    """Return the sessions as a table for the terminal."""
    from bpvet.printing import ShortTable
    from bpvet.wording.en.command.tables import NO_SESSIONS, SESSIONS_NOTE

    if table.empty:
        return NO_SESSIONS
    rows = tuple(_text_row(row) for row in table.to_dict("records"))
    heads = ("animal", "date", "method", "condition", "systolic", "SD", "used", "taken", "flags")
    return ShortTable("", heads, rows, (SESSIONS_NOTE,)).text()


def _text_row(row: dict[Any, Any]) -> tuple[str, ...]:
    from bpvet.printing import number
    from bpvet.visits.choice import BOTH_BOUNDS

    signs = {"at least": "≥ ", "at most": "≤ ", BOTH_BOUNDS: "≶ "}
    label = f" ({row['label']})" if row["label"] else ""
    return (
        _short(str(row["animal"])),
        f"{_plain(row['date'])}{_short(label)}",
        str(row["method"]),
        str(row["condition"]),
        f"{signs.get(row['systolic_bound'], '')}{number(row['systolic'], 1)}",
        number(row["systolic_sd"], 1),
        str(row["systolic_n"]),
        str(row["n_taken"]),
        str(row["flags"]),
    )


def _short(text: str, length: int = 24) -> str:
    """Return text from the records fit for a cell: printable, and not too long."""
    shown = printable(text).replace("\n", " ")
    return shown if len(shown) <= length else f"{shown[: length - 1]}…"


def _plain(value: Any) -> Any:
    """Return one value as text, number, truth value or None; dates in ISO form."""
    import pandas as pd

    if value is None or value is pd.NaT or (isinstance(value, float) and value != value):
        return None
    if isinstance(value, pd.Timestamp):
        midnight = value == value.normalize()
        return value.strftime("%Y-%m-%d" if midnight else "%Y-%m-%dT%H:%M:%S")
    return value.item() if hasattr(value, "item") else value
