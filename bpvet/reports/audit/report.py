"""The report on the quality of measuring: a notebook, and the same as a page.

The notebook reads its parameters from a file beside it and uses the public library alone, so
that no value of the records ever stands in a cell. Its cells call the functions named here.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from bpvet.answers.audit.audit import AuditAnswer, audit_answer
from bpvet.frozen import dataclass
from bpvet.models.audit.audit import audit
from bpvet.records.records import Records
from bpvet.reports.audit.sections import (
    TOPICS,
    computed,
    findings,
    first,
    now,
    sources,
    topics,
)
from bpvet.reports.cautions import cautions, statement
from bpvet.reports.kind import Names, Outline, ReportKind
from bpvet.reports.spec import Options, Value
from bpvet.wording.en.pages.outlines import AUDIT_WORDS

__all__ = [
    "KIND",
    "OUTLINE",
    "TOPICS",
    "Parameters",
    "cautions",
    "computed",
    "findings",
    "first",
    "now",
    "parameters",
    "sources",
    "statement",
    "topics",
]


@dataclass(frozen=True, kw_only=True)
class Parameters(Options):
    """What a report on an audit is asked for: the named arguments of `bpvet.audit`."""

    DEFAULTS: ClassVar[Mapping[str, Value]] = {"rule": "guideline", "level": 0.95}


#: Reads the parameters in a file, as such a report wrote it.
parameters = Parameters.from_file


def _fitted(records: Records, spec: Parameters) -> dict[str, Any]:
    quality = audit(records, **spec.options)
    return {"records": records, "quality": quality, "answer": audit_answer(quality)}


def _names(*_: object) -> Names:
    return Names("audit", OUTLINE.title)


_HEADS = AUDIT_WORDS.heads
OUTLINE = Outline(
    title=AUDIT_WORDS.title,
    imports="""import bpvet
from bpvet.answers.audit.audit import audit_answer
from bpvet.reports.audit import report""",
    work="""records = bpvet.read(asked.records, **asked.read)
quality = bpvet.audit(records, **asked.options)
answer = audit_answer(quality)""",
    now="now(answer)",
    sections={
        _HEADS["first"]: ("first(answer)",),
        _HEADS["findings"]: ("findings(answer)",),
        _HEADS["topics"]: ("topics(answer)",),
        _HEADS["cautions"]: ("cautions(answer)",),
        _HEADS["computed"]: ("computed(answer)", "sources(answer)"),
    },
    go_on=AUDIT_WORDS.go_on,
    shown=(
        "quality",
        "from bpvet.reports.framing import framed\n\nframed(quality.to_frame())",
    ),
)
KIND: ReportKind[Parameters, AuditAnswer] = ReportKind("audit", OUTLINE, _fitted, _names)
