"""Looking up at the counter: every rule, limit, need, table and fact of the rulebook has its page."""

from demo_world import answerer

from fitsvc.service.counter.lookup import Library

BOOK = answerer().rulebook
LIBRARY = Library(BOOK)


def test_every_entry_is_told_and_every_table_is_read_somewhere() -> None:
    """Each rule, limit and need by its id and by the name that answers give it; each table with all its rows."""
    told = set()
    ids = [*(rule.id for rule in BOOK.rules), *(one.name for one in BOOK.limits), *(one.name for one in BOOK.needs)]
    for id in ids:
        entry = LIBRARY.entry(id)
        assert entry is not None and entry.title and entry.source, id
        for table in entry.tables:
            told.add(table.title)
            (kept,) = (one for one in BOOK.tables.values() if one.title == table.title)
            assert len(table.rows) == len(kept.rows or kept.columns[""].values)
            assert all(key and value for key, value in table.rows)
    assert told == {one.title for one in BOOK.tables.values()}
    assert LIBRARY.entry("no-such-rule") is None


def test_a_table_is_told_as_it_was_published() -> None:
    """Trailer classes by loaded weight, as COMAR 11.13.08.04 and 15 NYCRR 57.3 divide them."""
    entries = [entry for rule in BOOK.rules if (entry := LIBRARY.entry(rule.id))]
    tables = [table for entry in entries for table in entry.tables]
    (classes,) = {table.title: table for table in tables if table.title == "Trailer class by loaded weight"}.values()
    assert [key for key, _ in classes.rows] == [
        "up to 2000 lb",
        "up to 3500 lb",
        "up to 5000 lb",
        "up to 10000 lb",
        "above that",
    ]


def test_every_fact_is_told_with_what_reads_it() -> None:
    """Each fact has a page, and each rule that a fact's page names reads it."""
    for name in BOOK.vocabulary.facts:
        told = LIBRARY.fact(name)
        assert told is not None and told.fact.how_to_measure
        for line in told.readers:
            entry = LIBRARY.entry(line.href.removeprefix("/rules/"))
            assert entry is not None and f"/facts/{name}" in [fact.href for fact in entry.facts]
    assert LIBRARY.fact("no.such_fact") is None


def test_rules_and_facts_are_found_by_any_of_their_words() -> None:
    """By what a rule says, by a fact that it reads, by its source; what no rule has leaves nothing."""
    for text in ("shank opening", "shank-fits-opening", "the opening takes", "SIZE of the opening common practice"):
        hrefs = [line.href for _, _, lines in LIBRARY.found(text) for line in lines]
        assert "/rules/shank-fits-opening" in hrefs, text
    everything = [line for _, _, lines in LIBRARY.found("") for line in lines]
    assert len(everything) == len([line for _, _, lines in LIBRARY.topics for line in lines])
    assert not LIBRARY.found("zzz")
    assert not LIBRARY.found_facts("zzz")
    named = [line.href for _, lines in LIBRARY.found_facts("largest spare body stow") for line in lines]
    assert named == ["/facts/mounting.spare_fits_up_to"]


def test_a_rule_says_in_sentences_what_comes_of_it() -> None:
    """Held to the shank's own texts: a blank for each figure, and how each case weighs."""
    entry = LIBRARY.entry("shank-fits-opening")
    assert entry is not None
    assert [(one.mark, one.text) for one in entry.says][:2] == [
        ("passes", "Nothing is said."),
        ("fails", "The accessory has a … shank; the opening takes …"),
    ]
    assert all(one.what and one.mark for rule in BOOK.rules if (told := LIBRARY.entry(rule.id)) for one in told.says)
