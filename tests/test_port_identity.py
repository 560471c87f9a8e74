"""An adapter is known again under whatever name, and never taken for another one."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, strategies as st

from gaugelink.ports.identity import (
    Found,
    NotFound,
    PortIdentity,
    PresentPort,
    find,
    identity_of,
    tells,
)
from gaugelink.ports.listing import TOUCH, advise, present_ports

__all__: list[str] = []  # nothing here is for others


def adapter(name: str, serial: str = "", path: str = "1-1", vid: int = 0x0403) -> PresentPort:
    return PresentPort(name, vid, 0x6001, serial, path, "USB serial")


A, B = adapter("COM5", "A5069RR4", "1-2"), adapter("COM6", "FT9K21XY", "1-3")
NONE_1, NONE_2 = adapter("COM8", "", "1-4"), adapter("COM9", "", "1-5")


class TestSerialNumber:
    def test_finds_the_adapter_under_another_name_and_in_another_socket(self):
        known = identity_of(A, [A, B])
        assert known.binds == "serial number"
        moved = adapter("COM12", "A5069RR4", "2-1")
        other = adapter("COM5", "FT9K21XY", "1-2")  # has taken name and socket
        assert find(known, [other, moved]) == Found("COM12")

    def test_of_another_make_is_another_adapter(self):
        found = find(identity_of(A, [A]), [adapter("COM5", "A5069RR4", "1-2", vid=0x1A86)])
        assert isinstance(found, NotFound)
        assert "is not plugged in" in found.reason

    def test_that_comes_twice_is_refused_with_both_names(self):
        found = find(identity_of(A, [A]), [A, adapter("COM7", "A5069RR4", "1-7")])
        assert isinstance(found, NotFound)
        assert found.ambiguous
        assert "COM5 and COM7 both have the serial number A5069RR4" in found.reason

    def test_that_two_have_or_that_tells_nothing_does_not_bind(self):
        twin = adapter("COM7", "A5069RR4", "1-7")
        assert identity_of(A, [A, twin]).binds == "path"
        assert identity_of(adapter("COM5", "0001"), []).binds == "path"
        assert identity_of(adapter("COM5", "", ""), []).binds == "name"

    def test_of_an_adapter_with_several_ports_is_told_with_the_part(self):
        one, two = adapter("COM1", "FT9K21XY", "1-2:1.0"), adapter("COM2", "FT9K21XY", "1-2:1.1")
        known = identity_of(two, [one, two])
        assert known.binds == "serial number"
        moved = [adapter("COM3", "FT9K21XY", "1-6:1.0"), adapter("COM4", "FT9K21XY", "1-6:1.1")]
        assert find(known, moved) == Found("COM4")
        assert find(identity_of(one, [one, two]), moved) == Found("COM3")


class TestSocket:
    known = identity_of(NONE_1, [NONE_1, NONE_2])

    def test_finds_an_adapter_without_a_serial_number_under_another_name(self):
        assert self.known.binds == "path"
        assert find(self.known, [NONE_2, adapter("COM30", "", "1-4")]) == Found("COM30")

    def test_holds_another_adapter_now_and_that_is_refused(self):
        for other in (adapter("COM8", "FT9K21XY", "1-4"), adapter("COM8", "", "1-4", vid=0x1A86)):
            found = find(self.known, [other])
            assert isinstance(found, NotFound)
            assert "sits another adapter" in found.reason

    def test_is_empty_and_a_like_adapter_elsewhere_is_not_taken_for_it(self):
        found = find(self.known, [NONE_2])
        assert isinstance(found, NotFound)
        assert found.ambiguous
        assert "COM9" in found.reason
        assert "cannot be told apart" in found.reason

    def test_named_twice_by_the_system_is_refused(self):
        found = find(self.known, [NONE_1, adapter("COM31", "", "1-4")])
        assert isinstance(found, NotFound)
        assert found.ambiguous


class TestName:
    def test_of_a_built_in_port_stays(self):
        built_in = PresentPort("COM1")
        known = identity_of(built_in, [built_in])
        assert known == PortIdentity("name", name="COM1")
        assert find(known, [A, built_in]) == Found("COM1")
        assert find(known, [A]) == NotFound("the port COM1 is not there")

    def test_that_a_usb_adapter_has_taken_is_refused(self):
        known = identity_of(PresentPort("COM5"), [])
        found = find(known, [A])
        assert isinstance(found, NotFound)
        assert "another adapter now (0403:6001)" in found.reason

    @pytest.mark.parametrize("name", ["tcp://127.0.0.1:5000", "rfc2217://box:4000"])
    def test_that_is_an_address_is_always_worth_a_try(self, name):
        assert find(identity_of(PresentPort(name), []), []) == Found(name)


def test_serial_numbers_that_many_have_tell_nothing():
    """From memory: adapters that leave the works with 0001, zeros, or a count."""
    assert not any(map(tells, ("", " ", "0001", "000000", "12345678", "0123456789", "1")))
    assert all(map(tells, ("A5069RR4", "FT9K21XY", "5503CE01", "95735")))


def test_two_hundred_cycles_of_unplugging_and_renaming_never_take_one_for_another():
    """Ten adapters, each with its truth beside it; names are dealt out anew in each cycle."""
    chance = random.Random(20)
    serials = ["A5069RR4", "FT9K21XY", "95735C0A", "B77", "", "", "", "0001", "0001", "0001"]
    adapters = [
        (number, 0x0403 if number % 3 else 0x1A86, serial, f"1-{number}")
        for number, serial in enumerate(serials)
    ]

    def listing(plugged, sockets):
        names = chance.sample(range(40), len(plugged))
        return {
            number: PresentPort(f"COM{name}", vid, 0x6001, serial, sockets[number])
            for (number, vid, serial, _), name in zip(plugged, names, strict=True)
        }

    home = {number: path for number, _, _, path in adapters}
    first = listing(adapters, home)
    known = {number: identity_of(port, list(first.values())) for number, port in first.items()}
    found_again = refused = 0
    for _ in range(200):
        plugged = [item for item in adapters if chance.random() < 0.7]
        chance.shuffle(plugged)
        sockets = dict(home)
        movable = [number for number, identity in known.items() if identity.binds != "path"]
        spare = [f"2-{number}" for number in movable]
        sockets.update(zip(movable, chance.sample(spare, len(spare)), strict=True))
        here = listing(plugged, sockets)
        for number, identity in known.items():
            match find(identity, list(here.values())):
                case Found(name):
                    assert here[number].name == name
                    found_again += 1
                case NotFound(reason):
                    assert number not in here
                    assert reason
                    refused += 1
    assert found_again + refused == 200 * len(adapters)
    assert found_again > 1000
    assert refused > 300


PORTS = st.builds(
    PresentPort,
    st.sampled_from([f"COM{n}" for n in range(6)]),
    st.sampled_from([None, 0x0403, 0x1A86]),
    st.just(0x6001),
    st.sampled_from(["", "0001", "A5069RR4", "FT9K21XY"]),
    st.sampled_from(["", "1-1", "1-2:1.0", "1-2:1.1"]),
)


@given(present=st.lists(PORTS, max_size=6, unique_by=lambda port: port.name), data=st.data())
def test_what_is_found_always_has_what_it_is_known_by(present, data):
    port = data.draw(PORTS)
    known = identity_of(port, [port, *present])
    match find(known, present):
        case Found(name):
            [it] = [item for item in present if item.name == name]
            assert it.vid == (port.vid if known.binds != "name" or port.vid else None)
            if known.binds == "serial number":
                assert it.serial_number == port.serial_number
            if known.binds == "path":
                assert it.path == port.path
        case NotFound(reason):
            assert reason


class TestAdvice:
    def test_a_telling_serial_number_is_enough(self):
        [a, b] = advise([A, B])
        assert a.identity.binds == b.identity.binds == "serial number"
        assert not a.swap_risk
        assert "plugged in anywhere" in a.words

    def test_two_without_a_serial_number_are_to_be_touched(self):
        for advice, other in zip(advise([NONE_1, NONE_2]), ("COM9", "COM8"), strict=True):
            assert advice.identity.binds == "path"
            assert advice.swap_risk
            assert "no serial number" in advice.words
            assert other in advice.words
            assert TOUCH in advice.words

    def test_two_with_the_same_serial_number_are_to_be_touched(self):
        for advice in advise([A, adapter("COM7", "A5069RR4", "1-7")]):
            assert advice.identity.binds == "path"
            assert "another one has the same serial number (A5069RR4)" in advice.words
            assert TOUCH in advice.words

    def test_a_serial_number_of_many_does_not_bind_even_alone(self):
        [advice] = advise([adapter("COM5", "0001")])
        assert "is one that many have" in advice.words
        assert advice.swap_risk

    def test_where_the_system_tells_nothing_that_is_said(self):
        [advice] = advise([adapter("COM5", "", "")])
        assert advice.identity.binds == "name"
        assert "only its name is left" in advice.words

    def test_a_built_in_port_keeps_its_name(self):
        [advice] = advise([PresentPort("COM1")])
        assert advice.words == "built in: it keeps its name"


def test_this_machines_ports_can_be_listed_and_are_sorted():
    names = [port.name for port in present_ports()]
    assert names == sorted(names)
