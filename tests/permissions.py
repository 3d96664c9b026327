"""For tests of permissions: root may read and write everything, so as root these tests drop that right."""

import ctypes
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

#: capget(2) and capset(2), Linux: version 3 of the interface; CAP_DAC_OVERRIDE is bit 1, CAP_DAC_READ_SEARCH bit 2.
_VERSION_3 = 0x20080522
_IGNORE_MODES = 0b110


class _Header(ctypes.Structure):
    _fields_ = (("version", ctypes.c_uint32), ("pid", ctypes.c_int))


class _Sets(ctypes.Structure):
    _fields_ = (("effective", ctypes.c_uint32), ("permitted", ctypes.c_uint32), ("inheritable", ctypes.c_uint32))


@contextmanager
def file_modes_apply() -> Iterator[None]:
    """Apply file modes to this thread, also if it runs as root; the user stays the same.

    The user is not changed, since another user could not load modules from a checkout in root's home.
    """
    if os.geteuid() != 0:
        yield
        return
    if sys.platform != "linux":
        pytest.skip("only on Linux can root give up this right")
    libc = ctypes.CDLL(None, use_errno=True)
    header, sets = _Header(_VERSION_3, 0), (_Sets * 2)()

    def call(name: str) -> None:
        if getattr(libc, name)(ctypes.byref(header), sets) != 0:
            raise OSError(ctypes.get_errno(), name)

    call("capget")
    before = sets[0].effective
    sets[0].effective = before & ~_IGNORE_MODES
    call("capset")
    try:
        yield
    finally:
        sets[0].effective = before
        call("capset")
