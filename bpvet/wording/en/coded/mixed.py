"""A mixed model: the notes below its printed table."""

from __future__ import annotations

#: In braces stands what is told of.
WORDS = {
    "mixed.boundary": "A variance is zero or a correlation is ±1: the fit is on a boundary.",
    "mixed.counts": (
        "{animals} animals, {sessions} sessions, {readings} readings; −2 log-likelihood "
        "{criterion}; R² {marginal} marginal, {conditional} conditional."
    ),
    "mixed.df": "Degrees of freedom: {rule}.",
    "mixed.df.kenward_roger": "Kenward–Roger (standard errors too)",
    "mixed.df.residual": "readings minus coefficients",
    "mixed.df.satterthwaite": "Satterthwaite",
    "mixed.df_robust": "Degrees of freedom: {rule}. Standard errors: sandwich by animal.",
    "mixed.left_out": "Left out of {taken} rows: {parts}.",
    "mixed.left_out_for": "{rows} with {reason}",
    "mixed.one_reading": (
        "Each session holds one reading: visit and reading scatter are one residual SD."
    ),
}
