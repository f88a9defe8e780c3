"""What notes say of treatments, an animal's end and a pressure, as clinics write them in haste."""

from __future__ import annotations

import pytest

from bpvet.facts import drugs, remarks
from bpvet.facts.remarks import (
    doubts_reading,
    goes_without,
    heads_pressure,
    pressure_drugs_in,
    pressures_in,
    says_changed,
    says_left,
    says_not_given,
    says_sedated,
)


@pytest.mark.parametrize(
    "note",
    [
        *("STOPPED in september", "owner stopped it", "d/c 1.9.", "ran out, not collected"),
        *("dose doubled 1 sept", "now 1/2 tab, reduced", "halved", "switched to other drug"),
        *("to start if still high next visit", "never gave it", "refuses tablets", "telmisartan?"),
        *("abgesetzt", "gestopt", "arrêté hier", "suspendido", "sospesa", "nicht mehr gegeben"),
        *("on hold", "missed most doses", "not giving it", "off since easter"),
    ],
)
def test_a_note_of_a_drug_that_may_not_be_given_asks(note):
    assert says_not_given(note)
    assert says_changed(note)


@pytest.mark.parametrize(
    "note",
    [
        *("with food", "practice suspension", "for life", "morning and evening"),
        *("well tolerated", "appetite increased since", "kidney function reduced in may"),
        *("given by the owner", "blood pressure", "tinned", ""),
    ],
)
def test_what_is_usual_beside_a_drug_does_not(note):
    assert not says_not_given(note)


@pytest.mark.parametrize(
    "text",
    [
        *("PTS", "euthanised at home", "died sunday", "DECEASED", "Pip (†)", "passed away"),
        *("put to sleep elsewhere", "Pip (deceased)", "euthanasia", "RIP", "found dead"),
        *("passed 25/11", "passed away 25/11", "passed on Monday", "passed on 25 Nov", "Passed."),
        *("faleceu ontem", "è morta ieri", "est mort hier", "murió", "gestern erlöst", "avlivad"),
        *("geëuthanaseerd", "eutanasiado", "zmarła", "død i går", "no longer with us"),
        *("passed 25.11.26", "passed 2026-11-25", "passed on the 25th", "passed last night"),
        *(
            "passed at home",
            "passed in her sleep",
            "sadly passed",
            "passed nov 25",
            "passed sunday",
        ),
    ],
)
def test_an_end_is_found_in_a_few_words(text):
    assert says_left(text)


@pytest.mark.parametrize(
    "text",
    [
        *(
            "slept",
            "ripped the cuff",
            "patient calm",
            "study",
            "deaf",
            "",
            "Mort",
            "Morten",
            "mortality",
        ),
        *("passed stool", "passed urine", "passed exam", "passed stool 25/11", "passed on to vet"),
        *("passed urine on monday", "not passed today", "passed 1/2 tablet", "passed 3 worms"),
        *("seizure passed quickly", "passed a stone", "stool passed yesterday", "passed all tests"),
    ],
)
def test_other_words_are_no_end(text):
    assert not says_left(text)


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("amlodipin stopped", ("amlodipine",)),
        ("began amlo and Telmisartan", ("amlodipine", "telmisartan")),
        ("spiro 12.5", ("spironolactone",)),
        ("calm, cuff 3, left fore", ()),
        ("carpal joint tender, atypical", ()),
        ("prednisolone, thiamazole", ()),
    ],
)
def test_pressure_drugs_are_found_in_full_shortly_and_misspelt(text, named):
    assert pressure_drugs_in(text) == named


@pytest.mark.parametrize(
    ("note", "pressures"),
    [
        *(("real value 210 - pls check", (210,)), ("should be 205", (205,)), ("true 190?", (190,))),
        *(("repeat by vet 220", (220,)), ("doppler 210", (210,)), ("BP 190/110", (190,))),
        *(("BP210", (210,)), ("210mmHg", (210,)), ("210 mm Hg", (210,)), ("over 200!", (200,))),
        *(("really 190–210", (190, 210)), ("vet got 205 and 208.", (205, 208)), ("=210", (210,))),
        *(("first 190 then 150", (190, 150)), ("150 -> 210", (150, 210)), (">300", (300,))),
        *(("HR 180, 210 sys", (210,)), ("cuff 3, 215 after 10 min", (215,)), ("sys 75", (75,))),
        *(("richtig: 215", (215,)), ("eigentlich 205", (205,)), ("210 by vet, target 150", (210,))),
        *(
            ("was 210 last time", (210,)),
            ("150 152 210", (150, 152, 210)),
            ("typo, 320", (320,)),
            ("210, no change", (210,)),
        ),
    ],
)
def test_a_number_in_a_note_may_be_a_pressure(note, pressures):
    assert pressures_in(note) == pressures


@pytest.mark.parametrize(
    "note",
    [
        *("2026-11-20", "20/11/2026", "20.11.26", "14:30", "14.30", "09/11", "calm", ""),
        *("cuff 4 cm", "cuff size 40 mm", "weight 4.5 kg", "wt 105 lbs", "110 lb", "12.5 mg"),
        *("100mg", "100 mg", "HR 180", "HR=180", "HR 180-200", "180 bpm", "heart rate was 200"),
        *("pulse 180/min", "FC 180", "RR 40", "95%", "crea 180", "creatinine 210 umol/L"),
        *("creat. was 250", "SDMA 18", "T4 45", "glucose 250 mg/dL", "ALT 120", "PCV 40"),
        *("waited 90 min", "90s", "180 days", "tel 555 1234567", "call 01234 567890", "room 101"),
        *("last time 190", "prev. 190", "target 150", "aim below 160", "recheck if above 180"),
        *("A150", "#120", "£120", "5 readings", "microchip 985141000123456", "waited 45"),
        *("creatinine rising 180 -> 220", "HR up from 140 to 190"),
    ],
)
def test_numbers_of_other_things_in_a_note_are_no_pressures(note):
    assert pressures_in(note) == ()


@pytest.mark.parametrize(
    "note",
    [
        *("don't trust", "unreliable", "cuff slipped", "wrong cat?", "typo", "rest on paper chart"),
        *("higher later, see card", "do not rely on this", "not accurate", "machine faulty"),
    ],
)
def test_a_note_that_doubts_its_reading(note):
    assert doubts_reading(note)


@pytest.mark.parametrize("note", ["calm", "trusting cat", "higher than last time", "cuff 3", ""])
def test_what_is_usual_beside_a_reading_does_not_doubt_it(note):
    assert not doubts_reading(note)


@pytest.mark.parametrize(
    ("heading", "is_one"),
    [
        *(("BP recheck", True), ("vet reading", True), ("systolic again", True)),
        *(("MAP reading", False), ("reading no", False), ("HR (doppler)", False), ("pain", False)),
    ],
)
def test_headings_of_pressures(heading, is_one):
    assert heads_pressure(heading) is is_one


@pytest.mark.parametrize(
    "note", ["verstorben 25.11.", "eingeschläfert", "décédé", "gone over the rainbow bridge"]
)
def test_an_end_in_other_words(note):
    assert says_left(note)


@pytest.mark.parametrize(
    "note",
    [
        "no tablets since Monday",
        "hasn't had any meds for a week",
        "vomits her tablets",
        "out of meds",
    ],
)
def test_an_animal_that_goes_without_its_medicines(note):
    assert goes_without(note)
    assert says_not_given(note)


@pytest.mark.parametrize(
    "note", ["tablets twice a day", "no change", "vomiting", "takes meds well"]
)
def test_one_that_has_them(note):
    assert not goes_without(note)


@pytest.mark.parametrize("note", ["under sedation", "GA dental", "given gabapentin before"])
def test_a_note_that_the_animal_was_not_awake(note):
    assert says_sedated(note)


@pytest.mark.parametrize(
    "note", ["no sedation", "pre-GA check", "fit for anaesthetic", "calm", "not sedated", "Saga"]
)
def test_a_note_that_says_nothing_of_it(note):
    assert not says_sedated(note)


class _Counting:
    """A pattern that counts how often it is searched for."""

    def __init__(self, pattern):
        self.pattern, self.searches = pattern, 0

    def search(self, text):
        self.searches += 1
        return self.pattern.search(text)


@pytest.mark.parametrize("note", ["150 ", "if 150 ", "150-", "hr 180, "])
def test_a_note_that_says_one_thing_a_thousand_times_is_looked_at_once(monkeypatch, note):
    counting = _Counting(remarks._OTHER_QUANTITY)
    monkeypatch.setattr(remarks, "_OTHER_QUANTITY", counting)
    remarks.pressures_in(note * 5000)
    assert counting.searches < 100


def test_strange_words_are_compared_with_few_names_and_each_once(monkeypatch):
    compared = []
    near = drugs.difflib.get_close_matches

    def counting(word, possible, **how):
        compared.append(len(possible))
        return near(word, possible, **how)

    monkeypatch.setattr(drugs.difflib, "get_close_matches", counting)
    letters = "bcdfghjkmqrtuvwx"
    strange = [f"{a}{b}zz{c}o{a}p" for a in letters for b in letters for c in letters[:4]]
    assert pressure_drugs_in(" ".join(strange)) == ()
    assert sum(compared) < len(strange)
    remarks._named.cache_clear()
    pressure_drugs_in("amlodopine " * 1000)
    assert remarks._named.cache_info().misses == 1


def test_names_that_are_nearly_so_are_found_as_by_a_look_at_all():
    names = [*drugs._by_key()]
    for name in names[::5]:
        for written in (name[1:], name[:-2], f"{name}e", name.replace("i", "y"), name[::-1]):
            every = drugs.difflib.get_close_matches(written, names, n=3, cutoff=0.8)
            found = tuple(dict.fromkeys(drugs._by_key()[key].name for key in every))
            assert drugs.near_drugs(written) == found
