"""``bpvet owner``: a page in plain words for the owner, and a home diary."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from bpvet.command.shared import options
from bpvet.command.shared.one_page import PAGE, page_bytes, page_path
from bpvet.command.shared.opening import inputs_read, usable
from bpvet.command.shared.output import print_json, printable, say, wrapped, writable
from bpvet.errors import CallError
from bpvet.files import write_all, write_whole

if TYPE_CHECKING:
    from bpvet.answers.owner.owner import OwnerAnswer

ABOUT = """\
Where the pressure was, room for the vet to write where it should be, the next visit, and when
to phone at once, in plain words; on the back a diary for home. --diary writes the diary as a
CSV file too: filled in and put among the records as readings-home.csv it is read as measured
at home, and tablets that were missed count as such. Without -o it prints the page's words.

examples:
  bpvet owner records --animal Pilchard -o owner.html
  bpvet owner records --animal Pilchard -o owner.pdf --paper letter --diary diary.csv
"""


USAGE = "bpvet owner PATH --animal A [-o FILE] [--diary FILE] [options]"
ARGUMENTS = (
    *options.PATH,
    options.ANIMAL,
    *PAGE,
    options.argument("--diary", metavar="FILE", help="a diary to fill in, as a CSV file"),
    options.GUIDELINE,
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> None:
    """Write the page and the diary, or print the page's words."""
    from bpvet.facts.categories import guideline
    from bpvet.wording.en.command.written import DIARY_WRITTEN, OWNER_PAGE_WRITTEN, READ_FIRST

    # What is wrong with the call is said before the work is done.
    guideline(arguments.guideline)
    page, diary = page_path(arguments, "page"), _diary_path(arguments)
    from bpvet.answers.owner.owner import owner

    found = owner(usable(arguments), arguments.animal, guideline=arguments.guideline)
    if found.open_questions:
        say(wrapped(READ_FIRST.format(questions=" ".join(found.open_questions))))
    _write(arguments, found, page, diary)
    if arguments.json:
        print_json(found.to_dict())
    elif page is not None:
        print(printable(OWNER_PAGE_WRITTEN.format(file=page)))
    else:
        print(owner_text(found))
    if diary is not None:
        say(DIARY_WRITTEN.format(file=diary), arguments.quiet)


def _diary_path(arguments: argparse.Namespace) -> Path | None:
    if arguments.diary is None:
        return None
    path = writable(arguments.diary, inputs_read(arguments), arguments.force)
    if path.suffix.lower() != ".csv":
        raise CallError(f'"{path.name}": the name of a diary ends in .csv.')
    return path


def _write(
    arguments: argparse.Namespace, found: OwnerAnswer, page: Path | None, diary: Path | None
) -> None:
    if page is None and diary is None:
        return
    from bpvet.reports.owner import OWNER, diary_csv

    contents: dict[Path, bytes] = {}
    if diary is not None:
        contents[diary] = diary_csv(found)
    if page is not None:
        contents[page] = page_bytes(OWNER, found, page, arguments)
    if page is not None and diary is not None and page.parent == diary.parent:
        both = {path.name: content for path, content in contents.items()}
        write_all(page.parent, both, arguments.force)
        return
    for path, content in contents.items():
        write_whole(path, content, arguments.force)


def owner_text(found: OwnerAnswer) -> str:
    """Return the words of the owner's page as text."""
    from bpvet.facts.cautions import licensed
    from bpvet.facts.sources import footnotes
    from bpvet.wording.en.owner import (
        RED_FLAGS,
        RED_HEAD,
        RED_WAIT,
        called,
        owner_credit,
        owner_parts,
        phone_texts,
    )

    parts = [wrapped(" ".join(texts)) for texts in (phone_texts(found),) if texts]
    parts.append(wrapped(f"Blood pressure: {called(found)}"))
    for section in owner_parts(found):
        parts.append(f"{section.head}\n{wrapped(' '.join(section.texts), '  ')}")
    flags = "\n".join(wrapped(text, "    ", "  - ") for text in RED_FLAGS)
    parts.append(f"{RED_HEAD}\n{flags}\n{wrapped(RED_WAIT, '  ')}")
    foot = owner_credit()
    return "\n\n".join([*parts, *map(wrapped, (licensed(), foot, *footnotes(foot)))])
