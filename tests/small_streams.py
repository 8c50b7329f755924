"""Small streams made with pymavlink, for tests that need a few known messages."""

import pymavlink.dialects.v20.all as dialect

BOAT, GROUND_STATION = 11, 6
GENERIC, INVALID = 0, 8


class Sender:
    """Packs messages of one system, counting their sequence numbers."""

    def __init__(self, system: int = 1, component: int = 1, version_1: bool = False) -> None:
        self.link = dialect.MAVLink(None, srcSystem=system, srcComponent=component)
        self.version_1 = version_1

    def pack(self, message) -> bytes:
        frame = message.pack(self.link, force_mavlink1=self.version_1)
        self.link.seq = (self.link.seq + 1) % 256
        return frame

    def heartbeat(self, kind: int = BOAT, autopilot: int = GENERIC) -> bytes:
        return self.pack(dialect.MAVLink_heartbeat_message(kind, autopilot, 128, 0, 4, 3))

    def attitude(self, boot_s: float) -> bytes:
        return self.pack(dialect.MAVLink_attitude_message(round(boot_s * 1000), 0, 0, 1, 0, 0, 0))

    def sys_status(self, volts: float, amps: float) -> bytes:
        return self.pack(
            dialect.MAVLink_sys_status_message(
                0, 0, 0, 0, round(volts * 1000), round(amps * 100), 90, 0, 0, 0, 0, 0, 0
            )
        )

    def battery_status(
        self, volts: float, amps: float, pack: int = 0, drawn_mah: float = -1
    ) -> bytes:
        cells = [round(volts * 1000)] + [65535] * 9
        return self.pack(
            dialect.MAVLink_battery_status_message(
                pack, 0, 1, 2000, cells, round(amps * 100), round(drawn_mah), -1, 90
            )
        )

    def time_of_day(self, utc_s: float, boot_s: float) -> bytes:
        stated = dialect.MAVLink_system_time_message(round(utc_s * 1e6), round(boot_s * 1000))
        return self.pack(stated)

    def gps(self, speed: float, fix: int = 3, lat: float = 45.0, lon: float = -30.0) -> bytes:
        return self.pack(
            dialect.MAVLink_gps_raw_int_message(
                0, fix, round(lat * 1e7), round(lon * 1e7), 0, 90, 90, round(speed * 100), 0, 12
            )
        )

    def position(self, boot_s: float, north_mps: float) -> bytes:
        return self.pack(
            dialect.MAVLink_global_position_int_message(
                round(boot_s * 1000), 450000000, -300000000, 0, 0, round(north_mps * 100), 0, 0, 0
            )
        )

    def second(self, boot_s: float, volts: float, amps: float, speed: float) -> list[bytes]:
        """Return one second of telemetry at 2 Hz."""
        frames = [self.heartbeat()]
        for half in (0.0, 0.5):
            frames += [
                self.attitude(boot_s + half),
                self.sys_status(volts, amps),
                self.gps(speed),
            ]
        return frames


def records(frames: list[bytes], start_us: int = 1_750_000_000_000_000, step_us=100_000) -> bytes:
    """Return a telemetry log of the frames, stamped evenly."""
    return b"".join(
        (start_us + n * step_us & ~3).to_bytes(8, "big") + frame for n, frame in enumerate(frames)
    )
