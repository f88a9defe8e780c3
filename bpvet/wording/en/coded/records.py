"""Readers of records: what is wrong with a row, what was understood, and what is proposed."""

from __future__ import annotations

#: In braces stands what is told of.
WORDS = {
    "arrow.bytes": "bytes that are not text",
    "arrow.columns_unpack": (
        "The columns unpack to more than {most} MB of text, up to {name}; no more is read of a "
        "file of {size}, so that none can fill the memory."
    ),
    "arrow.holds": (
        "The file holds {rows:,} rows of {columns} columns in {size}; of one of that size at "
        "most {most_rows:,} rows and {most_cells:,} cells are read, so that none can fill the "
        "memory."
    ),
    "arrow.unpacks": (
        "The file unpacks to {megabytes} MB; of one of {size} at most {most} MB are unpacked, so "
        "that none can fill the memory."
    ),
    "cancelled.no_reason": "no reason given",
    "database.no_reason": "no reason given",
    "encoding.marked": "UTF-8 with a mark",
    "fhir.no_type": "resource without a type",
    "json.nested": "it is nested too deeply",
    "near.did_you_mean": "Did you mean {names}?",
    "profile.chart_lines": "lines for the chart, as bpvet average prints them",
    "profile.dates": "dates such as {such_as}",
    "profile.lists": "several numbers each such as {such_as}",
    "profile.numbers": "numbers such as {such_as}",
    "proposal.both_orders": "{text} fits both orders: ask who wrote it.",
    "proposal.called": "{head} is what {name} is called in many clinics",
    "proposal.called_list": (
        "{called}, and its cells are {words}: readings one after the other? If they are systolic "
        "over diastolic, write systolic_diastolic."
    ),
    "proposal.called_only": "{called}.",
    "proposal.called_so": "{called}, and its cells are {words}.",
    "proposal.cells": "Its cells are {words}.",
    "proposal.cells_or": (
        "Its cells are {words}: readings one after the other? If they are systolic over "
        "diastolic, write systolic_diastolic."
    ),
    "proposal.day_first": "{text} can only have the day first.",
    "proposal.head": (
        "A proposal: read it, correct it, and save it as {file} beside the records. Nothing is "
        'applied until then. A line that begins with "#" is not sure: take the "#" away if it is '
        "right."
    ),
    "proposal.kilopascal": (
        "Half of the values under {head} are {middle:g} or lower: too low for mmHg, and ordinary "
        "in kPa."
    ),
    "proposal.mixed_orders": "Some dates fit only the one order and some only the other.",
    "proposal.month_first": "{text} can only have the month first.",
    "proposal.names": "{head} tells the animals apart only if no two have one name.",
    "proposal.no_method": (
        "No column says by which method: if all are of one, say so for every row."
    ),
    "proposal.not_sure": "Not sure: {why}",
    "proposal.nothing": "There is nothing to propose.",
    "proposal.only_these": "Its cells are {words}, and no other column's are.",
    "proposal.others": " So may {others}: which of them?",
    "proposal.spelled_nearly": "{head} is spelled nearly as {name}.",
    "records.findings": "{findings} findings, {stopping} of which stop the work.",
    "records.title": "Records of {source}, as of {as_of}",
    "row.ended_undated": 'is marked as "{status}" without the date of its end',
    "row.fields": "has {fields} fields where the header has {width}",
    "row.holds_list": "holds a list under {name}",
    "row.holds_object": "holds an object under {name}",
    "row.marked": 'is marked as "{status}"',
    "row.name_twice": "gives {name} twice",
    "row.nested": "is nested too deeply",
    "row.no_names": "is no object with names in it",
    "row.no_number": "gives a pressure that is not a number",
    "row.no_object": "is no object",
    "row.no_unit": "gives {name} without a unit",
    "row.one_field": "has {fields} field where the header has {width}",
    "row.other_line": "names another animal, date or method than its row does",
    "row.other_unit": 'gives {name} in "{unit}", not in {own}',
    "row.quotation": "has a quotation mark that does not close, or text after one",
    "row.twice": "gives {name} twice",
    "understood.as_stated": "{order}, as stated",
    "understood.dates": "{ways} in {rows} rows, {timed} of them with a time of day",
    "understood.kilopascal": "kPa, as stated: multiplied by {factor:.5f} to mmHg",
    "understood.no_unit": "not settled: the values do not fit",
    "understood.some_files": "{converted} in some files, mmHg in others",
    "understood.unit_in_one": "not settled in {file}: the values do not fit",
    "understood.unit_in_some": "not settled in {files} of {all} files: the values do not fit",
    "understood.zoned": "; {rows} have a time zone, and their local date and time are used",
    "workbook.no_value": "formula without a stored value",
}
