"""The codes of all findings of the record check, by check, and the kinds that group them.

A code stays when its words change. A finding is entered here first and is worded under its code in
the module of `bpvet.wording.en.findings` that bears the check's name; what the program decides by
is a code or a kind, never a word of a sentence.
"""

from __future__ import annotations

from enum import Enum, StrEnum


class Kind(StrEnum):
    """What findings are grouped by; the text is what `Finding.kind` and the JSON give."""

    ABOVE_HEADER = "above the header"
    AFTER_LEAVING = "after leaving"
    ANALYTE_NEARLY = "analyte named nearly so"
    APOSTROPHE = "apostrophe"
    BEFORE_BIRTH = "before birth"
    BLANK = "blank"
    BLANK_ROWS = "blank rows"
    BROKEN_LINE = "broken line"
    BROKEN_LINES = "broken lines"
    CANCELLED = "cancelled"
    CANCELLED_TWICE = "cancelled twice"
    CANCELLED_UNSAID = "cancelled without a reason"
    CANNOT_BE_READ = "cannot be read"
    CANNOT_BE_TOLD_APART = "cannot be told apart"
    CEILING = "gauge's ceiling"
    COLUMN_NOT_READ = "column not read"
    COMMENT_ROWS = "comment rows"
    CUFF_SIZE = "cuff size"
    DAY_OR_MONTH = "day or month first"
    DIARY = "diary"
    DOSE_IN_DIARY = "dose in diary"
    DOSE_NOT_STATED = "dose not stated"
    DOSE_UNIT_DIFFERS = "dose unit differs"
    DOSES_LATE = "doses late"
    DOSES_MISSED = "doses missed"
    DOUBLED_COLUMN = "doubled column"
    DRUG_NEARLY = "drug spelled nearly so"
    DRUG_OFF_THE_LIST = "drug off the list"
    DRUG_FOR_PRESSURE = "drug off the list, for pressure"
    DERIVED_MEANS = "derived means"
    DUPLICATE = "exact duplicate"
    ENCODING = "encoding"
    EARLY_DATE = "early date"
    EMPTY = "empty"
    ERROR_CELL = "error cell"
    FILE_NOT_READ = "file not read"
    FILE_NOT_THERE = "file not there"
    FILE_TOO_LARGE = "file too large"
    FORMULA_WITHOUT_VALUE = "formula without value"
    FUTURE_DATE = "future date"
    FUTURE_END = "future end"
    FUTURE_STOP = "future stop"
    HEADER_AGAIN = "header again"
    HEADER_IN_TWO = "header in two lines"
    HEADING_NOT_THERE = "heading not there"
    HIDDEN_ROWS = "hidden rows"
    HIDDEN_SHEET = "hidden sheet"
    IMPOSSIBLE_UNIT = "impossible unit"
    IMPOSSIBLE_VALUE = "impossible value"
    INSTRUMENT_FAILED = "instrument failed"
    KPA_BY_CODE = "kPa by its code"
    LAB_BOUND = "laboratory bound"
    LAB_ZERO = "laboratory zero"
    LAYOUT = "layout"
    LISTED_TWICE = "animal listed twice"
    LONG_HEADING = "long heading"
    MEAN_BESIDE_READINGS = "mean beside readings"
    MERGED_CELLS = "merged cells"
    MISSED_OR_LATE = "missed or late"
    MISSED_OUTSIDE = "missed outside of a course"
    MISSING_COLUMN = "missing column"
    NEWEST_ROWS = "newest rows"
    NOT_A_COUNT = "not a count"
    NOT_A_DATE = "not a date"
    NOT_A_NUMBER = "not a number"
    NOT_A_SPREAD = "not a spread"
    NOT_BY_DOPPLER = "not given by Doppler"
    NOT_EXCLUDED = "not excluded"
    NOT_FINAL = "not final"
    NOT_IN_MMHG = "not in mmHg"
    NOT_JSON = "not JSON"
    NOT_TEXT = "not text"
    NO_READING = "no reading"
    NO_READINGS = "no readings"
    NO_READINGS_FILE = "no readings file"
    NO_ROWS = "no rows"
    ODD_ID = "odd id"
    OPTION_FIRST = "option before file"
    ORDER_BESIDE_READINGS = "order beside readings"
    ORDER_OF_DATES = "order of dates"
    ORDER_OF_PRESSURES = "order of pressures"
    OVERLAPPING_SESSIONS = "overlapping sessions"
    OVERLAPPING_TREATMENT = "overlapping treatment"
    PERHAPS_DUPLICATE = "perhaps a duplicate"
    PRODUCT_NOT_STATED = "product not stated"
    PULSE_DISAGREES = "pulse disagrees"
    RESOURCE_NOT_READ = "resource not read"
    ROWS_DISAGREE = "rows disagree"
    ROWS_IN_A_CELL = "rows in a cell?"
    ROWS_STARTING_TOGETHER = "rows starting together"
    SAME_FILE_TWICE = "same file twice"
    SAME_NUMBER = "same number"
    SAME_TIME = "same time"
    SAVED_TWICE = "visit saved twice"
    SEVERAL_NUMBERS = "several numbers"
    SHEET_NOT_READ = "sheet not read"
    SIGN_IN_NOTE = "sign in a note"
    SIGN_NOT_UNDERSTOOD = "sign not understood"
    SIGN_UNCLEAR = "sign unclear"
    SINGLE_VALUES = "single values"
    SPECIES_UNKNOWN = "species unknown"
    STARTS_TOGETHER = "starts together"
    TOO_MANY_COLUMNS = "too many columns"
    TOTAL_ROWS = "total rows"
    TWO_BIRTH_DATES = "one animal under two birth dates"
    TWO_BREEDS = "one animal under two breeds"
    TWO_IDS = "one animal under two ids?"
    TWO_SEXES = "one animal under two sexes"
    TWO_SPECIES = "one animal under two species"
    UNKNOWN_COLUMN = "unknown column"
    UNKNOWN_ENTRY = "unknown entry"
    UNKNOWN_UNIT = "unknown unit"
    UNKNOWN_WORD = "unknown word"
    UNUSUAL_MEAN = "unusual mean"
    UNUSUAL_PULSE_PRESSURE = "unusual pulse pressure"
    UNUSUAL_VALUE = "unusual value"
    VALUES_DISAGREE = "values disagree"
    VOID = "void"
    WHITE_SPACE = "white space"
    WORKBOOK_NOT_READ = "workbook not read"
    ZONE_OF_TIMES = "zone of times"


class Code(Enum):
    """What was found: the check and the case, and the kind it is grouped under.

    Attributes
    ----------
    key : str
        The module of the wording under `findings`, a point, and the case.
    kind : Kind
        The kind.
    """

    # Files of a folder.
    NO_ROWS = "folder.no_rows", Kind.NO_ROWS
    FOLDER_NOT_FILE = "folder.not_a_file", Kind.CANNOT_BE_READ
    NOT_PERMITTED = "folder.not_permitted", Kind.CANNOT_BE_READ
    DISK_REFUSES = "folder.disk_refuses", Kind.CANNOT_BE_READ
    NAMED_OTHERWISE = "folder.named_otherwise", Kind.FILE_NOT_READ
    OTHER_FORM = "folder.other_form", Kind.FILE_NOT_READ
    NO_READINGS_FILE = "folder.no_readings_file", Kind.NO_READINGS_FILE

    # What a file is, whatever its name says.
    OLD_WORKBOOK = "formats.files.old_workbook", Kind.NOT_TEXT
    PROTECTED_FILE = "formats.files.protected", Kind.NOT_TEXT
    OLD_FEATHER = "formats.files.old_feather", Kind.NOT_TEXT
    PDF = "formats.files.pdf", Kind.NOT_TEXT
    PICTURE = "formats.files.picture", Kind.NOT_TEXT
    TEXT_DOCUMENT = "formats.files.text_document", Kind.NOT_TEXT
    MARKUP = "formats.files.markup", Kind.NOT_TEXT
    GZIP = "formats.files.gzip", Kind.NOT_TEXT
    HEADER_ONLY = "formats.files.header_only", Kind.NO_ROWS
    LONG_HEADING = "formats.files.long_heading", Kind.LONG_HEADING
    SAME_FILE_TWICE = "formats.files.same_twice", Kind.SAME_FILE_TWICE

    # Files of text, of JSON and of Arrow, and databases.
    EMPTY_FILE = "formats.separated.empty", Kind.EMPTY
    TOO_MANY_COLUMNS = "formats.separated.too_many_columns", Kind.TOO_MANY_COLUMNS
    MOSTLY_BROKEN = "formats.separated.mostly_broken", Kind.BROKEN_LINES
    SEPARATORS_ONLY = "formats.separated.separators_only", Kind.BLANK_ROWS
    ROWS_IN_A_CELL = "formats.separated.rows_in_a_cell", Kind.ROWS_IN_A_CELL
    ARCHIVE_NOT_TEXT = "formats.encodings.archive", Kind.NOT_TEXT
    NOT_IN_ENCODING = "formats.encodings.not_in_encoding", Kind.ENCODING
    NUL_BYTES = "formats.encodings.nul_bytes", Kind.NOT_TEXT
    UNSOUND_JSON = "formats.json_lines.unsound", Kind.NOT_JSON
    TOO_MANY_NAMES = "formats.json_lines.too_many_names", Kind.FILE_TOO_LARGE
    NOT_JSON_NUMBERS = "formats.json_lines.not_numbers", Kind.NOT_JSON
    NO_OBJECT = "formats.json_lines.no_object", Kind.NOT_JSON
    UNPACKS_TOO_LARGE = "formats.arrow_tables.too_large", Kind.FILE_TOO_LARGE
    DAMAGED = "formats.arrow_tables.damaged", Kind.CANNOT_BE_READ
    COLUMN_NOT_READ = "formats.arrow_tables.column_not_read", Kind.COLUMN_NOT_READ
    ZONE_OF_TIMES = "formats.arrow_tables.zone", Kind.ZONE_OF_TIMES
    NEWEST_ROWS = "formats.database.newest_rows", Kind.NEWEST_ROWS
    DATABASE_REFUSES = "formats.database.refuses", Kind.CANNOT_BE_READ
    NO_READINGS_TABLE = "formats.database.no_readings_table", Kind.NO_READINGS_FILE

    # Bundles of FHIR, and workbooks.
    NO_PRESSURES = "formats.fhir.no_pressures", Kind.NO_READINGS_FILE
    RESOURCES_NOT_READ = "formats.fhir.not_read", Kind.RESOURCE_NOT_READ
    DERIVED_MEANS = "formats.fhir.derived", Kind.DERIVED_MEANS
    SINGLE_VALUES = "formats.fhir.single_values", Kind.SINGLE_VALUES
    KPA_BY_CODE = "formats.fhir.kilopascal", Kind.KPA_BY_CODE
    NOT_FINAL = "formats.fhir.not_final", Kind.NOT_FINAL
    VOID = "formats.fhir.void", Kind.VOID
    SHEETS_NOT_READ = "formats.workbook.not_read", Kind.SHEET_NOT_READ
    HIDDEN_SHEET = "formats.workbook.hidden_sheet", Kind.HIDDEN_SHEET
    HIDDEN_ROWS = "formats.workbook.hidden_rows", Kind.HIDDEN_ROWS
    MERGED_CELLS = "formats.workbook.merged", Kind.MERGED_CELLS
    ERROR_CELLS = "formats.workbook.errors", Kind.ERROR_CELL
    FORMULAS_UNVALUED = "formats.workbook.formulas", Kind.FORMULA_WITHOUT_VALUE

    # Archives that are no workbook, and workbooks that are not opened.
    ARCHIVE_DAMAGED = "formats.archive.damaged", Kind.WORKBOOK_NOT_READ
    ARCHIVE_PROTECTED = "formats.archive.protected", Kind.WORKBOOK_NOT_READ
    BINARY_WORKBOOK = "formats.archive.binary", Kind.WORKBOOK_NOT_READ
    OPEN_DOCUMENT = "formats.archive.open_document", Kind.WORKBOOK_NOT_READ
    WORD_DOCUMENT = "formats.archive.word_document", Kind.WORKBOOK_NOT_READ
    NO_WORKBOOK = "formats.archive.no_workbook", Kind.WORKBOOK_NOT_READ
    PARTS_OF_ONE_NAME = "formats.archive.parts_of_one_name", Kind.WORKBOOK_NOT_READ
    PARTS_TOO_LARGE = "formats.archive.too_large", Kind.WORKBOOK_NOT_READ
    MORE_THAN_STATED = "formats.archive.more_than_stated", Kind.WORKBOOK_NOT_READ
    NESTED_TOO_DEEPLY = "formats.archive.nested", Kind.WORKBOOK_NOT_READ
    TOO_MANY_CELLS = "formats.archive.too_many_cells", Kind.WORKBOOK_NOT_READ
    TOO_MUCH_TEXT = "formats.archive.too_much_text", Kind.WORKBOOK_NOT_READ
    DOCUMENT_TYPE = "formats.archive.document_type", Kind.WORKBOOK_NOT_READ
    ROW_NUMBER = "formats.archive.row_number", Kind.WORKBOOK_NOT_READ
    NO_STORED_VALUES = "formats.archive.no_stored_values", Kind.WORKBOOK_NOT_READ
    UNSOUND_PART = "formats.archive.unsound_part", Kind.WORKBOOK_NOT_READ
    UNKNOWN_PACKING = "formats.archive.unknown_packing", Kind.WORKBOOK_NOT_READ
    WORKBOOK_DAMAGED = "formats.archive.workbook_damaged", Kind.WORKBOOK_NOT_READ
    SHEET_TOO_WIDE = "formats.archive.too_wide", Kind.WORKBOOK_NOT_READ
    EMPTY_SHEET = "formats.archive.empty_sheet", Kind.EMPTY
    EMPTY_WORKBOOK = "formats.archive.empty", Kind.EMPTY

    # The mapping file, and options that go before it.
    NO_SUCH_HEADING = "conventions.no_such_heading", Kind.HEADING_NOT_THERE
    NO_SUCH_FILE = "conventions.no_such_file", Kind.FILE_NOT_THERE
    DATES_OVERRULED = "conventions.dates_overruled", Kind.OPTION_FIRST
    UNIT_OVERRULED = "conventions.unit_overruled", Kind.OPTION_FIRST
    ENCODING_OVERRULED = "conventions.encoding_overruled", Kind.OPTION_FIRST
    COLUMN_OVERRULED = "conventions.column_overruled", Kind.OPTION_FIRST

    # Where the header is, and what it says.
    ABOVE_HEADER = "headers.above", Kind.ABOVE_HEADER
    HEADER_IN_TWO = "headers.in_two_lines", Kind.HEADER_IN_TWO
    UNKNOWN_COLUMNS = "headers.unknown_columns", Kind.UNKNOWN_COLUMN
    DOUBLED_COLUMN = "headers.doubled_column", Kind.DOUBLED_COLUMN
    MISSING_COLUMN = "headers.missing_column", Kind.MISSING_COLUMN
    LAYOUT_NOT_AS_STATED = "headers.layout_not_as_stated", Kind.LAYOUT
    READINGS_TWICE = "headers.readings_twice", Kind.LAYOUT
    MEAN_WITHOUT_COUNT = "headers.mean_without_count", Kind.LAYOUT
    NO_READING_COLUMN = "headers.no_reading_column", Kind.LAYOUT
    HEADED_BY_WHICH_DATES = "layouts.which_dates", Kind.DAY_OR_MONTH
    NOTHING_UNDER_DATES = "layouts.nothing_under_dates", Kind.BLANK_ROWS
    SEVERAL_NUMBERS = "layouts.several_numbers", Kind.SEVERAL_NUMBERS

    # Rows that belong to no table.
    EMPTY_ROWS = "non_data_rows.empty", Kind.BLANK_ROWS
    COMMENT_ROWS = "non_data_rows.comments", Kind.COMMENT_ROWS
    TOTAL_ROWS = "non_data_rows.totals", Kind.TOTAL_ROWS
    HEADER_AGAIN = "non_data_rows.header_again", Kind.HEADER_AGAIN

    # Home diaries, and entries that were taken back.
    DIARY_LINES_EMPTY = "diary.empty_lines", Kind.BLANK_ROWS
    DIARY_MISSED = "diary.missed", Kind.DIARY
    DIARY_UNCLEAR = "diary.unclear", Kind.DOSE_IN_DIARY
    DIARY_DOSE = "diary.dose", Kind.DOSE_IN_DIARY
    UNKNOWN_ENTRY = "cancelled.unknown_entry", Kind.UNKNOWN_ENTRY
    CANCELLED_TWICE = "cancelled.twice", Kind.CANCELLED_TWICE
    CANCELLED_UNSAID = "cancelled.no_reason", Kind.CANCELLED_UNSAID
    CANCELLED = "cancelled.rows", Kind.CANCELLED

    # A table's cells.
    WHITE_SPACE = "cells.white_space", Kind.WHITE_SPACE
    BROKEN_LINE = "cells.broken_line", Kind.BROKEN_LINE

    APOSTROPHE = "cells.apostrophe", Kind.APOSTROPHE

    # Cells that are read as words, numbers and dates.
    BLANK_CELL = "values.blank", Kind.BLANK
    UNKNOWN_WORD = "values.unknown_word", Kind.UNKNOWN_WORD
    NOT_A_NUMBER = "values.not_a_number", Kind.NOT_A_NUMBER
    NOT_BY_DOPPLER = "values.not_by_doppler", Kind.NOT_BY_DOPPLER
    INSTRUMENT_FAILED = "values.instrument_failed", Kind.INSTRUMENT_FAILED
    NOT_A_DATE = "values.not_a_date", Kind.NOT_A_DATE
    EARLY_DATE = "values.early_date", Kind.EARLY_DATE
    DAY_OR_MONTH = "values.day_or_month", Kind.DAY_OR_MONTH
    WHICH_FIRST = "values.which_first", Kind.DAY_OR_MONTH
    NOT_EXCLUDED = "values.not_excluded", Kind.NOT_EXCLUDED
    MEAN_BESIDE_READINGS = "values.mean_beside_readings", Kind.MEAN_BESIDE_READINGS
    NOT_A_COUNT = "values.not_a_count", Kind.NOT_A_COUNT
    NOT_A_SPREAD = "values.not_a_spread", Kind.NOT_A_SPREAD
    ORDER_BESIDE_READINGS = "values.order_beside_readings", Kind.ORDER_BESIDE_READINGS

    # The numbers of the readings.
    MMHG_AS_KPA = "plausible.mmhg_as_kpa", Kind.NOT_IN_MMHG
    NOT_IN_MMHG = "plausible.not_in_mmhg", Kind.NOT_IN_MMHG
    WHICH_UNIT = "plausible.which_unit", Kind.NOT_IN_MMHG
    UNUSUAL_READING = "plausible.unusual", Kind.UNUSUAL_VALUE
    GAUGES_CEILING = "plausible.ceiling", Kind.CEILING
    IMPOSSIBLE_READING = "plausible.impossible", Kind.IMPOSSIBLE_VALUE
    NOT_BELOW_SYSTOLIC = "plausible.not_below_systolic", Kind.ORDER_OF_PRESSURES
    PULSE_PRESSURE = "plausible.pulse_pressure", Kind.UNUSUAL_PULSE_PRESSURE
    MEAN_NOT_BETWEEN = "plausible.mean_not_between", Kind.ORDER_OF_PRESSURES
    UNUSUAL_MEAN = "plausible.unusual_mean", Kind.UNUSUAL_MEAN
    PULSE_DISAGREES = "plausible.pulse_disagrees", Kind.PULSE_DISAGREES
    NO_SIZE = "plausible.no_size", Kind.IMPOSSIBLE_VALUE
    CUFF_TOO_WIDE = "plausible.cuff_too_wide", Kind.IMPOSSIBLE_VALUE
    CUFF_SIZE = "plausible.cuff_size", Kind.CUFF_SIZE

    # Laboratory values.
    ANALYTE_NEARLY = "labs.named_nearly", Kind.ANALYTE_NEARLY
    NO_UNIT = "labs.no_unit", Kind.BLANK
    LAB_BELOW_ZERO = "labs.below_zero", Kind.IMPOSSIBLE_VALUE
    IMPOSSIBLE_UNIT = "labs.impossible_unit", Kind.IMPOSSIBLE_UNIT
    UNKNOWN_UNIT = "labs.unknown_unit", Kind.UNKNOWN_UNIT
    IMPOSSIBLE_LAB = "labs.impossible", Kind.IMPOSSIBLE_VALUE
    UNUSUAL_LAB = "labs.unusual", Kind.UNUSUAL_VALUE
    LAB_BOUND = "labs.bound", Kind.LAB_BOUND
    LAB_ZERO = "labs.zero", Kind.LAB_ZERO
    SAME_VALUE_AGAIN = "labs.same_again", Kind.PERHAPS_DUPLICATE
    VALUES_DISAGREE = "labs.disagree", Kind.VALUES_DISAGREE

    # Rows against each other, and against the animal's life.
    NO_READING = "rows.no_reading", Kind.NO_READING
    STOP_BEFORE_START = "rows.stop_before_start", Kind.ORDER_OF_DATES
    FUTURE_STOP = "rows.future_stop", Kind.FUTURE_STOP
    STARTS_TOGETHER = "rows.starts_together", Kind.STARTS_TOGETHER
    RUNS_ON = "rows.runs_on", Kind.OVERLAPPING_TREATMENT
    BEFORE_BIRTH = "rows.before_birth", Kind.BEFORE_BIRTH
    AFTER_LEAVING = "rows.after_leaving", Kind.AFTER_LEAVING

    # Readings that stand there twice.
    DUPLICATE = "duplicates.exact", Kind.DUPLICATE
    SAVED_TWICE = "duplicates.saved_twice", Kind.SAVED_TWICE
    PERHAPS_DUPLICATE = "duplicates.perhaps", Kind.PERHAPS_DUPLICATE
    SAME_NUMBER = "duplicates.same_number", Kind.SAME_NUMBER
    SAME_TIME = "duplicates.same_time", Kind.SAME_TIME

    # What the tables say together.
    DRUG_NEARLY = "histories.drug_nearly", Kind.DRUG_NEARLY
    DRUG_OFF_THE_LIST = "histories.drug_off_the_list", Kind.DRUG_OFF_THE_LIST
    SAME_ANIMAL = "histories.same_animal", Kind.TWO_IDS
    SESSIONS_OVERLAP = "histories.sessions_overlap", Kind.OVERLAPPING_SESSIONS

    # Doses that were missed; dates later than the one that is looked at.
    END_BEFORE_START = "missed.end_before_start", Kind.ORDER_OF_DATES
    FUTURE_END = "missed.future_end", Kind.FUTURE_END
    MISSED_OR_LATE = "missed.missed_or_late", Kind.MISSED_OR_LATE
    NO_COURSE = "missed.no_course", Kind.MISSED_OUTSIDE
    FUTURE_DATE = "missed.future_date", Kind.FUTURE_DATE

    # Courses of treatment: what had to be decided on the way to them.
    DOSE_NOT_STATED = "treatments.dose_not_stated", Kind.DOSE_NOT_STATED
    DOSE_UNIT_DIFFERS = "treatments.dose_unit_differs", Kind.DOSE_UNIT_DIFFERS
    PRODUCT_NOT_STATED = "treatments.product_not_stated", Kind.PRODUCT_NOT_STATED
    NOT_TOLD_APART = "treatments.not_told_apart", Kind.CANNOT_BE_TOLD_APART
    DRUG_FOR_PRESSURE = "treatments.for_pressure", Kind.DRUG_FOR_PRESSURE
    ROWS_TOGETHER = "treatments.rows_together", Kind.ROWS_STARTING_TOGETHER
    DOSES_LATE = "treatments.doses_late", Kind.DOSES_LATE
    DOSES_MISSED = "treatments.doses_missed", Kind.DOSES_MISSED

    # Signs, and notes that may hold one.
    SIGN_NOT_UNDERSTOOD = "signs.not_understood", Kind.SIGN_NOT_UNDERSTOOD
    SIGN_UNCLEAR = "signs.unclear", Kind.SIGN_UNCLEAR
    SIGN_IN_NOTE = "signs.in_note", Kind.SIGN_IN_NOTE

    # The animals.
    TARGET = "animals.target", Kind.IMPOSSIBLE_VALUE
    NO_SPECIES = "animals.no_species", Kind.SPECIES_UNKNOWN
    BORN_IN_FUTURE = "animals.born_in_future", Kind.FUTURE_DATE
    LEFT_IN_FUTURE = "animals.left_in_future", Kind.FUTURE_DATE
    LEFT_BEFORE_BORN = "animals.left_before_born", Kind.ORDER_OF_DATES
    NO_READINGS = "animals.no_readings", Kind.NO_READINGS
    NO_ANIMALS_TABLE = "animals.no_table", Kind.SPECIES_UNKNOWN
    NOT_LISTED = "animals.not_listed", Kind.SPECIES_UNKNOWN
    IDS_ALIKE = "animals.ids_alike", Kind.TWO_IDS
    ODD_ID = "animals.odd_id", Kind.ODD_ID
    LISTED_TWICE = "animals.listed_twice", Kind.LISTED_TWICE
    TWO_SPECIES = "animals.two_species", Kind.TWO_SPECIES
    TWO_BIRTH_DATES = "animals.two_birth_dates", Kind.TWO_BIRTH_DATES
    TWO_BREEDS = "animals.two_breeds", Kind.TWO_BREEDS
    TWO_SEXES = "animals.two_sexes", Kind.TWO_SEXES
    ROWS_DISAGREE = "animals.rows_disagree", Kind.ROWS_DISAGREE

    key: str
    kind: Kind

    def __init__(self, key: str, kind: Kind) -> None:
        self.key = key
        self.kind = kind
