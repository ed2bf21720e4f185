"""ngspice through PySpice: decks in, plain arrays out. Knows no receiver."""
