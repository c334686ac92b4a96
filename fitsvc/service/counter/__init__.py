"""The pages for the counter: ask, see, take home and look up; plain HTML that works without scripts."""
