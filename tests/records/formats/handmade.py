"""Workbooks written by hand, so that their cells can be anything."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence

_FORMATS = "http://schemas.openxmlformats.org"
_MAIN = f"{_FORMATS}/spreadsheetml/2006/main"
_KINDS = f"{_FORMATS}/officeDocument/2006/relationships"
_PACKAGE = f"{_FORMATS}/package/2006"
_TYPES = "application/vnd.openxmlformats-officedocument.spreadsheetml"
SHEET = "xl/worksheets/s1.xml"


def parts(
    rows: str, texts: str = "", styles: Sequence[str] = (), prefix: str = ""
) -> dict[str, bytes]:
    """Return the parts of a workbook of one sheet.

    Parameters
    ----------
    rows : str
        The rows as XML.
    texts : str
        The shared texts as XML.
    styles : sequence of str
        The number formats of styles 0, 1 and so on.
    prefix : str
        What stands before the names in the sheet, such as "x:".
    """
    space = f'xmlns{":" if prefix else ""}{prefix.rstrip(":")}="{_MAIN}"'
    codes = "".join(
        f'<numFmt numFmtId="{164 + i}" formatCode="{code}"/>' for i, code in enumerate(styles)
    )
    formats = "".join(f'<xf numFmtId="{164 + i}"/>' for i in range(len(styles)))
    made = {
        "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types">'
        f'<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.'
        f'relationships+xml"/><Override PartName="/xl/workbook.xml" '
        f'ContentType="{_TYPES}.sheet.main+xml"/><Override PartName="/{SHEET}" '
        f'ContentType="{_TYPES}.worksheet+xml"/><Override PartName="/xl/sharedStrings.xml" '
        f'ContentType="{_TYPES}.sharedStrings+xml"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="rId1" '
        f'Type="{_KINDS}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_KINDS}"><sheets>'
        f'<sheet name="readings" sheetId="1" r:id="rId1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{_KINDS}/worksheet" Target="worksheets/s1.xml"/>'
        f"</Relationships>",
        "xl/sharedStrings.xml": f'<sst xmlns="{_MAIN}">{texts}</sst>',
        "xl/styles.xml": f'<styleSheet xmlns="{_MAIN}"><numFmts count="{len(styles)}">{codes}'
        f"</numFmts><cellXfs>{formats or '<xf/>'}</cellXfs></styleSheet>",
        SHEET: f"<{prefix}worksheet {space}><{prefix}sheetData>{rows}</{prefix}sheetData>"
        f"</{prefix}worksheet>",
    }
    if not styles:
        del made["xl/styles.xml"]
    return {name: text.encode() for name, text in made.items()}


def archive(members: dict[str, bytes]) -> bytes:
    """Return parts as an archive."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as out:
        for name, content in members.items():
            out.writestr(name, content)
    return held.getvalue()


def book(rows: str, texts: str = "", styles: Sequence[str] = (), prefix: str = "") -> bytes:
    """Return a workbook of one sheet; see `parts`."""
    return archive(parts(rows, texts, styles, prefix))


def shared(text: str) -> tuple[str, str]:
    """Return a cell that names a shared text, and the texts."""
    return '<c t="s"><v>0</v></c>', f'<si><t xml:space="preserve">{text}</t></si>'
