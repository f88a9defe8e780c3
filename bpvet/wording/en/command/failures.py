"""What is told when a command cannot go on: one sentence, and where more stands."""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path

#: The records have findings that stop the work; they follow, a line each.
FIX_FIRST = "the records cannot be used until this is fixed:"
#: The head of a diagnostic file, and the names of its parts.
DIAGNOSTIC = "An error inside of bpvet. Nothing of any record, argument or folder stands here."
ESCAPED, CAME_OF = "What escaped", "Which came of, or while handling"


def see_help(who: str) -> str:
    """Return where the arguments of a command are told."""
    return f'See "{who} --help"; options come last.'


def more_findings(count: int) -> str:
    """Return how many findings an error message leaves out, and where they are."""
    return f'… and {count} more. "bpvet check PATH" shows them.'


def not_installed(package: str, missing: bool) -> str:
    """Return what has to be installed: it is missing, or there and cannot be loaded."""
    what = "is not installed" if missing else "cannot be loaded"
    how = package if missing else f"--force-reinstall {package}"
    return f"{package}, which is needed here, {what}: pip install {how}"


def inside(kind: str, place: Path | None) -> str:
    """Return that an error of this kind is no fault of the records; `place` of the diagnostic."""
    fault = f"an error inside of bpvet ({kind}), not of your records"
    if place is None:
        return f"{fault}; nothing could be written down about it."
    from bpvet.printing import escaped

    return f'{fault}; where it arose, and nothing of the records, is in "{escaped(str(place))}".'
