"""Pictures: from models and answers to what is to be drawn, as frozen numbers and words.

An animal's page, its PDF and its figure are one composition: `TrendPicture.tracks` (a thin line a
drug, `tracks`) and `TrendPicture.rows` (kidney values and weight, `lab_rows`) are drawn under the
pressure's dates. A clinic's animals are small panels (`clinic_panels`): their order is
`bpvet.models.clinic.needs`, their axes are set by no single animal, and what lies beyond is an
arrow at the edge with its value in letters and in the caption. `lab` turns a laboratory value's
picture into the laboratory's unit.
"""
