"""Lists of values that more than one field uses, and groups of values with a meaning."""

from __future__ import annotations

DEFICIT = ("none", "transient", "permanent", "not yet known")

AGENTS = (
    "EVOH 6 %", "EVOH 8 %", "other copolymer", "n-butyl cyanoacrylate", "coil", "particles",
)
EVOH_AGENTS = ("EVOH 6 %", "EVOH 8 %")
# Precipitating copolymers dissolved in DMSO: the practice limits are about these only.
COPOLYMER_AGENTS = (*EVOH_AGENTS, "other copolymer")
LIQUID_AGENTS = (*COPOLYMER_AGENTS, "n-butyl cyanoacrylate")

FEEDING_ARTERIES = (
    "ACA", "MCA", "PCA", "anterior choroidal", "posterior choroidal", "lenticulostriate",
    "thalamoperforator", "SCA", "AICA", "PICA", "basilar perforator", "dural", "other",
)

LOCATIONS = (
    "frontal", "temporal", "parietal", "occipital", "insula", "basal ganglia", "thalamus",
    "corpus callosum", "intraventricular", "brainstem", "cerebellum", "other",
)

COMPLICATION_KINDS = (
    "intracranial haemorrhage", "ischaemic stroke", "unintended vessel occlusion",
    "vessel perforation", "dissection", "outflow vein occlusion", "retained catheter",
    "thromboembolism", "access site", "contrast reaction", "radiation injury", "seizure",
    "infection", "cranial nerve palsy", "medical", "other",
)

CLAVIEN_DINDO = ("I", "II", "IIIa", "IIIb", "IVa", "IVb", "V")
PREVENTABLE = ("no", "possibly", "yes")
HOW_CERTAIN = ("definite", "probable", "possible", "no")
# Where an event stands: rows of complications, haemorrhages, resections (their own deficit).
EVENT_OF = ("complication", "haemorrhage", "resection")

ROLES = (
    "neurointerventionalist", "neurosurgeon", "anaesthetist", "neurologist", "radiographer",
    "nurse", "coordinator", "quality lead", "service lead", "other",
)
ACTION_STATES = ("open", "done", "dropped")

RESEARCH_USE = ("granted", "waived", "refused", "withdrawn", "pending")
# Only these enter a freeze made for research.
RESEARCH_USE_ALLOWED = ("granted", "waived")

# Retrieval of a catheter that leaves part of it behind, and not by design.
RETAINED = ("part retained",)
