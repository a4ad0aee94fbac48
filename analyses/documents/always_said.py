"""What every document says: who was left out, and what the numbers are not for."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analyses.content.blocks import Caution, Sentence
from analyses.population.exclusions import exclusions_of
from registry.freeze.who import harm_waiting

CAUTIONS = (
    "These are observational results of one service. They describe groups of patients; they are "
    "not for decisions on one patient, and not for ranking operators.",
    "The products' instructions for use, local protocol and the judgement of licensed clinicians "
    "come first.",
    "Events that involve a device are reported through local and regulatory channels; this "
    "report does not replace that.",
    "No signal is not evidence of safety: with few patients even a frequent harm can stay unseen.",
)

CONFERENCE_CAUTIONS = (
    "Confidential peer review. Do not circulate.",
    "A rare case can be recognised even without a name.",
    "Was the event disclosed to the patient or family?",
)


def excluded(manifest: Mapping[str, Any]) -> tuple[Sentence, ...]:
    """Whom a study left out of its freeze, a sentence an exclusion; none of a freeze as it is."""
    return tuple(Sentence(one.sentence()) for one in exclusions_of(manifest))


def only_a_part(manifest: Mapping[str, Any]) -> tuple[Caution, ...]:
    """The cautions that stand first: who waits to be mended, and whom a study left out."""
    held, out = waiting(manifest), excluded(manifest)
    found = [Caution("Patients are missing from every number", held)] if held else []
    return (*found, *([Caution("This is a part of the freeze", out)] if out else []))


def waiting(manifest: Mapping[str, Any]) -> tuple[Sentence, ...]:
    """Who is held back by errors, whole or with a correction, and what that does to the numbers."""
    errors = manifest.get("left_out", {}).get("errors", {})
    whole, updates = int(errors.get("patients", 0)), int(errors.get("updates_held", 0))
    harmed = harm_waiting(manifest.get("left_out", {}))
    if not whole and not updates:
        return ()
    who = [f"{_people(whole)} {'is' if whole == 1 else 'are'} missing"] if whole else []
    who += [f"newer rows of {_people(updates)} are missing"] if updates else []
    said = f"{' and '.join(who)}: held back by errors in the data"
    tail = (f"; {harmed} of them with a recorded death or complication, so that the shares of harm "
            "below are too low" if harmed else
            "; none of them with a recorded death or complication")
    return (Sentence(f"{said[:1].upper()}{said[1:]}{tail}."),)


def _people(count: int) -> str:
    return "1 patient" if count == 1 else f"{count} patients"


def cautions(manifest: Mapping[str, Any]) -> Caution:
    """The usual cautions, as one block; whom a study left out of its freeze comes first."""
    return Caution("Before these numbers are used",
                   (*excluded(manifest), *map(Sentence, CAUTIONS)))


def left_out(manifest: Mapping[str, Any]) -> tuple[Sentence, ...]:
    """How many patients were left out, why, and how many of them had a death or complication.

    manifest: the freeze's; its `left_out` holds `research_use` ({value: patients}), `errors`
    (patients kept out by errors) and, for each, those with a recorded death or complication. A
    study's also says whom it left out of the freeze, and on what condition.
    """
    out = manifest.get("left_out", {})
    lines = [_by_errors(out.get("errors", {})), _by_research_use(manifest, out)]
    return (*map(Sentence, lines), *excluded(manifest))


def _by_errors(errors: Mapping[str, Any]) -> str:
    count = int(errors.get("patients", 0))
    if not count:
        return "No patient was left out because of errors in the data."
    harmed = int(errors.get("with_death_or_complication", 0))
    return (f"{_patients(count)} left out because of errors in the data; {harmed} of them had a "
            "recorded death or complication.")


def _by_research_use(manifest: Mapping[str, Any], out: Mapping[str, Any]) -> str:
    if manifest.get("purpose") == "quality":
        return ("This freeze was made for quality work: it takes all patients, whatever was "
                "agreed on research use, where local rules permit.")
    refused = out.get("research_use", {})
    reasons = {k: int(v) for k, v in refused.get("patients", {}).items() if int(v)}
    if not reasons:
        return "No patient was left out for want of agreement to research use."
    harmed = int(refused.get("with_death_or_complication", 0))
    told = ", ".join(f"{word} {count}" for word, count in sorted(reasons.items()))
    return (f"{_patients(sum(reasons.values()))} left out for want of agreement to research use "
            f"({told}); {harmed} of them had a recorded death or complication.")


def _patients(count: int) -> str:
    return "One patient was" if count == 1 else f"{count} patients were"
