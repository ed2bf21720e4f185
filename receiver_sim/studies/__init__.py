"""One question a file: plan decks, run them, reduce to a frozen result."""
