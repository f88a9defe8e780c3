"""Signs by what they may be damage of; denials and other findings map to nothing."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.facts.signs import GROUPS, sign_group
from bpvet.facts.sources import table


@pytest.mark.parametrize(
    ("text", "group"),
    [
        ("retinal detachment", "eye"),
        ("Retinal detachment OS", "eye"),
        ("bilateral acute retinal detachment", "eye"),
        ("retinal haemorrhage", "eye"),
        ("Retinal hemorrhages, left eye", "eye"),
        ("retinal hæmorrhage", "eye"),
        ("hyphaema", "eye"),
        ("HYPHEMA", "eye"),
        ("blind", "eye"),
        ("sudden blindness", "eye"),
        ("blindness in one eye", "eye"),
        ("mydriasis", "eye"),
        ("seizure", "brain"),
        ("seizures x2", None),
        ("first seizure", "brain"),
        ("fit", "brain"),
        ("disorientation", "brain"),
        ("mild ataxia", "brain"),
        ("head tilt (right)", "brain"),
        ("altered mentation", "brain"),
        ("coma", "brain"),
        ("weakness", "weak"),
        ("weak", "weak"),
        ("hind-limb weakness", "weak"),
        ("collapse", "weak"),
        ("syncope", "weak"),
        ("fainting at home", "weak"),
        ("collapse, seizure", "brain"),
        ("seizure and sudden blindness", "eye"),
        ("murmur", None),
        ("heart murmur, weakness", "weak"),
        ("weak pulse", None),
        ("retinal scar", None),
        ("unfit", None),
        ("fit and well", None),
        ("", None),
        ("left eye", None),
        ("no seizure", None),
        ("no seizures, collapse", None),
        ("not blind", None),
        ("seizure: none", None),
        ("history of seizures", None),
        ("resolved hyphaema", None),
        ("normal retina, no retinal detachment", None),
    ],
)
def test_signs(text: str, group: str | None) -> None:
    assert sign_group(text) == group


@pytest.mark.parametrize("group", GROUPS)
def test_every_listed_phrase_is_its_group(group: str) -> None:
    for phrase in table("signs")[group]:
        assert sign_group(phrase) == group
        assert sign_group(phrase.upper()) == group
        assert sign_group(f"acute {phrase}") == group
        assert sign_group(f"no {phrase}") is None


def test_no_listed_phrase_is_lost_to_another_list() -> None:
    phrases = [phrase for group in GROUPS for phrase in table("signs")[group]]
    assert len(phrases) == len(set(phrases))
    for phrase in phrases:
        assert set(phrase.split()).isdisjoint(table("signs")["negations"])
        assert set(phrase.split()) - set(table("signs")["tolerated"])


@given(st.text())
def test_any_text_is_answered(text: str) -> None:
    assert sign_group(text) in (None, *GROUPS)


@given(st.text())
def test_a_denial_before_anything_is_nothing(text: str) -> None:
    assert sign_group(f"no {text}") is None
