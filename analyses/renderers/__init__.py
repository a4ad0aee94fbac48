"""Content → HTML, .docx, .pptx, figures and tables as files. No clinical word is decided here."""
