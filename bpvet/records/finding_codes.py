"""The codes of all findings of the record check, by check, each with the kind that groups it.

A code stays when its words change. A finding is entered here first and is worded under its code in
the module of `bpvet.wording.en.findings` that bears the check's name; what the program decides by
is a code, never a word of a sentence.
"""

from __future__ import annotations

from enum import Enum


class Code(Enum):
    """What was found: the check and the case, and the kind it is grouped under.

    Attributes
    ----------
    key : str
        The module of the wording under `findings`, a point, and the case.
    kind : str
        What findings are grouped by, as `Finding.kind` and the JSON give it.
    """

    # Files of a folder.
    NO_ROWS = "folder.no_rows", "no rows"
    FOLDER_NOT_FILE = "folder.not_a_file", "cannot be read"
    NOT_PERMITTED = "folder.not_permitted", "cannot be read"
    DISK_REFUSES = "folder.disk_refuses", "cannot be read"
    NAMED_OTHERWISE = "folder.named_otherwise", "file not read"
    OTHER_FORM = "folder.other_form", "file not read"
    FOLDER_INSIDE = "folder.inside", "file not read"
    NO_READINGS_FILE = "folder.no_readings_file", "no readings file"

    # What a file is, whatever its name says.
    OLD_WORKBOOK = "formats.files.old_workbook", "not text"
    PROTECTED_FILE = "formats.files.protected", "not text"
    OLD_FEATHER = "formats.files.old_feather", "not text"
    PDF = "formats.files.pdf", "not text"
    PICTURE = "formats.files.picture", "not text"
    TEXT_DOCUMENT = "formats.files.text_document", "not text"
    MARKUP = "formats.files.markup", "not text"
    GZIP = "formats.files.gzip", "not text"
    HEADER_ONLY = "formats.files.header_only", "no rows"
    LONG_HEADING = "formats.files.long_heading", "long heading"
    SAME_FILE_TWICE = "formats.files.same_twice", "same file twice"

    # Files of text, of JSON and of Arrow, and databases.
    EMPTY_FILE = "formats.separated.empty", "empty"
    TOO_MANY_COLUMNS = "formats.separated.too_many_columns", "too many columns"
    MOSTLY_BROKEN = "formats.separated.mostly_broken", "broken lines"
    SEPARATORS_ONLY = "formats.separated.separators_only", "blank rows"
    ROWS_IN_A_CELL = "formats.separated.rows_in_a_cell", "rows in a cell?"
    ARCHIVE_NOT_TEXT = "formats.encodings.archive", "not text"
    NOT_IN_ENCODING = "formats.encodings.not_in_encoding", "encoding"
    NUL_BYTES = "formats.encodings.nul_bytes", "not text"
    UNSOUND_JSON = "formats.json_lines.unsound", "not JSON"
    TOO_MANY_NAMES = "formats.json_lines.too_many_names", "file too large"
    NOT_JSON_NUMBERS = "formats.json_lines.not_numbers", "not JSON"
    NO_OBJECT = "formats.json_lines.no_object", "not JSON"
    UNPACKS_TOO_LARGE = "formats.arrow_tables.too_large", "file too large"
    DAMAGED = "formats.arrow_tables.damaged", "cannot be read"
    COLUMN_NOT_READ = "formats.arrow_tables.column_not_read", "column not read"
    ZONE_OF_TIMES = "formats.arrow_tables.zone", "zone of times"
    NEWEST_ROWS = "formats.database.newest_rows", "newest rows"
    DATABASE_REFUSES = "formats.database.refuses", "cannot be read"
    NO_READINGS_TABLE = "formats.database.no_readings_table", "no readings file"

    # Bundles of FHIR, and workbooks.
    NO_PRESSURES = "formats.fhir.no_pressures", "no readings file"
    RESOURCES_NOT_READ = "formats.fhir.not_read", "resource not read"
    DERIVED_MEANS = "formats.fhir.derived", "derived means"
    SINGLE_VALUES = "formats.fhir.single_values", "single values"
    KPA_BY_CODE = "formats.fhir.kilopascal", "kPa by its code"
    NOT_FINAL = "formats.fhir.not_final", "not final"
    VOID = "formats.fhir.void", "void"
    SHEETS_NOT_READ = "formats.workbook.not_read", "sheet not read"
    HIDDEN_SHEET = "formats.workbook.hidden_sheet", "hidden sheet"
    HIDDEN_ROWS = "formats.workbook.hidden_rows", "hidden rows"
    MERGED_CELLS = "formats.workbook.merged", "merged cells"
    ERROR_CELLS = "formats.workbook.errors", "error cell"
    FORMULAS_UNVALUED = "formats.workbook.formulas", "formula without value"

    # Archives that are no workbook, and workbooks that are not opened.
    ARCHIVE_DAMAGED = "formats.archive.damaged", "workbook not read"
    ARCHIVE_PROTECTED = "formats.archive.protected", "workbook not read"
    BINARY_WORKBOOK = "formats.archive.binary", "workbook not read"
    OPEN_DOCUMENT = "formats.archive.open_document", "workbook not read"
    WORD_DOCUMENT = "formats.archive.word_document", "workbook not read"
    NO_WORKBOOK = "formats.archive.no_workbook", "workbook not read"
    PARTS_OF_ONE_NAME = "formats.archive.parts_of_one_name", "workbook not read"
    PARTS_TOO_LARGE = "formats.archive.too_large", "workbook not read"
    MORE_THAN_STATED = "formats.archive.more_than_stated", "workbook not read"
    NESTED_TOO_DEEPLY = "formats.archive.nested", "workbook not read"
    TOO_MANY_CELLS = "formats.archive.too_many_cells", "workbook not read"
    TOO_MUCH_TEXT = "formats.archive.too_much_text", "workbook not read"
    DOCUMENT_TYPE = "formats.archive.document_type", "workbook not read"
    ROW_NUMBER = "formats.archive.row_number", "workbook not read"
    NO_STORED_VALUES = "formats.archive.no_stored_values", "workbook not read"
    UNSOUND_PART = "formats.archive.unsound_part", "workbook not read"
    UNKNOWN_PACKING = "formats.archive.unknown_packing", "workbook not read"
    WORKBOOK_DAMAGED = "formats.archive.workbook_damaged", "workbook not read"
    SHEET_TOO_WIDE = "formats.archive.too_wide", "workbook not read"
    EMPTY_SHEET = "formats.archive.empty_sheet", "empty"
    EMPTY_WORKBOOK = "formats.archive.empty", "empty"

    # The mapping file, and options that go before it.
    NO_SUCH_HEADING = "conventions.no_such_heading", "heading not there"
    NO_SUCH_FILE = "conventions.no_such_file", "file not there"
    DATES_OVERRULED = "conventions.dates_overruled", "option before file"
    UNIT_OVERRULED = "conventions.unit_overruled", "option before file"
    ENCODING_OVERRULED = "conventions.encoding_overruled", "option before file"
    COLUMN_OVERRULED = "conventions.column_overruled", "option before file"

    # Where the header is, and what it says.
    ABOVE_HEADER = "headers.above", "above the header"
    HEADER_IN_TWO = "headers.in_two_lines", "header in two lines"
    UNKNOWN_COLUMNS = "headers.unknown_columns", "unknown column"
    DOUBLED_COLUMN = "headers.doubled_column", "doubled column"
    MISSING_COLUMN = "headers.missing_column", "missing column"
    LAYOUT_NOT_AS_STATED = "headers.layout_not_as_stated", "layout"
    READINGS_TWICE = "headers.readings_twice", "layout"
    MEAN_WITHOUT_COUNT = "headers.mean_without_count", "layout"
    NO_READING_COLUMN = "headers.no_reading_column", "layout"
    HEADED_BY_WHICH_DATES = "layouts.which_dates", "day or month first"
    NOTHING_UNDER_DATES = "layouts.nothing_under_dates", "blank rows"
    SEVERAL_NUMBERS = "layouts.several_numbers", "several numbers"

    # Rows that belong to no table.
    EMPTY_ROWS = "non_data_rows.empty", "blank rows"
    COMMENT_ROWS = "non_data_rows.comments", "comment rows"
    TOTAL_ROWS = "non_data_rows.totals", "total rows"
    HEADER_AGAIN = "non_data_rows.header_again", "header again"

    # Home diaries, and entries that were taken back.
    DIARY_LINES_EMPTY = "diary.empty_lines", "blank rows"
    DIARY_MISSED = "diary.missed", "diary"
    DIARY_UNCLEAR = "diary.unclear", "dose in diary"
    DIARY_DOSE = "diary.dose", "dose in diary"
    UNKNOWN_ENTRY = "cancelled.unknown_entry", "unknown entry"
    CANCELLED_TWICE = "cancelled.twice", "cancelled twice"
    CANCELLED_UNSAID = "cancelled.no_reason", "cancelled without a reason"
    CANCELLED = "cancelled.rows", "cancelled"

    # A table's cells.
    WHITE_SPACE = "cells.white_space", "white space"
    BROKEN_LINE = "cells.broken_line", "broken line"

    APOSTROPHE = "cells.apostrophe", "apostrophe"

    # Cells that are read as words, numbers and dates.
    BLANK_CELL = "values.blank", "blank"
    UNKNOWN_WORD = "values.unknown_word", "unknown word"
    MEANT_WORD = "values.meant_word", "read as a word"
    NOT_A_NUMBER = "values.not_a_number", "not a number"
    NOT_BY_DOPPLER = "values.not_by_doppler", "not given by Doppler"
    INSTRUMENT_FAILED = "values.instrument_failed", "instrument failed"
    NOT_A_DATE = "values.not_a_date", "not a date"
    EARLY_DATE = "values.early_date", "early date"
    DAY_OR_MONTH = "values.day_or_month", "day or month first"
    WHICH_FIRST = "values.which_first", "day or month first"
    NOT_EXCLUDED = "values.not_excluded", "not excluded"
    EXCLUDED_UNSAID = "values.excluded_unsaid", "excluded without a reason"
    MEAN_BESIDE_READINGS = "values.mean_beside_readings", "mean beside readings"
    NOT_A_COUNT = "values.not_a_count", "not a count"
    NOT_A_SPREAD = "values.not_a_spread", "not a spread"
    ORDER_BESIDE_READINGS = "values.order_beside_readings", "order beside readings"

    # The numbers of the readings.
    MMHG_AS_KPA = "plausible.mmhg_as_kpa", "not in mmHg"
    NOT_IN_MMHG = "plausible.not_in_mmhg", "not in mmHg"
    WHICH_UNIT = "plausible.which_unit", "not in mmHg"
    UNUSUAL_READING = "plausible.unusual", "unusual value"
    GAUGES_CEILING = "plausible.ceiling", "gauge's ceiling"
    IMPOSSIBLE_READING = "plausible.impossible", "impossible value"
    NOT_BELOW_SYSTOLIC = "plausible.not_below_systolic", "order of pressures"
    PULSE_PRESSURE = "plausible.pulse_pressure", "unusual pulse pressure"
    MEAN_NOT_BETWEEN = "plausible.mean_not_between", "order of pressures"
    UNUSUAL_MEAN = "plausible.unusual_mean", "unusual mean"
    PULSE_DISAGREES = "plausible.pulse_disagrees", "pulse disagrees"
    NO_SIZE = "plausible.no_size", "impossible value"
    CUFF_TOO_WIDE = "plausible.cuff_too_wide", "impossible value"
    CUFF_SIZE = "plausible.cuff_size", "cuff size"

    # Laboratory values.
    ANALYTE_NEARLY = "labs.named_nearly", "analyte named nearly so"
    NO_UNIT = "labs.no_unit", "blank"
    LAB_BELOW_ZERO = "labs.below_zero", "impossible value"
    IMPOSSIBLE_UNIT = "labs.impossible_unit", "impossible unit"
    UNKNOWN_UNIT = "labs.unknown_unit", "unknown unit"
    IMPOSSIBLE_LAB = "labs.impossible", "impossible value"
    UNUSUAL_LAB = "labs.unusual", "unusual value"
    LAB_BOUND = "labs.bound", "laboratory bound"
    LAB_ZERO = "labs.zero", "laboratory zero"
    SAME_VALUE_AGAIN = "labs.same_again", "perhaps a duplicate"
    VALUES_DISAGREE = "labs.disagree", "values disagree"

    # Rows against each other, and against the animal's life.
    NO_READING = "rows.no_reading", "no reading"
    STOP_BEFORE_START = "rows.stop_before_start", "order of dates"
    FUTURE_STOP = "rows.future_stop", "future stop"
    STARTS_TOGETHER = "rows.starts_together", "starts together"
    RUNS_ON = "rows.runs_on", "overlapping treatment"
    BEFORE_BIRTH = "rows.before_birth", "before birth"
    AFTER_LEAVING = "rows.after_leaving", "after leaving"

    # What answers ask of an animal: slips of its newest visit, and what is only written.
    BACKDATED = "slips.backdated", "date before those above"
    NEWEST_WITHOUT_SYSTOLIC = "slips.newest_without_systolic", "no systolic pressure"
    POUNDS = "slips.pounds", "pounds among kilograms?"
    ACROSS_MIDNIGHT = "slips.across_midnight", "one visit over midnight?"
    LEFT_IN_TEXT = "slips.left_in_text", "has it left?"
    PRESSURE_IN_TEXT = "slips.pressure_in_text", "a pressure in words?"
    DOUBT_IN_TEXT = "slips.doubt_in_text", "a reading in doubt?"
    TREATMENT_IN_TEXT = "slips.treatment_in_text", "a treatment in words?"

    # Readings that stand there twice.
    DUPLICATE = "duplicates.exact", "exact duplicate"
    SAVED_TWICE = "duplicates.saved_twice", "visit saved twice"
    PERHAPS_DUPLICATE = "duplicates.perhaps", "perhaps a duplicate"
    SAME_NUMBER = "duplicates.same_number", "same number"
    SAME_TIME = "duplicates.same_time", "same time"

    # What the tables say together.
    DRUG_NEARLY = "histories.drug_nearly", "drug spelled nearly so"
    DRUG_OFF_THE_LIST = "histories.drug_off_the_list", "drug off the list"
    SAME_ANIMAL = "histories.same_animal", "one animal under two ids?"
    SESSIONS_OVERLAP = "histories.sessions_overlap", "overlapping sessions"

    # Doses that were missed; dates later than the one that is looked at.
    END_BEFORE_START = "missed.end_before_start", "order of dates"
    FUTURE_END = "missed.future_end", "future end"
    MISSED_OR_LATE = "missed.missed_or_late", "missed or late"
    NO_COURSE = "missed.no_course", "missed outside of a course"
    FUTURE_DATE = "missed.future_date", "future date"

    # Courses of treatment: what had to be decided on the way to them.
    DOSE_NOT_STATED = "treatments.dose_not_stated", "dose not stated"
    DOSE_UNIT_DIFFERS = "treatments.dose_unit_differs", "dose unit differs"
    DOSE_BY_TENS = "treatments.dose_by_tens", "decimal point of a dose?"
    PRODUCT_NOT_STATED = "treatments.product_not_stated", "product not stated"
    NOT_TOLD_APART = "treatments.not_told_apart", "cannot be told apart"
    DRUG_FOR_PRESSURE = "treatments.for_pressure", "drug off the list, for pressure"
    ROWS_TOGETHER = "treatments.rows_together", "rows starting together"
    DOSES_LATE = "treatments.doses_late", "doses late"
    DOSES_MISSED = "treatments.doses_missed", "doses missed"

    # Signs, and notes that may hold one.
    SIGN_NOT_UNDERSTOOD = "signs.not_understood", "sign not understood"
    SIGN_UNCLEAR = "signs.unclear", "sign unclear"
    SIGN_IN_NOTE = "signs.in_note", "sign in a note"

    # The animals.
    TARGET = "animals.target", "impossible value"
    NO_SPECIES = "animals.no_species", "species unknown"
    BORN_IN_FUTURE = "animals.born_in_future", "future date"
    LEFT_IN_FUTURE = "animals.left_in_future", "future date"
    LEFT_BEFORE_BORN = "animals.left_before_born", "order of dates"
    NO_READINGS = "animals.no_readings", "no readings"
    NO_ANIMALS_TABLE = "animals.no_table", "species unknown"
    NOT_LISTED = "animals.not_listed", "species unknown"
    IDS_ALIKE = "animals.ids_alike", "one animal under two ids?"
    ODD_ID = "animals.odd_id", "odd id"
    LISTED_TWICE = "animals.listed_twice", "animal listed twice"
    TWO_SPECIES = "animals.two_species", "one animal under two species"
    TWO_BIRTH_DATES = "animals.two_birth_dates", "one animal under two birth dates"
    TWO_BREEDS = "animals.two_breeds", "one animal under two breeds"
    TWO_SEXES = "animals.two_sexes", "one animal under two sexes"
    ROWS_DISAGREE = "animals.rows_disagree", "rows disagree"

    key: str
    kind: str

    def __init__(self, key: str, kind: str) -> None:
        self.key = key
        self.kind = kind
