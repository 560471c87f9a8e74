"""The head's places have names that can be read again, in the order of the bench."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st

from gaugelink.errors import InputError
from gaugelink.head import (
    CHARACTERISTICS,
    GAUGE_KINDS,
    VALVE_KINDS,
    Face,
    Head,
    Position,
    Valve,
    ValveKind,
    parse_valve,
)

kinds: st.SearchStrategy[list[ValveKind]] = st.lists(
    st.sampled_from(VALVE_KINDS), min_size=1, max_size=6
)


@given(st.integers(1, 24), kinds)
def test_every_valve_has_a_name_of_its_own_that_can_be_read_again(
    cylinders: int, per_cylinder: list[ValveKind]
) -> None:
    valves = Head(cylinders, tuple(per_cylinder)).valves()
    assert len({valve.name for valve in valves}) == cylinders * len(per_cylinder)
    for valve in valves:
        assert parse_valve(valve.name) == valve
        assert parse_valve(f" {valve.name.lower()} ") == valve
    assert [valve.kind for valve in valves] == per_cylinder * cylinders
    assert [valve.cylinder for valve in valves] == sorted(valve.cylinder for valve in valves)


@given(st.integers(1, 24), kinds)
def test_a_valve_is_numbered_only_where_a_cylinder_has_several_of_its_kind(
    cylinders: int, per_cylinder: list[ValveKind]
) -> None:
    for valve in Head(cylinders, tuple(per_cylinder)).valves():
        assert (valve.number > 0) is (per_cylinder.count(valve.kind) > 1)


def test_valves_are_named_from_the_front_by_cylinder_and_kind() -> None:
    """The order of a two-stroke with exhaust valves only, and of a four-valve head."""
    assert [v.name for v in Head(3, ("exhaust",)).valves()] == ["1E", "2E", "3E"]
    assert [v.name for v in Head(1, ("exhaust", "intake", "exhaust", "intake")).valves()] == [
        "1E1",
        "1I1",
        "1E2",
        "1I2",
    ]
    assert Valve(2, "intake", 1).words == "intake valve 1 of cylinder 2"


@pytest.mark.parametrize(
    "text",
    ["", "E", "3", "E3", "3X", "0E", "3E0", "03E", "100E", "3E10", "3 E", "3E1E", "\u0663E",
     "1\u0663E", "\uff13E", "3EI"],
)  # fmt: skip
def test_what_names_no_valve_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="accepted: cylinder and kind, such as 3E"):
        parse_valve(text)


@given(st.integers(1, 10**12), st.integers(1, 10**12), st.integers(2, 26), st.integers(2, 99))
def test_the_face_grid_spans_the_whole_face(
    length: int, width: int, rows: int, columns: int
) -> None:
    points = Face(length, width, rows, columns).points()
    assert len(points) == rows * columns
    assert points["A1"] == (0, 0)
    assert points[f"A{columns}"] == (length, 0)
    assert points[f"{chr(64 + rows)}1"] == (0, width)
    assert points[f"{chr(64 + rows)}{columns}"] == (length, width)
    for (along, across), place in zip(points.values(), range(rows * columns), strict=True):
        assert abs(along * (columns - 1) - length * (place % columns)) < columns
        assert abs(across * (rows - 1) - width * (place // columns)) < rows


@pytest.mark.parametrize(
    ("position", "words"),
    [
        (Position("2I1", "stand-down"), "Intake valve 1 of cylinder 2: stand-down"),
        (Position("", "face height", "B3"), "Head: face height, B3"),
        (
            Position("3E", "guide clearance", "", "along", "rock", "8 mm", "new"),
            (
                "Exhaust valve of cylinder 3: guide clearance by rock, along the head, "
                "new valve lifted 8 mm"
            ),
        ),
        (
            Position("3E", "guide bore", "top", "across"),
            "Exhaust valve of cylinder 3: guide bore, top, across the head",
        ),
    ],
)
def test_a_position_is_spoken_in_the_words_of_the_trade(position: Position, words: str) -> None:
    assert position.words == words


def test_every_characteristic_is_measured_with_a_known_gauge_or_reckoned_from_others() -> None:
    assert len(CHARACTERISTICS) == 21
    for name, item in CHARACTERISTICS.items():
        assert item.name == name
        assert item.of in {"valve", "cylinder", "head"}
        assert item.gauge in GAUGE_KINDS or (not item.gauge and item.reckoned_from)
        for source in item.reckoned_from:
            assert CHARACTERISTICS[source].of == item.of
            assert CHARACTERISTICS[source].gauge
