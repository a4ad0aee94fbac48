"""Where a measure can be shown: a place of a document, or a question that is asked of it.

A document names a place; which measures stand there is said by the measures themselves.
"""

from __future__ import annotations

from enum import StrEnum


class Place(StrEnum):
    """A place in a document, or a question that a measure is put to."""

    HEADLINE = "paper, summary, first sentence"
    SUMMARY = "paper, summary"
    DEFINITIONS = "paper, definitions"
    PROCEDURE_TEXT = "paper, procedure, text"
    LIMITS_TEXT = "paper, practice limits, text"
    LIMITS_TABLE = "paper, practice limits, table"
    PROCEDURE_TABLE = "paper, procedure, table"
    CLOSURE_TEXT = "paper, closure, text"
    CLOSURE_TABLE = "paper, closure, table"
    CLOSURE_BY_GRADE = "paper, closure, figure by grade"
    OPERATION_TEXT = "paper, operation, text"
    OPERATION_TABLE = "paper, operation, table"
    HARM_TEXT = "paper, harm, text"
    HARM_TABLE = "paper, harm, table"
    HARM_OTHER_UNITS = "paper, harm, table, other units"
    HARM_BY_UNIT = "paper, harm, figure by unit"
    FUNCTION_TEXT = "paper, function, text"
    BLEEDING_TEXT = "paper, haemorrhage, text"
    FUNCTION_TABLE = "paper, function, table"
    DIFFERENCES_DRAWN = "supplement, differences between groups, figure"
    CLOSURE_BY_GROUP = "supplement, closure by group"
    HARM_ALL_UNITS = "supplement, harm in every unit"
    HARM_BY_GROUP = "supplement, harm by group"
    HARM_DETAIL = "supplement, complications in detail"
    FUNCTION_BY_GROUP = "supplement, function by group"
    RESECTION_BY_EXTENT = "supplement, resection by extent"
    QUALITY_OUTCOME = "quality report, outcome"
    QUALITY_BALANCING = "quality report, balancing"
    CASE_ANY = "conference, how often here"
    PRECISION = "planning, what so many can show"
    LOST = "paper, limitations, who was lost"
    JUDGED = "paper, limitations, who judged"
    COMPARED = "groups compared"
    QUESTIONED = "missing outcomes questioned"
    MODELLED = "technique models"
    MONITORED = "monitored over time"
