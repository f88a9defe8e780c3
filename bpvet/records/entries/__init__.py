"""Entries: what is added to a record folder, what is taken back, and home diaries.

`adding` adds to a record folder: one entry, one file, ``TABLE-added-ID.csv``, whose id stands in
the column `entry` of each row. The folder is read as it would be with the file in it
(`bpvet.records.read.read_with`), before and, if something changed meanwhile, again under the
lock; whatever is set aside, misread or made a copy is refused, and `bpvet.visits.added_session`
asks whether the same session comes back. Such files keep our own headings, dates and units
whatever ``bpvet-columns.toml`` says.

`cancelled` takes the rows of cancelled entries out of the sheets before any checked table is
made, so that nothing can use them, and keeps each as a `CancelledRow`, which `check`, the
answers' "not used" and FHIR tell. A cancellation stands on every `as_of`: what was entered
wrongly was never right. `diary` turns a filled home diary into readings and missed doses.
"""
