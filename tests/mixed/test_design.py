"""Formulas: what they mean, and that none can run code of its own."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from formulaic import ModelSpec

from bpvet.errors import CallError, FormulaError
from bpvet.mixed.design import follow, make_design, plain_design, prepared, response_values
from bpvet.mixed.formula_guard import read_formula


@pytest.fixture
def frame():
    return pd.DataFrame(
        {
            "y": [1.0, 2.0, 3.0, 4.0],
            "a": [1.0, 2.0, 3.0, 5.0],
            "b": ["u", "v", "u", "v"],
            "treated": [True, False, True, True],
            "odd name": [1.0, 2.0, 3.0, 4.0],
        }
    )


def design(text, frame):
    levels = {"b": tuple(sorted(frame["b"].unique()))}
    return make_design(read_formula(text, frame.columns), prepared(frame, levels))


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("y ~ 1", ["Intercept"]),
        ("y ~ a * b", ["Intercept", "a", "b[T.v]", "a:b[T.v]"]),
        ("y ~ 0 + b", ["b[u]", "b[v]"]),
        ("y ~ (a + b)**2", ["Intercept", "a", "b[T.v]", "a:b[T.v]"]),
        ("y ~ {a**2} + treated", ["Intercept", "a ** 2", "treated"]),
        ("y ~ `odd name` + sqrt(a)", ["Intercept", "odd name", "sqrt(a)"]),
        ("y ~ C(b) + log1p(a)", ["Intercept", "C(b)[T.v]", "log1p(a)"]),
    ],
)
def test_columns(text, names, frame):
    made, x = design(text, frame)
    assert list(made.names) == names
    assert x.shape == (4, len(names))


def test_numbers_are_what_they_say(frame):
    _, x = design("y ~ a * b + sqrt(a)", frame)
    v = np.array([0.0, 1.0, 0.0, 1.0])
    a = np.array([1.0, 2.0, 3.0, 5.0])
    np.testing.assert_allclose(x, np.column_stack([np.ones(4), a, v, np.sqrt(a), a * v]))


def test_outcome_may_be_transformed(frame):
    formula = read_formula("log(y) ~ a", frame.columns)
    np.testing.assert_allclose(response_values(formula, frame), np.log(frame["y"]))


@pytest.mark.parametrize(
    "text",
    [
        "y ~ I(a)",
        "y ~ {__import__('os').system('true')}",
        "y ~ a.real",
        "y ~ {a.real}",
        "y ~ {(lambda: 1)()}",
        "y ~ {[i for i in a]}",
        "y ~ {a > 1}",
        "y ~ {f'{a}'}",
        "y ~ {a**9}",
        "y ~ {a**a}",
        "y ~ Q('a')",
        "y ~ C(b, **a)",
        "y ~ open('x')",
        "y ~ eval('a')",
        "y ~ C(b, contr.treatment)",
        "y ~ nothing",
        "y ~ (a + b)**12",
        "y ~ a ^ b",
        "y ~ a | b",
        "y ~ [a]",
        "y ~ .",
        "y ~ a*b*a*b*a*b*a*b",
        "y ~ " + "a + " * 200 + "b",
        "y + a ~ b",
        "~ a",
        "y",
        "y ~ {",
        "y ~ 5",
        "",
        f"y ~ poly(a, '{'x' * 60}')",
    ],
)
def test_refused(text, frame, monkeypatch):
    def run(*_):
        raise AssertionError("the formula ran code")

    monkeypatch.setattr("os.system", run)
    with pytest.raises(FormulaError):
        design(text, frame)


def test_a_missing_column_names_its_neighbour():
    with pytest.raises(FormulaError, match="Did you mean months"):
        read_formula("y ~ month", ["y", "months"])


def test_new_rows_need_known_levels(frame):
    made, _ = design("y ~ a + b", frame)
    new = pd.DataFrame({"a": [7.0], "b": ["v"]})
    np.testing.assert_allclose(made.matrix(new), [[1.0, 7.0, 1.0]])
    with pytest.raises(CallError, match='"w" is not among'):
        made.matrix(pd.DataFrame({"a": [7.0], "b": ["w"]}))


def test_too_many_columns():
    frame = pd.DataFrame({"y": np.arange(300.0), "b": [f"l{i}" for i in range(300)]})
    with pytest.raises(FormulaError, match="300 columns"):
        design("y ~ b", frame)


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("y ~ 1", True),
        ("y ~ a * b * treated", True),
        ("y ~ 0 + b + b:c", True),
        ("y ~ b * c + a:b:c", True),
        ("y ~ log(a) + b", False),
        ("y ~ C(b)", False),
    ],
)
def test_the_recipe_gives_the_libraries_numbers(text, plain, frame):
    frame = pd.concat([frame] * 3, ignore_index=True)
    frame["c"] = list("pqrpqrpqrqqp")
    levels = {"b": ("u", "v"), "c": ("p", "q", "r")}
    ready = prepared(frame, levels)
    made, x = make_design(read_formula(text, frame.columns), ready)
    assert (made.recipe is not None) == plain
    if made.recipe is not None:
        again = np.empty_like(x)
        numbers = {name: ready[name].to_numpy(float) for name in ("a", "treated")}
        codes = {name: ready[name].cat.codes.to_numpy() for name in levels}
        follow(made.recipe, again, numbers, codes, levels)
        np.testing.assert_array_equal(again, x)


PLAIN = (
    *("1", "x", "a", "x * a", "a * b", "a * b * x", "x + a:x", "a:x + x", "a:b + a + b", "x:z"),
    *("x * z * t", "x + a + x:a + b:x", "a * x * b", "a:x:z + x:z", "(a + b + x)**2", "b + t * x"),
)
#: No intercept, a product without its margins, a class of one level.
NOT_PLAIN = ("x:a", "b:a", "0 + a", "-1 + x", "one + x", "a / b", "1 + a:b + a")


def _invented() -> pd.DataFrame:
    rng = np.random.default_rng(0)
    texts = {
        name: pd.Categorical(rng.choice(list(levels), 60), categories=list(levels))
        for name, levels in {"a": "pqr", "b": "uv", "one": "k"}.items()
    }
    numbers = {name: rng.normal(size=60) for name in ("y", "x", "z")}
    return pd.DataFrame(texts | numbers | {"t": rng.integers(0, 2, 60).astype(float)})


@pytest.mark.parametrize("right", PLAIN + NOT_PLAIN)
def test_a_plain_design_is_the_librarys(right: str) -> None:
    data = _invented()
    formula = read_formula(f"y ~ {right}", list(data.columns))
    ready = data[list(formula.columns)]
    levels = {c: tuple(ready[c].cat.categories) for c in ready if ready[c].dtype == "category"}
    assert (plain_design(formula, levels) is None) == (right in NOT_PLAIN)
    if right in NOT_PLAIN:
        return
    design, x = make_design(formula, ready)
    spec = ModelSpec(formula=formula.right, na_action="raise", output="numpy")
    theirs = spec.get_model_matrix(ready)
    assert design.names == tuple(theirs.model_spec.column_names)
    assert design.terms == {str(t): tuple(p) for t, p in theirs.model_spec.term_indices.items()}
    np.testing.assert_array_equal(x, np.asarray(theirs))
    np.testing.assert_array_equal(design.matrix(data), x)
