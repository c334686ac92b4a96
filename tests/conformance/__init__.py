"""Conformance as data: named cases of the language and of answers, by which any implementation can be judged.

`language.jsonl` and `answers.jsonl` are of the rulebook in `rules`, which is of nothing real and has each construct of
the language; `shipped.jsonl` is of the rules that ship. `run.py` judges, and needs nothing of fitsvc.
"""
