"""Writing an assessment out: page, layers, tables, methods and manifest. Nothing is computed here."""
