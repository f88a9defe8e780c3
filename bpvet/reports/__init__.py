"""Reports: a notebook, executed, and the same as one page or as a PDF; letters; lists.

A report runs in a private folder (`bpvet.places.private_folder`, cleared by the next run if its
owner was killed), its kernel started by `kernel_start` with safe paths: nothing is imported from
the folders of output and records and the current one, and bpvet itself by its own finder, so that
an editable install brings in nothing else. The parameters of the run hold whole paths, those
published paths from the report's folder or none. Records that change during the run stop it.

The reports of a morning (`morning`) share their records and, in each process, one kernel
(`running.WarmKernel`), which forgets every name between two notebooks; pages are the same to the
byte. A frame is shown in a notebook through `framing`; what is folded on a screen stands open on
paper.
"""
