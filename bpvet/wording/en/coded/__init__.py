"""The words of codes that models, maths, visits and readers of records leave, a module a topic.

`WORDS` of a module: by code (`bpvet.reasons.reason`) a text, in braces what is told of. Where the
code is of a topic of `bpvet.wording.en.reasons`, it stands there.
"""
