"""The findings of the record check in words: a module a check, reason and fix under each code.

A module holds `WORDS` (`wording.Wording`): by code (`bpvet.records.finding_codes.Code`) the two
sentences, or a function that makes them of the finding's values, which it takes by name.
`all_checks` words a finding by the module that its code names, and loads no other.
"""
