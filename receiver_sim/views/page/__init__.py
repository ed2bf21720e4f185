"""The page of a set: one file that opens in a browser from disk, without a network."""
