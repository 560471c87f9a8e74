"""The real libusb between port and gauge: a device that the system only believes to be there.

umockdev gives one program a system with a USB device in it; what libusb asks of the kernel is
answered from a recording that is written here by hand. Descriptor, claim and report go all the way.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys

import pytest

from gaugelink.ports.usb_devices import system_backend

UMOCKDEV = shutil.which("umockdev-run")

pytestmark = pytest.mark.skipif(
    (UMOCKDEV is None or system_backend() is None) and not os.environ.get("GAUGELINK_NO_SKIP"),
    reason="umockdev-run or libusb is not on this machine (Debian: apt install umockdev)",
)

DESCRIPTORS = (
    "12 01 00 02 00 00 00 40 09 12 01 00 00 01 00 00 00 01"  # device 1209:0001, no texts
    "09 02 22 00 01 01 00 A0 32"  # one configuration of one interface
    "09 04 00 00 01 03 00 00 00"  # HID, neither keyboard nor mouse, one endpoint
    "09 21 11 01 00 01 22 22 00"  # its report descriptor has 34 bytes
    "07 05 81 03 40 00 0A"  # interrupt in, 64 bytes, every 10 ms
)
"""Of a simulated gauge, after the tables of USB 2.0, 9.6, and USB HID 1.11, 6.2.1 (from memory)."""

NODE = "/dev/bus/usb/001/005"

SYSTEM = r"""P: /devices/usb1/1-2
N: bus/usb/001/005={hex}
E: DEVNAME={node}
E: DEVTYPE=usb_device
E: SUBSYSTEM=usb
E: BUSNUM=001
E: DEVNUM=005
E: MAJOR=189
E: MINOR=4
A: busnum=1\n
A: devnum=5\n
A: devpath=2\n
A: speed=12\n
A: bConfigurationValue=1\n
H: descriptors={hex}

P: /devices/usb1
N: bus/usb/001/001
E: DEVNAME=/dev/bus/usb/001/001
E: DEVTYPE=usb_device
E: SUBSYSTEM=usb
A: busnum=1\n
A: devnum=1\n
A: speed=480\n

"""

ANSWERS = """USBDEVFS_CONNECTINFO 0 0500000000000000
USBDEVFS_GET_CAPABILITIES 0 00000000
USBDEVFS_REAPURBNDELAY 0 1 129 0 0 64 8 0 511D1F00001300A0
"""
"""One report, again for each read: that of the driver file's first example, 7.965 mm."""

PROGRAM = """
import json, queue, time
from gaugelink.ports.usb import UsbPort
from gaugelink.ports.usb_listing import present_usb
found = [(one.name, one.vid, one.pid, one.path) for one in present_usb() if one.path]
came = queue.Queue()
port = UsbPort(found[0][0], time.monotonic_ns)
port.open(came.put)
chunk = came.get(timeout=20)
port.close()
print(json.dumps([found, chunk.data.hex()]))
"""


def test_a_gauge_is_listed_claimed_and_read_through_it(tmp_path):
    system, answers = tmp_path / "system", tmp_path / "answers"
    hexadecimal = DESCRIPTORS.replace(" ", "")
    system.write_text(SYSTEM.format(hex=hexadecimal, node=NODE), encoding="ascii")
    answers.write_text(ANSWERS, encoding="ascii")
    assert UMOCKDEV is not None, "umockdev-run is missing (Debian: apt install umockdev)"
    done = subprocess.run(
        [UMOCKDEV, "--device", system, "--ioctl", f"{NODE}={answers}", "--",
         sys.executable, "-c", PROGRAM],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    found, report = json.loads(done.stdout.splitlines()[-1])
    assert found == [["usb://1209:0001?path=1-2", 0x1209, 0x0001, "1-2"]]
    assert report == "511d1f00001300a0"
