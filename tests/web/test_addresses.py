"""At which of this computer's addresses devices of the network are served."""

import socket
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import psutil
import pytest
from click.testing import CliRunner

from benchproof.cli.main import main
from benchproof.web import addresses

Networks = Callable[[dict[str, list[str]]], None]


@pytest.fixture
def networks(monkeypatch: pytest.MonkeyPatch) -> Networks:
    """Put this computer into invented networks: addresses by interface (RFC 5737)."""

    def put(found: dict[str, list[str]]) -> None:
        told = {
            name: [SimpleNamespace(family=socket.AF_INET, address=one) for one in held]
            for name, held in found.items()
        }
        monkeypatch.setattr(psutil, "net_if_addrs", lambda: told)

    return put


def test_the_only_address_is_taken(networks: Networks) -> None:
    networks({"lo": ["127.0.0.1"], "eth0": ["192.0.2.5"], "usb0": ["169.254.3.3"]})
    assert addresses.chosen("") == "192.0.2.5"


def test_of_several_addresses_one_is_asked_for(networks: Networks, tmp_path: Path) -> None:
    networks({"lo": ["127.0.0.1"], "eth0": ["192.0.2.5"], "wlan0": ["198.51.100.7"]})
    command = ["bench", "--no-open", "--store", str(tmp_path / "a.sqlite"), "--lan"]
    done = CliRunner().invoke(main, command)
    assert done.exit_code == 2
    assert done.output == (
        "--lan: this computer is in several networks; name its address in the one that the devices "
        "are in:\n  --lan 192.0.2.5  (eth0)\n  --lan 198.51.100.7  (wlan0)\n"
    )
    assert not (tmp_path / "a.sqlite").exists()


def test_an_address_that_is_not_ours_is_told(networks: Networks, tmp_path: Path) -> None:
    networks({"lo": ["127.0.0.1"], "eth0": ["192.0.2.5"]})
    store = ["--no-open", "--store", str(tmp_path / "a.sqlite")]
    for wrong in ("203.0.113.9", "bench", "::1", "192.0.2.5.1"):
        done = CliRunner().invoke(main, ["bench", "--lan", wrong, *store])
        assert done.exit_code == 2, wrong
        assert done.output == (
            f"--lan: {wrong} is no address of this computer; name one of these:\n"
            "  --lan 192.0.2.5  (eth0)\n"
        )


def test_without_a_network_there_is_none(networks: Networks) -> None:
    networks({"lo": ["127.0.0.1"]})
    with pytest.raises(addresses.NoAddress, match="this computer is in no network; join one"):
        addresses.chosen("")


def test_every_address_can_be_asked_for(networks: Networks) -> None:
    networks({"eth0": ["192.0.2.5"], "wlan0": ["198.51.100.7"]})
    assert addresses.chosen("0.0.0.0") == "0.0.0.0"
    assert addresses.reached("0.0.0.0") == ["192.0.2.5", "198.51.100.7"]
    assert addresses.reached("192.0.2.5") == ["192.0.2.5"]


def test_the_page_goes_by_its_own_names() -> None:
    names = addresses.own_names("127.0.0.2")
    assert {"localhost", "127.0.0.1", "127.0.0.2", socket.gethostname()} <= set(names)
