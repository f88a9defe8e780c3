"""Reading records: from files of many forms to checked tables, and what was found in them.

Every reader of `formats` gives `cells.RawSheet`: text cells with their places. `formats.files`
tells a file by its first bytes (`formats.forms`) and asks one reader; `headings`, `parsing` and
`checks` follow and know no format. A workbook's parts are streamed once before any library opens it
(`formats.workbook.archive`): sizes, depth and document types are refused there, and the same pass
notes how far a sheet reaches, hidden rows, merged and error cells and formulas without a value.
Plain XML is looked at many tags at once (`formats.workbook.plain_sheets`) and read by
python-calamine, which holds a whole sheet and must see the cells that the look saw. Whatever is
unusual (comments, CDATA, places that lie, errors it does not know, whole numbers beyond 2^53) is
looked at tag by tag and read by openpyxl: many times slower (`formats.workbook.values`). FHIR comes
in through `formats.fhir.rows` and goes out in `bpvet.answers.fhir`; columns that FHIR has no place
for are extensions named ``urn:x-bpvet:…``.

What keeps reading fast: columns that repeat are codes; what tells rows apart is packed into one
number and sorted, never hashed (`parsing.codes`); dates of the ISO shapes are read from a column's
bytes (`parsing.iso_dates`); what is the same throughout a column takes no room
(`parsing.columns.constant`); readings that stand by visit and time are placed as they stand, and
runs of rows are sorted only where a visit has several (`bpvet.visits.placement`). A large CSV file
without quotation marks is read a block at a time (`formats.blocks`), Parquet in batches; all
other files are read whole. Rows of CSV become codes block by block (`formats.gathered_columns`).
"""
