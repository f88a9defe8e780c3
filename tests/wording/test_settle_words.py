"""How likely further visits settle a question, in words: never without the number."""

from __future__ import annotations

import pytest

from bpvet.answers.trend.settle import SettleAnswer
from bpvet.wording.en.trend.settle import settle_words


def chances(*held: float, visits=(1, 2, 4), gap_days: int = 14) -> list[SettleAnswer]:
    return [
        SettleAnswer(count, gap_days, 5, chance, {"yes": chance, "no": 0.0})
        for count, chance in zip(visits, held, strict=True)
    ]


@pytest.mark.parametrize(
    ("held", "words"),
    [
        # The fewest visits that have an even chance; from 0.5 on.
        (
            (0.62, 0.7, 0.8),
            "There is an even chance or better (6 in 10) that one more visit after 14 days "
            "settles it.",
        ),
        (
            (0.499, 0.5, 0.9),
            "There is an even chance or better (5 in 10) that two more visits 14 days apart "
            "settle it.",
        ),
        (
            (0.1, 0.2, 0.96),
            "There is an even chance or better (more than 9 in 10) that four more visits 14 days "
            "apart settle it.",
        ),
        # Below, the most that were tried.
        (
            (0.499, 0.3, 0.2),
            "Four more visits 14 days apart settle it in about 2 of 10 such animals.",
        ),
        (
            (0.1, 0.2, 0.449),
            "Four more visits 14 days apart settle it in about 4 of 10 such animals.",
        ),
        (
            (0.1, 0.2, 0.199),
            "More visits alone will rarely settle it (2 in 10 for four more visits 14 days apart).",
        ),
        (
            (0.0, 0.0, 0.049),
            "More visits alone will rarely settle it (less than 1 in 10 for four more visits 14 "
            "days apart).",
        ),
    ],
)
def test_the_words_of_a_chance(held, words):
    assert settle_words(chances(*held)) == (words,)


def test_a_slope_is_told_with_its_own_visits():
    held = chances(0.1, 0.3, 0.55, visits=(3, 6, 12), gap_days=28)
    assert settle_words(held) == (
        "There is an even chance or better (6 in 10) that 12 more visits 28 days apart settle it.",
    )


def test_nothing_is_said_of_what_is_settled():
    assert settle_words(()) == ()
