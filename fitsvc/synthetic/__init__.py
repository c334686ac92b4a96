"""Made-up catalogues and shops, the same for the same seed: to try things at any size and to measure with."""
