"""What tells one kind of report from another: its notebook, its numbers and its names.

An animal's, an agreement's, an audit's and a cohort's report each declare a `ReportKind`; reading,
running, the page, the PDF and the files are those of `writing.write_report` for all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Generic, TypeVar

from bpvet.frozen import dataclass
from bpvet.records.records import Records
from bpvet.reports.naming import digest_of
from bpvet.reports.spec import ReportSpec

Parameters = TypeVar("Parameters", bound=ReportSpec)
#: What a report says, as numbers and sentences.
Answer = TypeVar("Answer")


@dataclass(frozen=True)
class Outline:
    """What a report's notebook holds, from top to bottom; its calls are those of one module.

    Parameters
    ----------
    title : str
        Heading of the notebook; the page's own stands in the answers.
    imports : str
        Code that imports what the others need, that module as ``report``.
    work : str
        Code that reads the records as ``asked`` says, and computes.
    now : str
        The call that gives the head of the page, without ``report.``.
    sections : mapping of str to tuple of str
        Headings, and the calls below each.
    go_on : str
        What a researcher may call next; the notebook alone has it, with what follows.
    shown : tuple of str
        Code whose values the notebook shows at its end.
    """

    title: str
    imports: str
    work: str
    now: str
    sections: Mapping[str, tuple[str, ...]]
    go_on: str
    shown: tuple[str, ...]


@dataclass(frozen=True)
class Names:
    """How a report and its files are called.

    Parameters
    ----------
    stem : str
        Name of notebook and page without their endings.
    title : str
        Title of the page, as text.
    animal : str, optional
        Id of the animal that the report is of; None where it is of many.
    """

    stem: str
    title: str
    animal: str | None = None

    @property
    def digest(self) -> str:
        """Digest of whose report it is, such as "3f2a91c0de"."""
        return digest_of(self.stem if self.animal is None else self.animal)

    @property
    def parameters(self) -> str:
        """Name of the file with the parameters."""
        if self.animal is None:
            return f"{self.stem}-parameters.json"
        return f"parameters-{self.digest}.json"

    def files(self, pdf: bool) -> dict[str, str]:
        """Return the names of the report's files by their endings; that of a PDF where asked."""
        endings = ("ipynb", "html", "pdf") if pdf else ("ipynb", "html")
        return {ending: f"{self.stem}.{ending}" for ending in endings} | {"json": self.parameters}


@dataclass(frozen=True)
class ReportKind(Generic[Parameters, Answer]):
    """A kind of report.

    Parameters
    ----------
    name : str
        The first word of the mark by which its files are known.
    outline : Outline
        What the notebook holds, from the head of the page to its last section.
    fitted : function of Records and parameters
        What the notebook's cell that reads and computes makes, by name: "records", "answer" (of
        the kind's own type) and what else it names. Whatever is wrong with the call is raised by
        it.
    names : function of Records, parameters and what was fitted
        How the report is called.
    """

    name: str
    outline: Outline
    fitted: Callable[[Records, Parameters], dict[str, Any]]
    names: Callable[[Records, Parameters, Mapping[str, Any]], Names]

    def mark(self, names: Names) -> str:
        """Return what tells whose file a file is, such as "animal 3f2a91c0de"."""
        return f"{self.name} {names.digest}"
