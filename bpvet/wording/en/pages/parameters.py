"""What the values in a report's file of parameters have to be, by their names."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

#: What such a file holds.
PARAMETERS = "the parameters of a report"
#: Each completes "… is to be".
WANTED: Mapping[str, str] = MappingProxyType(
    {
        "records": "the path of the records",
        "as_of": "a date, YYYY-MM-DD",
        "reading": "the options of reading, by name",
        "animal": "an id",
        "method": "a method, or null",
        "quantity": "a quantity",
        "condition": "a condition, or null",
        "bridge": "a list of what is joined",
        "rule": "a rule",
        "guideline": "a guideline",
        "level": "a number",
        "priors": "priors as a report writes them, or null",
        "edition": "an edition",
        "pseudonyms": "true or false",
        "options": "options by name, each a text, a number or true or false",
    }
)
