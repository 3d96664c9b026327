"""Under which addresses this machine is reached, and which other machines count as being in its network."""

import socket
from contextlib import suppress
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network, IPv6Address, ip_address

LOOPBACK = "127.0.0.1"
EVERYWHERE = "0.0.0.0"  # noqa: S104 - only with --lan, and then strangers are turned away by their address
#: Shared address space (RFC 6598), which private networks over the internet use.
_SHARED = IPv4Network("100.64.0.0/10")


@dataclass(frozen=True)
class Site:
    """Where the page is served. names: host names that are accepted; is_tls: over HTTPS."""

    port: int
    names: tuple[str, ...]
    is_tls: bool = False
    is_lan: bool = False

    @property
    def scheme(self) -> str:
        """https, or http without a certificate."""
        return "https" if self.is_tls else "http"

    @property
    def address(self) -> str:
        """The address for people: that of the network where it is served there."""
        return f"{self.scheme}://{self._with_port(self.names[0])}"

    @property
    def hosts(self) -> frozenset[str]:
        """Host headers that are accepted."""
        return frozenset(self._with_port(name) for name in self.names)

    @property
    def cookie(self) -> str:
        """Name of the cookie with a phone's key. Browsers keep cookies by host, whatever the port: it has its port."""
        return f"spawnrun_{self.port}"

    @property
    def origins(self) -> frozenset[str]:
        """Origins of the site's own pages."""
        return frozenset(f"{self.scheme}://{host}" for host in self.hosts)

    def _with_port(self, name: str) -> str:
        usual = 443 if self.is_tls else 80
        return name if self.port == usual else f"{name}:{self.port}"


def make_site(port: int, *, lan: bool, name: str = "", is_tls: bool = False) -> Site:
    """The site at a port. name: one that the network has for this machine, which then stands first."""
    known = [name.lower()] if name else []
    if lan:
        known += [*lan_addresses(), *_own_names()]
    return Site(port, tuple(dict.fromkeys([*known, LOOPBACK, "localhost"])), is_tls=is_tls, is_lan=lan)


def lan_addresses() -> list[str]:
    """The IPv4 addresses of this machine in its networks, that of the usual way out first; [] without a network."""
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, suppress(OSError):
        probe.connect(("192.0.2.1", 9))  # RFC 5737; nothing is sent, the system only chooses the way
        found.append(str(probe.getsockname()[0]))
    with suppress(OSError):
        found += socket.gethostbyname_ex(socket.gethostname())[2]
    return [one for one in dict.fromkeys(found) if not ip_address(one).is_loopback]


def is_near(address: str) -> bool:
    """Whether a client's address is this machine's or of a private network (RFC 1918, 3927, 4193, 6598)."""
    try:
        found = ip_address(address.partition("%")[0])
    except ValueError:
        return False
    if isinstance(found, IPv6Address):
        found = found.ipv4_mapped or found
    if isinstance(found, IPv4Address) and found in _SHARED:
        return True
    return found.is_loopback or found.is_private or found.is_link_local


def _own_names() -> list[str]:
    name = socket.gethostname().lower()
    return [name, f"{name}.local"] if name and "." not in name and name != "localhost" else [name]
