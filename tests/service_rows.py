"""What the clean service of `registry_cases` remembers: a row or two of each table of its own."""

from __future__ import annotations

from typing import Any

HASH = "a" * 64
ROWS: dict[str, list[dict[str, Any]]] = {
    "contacts": [{"patient_id": "N-0001", "try_no": 1, "contact_date": "2022-03-01",
                  "how": "telephone", "result": "no answer"}],
    "event_reviews": [
        {"patient_id": "N-0001", "lesion_no": 1, "event_of": "complication", "event_no": 1,
         "reader": reader, "blinded": "yes", "cause_embolization": cause, "severity": "II",
         "reasons": "Stroke in the territory that was treated."}
        for reader, cause in (("RD01", "definite"), ("RD02", "probable"))],
    "conference_reviews": [
        {"patient_id": "N-0001", "review_no": 1, "conference_date": "2021-06-01", "lesion_no": 1,
         "event_of": "complication", "event_no": 1, "factor_technique": "yes",
         "learning_points": "Agree on a reflux limit first.", "preventable": "possibly"}],
    "actions": [
        {"action_no": 1, "decided_on": "2021-06-01", "action": "Agree on a reflux limit.",
         "responsible": "neurointerventionalist", "due_date": "2021-09-01",
         "measure": "complication.any", "measure_unit": "session", "state": "open",
         "from_patient": "N-0001", "from_review": 1}],
    "monitoring_plans": [
        {"plan_code": "HARM-2021", "declared_on": "2021-06-01", "declared_by": "quality lead",
         "measure": "complication.any", "measure_unit": "session",
         "baseline_from": "2020-01-01", "baseline_to": "2021-05-31",
         "chart": "risk-adjusted CUSUM", "odds_ratio": 2, "run_length": 500}],
    "practice_changes": [{"plan_code": "HARM-2021", "change_no": 1, "changed_on": "2021-07-01",
                          "change": "Reflux limit agreed before each injection."}],
    "signals": [{"plan_code": "HARM-2021", "signal_no": 1, "found_on": "2021-12-01",
                 "freeze_hash": HASH, "direction": "worse", "crossed_on": "2021-11-20",
                 "chart_value": 4.5, "chart_limit": 4.0}],
}
