"""The best plan by one rule, and the sentences that say it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

import drysward
from drysward.results.alternatives import ALTERNATIVES, alternatives, alternatives_text
from drysward.results.answer_text import (
    answer_sentences,
    best_sentences,
    counted_text,
    death_text,
    leading_sentences,
    undecided_text,
    unlike_limits_text,
)
from drysward.results.choice import best_plan, close_to_line, rule_text
from drysward.results.doubt_text import choice_sentence, count_of_draws, disagree
from drysward.results.outside import (
    COUNTED,
    counted_season_text,
    outside_season,
    span_text,
)
from drysward.results.text import three_figures
from drysward.scenario.model import FieldSpec, RootZoneSpec

FIELDS = ("sand", "loam")
PLANS = ("dry", "some", "much")
PAIR = json.dumps([{"differ_in": "root zone", "fields": FIELDS}])
ACRE_M2, IN_MM = 4046.8564224, 25.4  # exact


def said(
    odds: Sequence[Sequence[float]],
    days: Sequence[Sequence[float]],
    water_in: Sequence[Sequence[float]],
    fewer: float | None = None,
    pair: str = "[]",
) -> xr.Dataset:
    """A summary of two fields of an acre each under three plans; ``fewer``: with ten draws, in
    which share of them any plan, or field, has fewer days than any other.
    """
    by = ("field", "plan")
    of = "" if fewer is None else "doubt_"
    p, lost, depth = np.array(odds), np.array(days, float), np.array(water_in) * IN_MM
    stage = ("field", "plan", "stage")
    names = {"mean": "days_below_condition_mean", "water": "season_water"}
    if of:
        names = {"mean": "doubt_days_below_condition", "water": "doubt_water"}
    out = xr.Dataset(
        {
            **{f"{of}probability{end}": (stage, p[..., None]) for end in ("", "_low", "_high")},
            "days_below_condition_mean": (by, lost),
            names["mean"]: (by, lost),
            f"{of}days_below_condition_1in10": (by, 2.0 * lost),
            names["water"]: (by, depth),
            f"{of}demand": ((*by, "period"), 1.2 * depth[..., None]),
        },
        coords={
            "field": list(FIELDS), "plan": list(PLANS), "stage": ["dormant"], "period": [10.0],
            "field_label": ("field", ["Sand", "Loam"]),
            "plan_label": ("plan", ["Dry", "Some", "Much"]),
            "area_m2": ("field", [ACRE_M2, ACRE_M2]),
        },
        attrs={ALTERNATIVES: pair, "doubt_draws": 10},
    )  # fmt: skip
    volume = 1.2 * depth.sum(axis=0) * ACRE_M2 / 1000.0
    out["doubt_site_demand" if of else "site_demand_volume"] = (("plan", "period"), volume[:, None])
    if fewer is not None:
        out["doubt_fewer"] = (("field", "plan", "other"), np.full((2, 3, 3), fewer))
        out["doubt_better"] = (("plan", "field", "other_field"), np.full((3, 2, 2), fewer))
        out = out.assign_coords(other=list(PLANS), other_field=list(FIELDS))
    return out


KEPT, LOST = 0.05, 0.5
WATER = ([0.0, 10.0, 20.0], [0.0, 10.0, 20.0])


@pytest.mark.parametrize(
    "odds, days, best",
    [
        # All keep all: the driest within a week of the fewest days.
        ([[KEPT] * 3] * 2, [[7, 3, 0]] * 2, "dry"),
        ([[KEPT] * 3] * 2, [[8, 7, 0]] * 2, "some"),
        ([[KEPT] * 3] * 2, [[30, 8, 0]] * 2, "much"),
        # Fewer fields kept count before days and water.
        ([[LOST, LOST, KEPT]] * 2, [[0, 0, 5]] * 2, "much"),
        ([[LOST, KEPT, KEPT], [LOST, LOST, KEPT]], [[0, 0, 5]] * 2, "much"),
        # None keeps any: days and water decide.
        ([[LOST] * 3] * 2, [[90, 40, 36]] * 2, "some"),
        # A limit that is met exactly keeps.
        ([[0.10, KEPT, KEPT]] * 2, [[2, 1, 0]] * 2, "dry"),
    ],
)
@pytest.mark.parametrize("fewer", [None, 1.0])
def test_the_rule(
    odds: list[list[float]], days: list[list[float]], best: str, fewer: float | None
) -> None:
    assert best_plan(said(odds, days, WATER, fewer)) == best


def test_a_field_without_turf_decides_nothing_but_water() -> None:
    result = said([[KEPT] * 3, [np.nan] * 3], [[9, 3, 0], [np.nan] * 3], WATER)
    assert best_plan(result) == "some"
    assert "keeps “Sand” (dormancy" in best_sentences(result)[0]


def test_why_a_drier_plan_is_not_the_best() -> None:
    result = said([[KEPT] * 3] * 2, [[30, 8, 0]] * 2, WATER)
    # Two acres at 20 in are 1.086 Mgal: an acre-inch is 27,154 gal (common practice).
    assert best_sentences(result)[:2] == [
        "“Much” keeps both fields (dormancy in no more than 10 of 100 years) with 1.09 Mgal in "
        "a typical year, 1.30 in a 1-in-10 dry year.",
        "“Dry” would keep them with 1.09 Mgal less, but has 30 more days below playing condition "
        "a year.",
    ]


def test_constructions_of_a_field_are_compared_and_not_added_up() -> None:
    water = ([0.0, 10.0, 28.0], [0.0, 10.0, 18.5])
    odds = [[LOST, LOST, KEPT]] * 2
    result = said(odds, [[90, 30, 13], [80, 20, 1]], water, 0.9, PAIR)
    first, compared, counted = best_sentences(result)
    assert "760,000 gal in a typical year (912,000 in a 1-in-10 dry year) on “Sand” and" in first
    assert "together" not in first
    assert compared == (
        "Alike but for the root zone, under “Much”: “Sand” takes 9.5 in more water in a typical "
        "year than “Loam” and has 12 more days below playing condition (more in 9 of 10 draws)."
    )
    assert counted == (
        "Days below count drought only: mud and hard ground are not in it. Add play = {} to each "
        "field, then compare with --show play."
    )
    played = best_sentences(result.assign(has_play=("field", [True, False])))[-1]
    assert played == "Mud and hard ground are not in the days below: see --show play."
    assert "Alike but" not in " ".join(best_sentences(said(odds, [[0] * 3] * 2, water, 0.9)))
    alike = said(odds, [[90, 30, 1], [80, 20, 1]], water, 0.55, PAIR)
    assert best_sentences(alike)[1].endswith(" and has as many days below playing condition.")
    ahead = said(odds, [[90, 30, 1], [80, 20, 4]], water, 0.55, PAIR)
    assert best_sentences(ahead)[1].endswith(
        " and has on average 3 fewer days below playing condition (fewer in only 5.5 of 10 draws, "
        "a tie counts half)."
    )
    apart = said(odds, [[90, 30, 1], [80, 20, 4]], water, 0.3, PAIR)
    assert best_sentences(apart)[1].endswith("only 3 of 10 draws; a few draws lie far off).")


def test_limits_that_decide_nothing_are_named_by_field() -> None:
    result = said([[LOST, KEPT, KEPT]] * 2, [[50, 1, 0]] * 2, WATER, 1.0)
    high = result["doubt_probability_high"].copy()
    high.loc[{"plan": "much"}] = 0.4
    high.loc[{"plan": "dry", "field": "loam"}] = 0.6
    low = result["doubt_probability_low"].where(result["plan"] != "dry", 0.0)
    wide = result.assign(doubt_probability_high=high, doubt_probability_low=low)
    assert best_plan(wide) == "some"
    high.loc[{"plan": "some"}] = 0.4
    assert "both fields: “Some”, “Dry” and “Much”" in undecided_text(
        wide.assign(doubt_probability_high=high)
    )
    high.loc[{"plan": "some"}] = KEPT
    assert undecided_text(wide) == (
        "the limits of dormancy reach below and above 10 of 100 years on both fields: “Dry” and "
        "“Much”"
    )
    low.loc[{"plan": "dry", "field": "sand"}] = 0.5
    wide = wide.assign(doubt_probability_low=low)
    assert undecided_text(wide) == (
        "the limits of dormancy reach below and above 10 of 100 years on “Sand”: “Much”; on "
        "“Loam”: “Dry” and “Much”"
    )


def test_only_what_the_plan_keeps_has_its_water_and_may_be_unsure() -> None:
    result = said([[LOST, LOST, KEPT], [LOST, LOST, LOST]], [[50, 1, 0]] * 2, WATER, 1.0)
    high = result["doubt_probability_high"].copy()
    high.loc[{"plan": "much"}] = 0.9
    low = result["doubt_probability_low"].copy()
    low.loc[{"plan": "much"}] = 0.0
    first, unsure = answer_sentences(
        result.assign(doubt_probability_high=high, doubt_probability_low=low)
    )
    assert first == (
        "“Much” keeps “Sand” (dormancy in no more than 10 of 100 years) and needs 543,000 gal "
        "in a typical year (652,000 in a 1-in-10 dry year) on “Sand”; both fields together take "
        "1.09 Mgal in a typical year, 1.30 in a 1-in-10 dry year. No plan keeps every field; "
        "“Loam” is kept by none."
    )
    assert unsure.endswith("may come more often on “Sand”.")


def test_the_plan_that_keeps_a_field_that_the_best_does_not_is_named() -> None:
    """“Much” and “Some” keep a field each; the drier one is the best."""
    first, *_ = answer_sentences(
        said([[LOST, LOST, KEPT], [LOST, KEPT, LOST]], [[50, 1, 0]] * 2, WATER, 1.0)
    )
    assert first.startswith("“Some” keeps “Loam” ")
    assert first.endswith("No plan keeps every field; “Sand” is kept by “Much”.")



@pytest.mark.parametrize(("error", "named"), [(0.03, ["Sand", "Loam"]), (0.015, ["Sand"])])
def test_odds_within_their_error_of_the_limit_are_said_to_be_close(
    error: float, named: list[str]
) -> None:
    result = said([[LOST, LOST, 0.09], [LOST, LOST, 0.12]], [[50, 1, 0]] * 2, WATER, 1.0)
    assert not close_to_line(result).any()
    result["doubt_probability_error"] = xr.full_like(result["doubt_probability"], error)
    p = result["doubt_probability"]
    same = result.assign(doubt_probability_low=p, doubt_probability_high=p)
    near = close_to_line(same).sel(plan="much")
    assert [str(one["field_label"].item()) for one in near if one.item()] == named
    odds = ["9 of 100 years on “Sand”", "12 on “Loam”"][: len(named)]
    close = f"Dormancy is close to the limit of 10: {' and '.join(odds)};"
    assert best_sentences(same)[1].startswith(close)
    # Few draws that differ move the mean over them too: 5 to 95% is 3.29 standard deviations.
    wide = same.assign(doubt_probability_high=p + 3.29 * 0.03 * 10**0.5)
    assert close_to_line(wide).sel(plan="much").all()


def test_a_drier_plan_is_said_of_the_field_that_it_keeps() -> None:
    result = said([[KEPT] * 3, [LOST] * 3], [[30, 8, 0]] * 2, WATER)
    # Of that field alone: an acre at 20 in.
    assert "“Dry” would keep “Sand” with 543,000 gal less" in best_sentences(result)[1]


def test_two_pairs_are_compared_in_one_sentence() -> None:
    keys = ["sand", "loam", "sand_2", "loam_2"]
    two = said([[KEPT] * 3] * 2, [[9, 9, 9], [1, 1, 1]], ([0, 1, 9], [0, 1, 4]), 0.9)
    two = two.drop_vars(["doubt_better", "other_field"])
    four = xr.concat([two, two], "field", data_vars="minimal", coords="minimal").assign_coords(
        field=keys, field_label=("field", ["Sand", "Loam", "Sand 2", "Loam 2"])
    )
    four["doubt_better"] = (("plan", "field", "other_field"), np.full((3, 4, 4), 0.9))
    four = four.assign_coords(other_field=keys)
    pairs = [{"differ_in": "root zone", "fields": keys[i : i + 2]} for i in (0, 2)]
    four.attrs[ALTERNATIVES] = json.dumps(pairs)
    first, compared, _ = best_sentences(four)
    assert "gal" not in first
    assert compared.count("Alike but for the root zone") == 1
    assert "; “Loam 2” takes as much water as “Sand 2” and has 8 fewer days (" in compared


@pytest.mark.parametrize(("value", "text"), [
    (543_210.0, "543,000"), (1234.0, "1,230"), (16.44, "16.4"), (2.614, "2.61"), (0.0, "0.00"),
    (999.6, "1,000"), (float("nan"), "-"),
])  # fmt: skip
def test_three_figures(value: float, text: str) -> None:
    assert three_figures(value, 2) == text


def test_the_choice_over_the_draws_says_why_the_plan_with_fewer_days_is_not_chosen() -> None:
    near = said([[KEPT] * 3] * 2, [[30, 4, 0]] * 2, WATER, 0.95)
    assert best_plan(near) == "some"
    assert choice_sentence(near, "some") == (
        "“Much” has fewer days below playing condition than “Some”, in 9.5 of 10 draws on “Sand” "
        "and in 9.5 on “Loam” (a tie counts half), but takes more water for less than 7 days a "
        "year."
    )
    lost = said([[LOST, KEPT, LOST]] * 2, [[30, 40, 0]] * 2, WATER, 1.0)
    assert choice_sentence(lost, "some").endswith("in 10 on “Loam”, but keeps fewer fields.")


def test_fields_that_disagree_on_two_plans_are_said_apart() -> None:
    near = said([[KEPT] * 3] * 2, [[40, 20, 0]] * 2, WATER, 1.0)
    assert best_plan(near) == "much"
    fewer = near["doubt_fewer"].copy()
    fewer.loc[{"field": "sand", "plan": "much", "other": "some"}] = 0.3
    fewer.loc[{"field": "loam", "plan": "much", "other": "some"}] = 0.9
    apart = near.assign(doubt_fewer=fewer)
    assert choice_sentence(apart, "much") == (
        "“Much” has fewer days below playing condition than “Some”, the next, in 9 of 10 draws on "
        "“Loam”; “Some” has fewer in 7 on “Sand”; the means on “Sand” say the opposite, since a "
        "few draws lie far off: on “Sand” it is too close to call; on “Loam” the choice stands."
    )
    both = near.assign(doubt_fewer=xr.full_like(fewer, 0.2))
    assert choice_sentence(both, "much") == (
        "“Some” has fewer days below playing condition than “Much”, in 8 of 10 draws on “Sand” and "
        "in 8 on “Loam”; the means on “Sand” and “Loam” say the opposite, since a few draws lie "
        "far off: it is too close to call."
    )


def test_alternatives_with_best_plans_of_their_own_are_named() -> None:
    two = said([[KEPT] * 3] * 2, [[30, 3, 0], [30, 20, 0]], WATER)
    assert not any("on its own" in text for text in best_sentences(two))
    pair = [{"differ_in": "root zone", "fields": list(FIELDS), "along": "feeding"}]
    two.attrs[ALTERNATIVES] = json.dumps(pair)
    texts = best_sentences(two)
    assert any(text.startswith("Alike but for the root zone and feeding, ") for text in texts)
    assert (
        "For each of these fields on its own, the best plan is “Some” on “Sand” and “Much” on "
        "“Loam”."
    ) in texts


def test_the_question_is_answered_right_after_the_best_plan() -> None:
    """Root zone before turf, then the price; what else is to know of the plan comes after."""
    result = said([[KEPT] * 3] * 2, [[30, 8, 0], [30, 12, 5]], WATER, 0.9)
    result["doubt_probability_error"] = xr.full_like(result["doubt_probability"], 0.1)
    pairs = [{"differ_in": part, "fields": FIELDS} for part in ("root zone", "turf")]
    result = result.assign_attrs({
        ALTERNATIVES: json.dumps(pairs), "currency": "USD", "priced": "[]", "life_years": 0,
    }).assign(
        difference_first=("plan", [2.0, 2.0, 2.0], {
            "field": "sand", "other": "loam", "plan": "dry", "root_zone": "sand",
            "other_root_zone": "loam",
        }),
        difference_keeping=("plan", [0.0, 0.0, 0.0]), difference_lost_turf=("plan", [0.0] * 3),
    )  # fmt: skip
    told = best_sentences(result)
    assert [text.partition(",")[0] for text in told[:3]] == [
        told[0].partition(",")[0], "Alike but for the root zone", "Alike but for the turf",
    ]  # fmt: skip
    assert "costs USD 2.00 more to build" in told[3]
    assert "and as much a year to water, under “Much”" in told[3]
    assert told[4].startswith("For each of these fields on its own")
    assert told[5].startswith("Dormancy is close to the limit")
    assert leading_sentences(result) == told[:4]
    on_page = best_sentences(result, on_page=True)
    assert on_page[:5] == told[:5]


def test_why_means_and_counts_of_draws_disagree() -> None:
    assert disagree(0.9, 1.0)
    assert disagree(0.1, -1.0)
    assert not any(disagree(*one) for one in ((0.9, -1.0), (0.1, 1.0), (0.9, 0.0), (0.5, 3.0)))


def test_hard_limits_that_differ_are_said() -> None:
    fields = {"field": ["a", "b", "c"], "field_label": ("field", ["A", "B", "C"])}
    result = xr.Dataset(coords={
        **fields, "has_play": ("field", [True] * 3), "skinned": ("field", [False, False, True]),
        "hard_above": ("field", [100.0, 130.0, 90.0]),
    })  # fmt: skip
    assert unlike_limits_text(result).startswith(
        "hard ground is judged on “A” at 100 g, on “B” at 130 g: set hard_above"
    )
    alike = result.assign_coords(hard_above=("field", [100.0, 100.0, 90.0]))
    assert unlike_limits_text(alike) == unlike_limits_text(result.drop_vars("hard_above")) == ""


def test_draws_are_counted_as_they_were() -> None:
    found = xr.Dataset(attrs={"doubt_draws": 64})
    assert [count_of_draws(found, share / 64.0) for share in (0, 31.5, 63, 64)] == [
        "0", "31.5", "63", "64",
    ]  # fmt: skip


def test_the_rule_in_words_names_its_numbers() -> None:
    assert "dormancy in no more than 10 of 100 years" in rule_text()
    assert "wilt in no more than 10 of 100" in rule_text("wilt")
    assert "within 7 days a year of the fewest days" in rule_text()


# Fields that are alike but for one thing


def stadium(key: str, **changes: object) -> FieldSpec:
    first = drysward.shipped("demo").fields[0]
    return replace(first, key=key, label=key, **changes)  # type: ignore[arg-type]


def test_fields_alike_but_for_one_thing() -> None:
    loam = RootZoneSpec(like="native_loam")
    fields = [
        stadium("a"), stadium("b", root_zone=loam), stadium("c", species="tall_fescue"),
        stadium("d", area_m2=1.0), stadium("e", root_zone=loam, species="perennial_ryegrass"),
    ]  # fmt: skip
    assert [(one.differ_in, one.fields) for one in alternatives(fields)] == [
        ("root zone", ("a", "b")), ("turf", ("a", "c")), ("turf", ("b", "e")),
    ]  # fmt: skip
    assert not alternatives(drysward.shipped("demo").fields)
    assert json.loads(alternatives_text(fields[3:])) == []


def test_two_constructions_of_two_fields_alike_are_two_pairs() -> None:
    loam = RootZoneSpec(like="native_loam")
    fields = [
        stadium("sand_1"), stadium("sand_2"), stadium("loam_1", root_zone=loam),
        stadium("loam_2", root_zone=loam),
    ]  # fmt: skip
    assert [one.fields for one in alternatives(fields)] == [
        ("sand_1", "loam_1"), ("sand_2", "loam_2"),
    ]  # fmt: skip
    # Two of one kind are two fields, not two constructions.
    assert not alternatives(fields[:2])


def test_what_comes_outside_the_plans_season_is_said() -> None:
    # One field, one plan from 1 April (day 91 from 0); dormant on every day before it.
    odds = np.zeros((1, 1, 4, 366))
    odds[0, 0, 2, :95] = 0.4
    odds[0, 0, 2, 200] = 0.1
    most, day = outside_season(odds, (60, 304), [[(91, 304)]])
    assert (most[0, 0, 2], day[0, 0, 2]) == (0.4, 61)
    # What counts from the day on which the season opens came before it.
    opens, day = outside_season(odds, (91, 304), [[(91, 304)]])
    assert (opens[0, 0, 2], day[0, 0, 2]) == (0.4, 92)
    # Water from February on, or all year: no counted day is outside.
    assert np.isnan(outside_season(odds, (91, 304), [[(45, 304)]])[0]).all()
    assert np.isnan(outside_season(odds, (91, 304), [[(0, 365)]])[0]).all()
    # On a field that follows another plan that plan's season holds.
    both, _ = outside_season(np.repeat(odds, 2, axis=0), (60, 304), [[(91, 304), (0, 365)]])
    assert both[0, 0, 2] == 0.4
    assert np.isnan(both[1]).all()
    # South of the equator a season crosses the new year.
    south, day = outside_season(odds, (274, 120), [[(300, 60)]])
    assert (south[0, 0, 2], day[0, 0, 2]) == (0.4, 62)
    assert span_text((91, 304)) == "04-01 to 10-31"


def test_the_sentence_on_the_season_stands_where_most_comes_outside() -> None:
    result = said([[LOST, LOST, LOST]] * 2, [[90, 30, 13], [80, 20, 1]], WATER)
    keys = ("field", "plan", "stage")
    shape = tuple(result.sizes[key] for key in keys)
    plan = best_plan(result)

    def with_outside(share: float) -> xr.Dataset:
        outside = result["probability"].transpose(*keys).values * share
        return result.assign(
            outside_odds=(keys, outside), outside_day=(keys, np.full(shape, 92)),
            plan_season=("plan", ["04-01 to 10-31"] * result.sizes["plan"]),
        )  # fmt: skip

    label = result["plan_label"].sel(plan=plan).item()
    text = " ".join(best_sentences(with_outside(0.9)))
    assert f"comes when “{label}” may not water (its season is 04-01 to 10-31): in 90% of" in text
    assert "dormant on 04-01. Try a longer season, where frost lets it water." in text
    # Of other plans it is said too, where a tenth of the years and more have the stage.
    others = [f"“{result['plan_label'].sel(plan=key).item()}”" for key in ("dry", "some")
              if key in result["plan"].values and key != plan]  # fmt: skip
    assert f"Most dormancy under {' and '.join(others)} comes when" in text
    assert "another season" not in " ".join(best_sentences(with_outside(0.3)))
    assert "in all of those years" in " ".join(best_sentences(with_outside(1.1)))
    assert "longer season" not in " ".join(best_sentences(with_outside(0.3)))


def test_death_and_frost_are_named_where_they_come() -> None:
    result = said([[0.3, 0.05, 0.02], [0.01, 0.0, 0.0]], [[90, 30, 13], [80, 20, 1]], WATER)
    result = result.assign_coords(stage=["dead"])
    assert death_text(result, "much") == "years of 100: “Sand” 2 under “Much”, up to 30 under “Dry”"
    assert death_text(result, "dry") == "years of 100: “Sand” 30 under “Dry”"
    assert counted_text(result).startswith("drought only")
    opening = result["probability"] * 0.0
    opening.loc[{"field": "sand"}] = 0.02
    assert counted_text(result.assign(opening_odds=opening)).startswith("drought and frost")
    frozen = result.assign(opening_odds=opening).assign_coords(
        stage=["dead"], reached=("stage", [0.05])
    )
    assert "“Sand” 2 under “Much”, mostly of frost, up to 30 under “Dry”" in death_text(
        frozen.drop_vars("reached"), "much"
    )
    assert death_text(frozen, "much").startswith("years of 100 with 5% dead: “Sand” 2")
    # Under one plan only it is drought.
    opening.loc[{"plan": "much"}] = 0.0
    assert counted_text(result.assign(opening_odds=opening)).startswith("drought only")


def test_odds_that_round_to_the_limit_say_on_which_side_they_are() -> None:
    over = said([[LOST, LOST, 0.104], [LOST, LOST, 0.1002]], [[90, 30, 1], [80, 20, 1]], WATER)
    assert "dormancy in 10.4 of 100 years on “Sand” and just over 10 on “Loam”" in (
        best_sentences(over)[0]
    )
    at = said([[LOST, LOST, LOST], [LOST, LOST, LOST]], [[9, 3, 1], [8, 2, 1]], WATER)
    assert "50 of 100 years on “Sand” and 50" in best_sentences(at)[0]


def test_the_counted_season_is_named() -> None:
    assert counted_season_text({}) == ""
    told = counted_season_text({COUNTED: span_text((274, 120))})
    assert told.startswith("days below and stages count from 10-01 to 04-30 ([answers] season)")


def test_each_root_zone_may_be_fed_in_its_way() -> None:
    dose = drysward.shipped("feeding").fields[0].feeding
    assert dose is not None
    other = replace(dose, clippings_returned=not dose.clippings_returned)
    loam = RootZoneSpec(like="native_loam")
    sand = stadium("sand", feeding=dose)
    found = [
        [(one.fields, one.along) for one in alternatives([sand, field])]
        for field in (
            stadium("loam", root_zone=loam, feeding=dose),
            stadium("loam", root_zone=loam, feeding=other),
            stadium("loam", root_zone=loam),  # not fed
            stadium("sand_2", feeding=other),  # the same ground: two fields
        )
    ]
    both = ("sand", "loam")
    assert found == [[(both, "")], [(both, "feeding")], [], []]
    assert '"along": "feeding"' in alternatives_text(
        [sand, stadium("loam", root_zone=loam, feeding=other)]
    )
