"""What notebooks and pages of reports are called and headed, and what a researcher is told last."""

from __future__ import annotations

from collections.abc import Mapping

from bpvet.frozen import dataclass
from bpvet.wording.en.pages.audit.head import AUDIT_TITLE


@dataclass(frozen=True)
class OutlineWords:
    """The words of a report's notebook.

    Parameters
    ----------
    title : str
        Heading of the notebook.
    heads : mapping of str to str
        Headings of the page's sections, by what the report calls them.
    go_on : str
        What a researcher may call next; the notebook alone has it.
    """

    title: str
    heads: Mapping[str, str]
    go_on: str


ANIMAL_WORDS = OutlineWords(
    title="One animal's blood pressure over months",
    heads={
        "time": "Through time",
        "more": "More",
        "answers": "The answers",
        "sessions": "The sessions",
        "kidneys": "Kidney values, treatments and signs",
        "check": "What the record check says",
        "computed": "How it was computed, and what it assumes",
        "cautions": "Cautions",
        "sources": "Sources",
    },
    go_on="""\
`trend.at("2026-03-01")` is the usual pressure on a date, `trend.next_session(date, readings=5)`
what a session may read, `trend.plot()` the figure, `answer.to_dict()` every number,
`records.readings` the readings as a data frame.""",
)
AGREEMENT_WORDS = OutlineWords(
    title="Two methods against each other",
    heads={
        "figure": "The figure",
        "answers": "The answers",
        "numbers": "The numbers",
        "animals": "The animals",
        "criteria": "The guideline's criteria for devices",
        "offset": "For a trend that joins both methods",
        "computed": "How it was computed, and what it assumes",
        "cautions": "Cautions",
        "sources": "Sources",
    },
    go_on="""\
`agree.limits(readings=5)` are the limits for means of five readings, `agree.deming("estimated")`
Deming's line with the errors' ratio taken from the readings, `agree.plot()` the figure,
`agree.offset.prior()` what `Priors(method_offset=…)` takes, `agree.to_dict()` every number.""",
)
AUDIT_WORDS = OutlineWords(
    title=AUDIT_TITLE,
    heads={
        "first": "What to change first",
        "findings": "All in one table",
        "topics": "More of each",
        "cautions": "Cautions",
        "computed": "How it was computed, and sources",
    },
    go_on="""\
`quality.to_frame()` is the scatter of readings by method, operator, site and demeanour,
`quality.operators` the operators, `bpvet.situation(records, "home")` the situational effect by
animal, `bpvet.sessions(records)` the sessions as a data frame, `answer.to_dict()` every number.""",
)
COHORT_WORDS = OutlineWords(
    title="A clinic's animals over months",
    heads={
        "panels": "Every animal through time",
        "sentences": "What the numbers say",
        "flow": "Who was counted, and who not",
        "entry": "The animals at entry",
        "over_time": "Over time on treatment",
        "fit": "The fit",
        "grid": "How the estimates move with the choices",
        "scatter": "What readings scatter by",
        "animals": "The animals beside each other",
        "residuals": "Do the assumptions hold?",
        "computed": "How it was computed",
        "cautions": "Cautions",
    },
    go_on="""\
`study.cohort` is the fitted model: `study.cohort.fixed`, `.variance`, `.profile()`, `.animals`,
`.predict(frame)`, `.compare(other)`, `.to_csv(path)`, `.to_latex()`. `study.counted` are the
sessions that it counts, as a data frame; `bpvet.fit_cohort` fits another model to them, and
`answer.to_dict()` is every number of the page.""",
)
