"""The text of a sign cut into words, numbers, spans of time and separators, with their places.

What belongs together is kept whole before anything is cut: "w/o", "r/o", "n/a", dates, decimals,
"o.d.". Words are folded so that British and American spellings are one.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

#: Days of each unit of time, by the folded word or letter.
_UNITS = {
    1 / 1440: ("min", "mins", "minute", "minutes"),
    1 / 24: ("h", "hr", "hrs", "hour", "hours"),
    1.0: ("d", "day", "days", "night", "nights"),
    7.0: ("w", "wk", "wks", "week", "weeks"),
    30.0: ("m", "mo", "mos", "mth", "mths", "month", "months"),
    365.0: ("y", "yr", "yrs", "year", "years"),
}
#: "3/52" is three weeks.
_PARTS = {"7": 1.0, "52": 7.0, "12": 30.0}
_CONTRACTED = {
    **dict.fromkeys(("cant", "cannot", "couldnt", "coudnt", "cantt"), ("can", "not")),
    **dict.fromkeys(
        (
            *("wont", "wouldnt", "dont", "doesnt", "didnt", "isnt", "arent", "wasnt", "werent"),
            *("hasnt", "havent", "hadnt", "aint", "shouldnt", "neednt", "dosent", "dosnt", "didn"),
        ),
        ("not",),
    ),
}

_DOUBLED = re.compile(r"(.)\1+")
_SYMBOLS = {"∅": "ø", "⌀": "ø", "↓": "reduced", "↑": "raised"}

_WHOLE = (
    r"(?<!\w)(?:w/o(?:ut)?|r/o|n/a|c/o|h/o|d/t|c/w|s/p|p/c|o/e|y/o|u/s|y/n|f/u|b/c|t/f|n/k|yes/no"
    r"|[yY]\s/\s[nN]|o\.\s?[dsu]\.?|e\.g\.|i\.e\.|y['’]day|v\+|d\+)(?!\w)"
)
_TOKEN = re.compile(
    rf"""
    (?P<abbreviated>(?<!\w)(?:incl|approx|resp|susp|poss|prob|prev|hx|bilat|dil|esp|dr|vs|occ|mod
      |sl|ant|abn|ddx|wt|temp|adv|disc|ca|eg|ie|cf|mr|mrs|ms|st|gr|hist|dept|cont|amt|min|max)(?=\.\s?\w))\.
    |(?P<date>\d{{4}}-\d{{1,2}}-\d{{1,2}}(?!\d)
      |(?<![\d./-])\d{{1,2}}[./-]\d{{1,2}}[./-](?:\d{{4}}|\d{{2}})(?![\d]))
    |(?P<clock>(?<!\d)\d{{1,2}}[:.]\d{{2}}\s?(?:am|pm)\b|(?<!\d)\d{{1,2}}:\d{{2}}h?(?!\d)
      |(?<!\d)\d{{1,2}}\s?(?:am|pm)\b)
    |(?P<whole>{_WHOLE})
    |(?P<with>(?<!\w)w/(?=[\s\w]))
    |(?P<side>(?<!\w)(?:L|R|OS|OD|OU|LE|RE)[+−–-](?=[\s,;.)/]|$))
    |(?P<mark>[+−–-]\s?/\s?[+−–-](?!\w)|\(\s?[+−–-]\s?\)|(?<!\w)[+−–-]ve\b|\+{{2,}}|✓|☑|☒|☐|\[[\sx]?\])
    |(?P<grade>(?<![\w/])(?:\d{{1,2}}\s?/\s?\d{{1,3}}|[ivIV]{{1,3}}\s?/\s?[vV][iI]{{0,3}})(?!\w))
    |(?P<times>(?<!\w)[x×]\s?\d{{1,3}}(?!\w)|(?<!\w)\d{{1,3}}\s?[x×](?!\w))
    |(?P<span>(?<![\w.])\d{{1,4}}(?:[.,]\d+)?(?:\s?-\s?\d{{1,3}})?
      (?:\s?(?:min|hr|hrs|wk|wks|mo|mos|mth|mths|yr|yrs|yo)|[hdwmy])(?!\w))
    |(?P<word>[^\W\d_]+(?:['’`´][^\W\d_]+)*)
    |(?P<number>\d+(?:[.,]\d+)*)
    |(?P<arrow>[-=–]+>|→|⇒)
    |(?P<stop>[\r\n]+|[.;!|•]+)
    |(?P<query>[?¿]+)
    |(?P<comma>,)
    |(?P<sep>[/+&()\\])
    |(?P<colon>[:=]|_{{2,}})
    |(?P<dash>[-−–—]+)
    |(?P<other>[^\s\w'"’‘“”`´*#~^<>]|∅)
    """,
    re.VERBOSE | re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Token:
    """A piece of a cell.

    Parameters
    ----------
    kind : str
        ``word``, ``number``, ``times``, ``span``, ``ago``, ``age``, ``date``, ``clock``,
        ``grade``, ``stop``, ``query``, ``comma``, ``sep``, ``colon``, ``dash``, ``arrow``.
    key : str
        The folded word, or the piece as written.
    start, end : int
        Its place in the cell.
    value : float
        Days of a span, the number itself, or days before the cell was written of a date (NaN
        where that is not known).
    """

    kind: str
    key: str
    start: int
    end: int
    value: float = float("nan")


@lru_cache(maxsize=65536)
def fold(word: str) -> str:
    """Return a word without case, accents and the spellings that vary.

    Examples
    --------
    >>> fold("Haemorrhage") == fold("hemorrhage") == fold("hæmorrage")
    True
    """
    plain = word.casefold()
    if not (plain.isascii() and plain.isalpha()):
        plain = unicodedata.normalize("NFKD", plain.replace("æ", "ae").replace("œ", "oe"))
        plain = "".join(c for c in plain if not unicodedata.combining(c) and c not in "'’`´")
    if len(plain) < 4:
        return plain
    plain = plain.replace("ae", "e").replace("oe", "e").replace("ph", "f").replace("rh", "r")
    return _DOUBLED.sub(r"\1", plain.replace("y", "i")) if len(plain) > 4 else plain


#: Days of a unit, by its folded word.
DAYS = {fold(word): days for days, words in _UNITS.items() for word in words}


def expanded(word: str) -> tuple[str, ...]:
    """Return a word's folded words: a contraction is more than one."""
    bare = word.casefold()
    if not bare.isalpha():
        bare = bare.replace("'", "").replace("’", "").replace("`", "").replace("´", "")
    return _CONTRACTED.get(bare) or (fold(word),)


def tokens(text: str, seen_on: date | None = None) -> list[Token]:
    """Return the pieces of a text in order; `seen_on` dates what the text dates.

    The cost is linear in the length of the text.
    """
    found: list[Token] = []
    for match in _TOKEN.finditer(text):
        kind, piece = str(match.lastgroup), match.group()
        start, end = match.span()
        if kind == "word":
            found += [Token("word", key, start, end) for key in expanded(piece)]
        elif kind == "abbreviated":
            found += [Token("word", key, start, end - 1) for key in expanded(piece[:-1])]
        elif kind in ("whole", "mark"):
            found.append(_kept_whole(piece, start, end))
        elif kind == "side":
            found.append(Token("word", "side+" if piece.endswith("+") else "side-", start, end))
        elif kind == "with":
            found.append(Token("word", "w/", start, end))
        elif kind == "span":
            found.append(_span(piece, start, end))
        elif kind == "number":
            found.append(Token("number", piece, start, end, _number(piece)))
        elif kind == "date":
            found.append(Token("date", piece, start, end, _days_before(piece, seen_on)))
        elif kind == "grade":
            found.append(_grade(piece, start, end))
        elif kind == "dash":
            if not _inside_word(text, start, end):
                found.append(Token("dash", "-", start, end))
        elif kind == "other":
            if piece in _SYMBOLS:
                found.append(Token("word", _SYMBOLS[piece], start, end))
        else:
            found.append(Token(kind, piece, start, end))
    return _joined(found, seen_on)


def _kept_whole(piece: str, start: int, end: int) -> Token:
    key = re.sub(r"[\s.]", "", piece.casefold()).replace("−", "-").replace("–", "-")
    if "/" in key and set(key) <= {"+", "-", "/"}:
        # Both sides of a reflex: one that is missing counts.
        word = {"+/+": "(+)", "-/-": "(-)", "-/+": "side-"}.get(key, "+/-")
        return Token("word", word, start, end)
    if key.startswith("++"):
        return Token("grade", key, start, end)
    if key in ("☑", "☒", "[x]"):
        key = "yes"
    elif key in ("☐", "[]"):
        key = "y/n"
    return Token("word", {"w/out": "w/o", "w/ou": "w/o", "’day": "yday"}.get(key, key), start, end)


def _span(piece: str, start: int, end: int) -> Token:
    unit = re.sub(r"[^a-z]", "", piece.casefold())
    many = _number(re.split(r"\s?-\s?|[a-zA-Z\s]", piece)[0])
    if unit == "yo":
        return Token("age", piece, start, end)
    return Token("span", unit, start, end, many * DAYS[fold(unit)])


def _grade(piece: str, start: int, end: int) -> Token:
    above, _, below = piece.replace(" ", "").partition("/")
    if below in _PARTS and above.isdigit():
        return Token("span", "part", start, end, int(above) * _PARTS[below])
    return Token("grade", piece, start, end)


def _number(piece: str) -> float:
    try:
        return float(piece.replace(",", ".")) if len(piece) < 20 else float("nan")
    except ValueError:
        return float("nan")


def _days_before(piece: str, seen_on: date | None) -> float:
    parts = [int(number) for number in re.split(r"[./-]", piece)]
    if len(str(parts[0])) == 4 and "-" in piece and piece.index("-") == 4:
        year, month, day = parts
    else:
        # Day first or month first: both are tried, and the later one counts.
        day, month, year = parts
        year += 2000 if year < 100 else 0
    if seen_on is None:
        return float("nan")
    made = []
    for as_month, as_day in ((month, day), (day, month)):
        try:
            made.append(date(year, as_month, as_day))
        except ValueError:
            continue
    return float(min((seen_on - written_on).days for written_on in made)) if made else float("nan")


def _inside_word(text: str, start: int, end: int) -> bool:
    """Return whether a dash joins two words or numbers ("post-ictal")."""
    return start > 0 and end < len(text) and text[start - 1].isalnum() and text[end].isalnum()


_MANY_WRITTEN = {
    **dict.fromkeys(("a", "an", "one", "1"), 1.0),
    **{"two": 2.0, "couple": 2.0, "three": 3.0, "few": 3.0, "four": 4.0, "five": 5.0},
    **{"six": 6.0, "seven": 7.0, "eight": 8.0, "nine": 9.0, "ten": 10.0, "several": 4.0},
    **{"half": 0.5, "some": 3.0, "many": 10.0},
}
_MANY = {fold(word): many for word, many in _MANY_WRITTEN.items()}
_AGO = {"ago", "back", "earlier", "before", "prior"}


def _joined(found: list[Token], seen_on: date | None) -> list[Token]:
    """Join a number and its unit to a span, a span and "ago" or "old", and date what is a year."""
    joined: list[Token] = []
    i = 0
    while i < len(found):
        token = found[i]
        following = found[i + 1] if i + 1 < len(found) else None
        many = token.value if token.kind == "number" else _MANY.get(token.key, float("nan"))
        if (
            following is not None
            and following.kind == "word"
            and following.key in DAYS
            and len(following.key) > 1
            and many == many
        ):
            token = Token(
                "span", following.key, token.start, following.end, many * DAYS[following.key]
            )
            i += 1
            following = found[i + 1] if i + 1 < len(found) else None
        if token.kind == "span" and following is not None and following.key in _AGO:
            token = Token("ago", token.key, token.start, following.end, token.value)
            i += 1
        elif token.kind == "span" and following is not None and following.key == "old":
            token = Token("age", token.key, token.start, following.end)
            i += 1
        elif token.kind == "word" and token.key in _MONTHS and _dates(joined, following):
            token = Token(
                "month", f"in {token.key}", token.start, token.end, _of_month(token.key, seen_on)
            )
        elif token.kind == "number" and re.fullmatch(r"(?:19[89]|20[0-9])\d", token.key):
            # Days since the year ended, where the date of the cell is known.
            ended = float("nan")
            if seen_on is not None:
                ended = float((seen_on - date(int(token.key), 12, 31)).days)
            token = Token("year", token.key, token.start, token.end, ended)
        joined.append(token)
        i += 1
    return joined


_MONTHS = {
    name: 1 + number
    for number, names in enumerate(
        (
            *("january jan", "february feb", "march mar", "april apr", "may", "june jun"),
            *("july jul", "august aug", "september sept sep", "october oct", "november nov"),
            "december dec",
        )
    )
    for name in (fold(spelling) for spelling in names.split())
}
_BEFORE_MONTH = {"in", "last", "earli", "mid", "late", "during", "around", "end", "of"} | {
    "since",
    "from",
    "until",
}


def _dates(before: list[Token], following: Token | None) -> bool:
    """Return whether a month's name is one ("in may", "3 march"), and no other word."""
    day = bool(before) and before[-1].kind == "number" and 1 <= before[-1].value <= 31
    year = following is not None and following.kind == "number" and len(following.key) == 4
    return day or year or (bool(before) and before[-1].key in _BEFORE_MONTH)


def _of_month(month: str, seen_on: date | None) -> float:
    """Return the days since the last such month ended (below 0 while it lasts)."""
    if seen_on is None:
        return float("nan")
    number = _MONTHS[month]
    year = seen_on.year if number <= seen_on.month else seen_on.year - 1
    following = date(year + (number == 12), number % 12 + 1, 1)
    return float((seen_on - following).days + 1)
