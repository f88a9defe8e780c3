"""Every formula form that is allowed, beside the formula library's own matrix of the whole frame.

Rows, columns and classes are compared by their names: an order of our own would not be seen
through sorting, and another model would be.
"""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest

from bpvet.errors import CallError, FormulaError
from bpvet.mixed import rows as cohort_rows
from bpvet.mixed.cohort import fit_cohort
from bpvet.mixed.columns import Roles, model_spec
from bpvet.mixed.rows import coded
from bpvet.mixed.steps import Mapped, spec_of_parts

ROW_BY_ROW = [
    "1",
    "a",
    "a + n",
    "0 + text",
    "text - 1",
    "text + ranked",
    "ranked",
    "chosen",
    "a * text",
    "a:text",
    "text / a",
    "text %in% chosen",
    "(a + text + ranked)**2",
    "(text + C(whole))^2",
    "truth",
    "a * truth",
    "truth:text",
    "C(text)",
    "C(ranked)",
    "C(chosen)",
    "C(whole)",
    "C(real)",
    "C(truth)",
    "C(day)",
    "C(nullable)",
    "C(nullable_truth) + nullable",
    "C(whole, spans_intercept=False)",
    "0 + C(whole) + C(real)",
    "whole + C(whole)",
    "truth + a:C(truth)",
    "a * C(whole)",
    "C(whole):C(text)",
    "C(whole) * chosen * a",
    "C(day):a + C(truth)",
    "{a**2} + {a / 3 - n}",
    "{-a} + {+n * 2}",
    "{whole**3}",
    "log(a) + log2(a) + log10(a)",
    "log(a - 4) + sqrt(a - 4)",
    "log1p(a) + exp(a / 5) + sqrt(a)",
    "log(a):text + `odd name`",
    "`odd name`:C(whole)",
]
ALL_ROWS_AT_ONCE = [
    "center(a)",
    "scale(a) + scale(n, ddof=0)",
    "poly(a, 2)",
    "poly(a, 3) * text",
    "poly(a, degree=2, raw=True)",
    "bs(a, df=5)",
    "bs(a, df=4, include_intercept=True):C(whole)",
    "cr(a, df=4)",
    "center(a):C(whole) + C(real)",
    "exp(scale(a)) + log(a)",
]


def frame_of(rows: int) -> pd.DataFrame:
    """Return rows whose last levels come late: none of the first rows shows them."""
    rng = np.random.default_rng(rows)
    place = np.arange(rows)
    late = place >= rows - 7

    def levels(early, last):
        drawn = [early[i] for i in rng.integers(0, len(early), rows)]
        return [last if is_late else one for one, is_late in zip(drawn, late, strict=True)]

    days = pd.to_datetime(["2024-01-05", "2024-02-01", "2023-12-31"])
    frame = pd.DataFrame(
        {
            "y": rng.normal(150, 10, rows),
            "animal": [f"A{i}" for i in place // 5],
            "a": rng.uniform(5, 9, rows),
            "n": rng.integers(1, 30, rows),
            "whole": levels([3, 20], 4),
            "real": levels([2.5, 1.0], -0.5),
            "truth": rng.random(rows) < 0.5,
            "text": pd.Series(levels(["u", "w"], "a"), dtype=object),
            "ranked": pd.Categorical(levels(["mid", "low"], "high"), ["low", "mid", "high"]),
            "chosen": pd.Categorical(levels(["x", "z"], "y"), ["z", "y", "x"]),
            "day": pd.Series(levels(list(days[:2]), days[2])),
            "nullable": pd.array(levels([7, 9], 8), dtype="Int64"),
            "nullable_truth": pd.array(levels([True, True], False), dtype="boolean"),
            "odd name": rng.normal(0, 1, rows),
            "scatter": levels([2, 10], 9),
        }
    )
    frame["ranked"] = frame["ranked"].cat.as_ordered()
    frame.index = pd.Index([f"row {i}" for i in place])
    return frame


def library(terms: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Return the formula library's own matrix of the whole frame."""
    from formulaic import Formula

    context = {"log1p": np.log1p, "sqrt": np.sqrt}
    return Formula(f"y ~ {terms}").rhs.get_model_matrix(frame, context=context)


def asked_of(terms: str, frame: pd.DataFrame):
    return model_spec(list(frame.columns), f"y ~ {terms}", Roles("animal", residual_by="scatter"))


def told(pairs, frame):
    """Return X by names of rows and columns, having checked the classes by name."""
    out = []
    for rows, asked in pairs:
        out.append(pd.DataFrame(rows.x, index=rows.label, columns=list(asked.design.names)))
        classes = np.array(asked.levels["scatter"])[rows.residual]
        assert list(classes) == [str(one) for one in frame.loc[rows.label, "scatter"]]
        assert list(rows.animals[rows.animal]) == list(frame.loc[rows.label, "animal"])
    return pd.concat(out)


def split(frame: pd.DataFrame, number: int) -> list[pd.DataFrame]:
    """Return the frame in parts of whole animals, in their order of appearance."""
    shares = np.array_split(frame["animal"].unique(), number)
    return [frame[frame["animal"].isin(share)] for share in shares]


def same(found: pd.DataFrame, expected: pd.DataFrame) -> None:
    assert list(found.columns) == list(expected.columns)
    assert set(found.index) == set(expected.index)
    assert len(found) == len(expected)
    matched = found.loc[expected.index].to_numpy()
    np.testing.assert_allclose(matched, expected.to_numpy(float), rtol=1e-12, atol=1e-12)


# As many rows as the library is asked for at once, a row fewer and a row more.
@pytest.mark.parametrize("rows", [999, 1000, 1001])
@pytest.mark.parametrize("terms", ROW_BY_ROW + ALL_ROWS_AT_ONCE)
def test_the_librarys_matrix(terms, rows, monkeypatch):
    monkeypatch.setattr(cohort_rows, "_ROWS_OF_FORMULA", 500)
    compare(terms, frame_of(rows))


@pytest.mark.parametrize("rows", [65_535, 65_536, 65_537])
def test_the_librarys_matrix_of_many_rows(rows):
    frame = frame_of(rows)
    compare("C(whole):C(text) + C(day) + log(a) + ranked", frame, parts=(7,))
    compare("a * ranked + truth", frame, parts=())


def compare(terms, frame, parts=(2, 7)):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for data in (frame, frame.sample(frac=1, random_state=7)):
            expected = library(terms, data)
            asked = asked_of(terms, data)
            same(told([coded(data, asked)], data), expected)
            for number in parts:
                pieces = split(data, number)
                if terms in ALL_ROWS_AT_ONCE:
                    with pytest.raises(FormulaError, match="needs all rows at once"):
                        spec_of_parts(pieces, asked, Mapped(map))
                    continue
                of_all = spec_of_parts(pieces, asked, Mapped(map))
                same(told([coded(piece, of_all) for piece in pieces], data), expected)


@pytest.mark.parametrize(
    "formula",
    [
        "y ~ C(a + n)",
        "y ~ C(text, 'sum')",
        "y ~ C(text, levels='uw')",
        "y ~ C(text, spans_intercept=3)",
        "y ~ log(C(text))",
        "y ~ {C(text) * 2}",
        "y ~ C()",
        "y ~ log(a, n)",
        "y ~ log(a, where=truth)",
        "y ~ exp(a, out=n)",
        "y ~ bs(a, _state=n)",
        "y ~ bs(a, df=n)",
        "y ~ bs(a, df=4000)",
        "y ~ poly(a, 100000000)",
        "C(y) ~ a",
        "poly(y, 2) ~ a",
        "y ~ C(day) + day:a",
    ],
)
def test_forms_that_are_refused(formula):
    frame = frame_of(60)
    before = frame.copy()
    with pytest.raises(CallError):
        fit_cohort(frame, formula, session=None)
    pd.testing.assert_frame_equal(frame, before)


def test_a_class_that_is_a_number_stays_a_number_in_the_formula():
    frame = frame_of(400)
    asked = model_spec(list(frame.columns), "y ~ whole", Roles("animal", residual_by="whole"))
    assert coded(frame, asked)[1].design.names == ("Intercept", "whole")


@pytest.mark.parametrize("rows", [300, 1500])
def test_too_many_levels_are_refused_before_they_are_columns(rows):
    frame = frame_of(rows).assign(many=np.arange(rows))
    frame["names"] = frame["many"].astype(str)
    for terms in ("C(many)", "names", "C(names)"):
        with pytest.raises(FormulaError, match=f"{rows} (levels|columns)"):
            coded(frame, asked_of(terms, frame))


def test_parts_whose_columns_differ_in_kind():
    frame = frame_of(60)
    first, second = split(frame, 2)
    texts = second.assign(whole=second["whole"].astype(str))
    truths = second.assign(whole=second["whole"] > 3)
    for other in (texts, truths):
        with pytest.raises(CallError, match="Column whole holds numbers in some parts and t"):
            spec_of_parts([first, other], asked_of("C(whole)", frame), Mapped(map))


def test_whole_numbers_that_a_gap_made_floating_are_the_same_levels():
    frame = frame_of(100)
    first, second = split(frame, 2)
    floating = second.assign(
        whole=second["whole"].astype(float), scatter=second["scatter"].astype(float)
    )
    floating.iloc[0, floating.columns.get_loc("whole")] = np.nan
    of_all = spec_of_parts([first, floating], asked_of("C(whole)", frame), Mapped(map))
    pairs = [coded(piece, of_all) for piece in (first, floating)]
    found = told(pairs, frame)
    assert list(found.columns) == ["Intercept", "C(whole)[T.4.0]", "C(whole)[T.20.0]"]
    np.testing.assert_array_equal(found.iloc[:, 1], frame.loc[found.index, "whole"] == 4)
    assert pairs[1][0].left_out == {"no whole": 1}


def test_many_groups_keep_their_codes():
    rows = 40_000
    frame = pd.DataFrame({"y": np.arange(rows), "animal": np.arange(rows)})
    frame["home"] = [f"h{i:05d}" for i in range(rows)]
    asked = model_spec(list(frame.columns), "y ~ 1", Roles("animal", group="home"))
    found, of_all = coded(frame, asked)
    assert list(np.array(of_all.levels["home"])[found.groups]) == list(frame["home"])


@pytest.fixture(scope="module")
def fit():
    frame = frame_of(400)
    frame["whole"] = np.random.default_rng(5).choice([3, 4, 20], 400)
    return fit_cohort(frame, "y ~ bs(a, df=4) + C(whole) + text + log(n)", session=None)


NEW = pd.DataFrame({"a": [6.0, 7.0], "whole": [3, 4], "text": ["u", "a"], "n": [2, 3]})


def test_predictions_of_new_rows(fit):
    assert np.isfinite(fit.predict(NEW).to_numpy()).all()
    assert fit.predict(NEW.iloc[:0]).empty


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"a": [6.0, 60.0]}, r"bs\(a, df=4\) was fitted from 5\.\d+ to \d"),
        ({"a": [6.0, np.nan]}, "Row 1 has no a"),
        ({"whole": [3, 5]}, '"5" is not among the levels of the fit'),
        ({"whole": [3, None]}, "Row 1 has no whole"),
        ({"whole": ["3", "4"]}, "not among the levels"),
        ({"text": ["u", None]}, "Row 1 has no text"),
        ({"text": ["", "u"]}, "Row 0 has no text"),
        ({"text": ["u", "q"]}, '"q" is not among'),
        ({"n": [2, -3]}, r"log\(n\) is not a number in some rows"),
        ({"n": [2, 0]}, r"Row 1: .*log\(n\) is no finite number"),
        ({"n": ["two", "3"]}, "must hold numbers"),
        ({"n": [2j, 3]}, "must hold numbers"),
    ],
)
def test_rows_that_cannot_be_predicted(fit, change, words):
    with pytest.raises(CallError, match=words):
        fit.predict(NEW.assign(**change))


@pytest.mark.parametrize(
    "call",
    [
        lambda fit: fit.compare(3),
        lambda fit: fit.predict({"a": [1.0]}),
        lambda fit: fit.predict(NEW.drop(columns="a")),
        lambda fit: fit.predict(NEW, level="animal"),
        lambda fit: fit.predict(NEW, interval=95),
        lambda fit: fit.predict(pd.concat([NEW, NEW], axis=1)),
        lambda fit: fit.contrast(3),
        lambda fit: fit.contrast({}),
        lambda fit: fit.contrast({"text[T.u]": "one"}),
        lambda fit: fit.contrast({"text[T.u]": 1.0}, level=2),
        lambda fit: fit.marginal_means([]),
        lambda fit: fit.marginal_means("text", at={"a": 6.0, "n": 2}, level=0),
        lambda fit: fit.profile(level=1.0),
    ],
)
def test_calls_that_are_wrong(fit, call):
    with pytest.raises(CallError):
        call(fit)


def test_means_of_numbers_that_are_classes(fit):
    means = fit.marginal_means("whole", at={"a": 6.0, "n": 2})
    assert list(means.index) == ["3", "4", "20"]
    gap = means.loc["20", "estimate"] - means.loc["3", "estimate"]
    assert gap == pytest.approx(fit.fixed.loc["C(whole)[T.20]", "estimate"])
