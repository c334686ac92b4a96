"""What a service of this kind was once brought down or misled by, or lacked, each with the test that holds it now.

Of a review's points that no test holds, `LEFT` says why.
"""

import ast
from pathlib import Path
from typing import Final

ATTACKS: Final = {
    "one small question that leaves all open": "service_stalls::health_answers_while_costly_questions_run",
    "pages that are made while all wait": "service_stalls::what_takes_long_to_make_is_made_beside_the_loop",
    "a page of goods beside things of which nothing is known": (
        "service_matches::what_hangs_there_is_judged_within_bounds"
    ),
    "one rulebook after the other, each to be made ready": "service_pinned::one_other_rulebook_is_kept_at_a_time",
    "the work of what to learn next, without a bound": "answers_next_bounded::no_question_costs_more_than_the_budget",
    "wishes with adapters of which nothing is known": (
        "planning::adapters_of_which_nothing_is_known_cost_no_more_than_a_plan_may"
    ),
    "a caller who hangs up and leaves the work running": "service_stalls::a_caller_who_leaves_ends_the_work",
    "a large body of brackets": "service_stalls::a_large_body_that_fails_is_walked_beside_the_loop",
    "JSON nested a hundred thousand deep": "service_bodies::what_is_not_json_is_told_with_its_place",
    "numbers of thousands of digits": "service_bodies::a_number_out_of_range_is_told_with_its_pointer",
    "names that stand twice": "service_bodies::a_name_that_stands_twice_is_refused",
    "half of a surrogate pair": "service_bodies::what_is_not_json_is_told_with_its_place",
    "bodies that are packed, or of another charset": "service_problems::every_route_refuses_a_body_that_is_none",
    "a form of another site": "service_problems::every_route_refuses_a_body_that_is_none",
    "a page of another site, through a browser": "service_keys::only_sites_that_are_listed_may_ask_from_a_browser",
    "another name for this address": "service_stalls::only_its_own_names_are_answered_here",
    "a request within another's body": "service_stalls::a_request_whose_end_is_not_sure_is_refused",
    "two lengths": "service_stalls::two_lengths_are_refused",
    "ways up and out in a path": "service_stalls::no_path_leads_out_of_the_house",
    "headers that do not end": "service_stalls::half_a_head_is_not_waited_for",
    "five hundred such headers": "service_stalls::a_crowd_of_half_requests_is_borne",
    "bodies that do not come": "service_stalls::what_is_refused_for_want_of_room_says_when_to_come_back",
    "more than can be answered": "service_stalls::what_is_refused_for_want_of_room_says_when_to_come_back",
    "more than a caller's share": "service_keys::each_caller_has_a_share",
    "a supplier's catalogue read by whoever can reach the port": "service_keys::an_audit_is_its_makers",
    "a key for more than it was made for": "service_keys::a_key_may_do_what_it_was_made_for",
    "keys in the log": "service_keys::lines_of_the_log_are_json_and_hold_no_secret",
    "the database's address in a reply": "service_problems::a_database_that_does_not_answer_is_unavailable",
    "a fault's text in a reply": "service_problems::a_fault_of_the_service_leaks_nothing",
    "markup in a record's name": "counter_pages::strange_names_are_shown_as_they_are",
    "a file of the database moved over or deleted": "store_database::a_file_that_is_gone_is_noticed",
    "a full disk": "store_database::a_full_disk_is_not_ready",
    "a store that stands by for another": "store_database::a_server_that_can_only_be_read_is_not_ready",
    "another's change, lost": "service_crowd::no_change_is_lost",
    "the same thing made by twenty at once": "service_crowd::one_of_many_who_make_the_same_makes_it",
    "a post that is sent again": "service_keys::a_request_that_is_sent_again_is_done_once",
    "a condition that cannot be read": "service_queries::a_condition_that_cannot_be_read_changes_nothing",
    "a cursor of another rig": "service_selections::what_cannot_be_selected_is_told",
    "a page whose tag any write changes": "service_selections::what_a_caller_has_is_not_sent_again",
    "SKUs with a slash": "service_records::a_sku_is_found_at_its_location",
    "SKUs that look alike": "store_validation::skus_that_do_not_print_or_break_a_path_are_refused",
    "times in the future": "store_validation::times_without_zone_or_out_of_range_are_refused",
    "a slash at the end of an address": "service_edge::a_slash_at_the_end_is_no_second_name",
    "charsets told twice": "service_health::every_response_forbids_guessing_its_type",
    "a balancer that keeps connections for longer": "service_serving::idle_connections_outlive_a_balancers",
    "an end in the middle of requests": "service_serving::a_request_in_flight_is_finished",
    "many callers at once": "service_serving::many_callers_at_once_are_all_answered",
    "five hundred of them": "service_serving::a_crowd_is_answered_or_told_to_come_back",
    "an end under load": "service_serving::an_end_under_load_leaves_no_reply_half_sent",
    "another's share, by another's address": "service_serving::who_asks_through_a_proxy_has_a_share_of_their_own",
    "a worker that falls over": "service_serving::workers_share_address_index_and_counts",
    "servers killed again and again": "service_histories::what_a_shop_saw_makes_one_history",
    "a database that is away for a while": "service_crowd::a_database_that_goes_comes_back",
    "a file of the database that another writes": "service_crowd::a_file_that_another_writes_can_be_read",
    "a clock that is set back": "service_feed::a_clock_that_was_set_back_hides_no_change",
    "goods that carry nothing, told to work with a load": "rules_loads",
    "an address that takes no messages": "service_webhooks::an_address_that_is_away_loses_nothing",
    "a feed that cannot take away what was deleted and told anew": (
        "service_catalogue::what_was_deleted_before_is_nobody_elses_word"
    ),
    "a file that is loaded twice, told row by row": "cli_records::a_file_that_is_loaded_twice_is_told_shortly",
    "what a stranger's tool makes of the description": "service_stock",
    "pages that are turned while all changes": (
        "selection_following::pages_are_right_while_a_thousand_items_a_second_change"
    ),
    "an hour of writing, asking and reading": "service_histories::memory_is_flat",
    "lists of what to measure, asked for over and over": "observing_worklist::a_yard_is_judged_once_for_all_lists",
    "a yard and a catalogue too large for one list": "observing_worklist::the_work_of_a_list_is_bounded",
    "a key that was revoked": "service_records::a_revoked_key_changes_nothing",
    "a server opened to the network before there is a key": "service_serving::no_open_door_without_a_key",
    "a version that is told as weak, or in a list": "service_records::what_the_caller_has_is_not_sent_again",
    "two changes of one version": "store_concurrency::one_of_two_replacements_of_a_version_wins",
    "SKUs that differ in their capitals": "service_records::capitals_count_in_a_sku",
    "an upgrade while it serves": "service_upgrading::an_older_server_goes_on_after_the_upgrade",
    "goods of a search asked about one by one": "service_matches::a_matrix_says_what_pages_say",
    "one item on many rigs, that no cache may keep": "service_matches::one_of_each_has_an_address",
    "a cart judged thing by thing": "service_matches::what_hangs_there_already_is_judged_too",
    "a whole answer where its outcome was wanted": "service_matches::a_part_of_an_answer_is_that_part",
    "figures that only words tell": "service_matches::figures_stand_beside_the_words",
    "replies that are never packed": "service_matches::a_reply_is_compressed_for_who_takes_it_so",
    "mistakes that only people can read": "service_problems::every_code_has_a_page_of_its_own",
    "mistakes of a query told as those of a body": "service_queries::what_is_outside_its_schema_is_refused",
    "addresses without an example": "service_matches::every_path_has_an_example_that_is_there",
    "links to what is none": "service_openapi::links_name_operations_and_parameters_that_exist",
    "a catalogue kept in step by three requests an item": "service_keys::a_put_makes_what_is_not_there",
    "a catalogue that needs a shell on the host": "service_catalogue::a_dry_run_tells_and_stores_nothing",
    "a table of columns that is none": "service_catalogue::a_table_that_cannot_be_read_is_told",
    "a disk that fails, told as a file that is wrong": ("audits_input::a_disk_that_fails_is_no_fault_of_the_catalogue"),
    "outcomes that change and nobody is told": "service_feed::every_change_of_an_outcome_is_told",
    "rules that change under a shop": "service_pinned::what_is_pinned_is_answered_by_that_rulebook",
    "figures that the description allows and nobody reads": (
        "service_schema::what_fits_a_pattern_is_a_figure_or_nearly"
    ),
    "a release that takes something away": "api_compat::nothing_of_the_last_release_is_broken",
    "what is given up without a word": "service_edge::what_is_given_up_says_so",
    "packages that are not those that were tried": "pins::every_pin_has_its_hashes",
    "packages without an upper bound": "pins::what_runs_has_an_upper_bound",
    "any call that fails": "service_faults",
}
"""By what was tried: file and test; a file alone where all of it is about that."""

LEFT: Final = {
    "generated clients and linters": "`.ci/clients/run` holds them: they need Node.js, which the tests do without",
    "the first plan on a large store": "a matter of speed, which no test asserts: `bench.bench_million` measures it",
    "bytes and answers a second of a page of goods": "the same: `bench.bench_matches`",
    "creates a second": "each waits for the disk; `POST /v1/catalogue` takes many: `bench.bench_catalogue`",
    "HEAD wherever there is GET": "RFC 9110 (9.1) asks for both; it works out what GET does and sends no body",
    "tables of audits that name rules otherwise": "their columns are their first version's, which callers read by name",
    "a time budget of the caller's own": "work is bounded by count, so that the same question has the same answer",
    "clients that are published": "there is no place to publish to; the description is what they are made from",
}
"""Points of which no test tells, and why."""


def test_each_attack_has_its_test() -> None:
    """It is there under its name, and says in a sentence what it holds."""
    lacking = [attack for attack, held_by in ATTACKS.items() if not _sentences(*held_by.partition("::")[::2])]
    assert lacking == []
    assert not ATTACKS.keys() & LEFT.keys() and all(LEFT.values())


def _sentences(file: str, name: str) -> list[str | None]:
    """What the named test of a file says of itself, or all of them where none is named."""
    tree = ast.parse((Path(__file__).parent / f"test_{file}.py").read_text("utf-8"))
    tests = [one for one in ast.walk(tree) if isinstance(one, ast.FunctionDef) and one.name.startswith("test_")]
    return [ast.get_docstring(one) for one in tests if name in ("", one.name.removeprefix("test_"))]
