"""Scenario files: every one that ships is good, and a bad one is refused where it is bad."""
# ruff: noqa: D101, D102  the name of a test is its promise

from __future__ import annotations

import pytest

from gaugelink import content, sheetfile
from gaugelink.errors import InputError
from gaugelink.plan import plan_for
from gaugelink.simulate import scenario as scenarios
from gaugelink.wire.driver import load_driver

NAMES = content.names("sim")
TEXT, _ = content.read("sim", "demo-head")
SHEET = sheetfile.load(*content.read("sim/sheets", "demo-pump-engine"))


def test_the_shipped_scenarios_are_found():
    assert NAMES == ["demo-head", "faulty-bench"]


@pytest.mark.parametrize("name", NAMES)
class TestShipped:
    def test_it_loads_and_fits_its_sheet(self, name):
        text, file = content.read("sim", name)
        scenario = scenarios.load(text, file)
        assert scenario.scenario.name == name
        sheet = sheetfile.load(*content.read("sim/sheets", scenario.scenario.sheet))
        scenarios.check_against(scenario, sheet, file)

    def test_it_is_marked_as_invented_and_so_is_its_sheet(self, name):
        scenario = scenarios.load(*content.read("sim", name))
        sheet = sheetfile.load(*content.read("sim/sheets", scenario.scenario.sheet))
        assert scenario.scenario.invented
        assert sheet.invented

    def test_its_bench_has_a_gauge_for_every_step(self, name):
        scenario = scenarios.load(*content.read("sim", name))
        sheet = sheetfile.load(*content.read("sim/sheets", scenario.scenario.sheet))
        kinds = {step.gauge_kind for step in plan_for(sheet)}
        assert kinds == {scenario.gauge_for(kind).kind for kind in kinds}

    def test_its_gauges_speak_when_their_driver_files_say(self, name):
        for gauge in scenarios.load(*content.read("sim", name)).gauge:
            driver = load_driver(*content.read("drivers", gauge.driver))
            assert gauge.speaks == driver.sends
            assert gauge.kind in driver.about.gauges


def test_a_kind_of_gauge_that_is_missing_is_named():
    scenario = scenarios.load(TEXT[: TEXT.index('[[gauge]]\nid = "I1"')], "mine.toml")
    assert scenario.gauge_for("caliper").id == "C1"
    with pytest.raises(InputError, match="the bench has no indicator"):
        scenario.gauge_for("indicator")


def line_of(text: str, nth: int = 1) -> int:
    """The line on which something stands for the nth time."""
    lines = [number for number, row in enumerate(TEXT.splitlines(), 1) if row.startswith(text)]
    return lines[nth - 1]


BAD = [
    # what is changed, into what, line, field, what the sentence says
    ("seed = 1\n", 'seed = "one"\n', line_of("seed"), "scenario.seed", "'one'"),
    ("invented = true\n", "invented = false\n", line_of("invented"), "scenario.invented", "True"),
    ('stage = "as received"\n', "", line_of("[scenario]"), "scenario.stage", "missing"),
    ('stage = "as received"\n', 'staeg = "as received"\n', line_of("[scenario]"),
     "scenario.stage", "missing"),
    ('guide_length = "50 mm"', 'guide_length = "50"', line_of("guide_length"),
     "sizes.guide_length", "without a unit"),
    ('guide_length = "50 mm"', "guide_length = 50.0", line_of("guide_length"),
     "sizes.guide_length", "text with a unit"),
    ('guide_length = "50 mm"', 'guide_length = "0 mm"', line_of("guide_length"),
     "sizes.guide_length", "more than zero"),
    ('spread = "0.003 mm"', 'spread = "-0.003 mm"', line_of("spread"), "sizes.spread",
     "nothing below zero"),
    ('bore = { intake = "8.006 mm", exhaust', 'bore = { inlet = "8.006 mm", exhaust',
     line_of("bore"), "sizes.bore.inlet", "'intake' or 'exhaust'"),
    ('driver = "bcd52"', 'driver = "bcd53"', line_of('driver = "bcd52"'), "gauge.2.driver",
     "accepted: signed-line"),
    ('kind = "bore gauge"', 'kind = "bore gage"', line_of('kind = "bore gauge"'), "gauge.2.kind",
     "accepted: micrometer"),
    ('speaks = "when asked"', 'speaks = "if asked"', line_of('speaks = "when asked"'),
     "gauge.3.speaks", "when asked"),
    ('driver = "plain-line"', 'driver = "plain-line"\nunit = "in"',
     line_of('driver = "plain-line"') + 1, "gauge.3.unit", "plain-line can only mean mm"),
    ('driver = "scale24"\nplaces = 2', 'driver = "scale24"\nplaces = 3',
     line_of('driver = "scale24"') + 1, "gauge.4.places", "accepted for scale24 in mm: 2"),
    ("per_second = 16", "per_second = 0", line_of("per_second = 16"), "gauge.5.per_second", "0"),
    ('u = "0.0015 mm"', 'u = "-0.0015 mm"', line_of('u = "0.0015 mm"'), "gauge.5.u",
     "nothing below zero"),
    ('what = "hold"', 'what = "held"', line_of('what = "hold"'), "slip.5.what", "'hold'"),
    ('id = "B1"', 'id = "M1"', line_of('id = "B1"'), "gauge.2.id", "a second time"),
    ('kind = "caliper"', 'kind = "depth gauge"', line_of('kind = "caliper"'), "gauge.4.kind",
     "one gauge of each kind"),
    ('rate = "40 N/mm"', 'rate = "40 N"', line_of("rate"), "springs.rate", "accepted: N/mm"),
    ('rate = "40 N/mm"', "rate = 40", line_of("rate"), "springs.rate", "text with a unit"),
    ('rate = "40 N/mm"', 'rate = "0 N/mm"', line_of("rate"), "springs.rate", "more than zero"),
    ('u = "1.5 N"', 'u = "1.5 mm"', line_of('u = "1.5 N"'), "springs.u", "accepted: N, lbf"),
    ("[sizes]", "[sizes", line_of("[sizes]"), None, "not valid TOML"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "line", "field", "says"), BAD, ids=[f"{item[3]}: {item[4]}" for item in BAD]
)
def test_a_fault_is_named_with_its_line_and_field(old, new, line, field, says):
    assert TEXT.count(old) >= 1
    with pytest.raises(InputError) as fault:
        scenarios.load(TEXT.replace(old, new, 1), "mine.toml")
    assert (fault.value.file, fault.value.line, fault.value.field) == ("mine.toml", line, field)
    assert says in fault.value.what
    assert "\n" not in str(fault.value)


UNFIT = [
    ('bore = { intake = "8.006 mm", exhaust = "8.008 mm" }', 'bore = { intake = "8.006 mm" }',
     line_of("bore"), "sizes.bore", "the size for exhaust valves is missing"),
    ('spring_height = { intake = "40.50 mm", exhaust = "40.46 mm" }\n', "", line_of("[sizes]"),
     "sizes.spring_height", "the size for intake valves is missing"),
    ('[springs]           # what a spring tester shows of them\nrate = "40 N/mm"\nu = "1.5 N"\n',
     "", None, "springs", "the table is missing, and the sheet has springs tested"),
    ('valve = "5E"', 'valve = "7E"', line_of('valve = "5E"'), "worn.2.valve", "accepted: 1I, 1E"),
    ('valve = "5E"', 'valve = ""', line_of('valve = "5E"'), "worn.2.valve", "accepted: 1I, 1E"),
    ('valve = "5E"', 'valve = "3E"', line_of('valve = "5E"'), "worn.2.valve", "a second time"),
    ('station = "bottom"\ndirection = "across"\nwhat', 'station = "bottom"\nwhat',
     line_of("[[slip]]", 2), "slip.2.direction", "accepted there: 'along', 'across'"),
    ('characteristic = "stem diameter"\nstation = "bottom"',
     'characteristic = "stem diametre"\nstation = "bottom"',
     line_of('characteristic = "stem diameter"', 2), "slip.2.characteristic",
     "'stem diameter', 'guide bore'"),
    ('station = "B4"', 'station = "B8"', line_of('station = "B4"'), "slip.5.station", "'B7'"),
    ('valve = "5I"\ncharacteristic', 'valve = "5J"\ncharacteristic', line_of('valve = "5I"'),
     "slip.4.valve", "'5I'"),
    ('valve = "5I"\nsound', 'valve = "5J"\nsound', line_of('valve = "5I"', 2),
     "inspection.6.valve", "'5I'"),
    ('valve = "2I"\noperation', 'valve = "7I"\noperation', line_of('valve = "2I"', 3),
     "machining.1.valve", "accepted: '1I', '1E'"),
    ('operation = "insert fitted"', 'operation = "face skimmed"', line_of('valve = "2I"', 3),
     "machining.1.valve", "accepted: ''"),
    ('speaks = "all the time"\nper_second = 16', 'speaks = "when pressed"\nper_second = 16',
     line_of('speaks = "all the time"', 2), "gauge.5.speaks", "accepted for rock sweeps"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "line", "field", "says"), UNFIT, ids=[f"{item[3]}: {item[4]}" for item in UNFIT]
)
def test_what_does_not_fit_the_sheet_is_named_with_its_line_and_field(old, new, line, field, says):
    assert TEXT.count(old) == 1
    scenario = scenarios.load(TEXT.replace(old, new), "mine.toml")
    with pytest.raises(InputError) as fault:
        scenarios.check_against(scenario, SHEET, "mine.toml")
    assert (fault.value.file, fault.value.line, fault.value.field) == ("mine.toml", line, field)
    assert says in fault.value.what
