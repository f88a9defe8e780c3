"""What is told where a command cannot go on: of the records, the call, the machine, or an error."""

from __future__ import annotations

#: What is told where no more files can be opened.
MANY_OPEN = "too many files are open. Close some programs, or raise the limit (ulimit -n)."
#: What a command does not take; `who` is the command as it is called.
NOT_UNDERSTOOD = '{who}: not understood: {words}\nSee "{who} --help"; options come last.'
#: Above the findings that stop the work, and in the place of those beyond the first few.
TO_BE_FIXED = "bpvet {command}: the records cannot be used until this is fixed:"
MORE_TO_FIX = '  … and {count} more. "bpvet check PATH" shows them.'
#: Of a package that is not there, and of one that is and cannot be loaded.
NOT_INSTALLED = "{who}: {package}, which is needed here, is not installed: pip install {package}"
NOT_LOADED = (
    "{who}: {package}, which is needed here, cannot be loaded: "
    "pip install --force-reinstall {package}"
)
#: Of an error that nobody foresaw: its kind, and the file about it where one could be written.
BROKEN = "{who}: an error inside of bpvet ({kind}), not of your records; {written}."
NOTHING_WRITTEN = "nothing could be written down about it"
WRITTEN_IN = 'where it arose, and nothing of the records, is in "{file}"'
#: In that file: its first line, and above the error and each of its causes.
NO_DATA_HERE = "An error inside of bpvet. Nothing of any record, argument or folder stands here."
ESCAPED, CAUSE = "What escaped", "Which came of, or while handling"
