"""The list tells of files that are not read, and asks what notes say of a drug or an end."""

from __future__ import annotations

import bpvet
from bpvet.wording.en.due import unread_words
from tests.scenarios.told import opened


def test_an_animal_with_a_remark_is_not_left_until_later():
    (row,) = bpvet.due(opened("said_dead_and_measured_since", "2026-03-03")).rows
    assert row.band == "due"
    assert row.why.startswith("A note of 2 March 2026 says “littermate died last week”.")
    (row,) = bpvet.due(opened("said_dead_and_measured_since", "2026-03-21")).rows
    assert row.band == "later"


def test_who_is_said_to_be_dead_stays_urgent_and_is_told_so():
    (row,) = bpvet.due(opened("died_in_a_note", "2026-05-05")).rows
    assert row.band == "now"
    assert "put to sleep elsewhere" in row.why


def test_files_that_are_not_read_are_named_once_for_all():
    found = bpvet.due(opened("pressures_in_another_file", "2026-11-30"))
    assert found.unread == ("doppler.csv",)
    assert unread_words(found.unread, False).startswith("Not read: “doppler.csv”.")
    hidden = unread_words(found.unread, True)
    assert hidden.startswith("One file")
    assert "doppler" not in hidden
    assert unread_words((), False) == ""
