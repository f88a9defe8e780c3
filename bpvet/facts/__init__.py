"""Facts of the trade, each with its source; the words of the records; what every report must say.

Every number of the TOML files has a source, a locator and a grade: R read, S read in a restating
text, D derived (the sum is stated), M from memory, J judgement of this project. A figure graded M
bears a dagger (†) until `checked_by` is filled by somebody who laid it beside the paper; whoever
prints a page, a letter, a caption or a terminal's text adds the one footnote
(`sources.footnotes`). A sentence that states a figure credits `sources.credit` of its fact, never
the set that uses it (``tests/answers/test_credits.py``). No doses, no trade names.
"""
