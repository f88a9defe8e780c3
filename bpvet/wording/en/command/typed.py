"""What is said of a reading that cannot be: the likely slip, and how it is written."""

from __future__ import annotations

HOW_TO_WRITE = "Write a reading as 158, over300, under40 or no-sound"
AFTER_THEM = "; the options come after them"

#: What a number was taken for.
QUANTITIES = {
    "systolic": "systolic pressure in mmHg",
    "diastolic": "diastolic pressure in mmHg",
    "mean": "mean pressure in mmHg",
    "heart_rate": "heart rate per minute",
}
#: The likely slip, by its key.
SLIPS = {
    "commas": "Put a space between readings, not a comma.",
    "decimal comma": "Put a space between readings; a decimal mark is a point.",
    "negative": "A pressure is above 0.",
    "zero": "If no sound was heard, write no-sound.",
    "digit": "A digit too many?",
    "": "Typing error?",
}
#: The slip of letters that look like digits, by what they would come to.
LETTERS_FOR_DIGITS = "Are letters typed for digits? If it is {number}, write {number}."
#: The slip of another unit.
IN_KPA = "Is it in kPa? {value:g} kPa is {mmhg:.0f} mmHg; write mmHg."
