"""Which source do a BROKER, PORT or SYSFS and the options beside it name?"""

from __future__ import annotations

import argparse
from pathlib import Path

from daemon.listening.probes import ProbeSource, addresses
from daemon.listening.registers import RegisterSource, span
from daemon.listening.sources import BrokerSource, PortSource, Source, SysfsSource
from rules.errors import SettingError


def source_of(where: str, options: argparse.Namespace) -> Source:
    """A folder, a device, or else HOST or HOST:PORT. options: those of `tidebed listen`; raises SettingError."""
    path = Path(where)
    if options.sdi12 is not None and options.modbus is not None:
        raise SettingError("a line speaks SDI-12 or Modbus; write --sdi12 or --modbus")
    if path.is_dir():
        return SysfsSource(path)
    if where.startswith("/") or path.is_char_device():
        if options.sdi12 is not None:
            return ProbeSource(where, options.baud, addresses(options.sdi12))
        if options.modbus is not None:
            return RegisterSource(
                where, None, options.baud, span(options.modbus, 1, 247), span(options.registers, 0, 65_535)
            )
        return PortSource(where, options.baud or 9600)
    tls = options.tls or options.ca_file is not None or where.startswith("mqtts://")
    host, colon, port = where.removeprefix("mqtt://").removeprefix("mqtts://").rpartition(":")
    if colon and not port.isdigit():
        raise SettingError(f"{where!r} is no folder, no device and no HOST or HOST:PORT of a broker")
    name, number = (host, int(port)) if colon else (port, None)
    if options.sdi12 is not None:
        raise SettingError(f"--sdi12 is for a serial port, and {where!r} is none")
    if options.modbus is not None:
        return RegisterSource(
            name, number or 502, None, span(options.modbus, 1, 247), span(options.registers, 0, 65_535)
        )
    used = number or (8883 if tls else 1883)
    return BrokerSource(name, used, options.username, options.password_file, options.topic, tls, options.ca_file)
