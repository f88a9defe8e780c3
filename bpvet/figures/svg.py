"""Drawings as SVG that a reader, a search and a program can use.

matplotlib writes shapes; here every mark gets what it stands for as attributes and as the words
that a pointer shows, the drawing its role, title and description, its letters fonts to fall back
on, and its colours a second set for a dark page. Without any of it the drawing looks the same.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from hashlib import sha256

from bpvet.figures.lettering import written
from bpvet.figures.marking import Meaning, meaning_of
from bpvet.figures.style import DARK, FONT

_SVG = "http://www.w3.org/2000/svg"
_XLINK = "http://www.w3.org/1999/xlink"
#: Metrically alike first, so that the space for words is right with any of them.
_FONTS = f"'{FONT}', 'Bitstream Vera Sans', Verdana, Geneva, sans-serif"
_REFERENCE = re.compile(r"#([\w-]+)")
_COLOUR = re.compile(r"(?:fill|stroke): #[0-9a-f]{6}")
_CLASS = "bpvet-figure"
#: Attributes of a mark in the order in which they are written.
_DATA = ("kind", "date", "until", "value", "unit", "bound", "panel")


def readable(
    drawing: str, title: str, description: str, *, links: bool = False, dark: bool = True
) -> bytes:
    """Return a drawing by matplotlib with its meaning written out.

    Parameters
    ----------
    drawing : str
        SVG with letters as text; marks carry a `Meaning` as their group's id.
    title, description : str
        What it is, and what it shows, for a reader who does not see it.
    links : bool
        Whether marks of sessions lead to ``#session-n``, as an animal's page has its rows.
    dark : bool
        Whether its colours follow a dark page; a letter is always light.
    """
    root = ElementTree.fromstring(drawing)
    for metadata in root.findall(f"{{{_SVG}}}metadata"):
        root.remove(metadata)
    for group in list(root.iter(f"{{{_SVG}}}g")):
        meaning = meaning_of(group.get("id"))
        if meaning is not None:
            _tell(group, meaning, links)
    # Of words and size alone, so that it is the same wherever the drawing is made.
    content = f"{title}\n{description}\n{float(root.get('width', '0').removesuffix('pt')):.0f}"
    mark = sha256(content.encode(errors="replace")).hexdigest()[:8]
    _name(root, mark)
    # The colours of shapes that are used by reference stand where they are used: a rule for dark
    # pages reaches that place and not the shape. Hatches keep theirs.
    for definition in root.iter(f"{{{_SVG}}}defs"):
        for shape in definition.findall(f"{{{_SVG}}}path"):
            look = shape.attrib.pop("style", "")
            kept = [rule for rule in look.split("; ") if rule and not _COLOUR.fullmatch(rule)]
            if kept:
                shape.set("style", "; ".join(kept))
    _letters(root)
    _describe(root, mark, written(title), written(description), links)
    for style in root.iter(f"{{{_SVG}}}style"):
        style.text = rules(dark)
    head = b'<?xml version="1.0" encoding="utf-8"?>\n'
    return head + serialised(root).encode() + b"\n"


def serialised(root: ElementTree.Element) -> str:
    """Return a drawing as text, its own namespace without a prefix.

    The library's table of prefixes is shared by all who use it, so none is taken from there. The
    elements are changed in place.
    """
    for element in root.iter():
        element.tag = element.tag.removeprefix(f"{{{_SVG}}}")
        link = element.attrib.pop(f"{{{_XLINK}}}href", None)
        if link is not None:
            element.set("xlink:href", link)
    root.attrib = {"xmlns": _SVG, "xmlns:xlink": _XLINK} | root.attrib
    return ElementTree.tostring(root, encoding="unicode")


def _tell(group: ElementTree.Element, meaning: Meaning, links: bool) -> None:
    """Write what a mark stands for on the group that holds it alone."""
    del group.attrib["id"]
    for name in _DATA:
        value = written(getattr(meaning, name))
        if value:
            group.set(f"data-{name}", value)
    shapes = list(group)
    if links and meaning.session:
        link = ElementTree.Element(f"{{{_SVG}}}a", {"href": f"#session-{meaning.session}"})
        link.set("aria-label", written(meaning.title))
        # A keyboard goes past dozens of marks to the table itself, which holds them all.
        link.set("tabindex", "-1")
        for shape in shapes:
            group.remove(shape)
        link.extend(shapes)
        group.append(link)
    if meaning.title:
        title = ElementTree.Element(f"{{{_SVG}}}title")
        title.text = written(meaning.title)
        group.insert(0, title)


def _name(root: ElementTree.Element, mark: str) -> None:
    """Keep only ids that something refers to, and make them this drawing's own.

    Two drawings may then stand on one page.
    """
    # Thousands of marks refer to one shape: each value is looked at once.
    values = {
        value
        for element in root.iter()
        for name, value in element.attrib.items()
        if name != "id" and "#" in value
    }
    used = {name for value in values for name in _REFERENCE.findall(value)}
    renamed = {value: _REFERENCE.sub(rf"#{mark}-\1", value) for value in values}
    for element in root.iter():
        identifier = element.attrib.pop("id", None)
        for name, value in element.attrib.items():
            clipped = name in ("style", "clip-path") and "url(#" in value
            if clipped or name == f"{{{_XLINK}}}href":
                element.set(name, renamed.get(value, value))
        if identifier is not None and identifier in used:
            element.set("id", f"{mark}-{identifier}")


def _letters(root: ElementTree.Element) -> None:
    for text in root.iter(f"{{{_SVG}}}text"):
        style = text.get("style", "")
        text.set("style", style.replace(f"'{FONT}'", _FONTS))


def _describe(
    root: ElementTree.Element, mark: str, title: str, description: str, links: bool
) -> None:
    # What has links inside is a document to a reader's program, and no picture.
    root.set("role", "graphics-document document" if links else "img")
    root.set("class", _CLASS)
    root.set("aria-labelledby", f"{mark}-title")
    if description:
        root.set("aria-describedby", f"{mark}-desc")
        element = ElementTree.Element(f"{{{_SVG}}}desc", {"id": f"{mark}-desc"})
        element.text = description
        root.insert(0, element)
    named = ElementTree.Element(f"{{{_SVG}}}title", {"id": f"{mark}-title"})
    named.text = title
    root.insert(0, named)


def rules(dark: bool = True) -> str:
    """Return the style rules of a drawing: joins of lines, and its colours on a dark page.

    Print and fax keep the light colours, whatever the screen has.
    """
    joins = f".{_CLASS} *{{stroke-linejoin:round;stroke-linecap:butt}}"
    shades = "".join(
        f'.{_CLASS} [style*="{property_}: {light}"]{{{property_}:{shade} !important}}'
        for light, shade in DARK.items()
        for property_ in ("fill", "stroke")
    )
    return joins + (f"@media screen and (prefers-color-scheme:dark){{{shades}}}" if dark else "")
