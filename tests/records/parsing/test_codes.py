"""Several columns packed into one number, against sets of tuples as a slow twin."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.records.formats.gathered_columns import GatheredColumn
from bpvet.records.parsing import codes
from bpvet.records.parsing.codes import (
    among,
    as_one,
    end_to_end_rows,
    firsts,
    met_in_order,
    order_of,
    repeated,
)
from bpvet.records.parsing.columns import TEXT, holds_letter, is_blank, trimmed

MINUTE = 60_000_000_000
SMALL = st.integers(-3, 3)
TIMES = st.integers(0, 4).map(lambda minutes: 1_700_000_000 * 10**9 + minutes * MINUTE)
ANY = st.integers(-(2**63), 2**63 - 1)
ROWS = st.lists(st.tuples(SMALL, TIMES, ANY, st.sampled_from([0, 2**61, -(2**61)])), max_size=30)


def columns(rows: list[tuple[int, ...]]) -> list[np.ndarray]:
    return [np.array([row[i] for row in rows], dtype=np.int64) for i in range(4)]


@given(st.sets(st.integers(0, 40)).flatmap(lambda places: st.permutations(sorted(places))))
def test_the_order_of_places_is_that_of_sorting_them(places: list[int]) -> None:
    place = np.array(places, dtype=np.int32)
    assert order_of(place, 41).tolist() == np.argsort(place).tolist()


@given(ROWS)
def test_codes_are_equal_and_in_order_as_the_rows_are(rows: list[tuple[int, ...]]) -> None:
    code = as_one(columns(rows), len(rows)).tolist()
    order = {row: place for place, row in enumerate(sorted(set(rows)))}
    ranks = {one: place for place, one in enumerate(sorted(set(code)))}
    assert [ranks[one] for one in code] == [order[row] for row in rows]


@pytest.mark.parametrize("step", [1, MINUTE])
def test_many_wide_columns_take_several_numbers(step: int) -> None:
    rng = np.random.default_rng(3)
    keys = [rng.integers(0, 2**40 // step + 2, 500) * step for _ in range(6)]
    keys = [np.append(key, key[:50]) for key in keys]
    found = repeated(as_one(keys, 550))
    rows = list(zip(*(key.tolist() for key in keys), strict=True))
    assert found.tolist() == [rows.count(row) > 1 for row in rows]


@given(st.lists(st.sampled_from([-(2**63), -7, -6, 0, 2**32 - 8, 2**32 - 7, 2**63 - 1])))
def test_codes_of_any_span_are_found_again(code: list[int]) -> None:
    found = repeated(np.array(code, dtype=np.int64)).tolist()
    assert found == [code.count(one) > 1 for one in code]


@pytest.mark.parametrize("rows", [1, 2, 3])
def test_first_rows_are_found_beyond_the_first_block(
    rows: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(codes, "_ROWS", rows)
    assert firsts(np.array([1, 1, 0, 2, 1, 0]), 4).tolist() == [2, 0, 3, -1]
    assert firsts(np.array([0, 1, 0]), 2).tolist() == [0, 1]


@given(st.lists(st.lists(st.sampled_from(["", "a", "bc", "çé"])), max_size=4), st.integers(0, 2))
def test_texts_of_blocks_stand_end_to_end(parts: list[list[str]], offset: int) -> None:
    column = GatheredColumn()
    for part in parts:
        column.add(pa.array(part, TEXT).slice(offset))
    found = column.taken()
    found.validate(full=True)
    assert found.to_pylist() == [text for part in parts for text in part[offset:]]


@given(st.lists(st.integers(0, 6)))
def test_repeated_and_first_rows(code: list[int]) -> None:
    codes = np.array(code, dtype=np.int64)
    assert repeated(codes).tolist() == [code.count(one) > 1 for one in code]
    assert firsts(codes, 7).tolist() == [code.index(i) if i in code else -1 for i in range(7)]
    in_order = list(dict.fromkeys(code)) == list(range(5))
    assert met_in_order(codes, 5) == in_order
    assert among(codes, np.array([2, 5])).tolist() == [one in (2, 5) for one in code]


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 4))))
def test_spans_stand_end_to_end(spans: list[tuple[int, int]]) -> None:
    start, length = (np.array([span[i] for span in spans], dtype=np.int64) for i in (0, 1))
    expected = [row for first, many in spans for row in range(first, first + many)]
    assert end_to_end_rows(start, length).tolist() == expected


@pytest.mark.parametrize("many", [5, 3000, 50_000])
def test_codes_that_stand_twice_are_found_among_many(many: int) -> None:
    rng = np.random.default_rng(many)
    # Spans beyond the last digits, and below 0, so that these alone tell nothing.
    code = rng.permutation(np.arange(-40_000, 60_000) * 65_537)
    code[:many] = code[rng.permutation(100_000)[:many]]
    found, counts = np.unique(code, return_counts=True)
    assert repeated(code).tolist() == np.isin(code, found[counts > 1]).tolist()


@given(st.lists(st.text(alphabet=" \tab'é\u3000\x7f", max_size=4), max_size=6), st.integers(0, 3))
def test_edges_and_letters_are_those_that_the_texts_have(texts: list[str], start: int) -> None:
    cells = pa.array(texts, TEXT).slice(start)
    few = texts[start:]
    assert trimmed(cells).to_pylist() == [text.strip() for text in few]
    assert is_blank(cells).tolist() == [not text.strip() for text in few]
    assert holds_letter(cells, "'") == any("'" in text for text in few) or not few


def test_a_column_in_parts_becomes_one_in_order_of_first_occurrence() -> None:
    parts = [["b", "a", "b"], ["c", "a"], [], ["d", "b"]]
    column = GatheredColumn()
    for part in parts:
        column.add(pa.array(part, TEXT).dictionary_encode())
    found = column.taken()
    assert found.to_pylist() == [text for part in parts for text in part]
    assert found.dictionary.to_pylist() == ["b", "a", "c", "d"]


@pytest.mark.parametrize(("many", "kind"), [(127, "int8"), (128, "int16"), (40_000, "int32")])
def test_codes_are_as_small_as_their_texts_allow_and_one_more_fits(many: int, kind: str) -> None:
    texts = [str(i) for i in range(many)]
    column = GatheredColumn()
    for part in (texts, texts[::-1]):
        column.add(pa.array(part, TEXT).dictionary_encode())
    found = column.taken()
    code = found.indices.to_numpy()
    assert code.dtype == kind
    assert (code + 1).max() == many
    assert found.to_pylist() == texts + texts[::-1]
