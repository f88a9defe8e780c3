"""Values of workbooks: the usual reading beside openpyxl's, and what is left to the latter."""

from __future__ import annotations

import datetime as dt
import io
import random
import string
import zipfile
from collections.abc import Callable, Iterable

import pytest
import python_calamine
from openpyxl import Workbook
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from bpvet.records.cells import RawSheet, cell_text
from bpvet.records.findings import Finding
from bpvet.records.formats.workbook import archive as workbook_parts
from bpvet.records.formats.workbook.archive import Parts, looked_over, unpacked
from bpvet.records.formats.workbook.columns import column_texts
from bpvet.records.formats.workbook.plain_sheets import PlainSheet
from bpvet.records.formats.workbook.sheets import workbook_sheets
from bpvet.records.formats.workbook.tags import Unusual, distinct_between, tags_of
from bpvet.records.formats.workbook.values import Sheet, unusual_sheets, usual_sheets
from tests.records.formats.handmade import SHEET, archive, book, parts

Texts = dict[str, list[tuple[int, list[str]]]]

#: Formats of dates, times, durations and plain numbers, built in and of one's own.
FORMATS = [
    "General", "0", "0.00", "@", "0.00E+00", "#,##0", "dd/mm/yyyy", "d-mmm-yy", "mm-dd-yy",
    "yyyy-mm-dd", "yyyy\\-mm\\-dd;@", "[$-407]d. mmmm yyyy", "m/d/yy h:mm", "h:mm", "h:mm:ss",
    "h:mm AM/PM", "[h]:mm:ss", "[h]:mm", "mm:ss", "mmm", "ss", '"d"0', "0\\d", "[Red]0",
    "General;dd", "0;dd/mm", '0 "days"', "_-* #,##0.00_-", "yyyy", "DD.MM.YYYY HH:MM",
]  # fmt: skip
NUMBERS = [45000, 45000.4375, 45000.1234567, 0, 0.5, 1, 60, 61, 2.75, 152, 152.0, 1e-7, 367.25]
VALUES = [
    None, "", "x", " both ", "two\nlines", "tab\there", "Zoë & <b>", "猫", "🐈", "=", "1", "yes",
    True, False, 0, 1, -1, 152, 152.5, -0.0, 1e300, 1e-300, 1e15, 123456789012345, 0.1, 1 / 3,
    "#N/A", "#DIV/0!", "#REF!", "=1+1", "=A1",
    dt.date(2025, 1, 2), dt.date(1905, 1, 1), dt.date(9999, 12, 31),
    dt.datetime(2025, 1, 2, 10, 30), dt.datetime(2025, 1, 2, 23, 59, 59),
    dt.datetime(2025, 1, 2, 10, 30, 15, 250000), dt.time(10, 30), dt.time(0, 0), dt.time(9, 5, 7),
    dt.timedelta(hours=30), dt.timedelta(minutes=3), dt.timedelta(days=2, hours=5, seconds=1),
    CellRichText("a ", TextBlock(InlineFont(b=True), "bold"), " z"),
]  # fmt: skip


def looked_at(data: bytes) -> Parts:
    findings: list[Finding] = []
    parts = looked_over("book.xlsx", data, findings)
    assert parts is not None, findings
    return parts


def texts(sheets: Iterable[Sheet]) -> Texts:
    """Return the texts of all rows that are not blank."""
    found = {}
    for sheet in sheets:
        found[sheet.title] = [
            (line, [column_texts([cell], "no")[0] for cell in cells])
            for line, cells in sheet.rows()
        ]
    return found


def usual(data: bytes) -> Texts:
    return texts(usual_sheets(data, looked_at(data)))


def beside(data: bytes) -> Texts:
    """Return the texts, which are the same in both readings."""
    found = usual(data)
    other = texts(unusual_sheets(data, looked_at(data)))
    assert found.keys() == other.keys()
    for title, rows in found.items():
        assert [line for line, _ in rows] == [line for line, _ in other[title]]
        for (line, cells), (_, others) in zip(rows, other[title], strict=True):
            assert (line, cells) == (line, others)
    return found


def saved(made: Workbook) -> bytes:
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


@pytest.mark.parametrize("seed", range(20))
def test_generated_workbooks_read_as_openpyxl_reads_them(seed: int) -> None:
    chance = random.Random(seed)
    made = Workbook()
    made.remove(made.active)
    if seed % 4 == 0:
        made.epoch = CALENDAR_MAC_1904
    for i in range(chance.randrange(1, 4)):
        sheet = made.create_sheet(f"sheet {i} & <ö>")
        if i:
            sheet.sheet_state = chance.choice(["visible", "hidden", "veryHidden"])
        top, left = chance.choice([1, 1, 4]), chance.choice([1, 1, 3])
        for row in range(top, top + chance.randrange(1, 30)):
            if chance.random() < 0.2:
                continue
            for column in range(left, left + chance.randrange(1, 9)):
                if chance.random() < 0.4:
                    cell = sheet.cell(row, column, chance.choice(NUMBERS))
                    cell.number_format = chance.choice(FORMATS)
                else:
                    sheet.cell(row, column, chance.choice(VALUES))
        for row in chance.sample(range(1, 30), 3):
            sheet.row_dimensions[row].hidden = True
        sheet.merge_cells("A2:B3")
        sheet.merge_cells("C1:C9")
    data = saved(made)
    beside(data)
    as_one_by_one(data)


def as_one_by_one(data: bytes) -> None:
    """Make sure that many tags at once show what is odd as one by one does."""
    with zipfile.ZipFile(io.BytesIO(data)) as book:
        for part in book.infolist():
            if part.filename.startswith("xl/worksheets/sheet"):
                plain = workbook_parts._plainly(part, data, 0)
                slow = workbook_parts._slowly(part, data, 0)
                assert isinstance(plain, PlainSheet)
                assert vars(plain.oddities) == vars(slow.oddities)
                assert plain.elements == slow.elements


def test_every_value_and_format_reads_as_openpyxl_reads_it() -> None:
    made = Workbook()
    for row, value in enumerate(VALUES, start=2):
        made.active.cell(row, 2, value)
    for row, code in enumerate(FORMATS, start=2):
        for column, value in enumerate(NUMBERS, start=4):
            made.active.cell(row, column, value).number_format = code
    found = dict(beside(saved(made))["Sheet"])
    assert found[2 + VALUES.index("#N/A")][1] == "#N/A"
    assert found[2 + VALUES.index(152)][1] == "152"
    assert found[2 + VALUES.index(dt.date(2025, 1, 2))][1] == "2025-01-02"
    assert found[2 + FORMATS.index("dd/mm/yyyy")][3:5] == ["2023-03-15", "2023-03-15T10:30:00"]


def test_times_of_day_are_rounded_alike() -> None:
    chance = random.Random(1)
    made = Workbook()
    for _ in range(2000):
        moment = 40000 + chance.random() * 5000
        made.active.append([moment, round(moment * 1440) / 1440, round(moment * 86400) / 86400])
    for row in made.active.iter_rows():
        for cell in row:
            cell.number_format = "yyyy-mm-dd hh:mm:ss"
    beside(saved(made))


def cell_of(text: str) -> bytes:
    """Return a workbook of one cell that names a shared text."""
    return book('<row><c t="s"><v>0</v></c></row>', f"<si>{text}</si>")


def dated(number: str) -> bytes:
    """Return a workbook of one number that is shown as a date."""
    cell = f'<row><c s="1"><v>{number}</v></c></row>'
    return book(cell, styles=["General", "yyyy-mm-dd"])


#: What differs, and stays so: the usual reading, openpyxl's, and why.
DIFFERENT = [
    # What XML cannot hold is escaped; openpyxl shows the escape, a spreadsheet the character.
    (cell_of("<t>a_x000D_b</t>"), "a\rb", "a_x000D_b"),
    # Blanks at the ends count where that is said; spreadsheets drop them otherwise.
    (cell_of("<r><t>a </t></r><r><t>b</t></r>"), "ab", "a b"),
    # A day before the first that there is: neither is taken for a date of a visit.
    (dated("-5"), "00:00:00", "1899-12-25"),
    # A number too great for a date.
    (dated("99999999"), "99999999", "#VALUE!"),
    # No number at all, which openpyxl refuses together with its workbook.
    (book("<row><c><v>12x</v></c></row>"), "12x", None),
]


@pytest.mark.parametrize("i", range(len(DIFFERENT)))
@pytest.mark.filterwarnings("ignore:Workbook contains no default style")
@pytest.mark.filterwarnings("ignore:Cell .* is marked as a date")
def test_what_differs_from_openpyxl_is_known(i: int) -> None:
    data, ours, theirs = DIFFERENT[i]
    assert usual(data) == {"readings": [(1, [ours])]}
    if theirs is None:
        with pytest.raises(ValueError, match=r"could not convert|invalid literal"):
            texts(unusual_sheets(data, looked_at(data)))
    else:
        assert texts(unusual_sheets(data, looked_at(data))) == {"readings": [(1, [theirs])]}


#: Forms of sound workbooks that spreadsheet programs write, and what stands in the rows.
USUAL: list[tuple[bytes, list[tuple[int, list[str]]]]] = [
    (book("<row/><row><c><v>1</v></c><c/><c><v>2</v></c></row>"), [(2, ["1", "", "2"])]),
    (book('<row r="7"><c r="C7"><v>1</v></c></row><row/>'), [(7, ["", "", "1"])]),
    (book('<row r="7"><c><v>1</v></c></row><row><c><v>2</v></c></row>'), [(7, ["1"]), (8, ["2"])]),
    (book('<x:row r="2"><x:c r="B2"><x:v>1</x:v></x:c></x:row>', prefix="x:"), [(2, ["", "1"])]),
    (book('<row r="1048576"><c r="A1048576"><v>1</v></c></row>'), [(1048576, ["1"])]),
    (book('<row r="1"><c r="XFD1"><v>1</v></c></row>'), [(1, [""] * 16383 + ["1"])]),
    (book('<row r="1"><c r="A1"><v>1</v></c><c r="XFD1" s="0"/></row>'), [(1, ["1"])]),
    (book('<row><c t="str"><f>"a"</f><v>a &amp; b</v></c><c><f>1</f></c></row>'), [(1, ["a & b"])]),
    (book('<row><c t="e"><f>x</f><v>#N/A</v></c><c t="e"><v>#REF!</v></c></row>'),
     [(1, ["#N/A", "#REF!"])]),
    (book('<row r="2"><c r="B2"><v>1</v></c></row>'
          '<row r="4"><c r="C4" t="e"><v>#NUM!</v></c></row>'),
     [(2, ["", "1"]), (4, ["", "", "#NUM!"])]),
    (book('<row><c t="b"><v>1</v></c><c t="b"><v>0</v></c></row>'), [(1, ["yes", "no"])]),
    (book('<row><c t="inlineStr"><is><r><rPr><b/></rPr><t>a</t></r><r><t>b</t></r></is></c></row>'),
     [(1, ["ab"])]),
    (book('<row><c t="s"><v>2</v></c><c t="s"><v>1</v></c><c t="s"><v>0</v></c></row>',
          "<si><t>a</t></si><si/><si><t>猫</t><rPh sb='0' eb='1'><t>neko</t></rPh></si>"),
     [(1, ["猫", "", "a"])]),
    (book('<row><c t="s"><v>0</v></c></row>',
          "<si><r><t>a</t></r><r><rPr><i/></rPr><t>&lt;b&gt;</t></r></si>"), [(1, ["a<b>"])]),
]  # fmt: skip


@pytest.mark.parametrize("i", range(len(USUAL)))
@pytest.mark.filterwarnings("ignore:Workbook contains no default style")
def test_usual_forms_are_read(i: int) -> None:
    data, rows = USUAL[i]
    assert beside(data) == {"readings": rows}


#: Sound workbooks that are left to the other reading, and what it finds in them.
UNUSUAL: list[tuple[str, str, list[tuple[int, list[str]]]]] = [
    ("an error that is newer", '<row><c t="e"><v>#SPILL!</v></c></row>', [(1, ["#SPILL!"])]),
    ("a date as text", '<row><c t="d"><v>2025-01-02</v></c></row>', [(1, ["2025-01-02"])]),
    ("many digits", "<row><c><v>98102000012345678</v></c></row>", [(1, ["98102000012345678"])]),
    ("a comment", "<row><c><v><!-- a -->5</v></c></row>", [(1, ["5"])]),
    ("a section", "<row><c><v><![CDATA[5]]></v></c></row>", [(1, ["5"])]),
    ("an entity", "<row><c><v>&#53;2</v></c></row>", [(1, ["52"])]),
    ("other marks", "<row r='2'><c r='B2'><v>5</v></c></row>", [(2, ["", "5"])]),
    ("a bare >", '<row><c t="str"><v>a > b</v></c></row>', [(1, ["a > b"])]),
    ("rows that lie", '<row r="5"><c r="A2"><v>1</v></c></row>', [(5, ["1"])]),
    ("truth in words", '<row><c t="b"><v>1 </v></c></row>', [(1, ["yes"])]),
    ("a place behind", '<row><c t="str" r="C1"><v>a</v></c></row>', [(1, ["", "", "a"])]),
]


@pytest.mark.parametrize(("what", "rows", "found"), UNUSUAL, ids=[what for what, *_ in UNUSUAL])
@pytest.mark.filterwarnings("ignore:Workbook contains no default style")
def test_what_is_unusual_is_left_to_the_other_reading(
    what: str, rows: str, found: list[tuple[int, list[str]]]
) -> None:
    data = book(rows)
    with pytest.raises(Unusual):
        usual(data)
    assert texts(unusual_sheets(data, looked_at(data))) == {"readings": found}


def read(data: bytes) -> tuple[list[RawSheet], list[Finding]]:
    findings: list[Finding] = []
    return workbook_sheets("book.xlsx", "readings", data, findings, {}), findings


HEAD = "".join(
    f'<c t="inlineStr"><is><t>{head}</t></is></c>'
    for head in ("animal", "taken_at", "method", "systolic", "excluded")
)


def test_rows_become_columns_and_blank_ones_are_left_out() -> None:
    rows = (
        f"<row>{HEAD}</row><row/><row><c/><c/><c/><c><v>152</v></c></row>"
        '<row><c t="str"><v></v></c></row>'
        '<row><c t="e"><v>#N/A</v></c><c/><c/><c/><c t="b"><v>0</v></c><c/><c><v>7</v></c></row>'
        "<row><c/><c/><c/><c><v>1</v></c><c><f>A1</f></c></row>"
        "<row><c/><c/><c/><c/><c><f>A1</f></c></row>"
    )
    (sheet,), findings = read(book(rows))
    assert sheet.lines.tolist() == [3, 5, 6]
    assert [column.to_pylist() for column in sheet.columns] == [
        ["", "#N/A", ""],
        ["", "", ""],
        ["", "", ""],
        ["152", "", "1"],
        ["", "", "formula without a stored value"],
        ["", "", ""],
        ["", "7", ""],
    ]
    assert [finding.kind for finding in findings] == ["error cell", "formula without value"]


def test_a_column_of_any_values_has_the_texts_of_each() -> None:
    chance = random.Random(2)
    some = [
        *(152.0, 152.5, -0.5, 1e16, 7, 0, True, False, "x", "", None, dt.date(2025, 1, 2)),
        *(dt.datetime(2025, 1, 2, 3, 4), dt.datetime(2025, 1, 2), dt.time(1, 2), float("nan")),
    ]
    for _ in range(300):
        cells = chance.choices(chance.sample(some, chance.randrange(1, 5)), k=9)
        assert list(column_texts(cells, "no")) == [cell_text(cell) for cell in cells]
    assert column_texts([False, True], "") == ["", "yes"]
    assert column_texts([0.0, -0.0], "no") == ["0", "0"]


@pytest.mark.filterwarnings("ignore:Workbook contains no default style")
def test_what_only_one_reading_takes_is_read_and_said_once() -> None:
    members = parts(f'<row>{HEAD}</row><row r="2"><c r="A2" t="e"><v>#CALC!</v></c></row>')
    members["xl/workbook.xml"] = members["xl/workbook.xml"].replace(
        b'r:id="rId1"', b'state="hidden" r:id="rId1"'
    )
    (sheet,), findings = read(archive(members))
    assert sheet.columns[0].to_pylist() == ["#CALC!"]
    assert [finding.kind for finding in findings] == ["hidden sheet", "error cell"]


def fails_in_a_panic(*_: object) -> None:
    class Panic(BaseException):
        """As python-calamine's, which is no Exception."""

    raise Panic


@pytest.mark.filterwarnings("ignore:Workbook contains no default style")
def test_whatever_the_library_raises_is_left_to_the_other_reading(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(python_calamine.CalamineWorkbook, "from_filelike", fails_in_a_panic)
    (sheet,), _ = read(book(f"<row>{HEAD}</row><row><c><v>1</v></c></row>"))
    assert sheet.columns[0].to_pylist() == ["1"]


def changed(name: str, old: bytes, new: bytes) -> bytes:
    members = parts(f"<row>{HEAD}</row>", "<si><t>a</t></si>")
    assert old in members[name]
    return archive(members | {name: members[name].replace(old, new)})


WORKBOOK, RELATIONS = "xl/workbook.xml", "xl/_rels/workbook.xml.rels"
TWICE = b'/><sheet name="readings" sheetId="2" r:id="rId1"/></sheets>'
NAMES: list[Callable[[], bytes]] = [
    lambda: changed(WORKBOOK, b"/></sheets>", TWICE),
    lambda: changed(WORKBOOK, b'r:id="rId1"', b'r:id="rId9"'),
    lambda: changed(WORKBOOK, b"<sheets>", b"<!-- a --><sheets>"),
    lambda: changed(RELATIONS, b'"worksheets/s1.xml"', b'"../xl/worksheets/s1.xml"'),
    lambda: changed(RELATIONS, b'"worksheets/s1.xml"', b'"worksheets/./s1.xml"'),
    lambda: changed(RELATIONS, b'"worksheets/s1.xml"', b'"Worksheets/S1.xml"'),
    lambda: changed(RELATIONS, b'"worksheets/s1.xml"', b'"xl/worksheets/s1.xml"'),
    lambda: changed("xl/sharedStrings.xml", b"<t>", b"<?a b?><t>"),
    lambda: archive(parts("") | {SHEET.upper(): b"<a/>"}),
    lambda: book("")[:-2] + b"\3\0abc",
    lambda: b"abc" + book(""),
]


@pytest.mark.parametrize("i", range(len(NAMES)))
def test_parts_that_readers_may_take_for_others_are_unusual(i: int) -> None:
    with pytest.raises(Unusual):
        usual(NAMES[i]())


def test_a_sheet_may_have_any_title_and_charts_are_none() -> None:
    made = Workbook()
    made.active.title = "a & <b> 'ö' \"c\""
    made.active["B2"] = 1
    made.create_chartsheet("chart")
    made.create_sheet("chart 2")["A1"] = 2
    assert list(usual(saved(made))) == [made.worksheets[0].title, "chart 2"]


def test_what_a_part_holds_is_what_the_archive_says() -> None:
    data = book("<row><c><v>1</v></c></row>" + " " * 5000)
    whole = archive({"a.xml": b"<a>" + b" " * 10_000 + b"</a>"})
    with zipfile.ZipFile(io.BytesIO(whole)) as opened:
        part = opened.infolist()[0]
    assert b"".join(unpacked(whole, part)) == b"<a>" + b" " * 10_000 + b"</a>"
    part.file_size = 500
    with pytest.raises(workbook_parts.NotOpened, match="MORE_THAN_STATED"):
        list(unpacked(whole, part))
    part.file_size = 20_000
    with pytest.raises(zipfile.BadZipFile):
        list(unpacked(whole, part))
    assert usual(data)


def test_too_much_shared_text_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbook_parts, "MOST_TEXT", 1 << 20)
    cells = '<c t="s"><v>0</v></c>' * 11
    found = read(book(f"<row>{HEAD}</row><row>{cells}</row>", f"<si><t>{'x' * 100_000}</t></si>"))
    assert found[0] == []
    assert "more than 1 MB of text" in found[1][0].reason
    cells = f'<c t="inlineStr"><is><t>{"x" * 100_000}</t></is></c>' * 11
    assert "of text" in read(book(f"<row>{cells}</row>"))[1][0].reason
    cells = f'<c t="str"><v>{"x" * 100_000}</v></c>' * 11
    assert "of text" in read(book(f"<row>{cells}</row>"))[1][0].reason


def test_entities_count_as_elements(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbook_parts, "MOST_ELEMENTS", 1000)
    found = read(book(f'<row><c t="str"><v>{"&lt;" * 1000}</v></c></row>'))
    assert "cells" in found[1][0].reason


def test_more_cells_than_so_few_bytes_can_hold_are_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    data = book("<row><c><v>1</v></c></row>" * 2000)
    assert read(data)[0] != []
    monkeypatch.setattr(workbook_parts, "_SOME_ELEMENTS", 3000)
    assert len(data) < 3000
    assert "million cells" in read(data)[1][0].reason
    # As many in a larger file are read.
    texts = "".join(random.Random(0).choices(string.ascii_letters, k=9000))
    more = f'<row><c t="inlineStr"><is><t>{texts}</t></is></c></row>'
    data = book("<row><c><v>1</v></c></row>" * 2000 + more)
    assert len(data) > 6000
    assert read(data)[0] != []


def test_cells_far_apart_are_refused_before_room_is_made() -> None:
    rows = (
        '<row r="1"><c r="A1"><v>1</v></c></row>'
        '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
    )
    found = read(book(rows))
    assert found[0] == []
    assert "cells between its corners" in found[1][0].reason


def test_few_texts_and_many_are_told_apart_alike() -> None:
    chance = random.Random(3)
    for _ in range(300):
        most = chance.choice([4, 9, 24, 26])
        some = ["".join(chance.choices("ab", k=chance.randrange(most))) for _ in range(most * 3)]
        texts = chance.choices(some[: chance.choice([3, 60])], k=chance.randrange(80))
        data = "".join(f"<{text}>" for text in texts).encode()
        tags = tags_of(data, 0)
        found, index = distinct_between(tags, tags.opens + 1, tags.closes)
        assert [found[i].decode() for i in index] == texts
        assert len(set(found)) == len(found)


@pytest.mark.parametrize("prefix", ["", "x:"])
def test_sheets_of_many_stretches_stay_usual(prefix: str) -> None:
    blank = f"<{prefix}row/>" * 400_000
    cell = f"<{prefix}c><{prefix}v>7</{prefix}v></{prefix}c>"
    row = f"<{prefix}row>{cell}</{prefix}row>"
    found = usual(book(blank + row * 60_000 + blank, prefix=prefix))["readings"]
    assert [found[0], found[-1], len(found)] == [(400_001, ["7"]), (460_000, ["7"]), 60_000]
