"""What this many patients can and cannot show, and how many would be needed.

Planning numbers, from assumptions that are stated with every one of them: the true risk, and a
design effect 1 + (m - 1)·ρ for m rows a patient and a within-patient correlation ρ (Kish 1965,
Survey Sampling). They are no finding about the patients.
"""
