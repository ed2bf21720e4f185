"""Build files and tube cards: parse, validate, defaults."""
