"""Kinds of embolization complication: how often, how severe, by what mechanism.

Of the haemorrhagic ones, perforations are somewhat under half, as in Baharvahdat 2014 (AJNR
35:978: 44 of 92). Permanent deficits come to about a fifth of events (5 of 29 in Starke 2009,
9 of 23 in Pan 2014). The other shares are plausible, no source.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Kind:
    """A kind with its share of events and what follows from it (probabilities).

    `transient` and `permanent` are given symptoms; `rescue` weighs none, medical,
    endovascular, open operation; `technical` events are tied to an injection.
    """

    name: str
    share: float
    symptomatic: float
    transient: float = 0.0
    permanent: float = 0.0
    fatal: float = 0.0
    mechanisms: tuple[str, ...] = ("unknown",)
    rescue: tuple[float, float, float, float] = (0.6, 0.4, 0.0, 0.0)
    technical: bool = False


KINDS = (
    Kind("intracranial haemorrhage", 0.24, 0.85, 0.30, 0.42, 0.22,
         ("nidal rupture", "outflow occlusion", "perfusion breakthrough"),
         (0.05, 0.40, 0.10, 0.45), True),
    Kind("vessel perforation", 0.17, 0.30, 0.35, 0.20, 0.0,
         ("navigation perforation", "catheter removal"), (0.25, 0.25, 0.50, 0.0), True),
    Kind("ischaemic stroke", 0.17, 0.95, 0.55, 0.38, 0.05, ("reflux", "thrombus"),
         (0.10, 0.80, 0.10, 0.0)),
    Kind("unintended vessel occlusion", 0.09, 0.50, 0.55, 0.30, 0.0, ("reflux",),
         (0.45, 0.50, 0.05, 0.0), True),
    Kind("thromboembolism", 0.05, 0.45, 0.65, 0.20, 0.0, ("thrombus",), (0.1, 0.7, 0.2, 0.0)),
    Kind("dissection", 0.03, 0.15, 0.6, 0.1, 0.0, ("unknown",), (0.4, 0.5, 0.1, 0.0), True),
    Kind("outflow vein occlusion", 0.04, 0.40, 0.4, 0.3, 0.0, ("outflow occlusion",),
         (0.4, 0.5, 0.0, 0.1), True),
    Kind("retained catheter", 0.07, 0.03, 0.5, 0.1, 0.0, ("unknown",), (0.8, 0.15, 0.05, 0.0),
         True),
    Kind("access site", 0.06, 0.60), Kind("contrast reaction", 0.015, 0.9),
    Kind("seizure", 0.06, 1.0, 0.10, 0.0), Kind("radiation injury", 0.005, 0.8),
    Kind("infection", 0.005, 1.0), Kind("cranial nerve palsy", 0.01, 1.0, 0.7, 0.3),
    Kind("medical", 0.02, 1.0), Kind("other", 0.015, 0.4),
)
NAMES = tuple(kind.name for kind in KINDS)
PLACE = {name: i for i, name in enumerate(NAMES)}
# Events after or beside treatment that embolization did not cause.
UNRELATED = ("seizure", "medical", "infection", "other")
