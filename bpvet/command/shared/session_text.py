"""The in-room sum as text for the terminal. Standard library only."""

from __future__ import annotations

from bpvet.command.shared.output import wrapped
from bpvet.facts.words import METHOD_WORDS

TYPE_CHECKING = False
if TYPE_CHECKING:
    from bpvet.answers.room.result import RoomAnswer


def room_text(answer: RoomAnswer) -> str:
    """Return the in-room sum as text: what is urgent, the number, what to do, the line."""
    from bpvet.facts.sources import footnotes
    from bpvet.printing import ShortTable
    from bpvet.wording.en.command.tables import COUNTS, READING, URGENT_LINE
    from bpvet.wording.en.room import CHART, as_taken, number_lines, what_became

    words = answer.words
    urgent = tuple(URGENT_LINE.format(text=finding.text) for finding in answer.urgent)
    groups = [words.cautions, words.go_on, words.notes, (words.range,)]
    rows = [(str(r.number), as_taken(r), what_became(r)) for r in answer.readings]
    blocks = [
        *map(wrapped, urgent),
        "\n".join(number_lines(answer)),
        ShortTable("", (READING, METHOD_WORDS[answer.method], COUNTS), tuple(rows)).text(),
    ]
    blocks += ["\n".join(map(wrapped, lines)) for lines in groups if lines]
    blocks += map(wrapped, footnotes(*urgent, *(line for lines in groups for line in lines)))
    blocks += map(wrapped, answer.cautions)
    return "\n\n".join([*blocks, f"{CHART}\n{answer.chart_line}"])
