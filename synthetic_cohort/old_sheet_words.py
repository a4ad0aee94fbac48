"""How the fellows of ten years wrote things: each value and the ways in which it stands.

These are the words that a mapping has to know; the sheet's own legend lists them.
"""

from __future__ import annotations

from registry.schema import Lesions, Patients

WORDS: dict[str, dict[object, tuple[str, ...]]] = {
    "sex": {"female": ("F", "f", "female"), "male": ("M", "m", "male"),
            "intersex": ("intersex",), "not stated": ("not stated",)},
    "side": {"left": ("Lt", "L", "left"), "right": ("Rt", "R", "right"),
             "midline": ("ML", "midline")},
    "location": {
        "frontal": ("frontal", "front."), "temporal": ("temporal", "temp"),
        "parietal": ("parietal", "par."), "occipital": ("occipital", "occ"),
        "insula": ("insular", "insula"), "basal ganglia": ("basal ganglia", "BG"),
        "thalamus": ("thalamic", "thalamus"), "corpus callosum": ("callosal",),
        "intraventricular": ("intraventricular",), "brainstem": ("brainstem", "pons"),
        "cerebellum": ("cerebellar", "vermis"), "other": ("other",),
    },
    "presentation": {
        "haemorrhage": ("ICH", "bleed", "haemorrhage"), "seizure": ("sz", "seizures", "fit"),
        "headache": ("h/a", "headache"), "focal deficit": ("weakness", "deficit"),
        "incidental": ("incid.", "incidental"), "other": ("other",),
    },
    "yes_no": {True: ("Y", "yes", "+"), False: ("N", "no", "0")},
    Lesions.deep_drainage: {"none": ("superficial", "none"), "part": ("both", "partly deep"),
                      "exclusive": ("deep only",)},
    "sm_grade": {1: ("I", "i"), 2: ("II", "SM II", "2"), 3: ("III", "SM III", "iii"),
                 4: ("IV", "4"), 5: ("V",)},
    "mrs": {n: (str(n), f"mRS {n}") for n in range(6)},
    "operator": {f"OP{n:02d}": (letter, letter.lower()) for n, letter in enumerate("ABCD", 1)},
    "intent": {
        "before resection": ("preop", "pre-op"), "before radiosurgery": ("pre SRS",),
        "curative": ("cure", "curative"), "weak point only": ("target", "aneurysm only"),
        "palliative": ("palliation",),
    },
    "artery": {
        "ACA": ("ACA",), "MCA": ("MCA",), "PCA": ("PCA",), "anterior choroidal": ("AChA",),
        "posterior choroidal": ("PChA",), "lenticulostriate": ("LSA",),
        "thalamoperforator": ("thal perf",), "SCA": ("SCA",), "AICA": ("AICA",),
        "PICA": ("PICA",), "basilar perforator": ("bas perf",), "dural": ("dural",),
        "other": ("other",),
    },
    "result": {"complete": ("GTR", "complete"), "residual": ("STR", "residual"),
               "not imaged": ("no DSA",)},
    "deficit": {"none": ("nil", "none"), "transient": ("temp.", "transient"),
                "permanent": ("perm", "permanent")},
    "imaging": {"catheter angiography": ("DSA",), "MR angiography": ("MRA", "MR"),
                "CT angiography": ("CTA",), "none": ("clinic only",)},
    "occlusion": {"complete": ("no residual", "cured"), "near complete": ("tiny residual",),
                  "part": ("residual",), "none": ("unchanged",)},
    Patients.death_cause: {"lesion": ("AVM bleed",), "treatment": ("after treatment",),
                    "other": ("unrelated",), "unknown": ("unknown",)},
    Patients.research_use: {"granted": ("signed", "Y"), "waived": ("waiver",), "refused": ("N",),
                     "withdrawn": ("withdrawn",), "pending": ("asked",)},
}

KIND_WORDS = {
    "intracranial haemorrhage": "ICH", "vessel perforation": "wire perforation",
    "ischaemic stroke": "infarct", "unintended vessel occlusion": "branch occluded",
    "thromboembolism": "thrombus", "dissection": "dissection",
    "outflow vein occlusion": "vein blocked", "retained catheter": "catheter stuck",
    "access site": "groin haematoma", "contrast reaction": "contrast allergy",
    "seizure": "seizure postop", "radiation injury": "hair loss", "infection": "infection",
    "cranial nerve palsy": "diplopia", "medical": "medical", "other": "other",
}
DEFICIT_WORDS = {"none": "no deficit", "transient": "deficit, recovered",
                 "permanent": "deficit, permanent"}

# What stands in a cell for "not recorded".
BLANKS = ("?", "n/a", "-", "nk")
NO_COMPLICATION = ("none", "nil", "-", "no")


def complication_text(kind: str, symptomatic: bool, deficit: str, death: bool) -> str:
    """A complication as the free-text column has it, such as "ICH; deficit, recovered"."""
    words = [KIND_WORDS[kind], "asymptomatic" if not symptomatic else DEFICIT_WORDS[deficit]]
    return "; ".join([*words, *(["died"] if death else [])])
