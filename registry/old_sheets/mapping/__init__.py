'''The mapping of an old spreadsheet: a TOML file that a clinician can read and write.

A mapping says of every column of one sheet what becomes of it. Nothing is guessed: a column that
is not named stops the intake, a cell that fits no statement is a problem, and the ledger
(`registry.old_sheets.ledger`) accounts for every cell that is not blank. `nidusbook intake OLD.xlsx
--mapping NEW.toml --draft` writes a first proposal. The parts of the file:

```toml
draft = true                    # written by --draft; nothing is taken in while this line stands

[sheet]
name = "Embo list"              # not needed for CSV files and workbooks with one sheet
headings_in_row = 3             # as the spreadsheet counts; [2, 3] where headings fill two rows
one_row_is = "patients"         # the table of which one row of the sheet is one row
dates = "day first"             # or "month first"; not stated: 03/04/2015 is a problem
short_years_from = 1950         # 49 is 2049, 50 is 1950; not stated: 03/04/15 is a problem
blank = ["?", "n/a", "-"]       # cells that count as blank
merged_cells = "each row"       # a merged cell counts for each of its rows; or "first row"
other_columns = "not needed"    # why columns not named below are left out; not stated: each
                                # column has to be named

[study_codes]                   # study codes made from the service's own numbers
heading = "Hosp no"             # the column with these numbers; they themselves are not kept
prefix = "N"                    # one to four capital letters
key_file = "service.key"        # beside the mapping unless a whole path; keep it, and keep it safe

[numbers]                       # numbers of the rows below a patient, where no column gives them
lesion_no = 1                   # every row of the sheet is about the patient's first lesion
session_no = "counted"          # in the order of the sheet; or "counted by session_date"

[[column]]
heading = "SM gr."              # word for word; of headings in two rows: "Session 1 / date"
column = "F"                    # the spreadsheet's letters, where two headings are the same
field = "lesions.sm_grade_recorded"
words = { "I" = 1, "II" = 2, "unclear" = "" }    # words to values; "" counts as blank

[[column]]
heading = "Session 2 vol (cc)"  # repeated columns: one entry each, with the number of its row
field = "injections.agent_ml"
session_no = 2
split = "added up"              # "2.4cc + 1.1" is 3.5
unit = "cc"                     # converted to the field's unit; a unit in the cell itself wins

[[column]]
heading = "Name"
leave_out = "a person's name"

[[constant]]                    # a value for every row of a table, or of those with a number
field = "sessions.route"
value = "arterial"

[[leave_out_rows]]              # by their numbers, or by what a column holds ("" is a blank cell)
heading = "Hosp no"
is = ["Total", "Mean"]
because = "totals, not a patient"

[[leave_out_rows]]
rows = "130-134"
because = "legend"

[[dates_in_rows]]               # another date order in some rows (or `heading` and `is`)
rows = "4-60"
order = "month first"
```

A column may also have:

- `split = "diameters"` with a list of fields: "3.5x2.8x3 cm" into three; `largest_first = true`
  puts them in falling order.
- `split = "counted"`: "MCA x3, PCA x1" into four rows; `count_into` names a field that takes the
  number 4 as well.
- `split = "parts"`: "Rt frontal" into several fields, or into several rows of one field;
  `split_at` is the mark between the parts (a space unless stated).
- `range = "higher"` or `"lower"`: which end of "0-1" is taken; not stated: such a cell is a
  problem.
- `dates`, `short_years_from`, `blank`: as for the sheet, for this column alone.
- `part_dates = "middle"`: "2015" or "Mar 2015" is taken as the middle of that time, and the field
  that says how precisely the date is known is filled.
- `words` giving several fields: `{ "ICH" = { "patients.presentation" = "haemorrhage",
  "lesions.haemorrhage_before" = true } }`, with all of them listed under `field`; a list of such
  groups makes several rows.
- `not_identifying = "why"`: a heading that only looks like a name, number or address.
- `open = true`: written by --draft where a person has to decide; nothing is taken in meanwhile.
'''
