"""Names of files: safe on every system, one animal's never another's."""

from __future__ import annotations

import re
from hashlib import sha256

#: Longest part of an id that a file name keeps.
LONGEST = 60
#: Hexadecimal digits of the digest of an id.
DIGEST_LENGTH = 10

_PLAIN = re.compile(rf"[A-Za-z0-9_](?:[A-Za-z0-9._-]{{0,{LONGEST - 2}}}[A-Za-z0-9_-])?", re.ASCII)
_UNSAFE = re.compile(r"[^A-Za-z0-9._-]+", re.ASCII)
_ENDS_IN_DIGEST = re.compile(rf"-[0-9a-f]{{{DIGEST_LENGTH}}}")
#: Names that one widespread system keeps for devices, whatever follows a dot.
_DEVICES = re.compile(r"con|prn|aux|nul|com[0-9]|lpt[0-9]", re.IGNORECASE)


def digest_of(animal: str) -> str:
    """Return the short digest of an animal's id, by which its own files are known."""
    return sha256(animal.encode("utf-8", "surrogatepass")).hexdigest()[:DIGEST_LENGTH]


def slug(animal: str) -> str:
    """Return an animal's id as the stem of a file name.

    An id of ASCII letters, digits, dots, hyphens and underscores stays as it is. From any other
    the rest is taken out, it is cut, and a digest of the whole id is put behind it, so that two
    ids never share a name.

    Parameters
    ----------
    animal : str
        The id as it stands in the records.

    Examples
    --------
    >>> slug("A17"), slug("../../x"), slug("Miss Möwe")
    ('A17', 'x-9cdf6a5010', 'Miss-M-we-e845f451c6')
    """
    if _kept(animal):
        return animal
    cleaned = re.sub(r"\.{2,}", ".", _UNSAFE.sub("-", animal)).strip(".-")[:LONGEST].rstrip(".-")
    if _is_device(cleaned):
        cleaned = cleaned.replace(".", "-")
    return f"{cleaned or 'animal'}-{digest_of(animal)}"


def _kept(animal: str) -> bool:
    """Return whether an id can be a name as it is, and looks like no name made from another."""
    return (
        _PLAIN.fullmatch(animal) is not None
        and ".." not in animal
        and not _is_device(animal)
        and _ENDS_IN_DIGEST.search(animal[-DIGEST_LENGTH - 1 :]) is None
    )


def _is_device(name: str) -> bool:
    return _DEVICES.fullmatch(name.split(".")[0]) is not None
