"""One cell through every output, in this process and without a kernel."""

from __future__ import annotations

import bpvet
from bpvet.answers.room.result import RoomReading
from bpvet.answers.room.room import room_answer
from bpvet.command.trend import trend_text
from bpvet.pictures.answered import answered_picture
from bpvet.reports.letter.letter import letter_of
from bpvet.reports.letter.page import LETTER
from reference_checks.grid.cells import ANIMAL, Cell
from reference_checks.grid.judging import faults


def tried(cell: Cell) -> list[str]:
    """Return what is wrong with a cell's outputs; empty where nothing is."""
    trend = bpvet.fit_trend(cell.records(), ANIMAL)
    answer = trend.answer()
    picture = answered_picture(trend, answer)
    letter = LETTER.html(letter_of(trend, answer, "vesper.csv"), "a4")
    room = room_answer([_room_reading(one) for one in cell.latest_readings()], "doppler")
    return list(faults(cell, answer, picture, letter, trend_text(answer), room))


def _room_reading(text: str) -> RoomReading:
    if text == "no sound":
        return RoomReading(None)
    bound = "at least" if text.startswith(">") else ""
    return RoomReading(float(text.removeprefix(">")), bound)
