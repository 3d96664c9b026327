"""What the handlers of all pages share: the farm and its state, the measuring, the keys, and what was said last."""

from collections import OrderedDict
from dataclasses import dataclass, field
from threading import Lock

from farm.store import Farm
from phone.addresses import Site
from phone.farm_state import FarmState
from phone.keys import PhoneKeys
from phone.limits import Rate
from phone.measuring import Measuring
from phone.pictures import Pictures
from phone.ticks import Told

_MOST_KEPT = 200


@dataclass
class Bars:
    """The bar of each phone: its last change, until it is put away or followed; and the name that it judges by."""

    _told: OrderedDict[str, Told] = field(default_factory=OrderedDict)
    _by: OrderedDict[str, str] = field(default_factory=OrderedDict)
    _lock: Lock = field(default_factory=Lock)

    def tell(self, phone: str, told: Told | None) -> None:
        """Show this to a phone from now on; None: nothing."""
        with self._lock:
            self._told.pop(phone, None)
            if told is not None:
                self._told[phone] = told
            while len(self._told) > _MOST_KEPT:
                self._told.popitem(last=False)

    def told(self, phone: str) -> Told | None:
        """What a phone is shown; what cannot be taken back any more is shown once."""
        with self._lock:
            told = self._told.get(phone)
            if told is not None and not told.undo:
                del self._told[phone]
            return told

    def judges_as(self, phone: str, name: str) -> None:
        """Remember by which name a phone judges."""
        with self._lock:
            self._by[phone] = name
            while len(self._by) > _MOST_KEPT:
                self._by.popitem(last=False)

    def by(self, phone: str) -> str:
        """By which name a phone judged last; "" for none."""
        with self._lock:
            return self._by.get(phone, "")


@dataclass
class SiteState:
    """All of it. pairing: attempts to pair, by address; uploads: begun photos, by phone."""

    farm: Farm
    site: Site
    keys: PhoneKeys
    state: FarmState
    measuring: Measuring
    pictures: Pictures
    bars: Bars = field(default_factory=Bars)
    pairing: Rate = field(default_factory=lambda: Rate(at_once=10, a_second=1 / 20))
    uploads: Rate = field(default_factory=lambda: Rate(at_once=120, a_second=2))
    scans: Rate = field(default_factory=lambda: Rate(at_once=10, a_second=0.5))
