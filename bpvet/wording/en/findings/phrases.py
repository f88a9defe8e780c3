"""Sentences that several checks end with."""

from __future__ import annotations

NOTHING_TO_DO = "Nothing to do."
CHECK_THE_CHART = "Check it against the chart; nothing to do if it is right."
LEAVE_OUT = 'Correct it; if the reading should not count, say why under "excluded".'
SPELL_SO = "If that is what is meant, write it so."
ONE_WAY = "If they are one animal, write its id in one way."
EITHER_DATE = "Correct one of the two dates."
