"""Which addresses of this computer another one can use."""

import ipaddress
import socket

import pytest

from sweeper.page.addresses import addresses, links


def test_an_address_that_was_given_is_the_one() -> None:
    assert addresses("192.0.2.10") == ("192.0.2.10",)
    assert links("192.0.2.10", 8473) == ("http://192.0.2.10:8473/",)
    assert links("2001:db8::7", 8473) == ("http://[2001:db8::7]:8473/",)
    assert links("shack.example", 8473) == ("http://shack.example:8473/",)


@pytest.mark.parametrize("host", ["127.0.0.1", "::1"])
def test_the_loopback_address_is_nobody_elses(host: str) -> None:
    assert links(host, 8473) == ()


@pytest.mark.parametrize("host", ["0.0.0.0", "::"])
def test_listening_on_all_addresses_tells_each_but_loopback_and_the_name_first(host: str) -> None:
    found = addresses(host)
    for each in found:
        assert not ipaddress.ip_address(each).is_loopback and not ipaddress.ip_address(each).is_unspecified
    told = links(host, 8473)
    if found and socket.gethostname() != "localhost":
        assert told[0] == f"http://{socket.gethostname()}:8473/"
    assert all("0.0.0.0" not in each and "[::]" not in each for each in told)
