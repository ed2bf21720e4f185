"""What to change: tap, winding, dropper, remedies, fit of a substitute, fit of a card."""
