"""Doses as far as they can be compared: a number and its unit. No dose is ever advised."""

from __future__ import annotations

import re
import unicodedata

from bpvet.frozen import dataclass

_FRACTIONS = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅓": "1/3", "⅔": "2/3"}
_DOSE = re.compile(r"(\d+(?:[.,]\d+)?)(?:\s*/\s*(\d+)(?![.,\d]))?\s*(.*)", re.DOTALL)


@dataclass(frozen=True)
class Dose:
    """A dose that can be compared: a number above zero, and the unit as written.

    Parameters
    ----------
    number : float
        In `unit`.
    unit : str
        Everything that follows the number, case and spacing forgiven; blank if nothing does.
    """

    number: float
    unit: str


def parse_dose(text: str, unit: str = "") -> Dose | None:
    """Return a dose as a number and its unit, or None where it cannot be compared.

    Decimal commas, simple fractions ("1/4", "½") and words after the number ("mg once daily",
    then part of the unit) are read. Words alone, several doses, ranges and zero are not, nor is
    a comma before exactly three digits ("1,250": which is it?); "0,625" is clear.

    Parameters
    ----------
    text : str
        The dose as written.
    unit : str
        The cell `dose_unit`.

    Examples
    --------
    >>> parse_dose("0,625 mg"), parse_dose("½", "Tablet")
    (Dose(number=0.625, unit='mg'), Dose(number=0.5, unit='tablet'))
    >>> parse_dose("half a tablet"), parse_dose("1-2 mg"), parse_dose("")
    (None, None, None)
    """
    for sign, written in _FRACTIONS.items():
        text = text.replace(sign, written)
    found = _DOSE.fullmatch(_plain(text))
    if found is None:
        return None
    digits, divisor, rest = found.group(1), found.group(2), _plain(found.group(3))
    if re.fullmatch(r"[1-9]\d*,\d{3}", digits) or ";" in rest or (rest and not rest[0].isalpha()):
        return None
    if divisor is not None and int(divisor) == 0:
        return None
    number = float(digits.replace(",", ".")) / int(divisor or 1)
    stated = _plain(unit)
    if stated and rest and rest != stated:
        stated = f"{stated} {rest}"
    return Dose(number, stated or rest) if number > 0 else None


def _plain(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split()).rstrip(".")
