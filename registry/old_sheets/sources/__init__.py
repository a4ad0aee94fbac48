"""Old spreadsheets as they lie: .xlsx, .xls, .ods and text files, read sheet by sheet."""
