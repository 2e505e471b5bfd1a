"""Plans whose depths a Python function says: they water as any other, and see no day to come."""

import doctest
from dataclasses import replace

import numba
import numpy as np
import pytest

import drysward
from drysward.drive.mornings import too_much_text
from drysward.drive.runs import advance, run_plan, start_run
from drysward.faults import FaultyInput
from drysward.site.stretches import prepare

TRIGGER = 0.4
LIKE = {"rain_skip_mm": 5.0, "season": (60, 320), "interval_days": 2}


def refill(morning):
    """What ``rule = "refill"`` does, written by hand."""
    depth = np.maximum(0.0, morning.deficit_mm) * morning.run_time_multiplier
    return np.where((morning.depletion >= TRIGGER) | (morning.unfinished_mm > 0.0), depth, 0.0)


def leaves(morning):
    """The same without the end of a refill that takes several nights."""
    return np.where(morning.depletion >= TRIGGER, np.maximum(0.0, morning.deficit_mm), 0.0)


@numba.njit
def refill_compiled(morning):
    depth = np.maximum(0.0, morning.deficit_mm) * morning.run_time_multiplier
    goes_on = (morning.depletion >= TRIGGER) | (morning.unfinished_mm > 0.0)
    return np.where(goes_on, depth, 0.0)


def nothing(morning):
    return 0.0


@pytest.fixture(scope="module")
def dry(scenes):
    """Two fields, a plan of each rule that a function can repeat, and restrictions by drought."""
    record = scenes.weather(years=3)
    plans = [scenes.plan("refill", trigger=TRIGGER, **LIKE), scenes.plan("none")]
    fields = [scenes.field("sand_over_gravel_12in", key="a"), scenes.field(key="b")]
    scenario = scenes.scenario(fields, plans)
    return scenario, replace(record, rain_mm=0.5 * record.rain_mm)


def same(one, other):
    for part in ("years", "odds", "green", "shortage"):
        np.testing.assert_array_equal(getattr(one, part), getattr(other, part), err_msg=part)


@pytest.mark.parametrize("function", [refill, refill_compiled], ids=["plain", "compiled"])
@pytest.mark.slow
def test_a_function_that_repeats_the_refill_rule_gives_its_bits(dry, function):
    scenario, record = dry
    scenario = scenario.with_plan("mine", function, like="refill")
    site = prepare(scenario, record)
    rule, mine = (run_plan(site, scenario.plan_named(key)) for key in ("refill", "mine"))
    assert rule.years.irrigation_gross.sum() > 100.0
    same(rule, mine)


def test_so_it_does_under_all_that_a_site_can_have(scenes):
    """Play, a supply that runs short, restrictions, syringing, crown-keeping, new turf."""
    scenario = scenes.everything().with_plan("mine", refill, like="refill")
    site = prepare(scenario, scenes.hard_weather())
    rule, mine = (run_plan(site, scenario.plan_named(key)) for key in ("refill", "mine"))
    same(rule, mine)
    np.testing.assert_array_equal(rule.play, mine.play)
    np.testing.assert_array_equal(rule.supply.years, mine.supply.years)
    assert rule.supply.years.shortage.sum() > 0.0


def test_a_function_of_nothing_gives_the_bits_of_no_watering(dry):
    scenario, record = dry
    result = drysward.run(scenario, record=record, plans={"mine": nothing})
    for name, values in result.data_vars.items():
        if "plan" in values.dims:
            np.testing.assert_array_equal(
                values.sel(plan="mine"), values.sel(plan="none"), err_msg=str(name)
            )


def test_plain_days_are_those_of_the_compiled_loop(dry):
    scenario, record = dry
    scenario = scenario.with_plan("mine", refill, like="refill")
    short = prepare(scenario, replace(record, **{
        name: getattr(record, name)[:500]
        for name in ("dates", "rain_mm", "tmax_c", "tmin_c", "reference_et_mm")
    }))  # fmt: skip
    plan = scenario.plan_named("mine")
    compiled, plain = (run_plan(short, plan, compiled=how) for how in (True, False))
    np.testing.assert_allclose(
        compiled.years.irrigation_gross, plain.years.irrigation_gross, rtol=1e-9
    )


def test_what_is_known_in_the_morning_is_not_of_the_day(dry):
    """Everything a function has seen up to a morning is the same whatever weather comes then."""
    scenario, record = dry
    turn = 560

    def mornings(record):
        seen = []

        def watch(morning):
            seen.append(np.concatenate([np.ravel(part) for part in morning]))
            return refill(morning)

        one = scenario.with_plan("mine", watch)
        site = prepare(one, record)
        advance(site, start_run(site, one.plan_named("mine")))
        return np.array(seen)

    later = np.arange(record.rain_mm.size) >= turn
    other = replace(
        record,
        rain_mm=np.where(later, 30.0, record.rain_mm),
        tmax_c=record.tmax_c + 6.0 * later,
        tmin_c=record.tmin_c + 6.0 * later,
        reference_et_mm=np.where(later, 9.0, record.reference_et_mm),
    )
    as_it_was, changed = mornings(record), mornings(other)
    np.testing.assert_array_equal(as_it_was[: turn + 1], changed[: turn + 1])
    assert not np.array_equal(as_it_was[turn + 1], changed[turn + 1])


def test_numbers_of_a_morning_are_those_of_the_ledger(dry):
    """Depletion, stages, rain and reference ET of yesterday, held to the daily account."""
    scenario, record = dry
    seen = []

    def watch(morning):
        seen.append(morning)
        return np.where(morning.depletion > 0.5, 10.0, 0.0)

    one = scenario.with_plan("mine", watch)
    run = run_plan(prepare(one, record), one.plan_named("mine"), slice(0, None))
    for day in (200, 571):
        yesterday = run.trace[day - 1]
        np.testing.assert_allclose(seen[day].depletion[0], yesterday.depletion, rtol=1e-12)
        np.testing.assert_allclose(seen[day].wilt[0], yesterday.wilt, rtol=1e-12)
        assert seen[day].rain_mm[0] == record.rain_mm[day - 1]
        assert seen[day].reference_et_mm[6] == record.reference_et_mm[day - 7]
        assert seen[day].drought_index_mm == yesterday.drought_index[0]
        assert seen[day].depletion.shape == (1, 2)
    assert (seen[0].day_of_year, seen[0].month, seen[0].weekday) == (1, 1, 0)  # 2001-01-01
    assert seen[31].month == 2
    watered = [d for d in range(1, 700) if run.trace.irrigation_gross[d - 1, 1] > 0.0]
    assert all(seen[d].days_since_water[0, 1] == 1.0 for d in watered)


def test_a_function_is_limited_as_any_plan(dry):
    scenario, record = dry
    lavish = scenario.with_plan("lavish", lambda morning: 500.0, like="refill")
    run = run_plan(prepare(lavish, record), lavish.plan_named("lavish"), slice(0, None))
    waters = run.trace.irrigation_gross[:, 0] > 0.0
    day = np.array([f"{d:%m%d}" for d in record.dates.tolist()])
    assert waters.any()
    assert (day[waters] >= "0301").all()
    assert (day[waters] <= "1116").all()
    assert not (waters[1:] & waters[:-1]).any()  # at most every second day
    # The largest watering that is good practice on sand.
    most_mm = run.plans.most_depth[0]
    assert 0.0 < most_mm < 30.0
    assert run.trace.irrigation_landed[:, 0].max() == pytest.approx(most_mm)


@pytest.mark.parametrize(
    ("function", "told"),
    [
        (lambda morning: -1.0, "returns -1 mm for field 'a' on 01-01 of year 2001"),
        (lambda morning: [0.0, np.nan], "returns nan mm for field '\\w+' on 01-01"),
        (lambda morning: None, "returns None"),
        (lambda morning: "wet", "returns 'wet'"),
        (lambda morning: np.zeros(5), "returns an array"),
    ],
)
def test_what_is_no_depth_is_refused(dry, function, told):
    scenario, record = dry
    with pytest.raises(FaultyInput, match=told) as refusal:
        drysward.run(scenario, record=record, plans={"mine": function}, only=["mine"])
    assert refusal.value.faults[0].where == "plans.mine"


def test_what_one_watering_cannot_put_on_is_counted_and_said_once(dry):
    scenario, record = dry
    lavish = {"mine": (lambda morning: np.where(morning.depletion > 0.3, 80.0, 0.0), "refill")}
    with pytest.warns(UserWarning, match="demanded more than one watering") as said:
        result = drysward.run(scenario, record=record, plans=lavish, only=["mine"])
    (text,) = (str(one.message) for one in said if "one watering" in str(one.message))
    n_years = result.sizes["year"]
    assert f", of {n_years} year{'' if n_years == 1 else 's'}. What is" in text
    assert text.endswith("or demand water wherever morning.unfinished_mm > 0.")
    waters = result["watering_days"].sel(plan="mine").sum("year")
    for key in ("a", scenario.fields[1].key):
        n = int(text.partition(f" days on field '{key}'")[0].rpartition("on ")[2].replace(",", ""))
        # At most once after each watering.
        assert 0 < n <= waters.sel(field=key).item()


def test_more_plans_that_leave_a_demand_are_counted(dry):
    scenario, _ = dry
    days = np.array([4, 0])
    plans = [(replace(scenario.plans[0], key=f"p{n}"), days) for n in range(5)]
    assert too_much_text(plans[:3], scenario.fields, 2).count(" 4 days") == 3
    assert "; so does 1 more. " in too_much_text(plans[:4], scenario.fields, 2)
    assert "; so do 2 more. " in too_much_text(plans, scenario.fields, 2)


def test_what_one_watering_puts_on_is_no_warning(dry, recwarn):
    scenario, record = dry
    drysward.run(scenario, record=record, plans={"mine": lambda morning: 3.0}, only=["mine"])
    assert not recwarn.list


def test_what_a_function_finishes_is_no_warning(dry, recwarn):
    """It demands all of the deficit, more than a watering puts on, until nothing is left."""
    scenario, record = dry
    drysward.run(scenario, record=record, plans={"mine": (refill, "refill")}, only=["mine"])
    assert not recwarn.list
    drysward.run(scenario, record=record, plans={"mine": (leaves, "refill")}, only=["mine"])
    assert recwarn.list


def at_once(morning):
    return 3.0 if morning.depletion > 0.5 else 0.0


@pytest.mark.parametrize(
    ("function", "text"),
    [
        (lambda morning: morning.deficit, "a morning has no 'deficit'; did you mean 'deficit_mm'?"),
        (lambda morning: morning.depletion.whole,
         "its function raises AttributeError on 01-01 of year 2001: 'numpy.ndarray' object has no"),
        (at_once, r"its function takes an array for one number on 01-01 of year 2001; np.where in"
         r" place of if, and & and \| in place of and and or: .* are arrays \(1, 2\)"),
        (lambda morning: 1 / 0, "its function raises ZeroDivisionError on 01-01 of year 2001: div"),
    ],
)  # fmt: skip
def test_a_fault_of_the_function_itself_is_named_with_its_plan_and_day(dry, function, text):
    scenario, record = dry
    with pytest.raises(FaultyInput, match=text) as refusal:
        drysward.run(scenario, record=record, plans={"mine": function})
    assert refusal.value.faults[0].where == "plans.mine"
    assert refusal.value.__cause__.__traceback__ is not None


def test_the_refill_of_the_docstring_is_the_rule():
    """As a person would paste it."""
    names = {"np": np, "drysward": drysward}
    for example in doctest.DocTestParser().get_examples(drysward.Scenario.with_plan.__doc__):
        exec(example.source, names)
    found = drysward.run(names["scenario"], years=(1, 3), only=["refill", "mine"])
    assert float(found["irrigation_gross"].sel(plan="mine").min()) > 100.0
    for name, values in found.data_vars.items():
        if "plan" in values.dims:
            np.testing.assert_array_equal(
                values.sel(plan="refill"), values.sel(plan="mine"), err_msg=str(name)
            )


def test_keys_of_a_plan_are_checked(dry):
    scenario, _ = dry
    for key, told in (("none", "there is a plan of this key"), ("a b", "cannot be a key")):
        with pytest.raises(FaultyInput, match=told):
            scenario.with_plan(key, nothing)
    with pytest.raises(FaultyInput, match="did you mean 'refill'"):
        scenario.with_plan("mine", nothing, like="refil")


def test_a_file_cannot_hold_a_function():
    text = drysward.shipped("demo").text.replace('rule = "none"', 'rule = "function"')
    with pytest.raises(FaultyInput) as refusal:
        drysward.loads(text, ".")
    (fault,) = refusal.value.faults
    assert fault.where.startswith("scenario: plans.none.rule")
    assert "rule in Python, which no file can hold" in fault.what
    assert "plans={'mine': function}" in fault.allowed


def test_functions_go_through_draws_and_sizing():
    """They are called for all draws at once, and a pond is sized for one as for the rule."""
    shapes = set()

    def watch(morning):
        shapes.add(morning.depletion.shape)
        return refill(morning)

    scenario = drysward.shipped("demo").with_plan("mine", watch, like="refill")
    found = drysward.draws(scenario, 4, plans=["refill", "mine"], years=(1, 3))
    for name in ("doubt_water", "doubt_days_below_condition"):
        rule, mine = (found[name].sel(plan=key) for key in ("refill", "mine"))
        np.testing.assert_array_equal(rule, mine)
    assert {fields for _, fields in shapes} == {2}
    assert max(runs for runs, _ in shapes) > 1


def test_a_result_says_which_function_a_plan_had(dry):
    scenario, record = dry
    result = drysward.run(scenario, record=record, plans={"mine": refill})
    assert "def refill(morning):" in result.attrs["plan_functions"]


def test_plans_of_a_run_always_run_and_may_take_the_settings_of_another():
    scenario = drysward.shipped("demo")

    def every_day(morning):
        return 6.0

    plans = {"alone": every_day, "in_season": (every_day, "refill")}
    result = drysward.run(scenario, years=(1, 2), only=["refill"], plans=plans)
    assert result["plan"].values.tolist() == ["refill", "alone", "in_season"]
    off_season = result["irrigation_month"].sel(month=[3, 11]).sum(("field", "year", "month"))
    assert off_season.sel(plan="alone").item() > 0.0
    assert off_season.sel(plan="in_season").item() == 0.0


def test_help_says_what_each_number_of_a_morning_is() -> None:
    told = {name: getattr(drysward.Morning, name).__doc__ for name in drysward.Morning._fields}
    assert told["month"] == "1 to 12."
    assert told["rain_mm"].startswith("Rain and snow of the last seven days (7,)")
    assert not [name for name, words in told.items() if "Alias" in words or not words.endswith(".")]
