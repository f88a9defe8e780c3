"""Every sentence and label, a folder a language; `en` is the only one.

A second language is a second folder of the same modules. Below this layer are numbers and codes;
above it statements are chosen by their keys (`bpvet.answers.statement.Statement`).
"""
