"""Treatments by generic name: which act on pressure, how fast, and which only change conditions.

No dose stands here or in the data file, and no trade name.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Mapping
from functools import cache
from typing import Any

from bpvet.facts.sources import fact, table
from bpvet.frozen import dataclass

KINDS = ("pressure", "calming", "thyroid", "steroid", "diet", "other")
#: The fact with the time to effect of a drug that has no figure of its own.
UNKNOWN_TAU = "tau.unknown"
#: How alike a text and a name are at least that is spelled nearly so (`difflib`).
_NEAR = 0.8


@dataclass(frozen=True)
class Drug:
    """A treatment as bpvet knows it.

    Parameters
    ----------
    name : str
        Generic name; two joined by "and" for a combined product.
    kind : str
        One of `KINDS`; only ``pressure`` is modelled unless the purpose says otherwise.
    tau_days : float
        Time constant of its effect, days: the neutral one where it has no figure of its own.
    tau_range : tuple of float
        Lowest and highest time constant thought possible, days.
    may_move_pressure : bool
        Whether a course is said to be a change of conditions.
    fact_id : str
        The fact behind the time constant of a pressure drug, or behind the kind of another.
    renin : bool
        Whether it acts on the renin–angiotensin system: inhibitors of the converting enzyme or of
        renin, and blockers of the angiotensin receptor. Blockers of aldosterone are none of these.
    nsaid : bool
        Whether it is a non-steroidal anti-inflammatory drug.
    raises_fact : str
        The fact by which it is known to raise pressure; blank where it is not.
    """

    name: str
    kind: str
    tau_days: float
    tau_range: tuple[float, float]
    may_move_pressure: bool
    fact_id: str
    renin: bool = False
    nsaid: bool = False
    raises_fact: str = ""

    @property
    def raises(self) -> bool:
        """Whether it is known to raise pressure."""
        return bool(self.raises_fact)


def drug(text: str) -> Drug | None:
    """Return the treatment that a cell names, or None if it is not in the table.

    Case, spaces, hyphens, accents, salts, forms and strengths are forgiven, and INN, BAN and
    USAN names are one. Two known names joined by "/", "+", "&", "and" or "with" are one
    combined treatment: modelled if either is, as slow as the slower. Anything that ends in
    "diet" or "food" is a diet. A text that says more than a name ("stopped amlodipine") is not
    matched.

    Examples
    --------
    >>> drug("Amlodipine besylate").tau_days
    3.0
    >>> drug("methimazole").name, drug("methimazole").kind
    ('thiamazole', 'thyroid')
    >>> drug("an unheard-of drug") is None
    True
    """
    words = _words(text)
    single = _single(words)
    if single is not None:
        return single
    parts = [_single(_words(piece)) for piece in re.split(r"[/+&,]|\band\b|\bwith\b", text)]
    known = [ingredient for ingredient in parts if ingredient is not None]
    if len(known) > 1 and len(known) == len(parts):
        return _combined(known)
    if words and words[-1] in ("diet", "food"):
        return _made("diet", {"kind": "diet", "fact": "project.kind.diet", "moves": True})
    return None


_PRESSURE = r"(?:pressure|anti ?hypertensives?|hypertensi(?:on|ve)|hypotension|bp|sbp)"
#: Pressures that are not that of the body's arteries.
_ELSEWHERE = re.compile(
    r"\b(?:pulmonary|portal|ocular|eye|intra ?ocular|intra ?cranial|(?:intra ?)?glomerular|venous"
    r"|filling)(?: (?:arterial|venous|blood))? (?:hypertension|pressure)\b"
    r"|\bpressure (?:sores?|ulcers?|wounds?|bandages?)\b"
)
_NORMAL = re.compile(
    rf"\bnormal (?:blood )?{_PRESSURE}\b|\b(?:blood )?{_PRESSURE} (?:is |was )?normal\b"
)
#: Words that may stand between a denial and what it denies.
_BETWEEN = (
    r"(?: (?:for|to|a|an|the|any|given|used|meant|intended|prescribed|because|of|on|as|treat|lower"
    r"|reduce|control|high|low|raised|blood|arterial|systemic|systolic|signs?|evidence))*"
)
_DENIED = re.compile(
    rf"\b(?:not|never|non|other than|rather than|instead of){_BETWEEN}"
    r" (?:pressure|hypertension|anti ?hypertensives?|bp|sbp)\b"
)
#: "No hypertension" is said of the animal, not of what the drug is for.
_ABSENT = re.compile(rf"\b(?:no|not|non|without){_BETWEEN} {_PRESSURE}\b")
_STATED = re.compile(rf"\b{_PRESSURE}\b")


def purpose_overrides(text: str) -> bool | None:
    """Return what a purpose says about modelling a treatment as acting on pressure.

    Parameters
    ----------
    text : str
        The purpose as written.

    Returns
    -------
    bool or None
        True if it names the pressure of the arteries, high or low; False if it says that the
        treatment is not given for pressure; None if it says nothing of it. Another purpose
        ("proteinuria", "heart", "pulmonary hypertension") is None: it does not unmake a
        pressure-acting drug.

    Examples
    --------
    >>> purpose_overrides("hypertension"), purpose_overrides("not for blood pressure")
    (True, False)
    >>> purpose_overrides("proteinuria") is None
    True
    """
    plain = _ELSEWHERE.sub(" ", " ".join(_words(text)))
    plain = _NORMAL.sub(" ", " ".join(plain.split()))
    if _DENIED.search(plain):
        return False
    return True if _STATED.search(_ABSENT.sub(" ", plain)) else None


def drug_name(text: str) -> str:
    """Return the generic name of a treatment on the list, else its name as written.

    Case and spaces of a name off the list do not matter.

    Examples
    --------
    >>> drug_name("Amlodipine besylate"), drug_name(" Herbal  Mix ")
    ('amlodipine', 'herbal mix')
    """
    known = drug(text)
    return known.name if known else " ".join(text.casefold().split())


def default_tau() -> tuple[float, tuple[float, float]]:
    """Return the neutral time constant and its range, days: for a drug without one of its own."""
    return _tau(UNKNOWN_TAU)


def near_drugs(text: str, kind: str = "") -> tuple[str, ...]:
    """Return up to three known names that are spelled nearly so, the nearest first.

    Parameters
    ----------
    text : str
    kind : str
        A kind of drug of which one must be near, or nothing is looked for.

    Examples
    --------
    >>> near_drugs("amlodopine")
    ('amlodipine',)
    """
    written, by_key = "".join(_words(text)), _by_key()
    possible = _possibly_near(written)
    if kind and all(by_key[key].kind != kind for key in possible):
        return ()
    keys = difflib.get_close_matches(written, possible, n=3, cutoff=_NEAR)
    return tuple(dict.fromkeys(by_key[key].name for key in keys))


def _possibly_near(written: str) -> list[str]:
    """Return the keys that are not too long, too short or of too many other letters to be near.

    Letters that only one of two has match nothing: a note of a hundred thousand strange words is
    not compared with every name.
    """
    mine, length, found = _letter_bits(written), len(written), list[str]()
    for other, keys in _by_length().items():
        most = min(length, other)
        needed = _NEAR * (length + other) / 2 - 1e-9
        if most < needed:
            continue
        found += [
            key
            for key, letters in keys
            if other - (letters & ~mine).bit_count() >= needed
            and length - (mine & ~letters).bit_count() >= needed
        ]
    return found


def _letter_bits(text: str) -> int:
    bits = 0
    for letter in text:
        bits |= 1 << ord(letter)
    return bits


@cache
def _by_length() -> dict[int, list[tuple[str, int]]]:
    """Return every key with its letters as bits, by its length."""
    found: dict[int, list[tuple[str, int]]] = {}
    for key in _by_key():
        found.setdefault(len(key), []).append((key, _letter_bits(key)))
    return found


def drugs() -> tuple[Drug, ...]:
    """Return every treatment in the table, in its order."""
    return tuple(dict.fromkeys(_by_key().values()))


def _words(text: str) -> list[str]:
    plain = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(mark for mark in plain if not unicodedata.combining(mark))
    return re.findall(r"[a-z]+|[0-9]+", bare)


def _single(words: list[str]) -> Drug | None:
    by_key = _by_key()
    dropped = set(table("drugs")["dropped"])
    spare = [word in dropped or word.isdigit() for word in words]
    # A salt's word can be part of a name ("phosphate binder tablets"): drop from the end first.
    for end in range(len(words), 0, -1):
        whole = by_key.get("".join(words[:end]))
        if whole is not None:
            return whole
        if not spare[end - 1]:
            break
    return by_key.get("".join(word for word, drop in zip(words, spare, strict=True) if not drop))


def _combined(parts: list[Drug]) -> Drug:
    # A pressure-acting part decides, and among those the slowest.
    lead = max(parts, key=lambda ingredient: (ingredient.kind == "pressure", ingredient.tau_days))
    return Drug(
        name=" and ".join(dict.fromkeys(ingredient.name for ingredient in parts)),
        kind=lead.kind,
        tau_days=lead.tau_days,
        tau_range=lead.tau_range,
        may_move_pressure=any(ingredient.may_move_pressure for ingredient in parts),
        fact_id=lead.fact_id,
        renin=any(ingredient.renin for ingredient in parts),
        nsaid=any(ingredient.nsaid for ingredient in parts),
        raises_fact=next((ingredient.raises_fact for ingredient in parts if ingredient.raises), ""),
    )


@cache
def _by_key() -> Mapping[str, Drug]:
    named = {
        name: _made(name, group) for group in table("drugs")["group"] for name in group["names"]
    }
    keys = {"".join(_words(name)): made for name, made in named.items()}
    for spelling, name in table("drugs")["spellings"].items():
        keys["".join(_words(spelling))] = named[name]
    return keys


def _made(name: str, group: Mapping[str, Any]) -> Drug:
    days, ends = _tau(group["fact"] if group["kind"] == "pressure" else UNKNOWN_TAU)
    return Drug(
        name=name,
        kind=group["kind"],
        tau_days=days,
        tau_range=ends,
        may_move_pressure=group["moves"],
        fact_id=group["fact"],
        renin=group.get("renin", False),
        nsaid=group.get("nsaid", False),
        raises_fact=group.get("raises", ""),
    )


@cache
def _tau(id: str) -> tuple[float, tuple[float, float]]:
    found = fact(id)
    if found.value is None or found.low is None or found.high is None:
        raise ValueError(f"{id} is not a time constant with its range")
    return found.value, (found.low, found.high)
