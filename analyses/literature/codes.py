"""The definition codes of published lines: what a line counts, in one agreed form of words.

A line stands beside a measure of ours only where the measure declares the line's code
(`Measure.comparable`) and is given in the line's unit. Codes that no measure declares are kept
apart here so that a paper's number is never set beside one that counts another thing.
"""

from __future__ import annotations

CODES = {
    "any complication":
        "any complication of an embolization, with symptoms or without",
    "clinically significant complication":
        "a complication that the paper calls clinically significant or symptomatic",
    "technical complication without deficit":
        "a complication of technique that left no deficit",
    "intraprocedural adverse event":
        "an adverse event during the procedure; later ones are not in it",
    "any new deficit":
        "a new neurological deficit, lasting or not, or death, from embolization",
    "permanent deficit or death":
        "a lasting deficit of any grade, or death, from embolization",
    "permanent deficit":
        "a lasting deficit of any grade; deaths are not in it",
    "disabling permanent deficit or death":
        "a lasting deficit that disables (mRS over 2 where the paper says), or death",
    "disabling permanent deficit":
        "a lasting deficit that disables; deaths are not in it",
    "haemorrhagic complication":
        "an intracranial haemorrhage or a vessel perforation from embolization",
    "haemorrhage unrelated to navigation perforation":
        "the same, perforation by navigation left out",
    "haemorrhage unrelated to arterial perforation":
        "the same, perforation by navigation or by retrieval left out",
    "complete obliteration by embolization":
        "no shunt left after embolization alone",
    "complete obliteration by resection":
        "no shunt left on angiography after resection",
    "mRS over 2 from embolization or resection":
        "mRS over 2 put down to embolization or resection",
    "mRS over 2 at last follow-up":
        "mRS over 2, death with it, at last follow-up whatever the cause",
    "haemorrhage without treatment":
        "a haemorrhage of a lesion that has not been treated, by time",
    "haemorrhage after embolization":
        "a haemorrhage after embolization has begun, by time",
}
"""Code → what it means."""
