"""A whole catalogue judged against many rigs: read, judged block by block, reported, taken up again where it ended."""
