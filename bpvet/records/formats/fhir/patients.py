"""Animals as FHIR has them: patients with the extension for animals, and references to them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from bpvet.facts.codes import ANIMAL_EXTENSIONS, EXTENSION, fhir
from bpvet.facts.sources import fact
from bpvet.facts.species import all_species
from bpvet.frozen import dataclass
from bpvet.records.formats.fhir.values import (
    codes,
    concept_text,
    extensions,
    first,
    objects_in,
    text_at,
)

#: Words for a species that FHIR's own example and its readers use.
_SPECIES = {word: name for name, known in all_species().items() for word in known.latin}


@dataclass(frozen=True, eq=False)
class References:
    """The resources that others refer to.

    Parameters
    ----------
    by_address : dict of str to dict
        Resources by "Patient/x" and by the address in their bundle.
    """

    by_address: dict[str, dict[str, Any]]

    @classmethod
    def among(cls, resources: Sequence[tuple[int, str, dict[str, Any]]]) -> References:
        """Return the resources given as (place, address, resource) by their addresses."""
        known: dict[str, dict[str, Any]] = {}
        for _, address, resource in resources:
            known[f"{text_at(resource, 'resourceType')}/{text_at(resource, 'id')}"] = resource
            if address:
                known[address] = resource
        return cls(known)

    def target(self, reference: object, within: Mapping[str, Any]) -> dict[str, Any]:
        """Return the resource that a reference leads to, in or out of its own; empty for none."""
        address = text_at(reference, "reference")
        if address.startswith("#"):
            inner = objects_in(within.get("contained"))
            return next(
                (resource for resource in inner if f"#{text_at(resource, 'id')}" == address), {}
            )
        tail = "/".join(address.split("/")[-2:])
        return self.by_address.get(address) or self.by_address.get(tail, {})

    def animal(self, resource: Mapping[str, Any]) -> str:
        """Return the animal that a resource speaks of, "" for none."""
        subject = resource.get("subject")
        if not isinstance(subject, dict):
            return ""
        reference = text_at(subject, "reference")
        patient = self.target(subject, resource)
        if reference.startswith("#"):
            # Its id holds within that resource alone.
            animal, reference = _identifier(patient), ""
        else:
            animal = _id_of(patient)
        return (
            animal
            or text_at(subject.get("identifier"), "value")
            or reference.removeprefix("Patient/")
            or text_at(subject, "display")
        )


def contained_animals(resource: Mapping[str, Any]) -> list[dict[str, str]]:
    """Return the cells of the patients within a resource that say which animal they are."""
    return [
        animal_row(patient)
        for patient in objects_in(resource.get("contained"))
        if text_at(patient, "resourceType") == "Patient" and _identifier(patient)
    ]


def animal_row(patient: dict[str, Any]) -> dict[str, str]:
    """Return a patient's cells in the table of animals."""
    about = _about_animal(patient)
    name = first(patient.get("name"))
    beside = extensions(patient)
    neutering = about.get("genderStatus")
    given = name.get("given")
    names = [text for text in given if isinstance(text, str)] if isinstance(given, list) else []
    cells = {
        "animal": _id_of(patient),
        "species": _species(about.get("species")),
        "name": text_at(name, "text") or " ".join([*names, text_at(name, "family")]).strip(),
        "breed": concept_text(about.get("breed")),
        "sex": beside.get(f"{EXTENSION}sex") or text_at(patient, "gender"),
        "neutered": concept_text(neutering) or next(iter(codes(neutering)), ""),
        "birth_date": text_at(patient, "birthDate"),
    }
    if fhir("neutered") in codes(neutering):
        cells["neutered"] = "yes"
    cells |= {column: beside.get(EXTENSION + column, "") for column in ANIMAL_EXTENSIONS}
    if not cells["left_on"] and text_at(patient, "deceasedDateTime"):
        cells |= {"left_on": text_at(patient, "deceasedDateTime")[:10], "left_reason": "died"}
    return cells


def _id_of(patient: dict[str, Any]) -> str:
    return _identifier(patient) or text_at(patient, "id")


def _identifier(patient: dict[str, Any]) -> str:
    return text_at(first(patient.get("identifier")), "value")


def _about_animal(patient: dict[str, Any]) -> dict[str, Any]:
    """Return the concepts of the extension for animals by their names."""
    for extension in objects_in(patient.get("extension")):
        if text_at(extension, "url") == fhir("animal"):
            return {
                text_at(concept, "url"): concept.get("valueCodeableConcept")
                for concept in objects_in(extension.get("extension"))
            }
    return {}


def _species(concept: object) -> str:
    coded = codes(concept)
    for name, known in all_species().items():
        if any(fact(id).text in coded for id in (known.fhir, known.snomed) if id):
            return name
    words = concept_text(concept)
    return _SPECIES.get(" ".join(words.casefold().split()), words)
