"""Sentences that several checks end with."""

from __future__ import annotations

NOTHING_TO_DO = "Nothing to do."
