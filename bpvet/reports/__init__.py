"""Reports: a notebook, executed, and the same as one page or as a PDF; letters; lists.

A report is one process: the records are read and fitted once, and the notebook's cells are run on
that by IPython's own shell (`running.run`), which no set-up of the user's reaches. Meanwhile
nothing is imported from the folders of output and records, nor from the current one
(`running.sealed`). The notebook published reads its parameters from the file beside it, whose
paths are those seen from the report's folder or none, and gives the same outputs anew. Records
that change during the run stop it.

The reports of a morning (`morning`) share what was loaded and read, in processes that branch off
one another where that is safe (`workers`); pages are the same to the byte. A frame is shown in a
notebook through `framing`; what is folded on a screen stands open on paper.
"""
