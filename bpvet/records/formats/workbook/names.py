"""The sheets of a workbook by their titles: which part of the archive holds each."""

from __future__ import annotations

from xml.etree import ElementTree

from bpvet.frozen import dataclass
from bpvet.records.formats.workbook.tags import Unusual

WORKBOOK = "xl/workbook.xml"
RELATIONS = "xl/_rels/workbook.xml.rels"


@dataclass(frozen=True)
class Named:
    """A sheet as the workbook lists it.

    Parameters
    ----------
    title : str
        What its tab says.
    path : str
        The part of the archive that holds it.
    is_cells : bool
        Whether it holds cells, and is no chart.
    """

    title: str
    path: str
    is_cells: bool


def named_sheets(workbook: bytes, relations: bytes) -> list[Named]:
    """Return the sheets in the order of their tabs.

    Parameters
    ----------
    workbook, relations : bytes
        The parts `WORKBOOK` and `RELATIONS`, which declare no document type.

    Raises
    ------
    Unusual
        If a title stands twice, or a part is named in an unusual way.
    """
    targets = {}
    for relation in ElementTree.fromstring(relations):
        if relation.get("TargetMode", "Internal") == "Internal":
            targets[relation.get("Id", "")] = relation.get("Target", ""), relation.get("Type", "")
    found = []
    for element in ElementTree.fromstring(workbook).iter():
        if element.tag.rpartition("}")[2] != "sheet":
            continue
        key = next((text for name, text in element.items() if name.endswith("}id")), "")
        target, kind = targets.get(key, ("", ""))
        path = target.removeprefix("/") if target.startswith("/xl/") else f"xl/{target}"
        if not target or target.startswith("xl/") or not set("\\%&:").isdisjoint(path):
            raise Unusual
        if {"", ".", ".."} & set(path.split("/")):
            raise Unusual
        found.append(Named(element.get("name", ""), path, kind.endswith("/worksheet")))
    if len({sheet.title for sheet in found}) < len(found):
        raise Unusual
    return found
