"""SQLite: rows in and rows out, a module per noun; no rule of the workshop is decided here."""
