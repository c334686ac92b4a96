"""Record files read row by row, and put into the store whole or not at all."""
