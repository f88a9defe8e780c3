"""Words for signs in other languages: sought in notes, asked about, and never used."""

from __future__ import annotations

import pytest

from bpvet.facts.signs.foreign import foreign_signs, group_of_term, without_friends
from bpvet.facts.signs.signs import read_note, read_sign
from bpvet.facts.sources import table
from bpvet.visits.signs.states import ALARMING


def _terms(note: str) -> list[str]:
    return [item.term for item in read_note(note)]


def test_each_term_is_one_that_is_asked_about_on_the_list():
    listed = table("foreign_signs")
    assert listed["source"] == "common practice, no source"
    languages = {name: terms for name, terms in listed.items() if isinstance(terms, dict)}
    assert len(languages) >= 10
    for terms in languages.values():
        assert {"blindness", "seizure"} <= set(terms)
        assert all(group_of_term(term) in ALARMING for term in terms)


@pytest.mark.parametrize(
    ("note", "term"),
    [
        ("erblindet seit Montag", "blindness"),
        ("Ist ERBLINDET", "blindness"),
        ("läuft überall gegen Möbel", "blindness"),
        ("sieht nichts mehr", "blindness"),
        ("Netzhautabloesung li", "retinal detachment"),
        ("hatte gestern Krämpfe", "seizure"),
        ("Kraempfe", "seizure"),
        ("läuft immer im Kreis", "circling"),
        ("zusammengebrochen beim Gassi", "collapse"),
        ("aveugle depuis lundi", "blindness"),
        ("ne voit plus", "blindness"),
        ("cécité brutale", "blindness"),
        ("crise hier soir", "seizure"),
        ("s'est effondrée", "collapse"),
        ("ziet niets meer", "blindness"),
        ("twee toevallen gehad", "seizure"),
        ("in elkaar gezakt", "collapse"),
        ("ciega desde ayer", "blindness"),
        ("no ve nada", "blindness"),
        ("perdió la vista", "blindness"),
        ("se desmayó", "syncope"),
        ("cieco da ieri", "blindness"),
        ("non ci vede più", "blindness"),
        ("crisi epilettiche x2", "seizure"),
        ("svenuta stamattina", "syncope"),
        ("cega desde ontem", "blindness"),
        ("ser ikke", "blindness"),
        ("krampeanfall i går", "seizure"),
        ("näkö hävinnyt", "blindness"),
        ("ślepy od wczoraj", "blindness"),
        ("nie widzi", "blindness"),
    ],
)
def test_a_word_of_another_language_is_asked_about(note, term):
    assert term in _terms(note)
    assert {item.reading for item in read_note(note)} == {"unclear"}


@pytest.mark.parametrize(
    "note",
    [
        *("nicht erblindet", "keine Krampfanfälle", "ohne Anzeichen von Erblindung"),
        *("keine Krämpfe oder Anfälle", "nicht blind", "kein Krampf oder Kollaps"),
        *("pas aveugle", "pas de crise", "n'est pas aveugle", "sans convulsions"),
        *("geen toevallen", "geen stuipen of flauwte", "no ciego", "sin convulsiones ni desmayos"),
        *("non cieco", "senza convulsioni", "sem convulsões", "ingen kramper", "nie oślepła"),
        "Schwester erblindet",
        # False friends, names, and what the English reader has read with all around it.
        *(
            "blinde Angst",
            "Blinddarm o.B.",
            "toevallig gezien",
            "confiance aveugle",
            "calm, cuff 3",
        ),
        *("history of epilepsy", "monitor for convulsions", "no status epilepticus", "no ictus"),
    ],
)
def test_what_is_denied_or_no_sign_is_not(note):
    assert _terms(note) == []


@pytest.mark.parametrize(
    ("note", "terms"),
    [
        ("noch blind", ["blindness"]),  # still
        ("né aveugle", ["blindness"]),  # born
        ("Erblindung nicht auszuschließen", ["blindness"]),
        ("Katze der Schwester erblindet", ["blindness"]),
        ("keine Angst, erblindet", ["blindness"]),
        ("kein Krampf; fitting again", ["seizure"]),
        ("nicht blind. Jetzt doch erblindet", ["blindness"]),
        ("no seizures. Krampfanfall gestern", ["seizure"]),
    ],
)
def test_where_it_is_unsure_it_asks(note, terms):
    assert _terms(note) == terms


def test_a_slip_of_an_english_word_is_english():
    assert _terms("slepy now") == ["lethargy"]


def test_nothing_of_an_entry_is_decided_by_it():
    assert [item.reading for item in read_sign("erblindet")] == ["unread"]
    assert [item.reading for item in read_sign("keine Krampfanfälle")] == ["unread"]


@pytest.mark.parametrize("sign", ["blind since monday", "erblindet", "had a seizure"])
def test_a_history_pasted_into_a_note_is_read_to_its_end(sign):
    history = "seen for a dental, eating well, weight stable. " * 200
    (found,) = read_note(f"{history}{sign}. {history}")
    assert sign.startswith(found.text[:5])
    assert read_note(history) == ()
    assert len(read_note(f"{history}{sign}. " * 20)) == 1


def test_what_is_shown_is_the_clause_and_no_longer_than_a_line():
    (found,) = foreign_signs("frisst gut; seit Montag erblindet, trinkt")
    assert (found.words, found.text) == ("erblindet", "seit Montag erblindet")
    (found,) = foreign_signs("gut; 2x umgekippt")
    assert found.text == "2x umgekippt"
    (found,) = foreign_signs(f"{'gut ' * 500}erblindet {'gut ' * 500}")
    assert "erblindet" in found.text
    assert len(found.text) <= 120
    assert len(without_friends("blinde Angst da")) == len("blinde Angst da")
