"""One animal's letter for a colleague: complete on its own, and in need of no tool.

Under addressee and reason it is composed as an animal's page is: who it is, what is urgent, newest
value, usual, target and when again in words, the figure at full width, drugs, eyes and signs,
kidney values and weight, three statements; then every other answer, what came before, and every
session. Nothing is left to a file, and nothing is cut.
"""

from __future__ import annotations

from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import UnseenAnswer
from bpvet.errors import CallError
from bpvet.facts.cautions import licensed, parted
from bpvet.facts.sources import footnotes
from bpvet.facts.words import LAB_QUANTITIES, UNITS
from bpvet.frozen import dataclass
from bpvet.models.trend.trend import Trend
from bpvet.records.records import Records
from bpvet.reports.letter.figure import LetterFigure, letter_figure
from bpvet.reports.letter.labs import Labs, labs_of
from bpvet.reports.letter.records import Told, drug_lines, future_lines
from bpvet.reports.letter.sessions import Sessions, newer_lines, readings_apart, sessions_of
from bpvet.reports.letter.signs import Signs, eyes_line, sign_lines
from bpvet.reports.letter.source import Source
from bpvet.reports.letter.table import table_bytes
from bpvet.reports.letter.who import Who, who_of
from bpvet.wording.en.letter import LetterWords, letter_statements, letter_words
from bpvet.wording.en.pages.letter import basis_words

#: Cautions of a letter: whoever receives it measures, and treats, for a living.
_CAUTIONS = 3


@dataclass(frozen=True)
class Letter:
    """A letter's content, whole.

    Parameters
    ----------
    who : Who
        Whose it is, to whom and why.
    foot : str
        Stands at the foot of each page, with its number.
    words : LetterWords
        The statements, each once.
    newer : tuple of str
        Sessions that are newer than the trend and no part of it.
    figure : LetterFigure or None
        None where no session may enter a trend.
    drugs : Told
    eyes : str
    signs : Signs
    labs : Labs
    future : tuple of str
        Rows dated after the date that is spoken for.
    sessions : Sessions
    apart : tuple of str
        Why readings stand in no session.
    cautions, basis : str
    unit : str
        Of the sessions' means.
    animal : str
        Id of whose it is, as it stands in the records.
    table : bytes
        All of it as a CSV file, to attach; the letter does not need it.
    """

    who: Who
    foot: str
    words: LetterWords
    newer: tuple[str, ...]
    figure: LetterFigure | None
    drugs: Told
    eyes: str
    signs: Signs
    labs: Labs
    future: tuple[str, ...]
    sessions: Sessions
    apart: tuple[str, ...]
    cautions: str
    basis: str
    unit: str
    animal: str
    table: bytes

    @property
    def title(self) -> str:
        """What the page is called."""
        return f"{self.who.name}: blood pressure"


@dataclass(frozen=True)
class Wanted:
    """What is asked of a letter besides its animal.

    Parameters
    ----------
    to, question : str
        Addressee and reason; blank leaves lines to write on.
    plain : bool
        Whether the table beside it is for programs, as in `bpvet.files.csv_bytes`.
    """

    to: str = ""
    question: str = ""
    plain: bool = False


def letter_of(
    trend: Trend, answer: TrendAnswer, table: str, wanted: Wanted | None = None
) -> Letter:
    """Return everything that a letter tells of an animal with a trend.

    Parameters
    ----------
    trend : Trend
        Of a pressure.
    answer : TrendAnswer
        Its answer.
    table : str
        Name of the CSV file beside it.
    wanted : Wanted, optional

    Raises
    ------
    CallError
        For a laboratory value, which has no sessions.
    """
    if answer.quantity in LAB_QUANTITIES:
        raise CallError(
            "A letter reports sessions, and a laboratory value has none. Choose a pressure with "
            "--quantity, or leave out --letter for the figure alone."
        )
    figure = letter_figure(trend, answer)
    return _letter(Source.of_trend(trend), answer, table, wanted or Wanted(), figure)


def unseen_letter(
    records: Records,
    answer: UnseenAnswer,
    table: str,
    rule: str = "guideline",
    wanted: Wanted | None = None,
) -> Letter:
    """Return everything that a letter tells of an animal without a session of a trend.

    Parameters
    ----------
    records : Records
    answer : UnseenAnswer
        What can be answered of the animal.
    table : str
        Name of the CSV file beside it.
    rule : str
        Which readings count.
    wanted : Wanted, optional
    """
    source = Source.of_unseen(records, answer, rule)
    return _letter(source, answer, table, wanted or Wanted(), None)


def _letter(
    source: Source,
    answer: TrendAnswer | UnseenAnswer,
    table: str,
    wanted: Wanted,
    figure: LetterFigure | None,
) -> Letter:
    who = who_of(source, answer, wanted.to, wanted.question)
    return Letter(
        who=who,
        foot=who.foot(answer.as_of),
        words=letter_words(answer),
        newer=newer_lines(source),
        figure=figure,
        drugs=drug_lines(source),
        eyes=eyes_line(source, bool(answer.recorded.uncounted.broken)),
        signs=sign_lines(source, answer.signs),
        labs=labs_of(source),
        future=future_lines(answer),
        sessions=sessions_of(source),
        apart=readings_apart(source),
        cautions=_cautions(answer),
        basis=basis_words(answer, source.rule, table),
        unit=UNITS[source.quantity],
        animal=answer.animal,
        table=table_bytes(source, answer, who, wanted.plain),
    )


def _cautions(answer: TrendAnswer | UnseenAnswer) -> str:
    """Return the cautions that a colleague needs most, and the footnote of figures from memory."""
    first, _ = parted(answer.cautions)
    kept = [licensed(), *(text for text in first if text != licensed())][:_CAUTIONS]
    texts = (statement.text for statement in letter_statements(answer))
    return " ".join([*kept, *footnotes(*texts, *kept)])
