"""Old spreadsheets: the mapping, its draft, the readers of files, and the ledger of cells."""
