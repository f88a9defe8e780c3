"""Signs that are written down, read clause by clause.

A cell of the observations, or a note, is read by `signs`: `tokens` cuts it into pieces (what
belongs together is kept whole), `terms` finds the longest patterns of ``signs.toml`` (terms by
group) and ``sign_words.toml`` (words around them), `items` cuts clauses and items, `exams` binds
"normal", "absent", "reduced" to what was examined, and `denials`, `doubts` and `times` say how
each term is meant (`clauses`). Rules are general: where a cell is misread, a rule or a list is
wrong, and ``tests/facts/signs/signs_labelled.tsv`` gets the cell. A new way of writing is one
pattern; a word that no sign can hide in goes to ``[ordinary]``, any other is better left unread,
and asked. Of other languages words are sought in notes alone (`foreign`). A reading of `other` is
never urgent: a finding of that group, a plan, another animal's.
"""
