"""The sentences of an agreement: which way, how surely, and that there is no reference."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from bpvet.answers.agreement.agreement import agreement_answer
from bpvet.models.agreement.agreement import agreement
from tests.answers.statements import assert_statements


def frame(
    shift: float, animals: int = 12, spread: float = 4.0, slope: float = 0.0, repeats: int = 2
) -> pd.DataFrame:
    rng = np.random.default_rng(2)
    rows = []
    for i in range(animals):
        level = 120.0 + 6 * i
        for name, add in (("Doppler", 0.0), ("oscillometric", shift + slope * (level - 150))):
            for _ in range(repeats):
                rows.append((f"cat {i}", name, level + add + rng.normal(0, spread)))
    return pd.DataFrame(rows, columns=["animal", "method", "y"])


def said(*, reference: str | None = None, unit: str = "mmHg", **more: float) -> str:
    made = frame(**more)  # type: ignore[arg-type]
    return " ".join(
        agreement_answer(agreement(made, "y", reference=reference, unit=unit)).sentences
    )


def test_which_reads_higher() -> None:
    assert "Oscillometric readings are on average 1" in said(shift=15)
    assert "higher than Doppler" in said(shift=15)
    assert "lower than Doppler" in said(shift=-15)
    assert "not clear which reads higher on average: oscillometric minus Doppler is" in said(
        shift=0
    )


def test_interchangeable_or_not() -> None:
    assert "are not interchangeable" in said(shift=15)
    assert "lie within" in said(shift=0, spread=0.5)
    assert "is for the vet to judge" in said(shift=0, spread=0.5)


def test_no_validation_without_a_reference() -> None:
    assert "This is not a validation: neither method is the reference." in said(shift=2)
    with_reference = said(shift=2, reference="direct")
    assert "not a validation" not in with_reference
    assert "published study" in with_reference
    assert "are not applied" in said(shift=2, unit="l/min")


def test_proportion_is_told_where_it_is_clear() -> None:
    assert "The difference changes with the level" in said(shift=5, slope=0.5)
    assert "weak evidence that it does not" in said(shift=5)


def test_what_is_not_known_is_said() -> None:
    single = said(shift=5, repeats=1)
    assert "no reading was repeated" in single
    assert "s_d at most" in single
    assert "cannot be estimated: needs animals with two or more paired visits" in single
    assert "So few animals say little" in single


@pytest.mark.parametrize("repeats", [1, 2])
def test_json_is_plain_and_complete(repeats: int) -> None:
    answer = agreement_answer(agreement(frame(shift=3, repeats=repeats), "y"))
    shown = json.loads(json.dumps(answer.to_dict(), allow_nan=False))
    assert shown["bias"]["estimate"] == answer.agreement.bias.estimate
    assert len(shown["criteria"]) == 8
    assert any("does not validate either" in one for one in shown["cautions"])
    assert shown["version"]
    assert_statements(shown, {"answers.interchangeable", "criteria.devices", "basis.pairs"})
    assert "nan" not in " ".join(answer.sentences).lower().split()
