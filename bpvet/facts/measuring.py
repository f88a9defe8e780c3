"""Judgements about the quality of measuring and about comparing methods, as plain numbers."""

from __future__ import annotations

from bpvet.facts.sources import Fact, fact, facts


def judged(name: str) -> float:
    """Return the number of one of this project's judgements.

    Parameters
    ----------
    name : str
        Its id without the topic, such as ``audit.neighbours``.

    Raises
    ------
    KeyError
        If there is no such judgement.
    ValueError
        If it is one in words.

    Examples
    --------
    >>> judged("audit.step_doppler")
    2.0
    """
    found = fact(f"project.{name}")
    if found.value is None:
        raise ValueError(f"{found.id} is no number")
    return found.value


def judgements(topic: str) -> tuple[tuple[str, Fact], ...]:
    """Return this project's judgements about a topic, each with what it is of.

    Parameters
    ----------
    topic : str
        ``audit``, ``situation`` or ``agreement``.
    """
    start = f"project.{topic}."
    found = (judgement for judgement in facts("project") if judgement.id.startswith(start))
    return tuple(
        (judgement.statistic[:1].upper() + judgement.statistic[1:], judgement)
        for judgement in found
    )
