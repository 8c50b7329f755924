"""Small on-board logs of the millisecond generation of 2014-15, packed from their own formats.

Which records and fields that generation has, and in which letters: from memory, no definition at
hand. CURR has whole hundredths of volts and amperes; GPS has its own time of week in `TimeMS`, and
the time since boot last, in `T`.
"""

import math

from tests.craft.onboard_kinds import FMT, Kind, format_record

GPS = Kind(
    150,
    "GPS",
    "BIHBcLLeeEefI",
    "Status,TimeMS,Week,NSats,HDop,Lat,Lng,RelAlt,Alt,Spd,GCrs,VZ,T",
)
CURR = Kind(151, "CURR", "IhIhhhf", "TimeMS,ThrOut,ThrInt,Volt,Curr,Vcc,CurrTot")
ATT = Kind(152, "ATT", "IccccCCCC", "TimeMS,DesRoll,Roll,DesPitch,Pitch,DesYaw,Yaw,ErrRP,ErrYaw")
MODE = Kind(153, "MODE", "IMB", "TimeMS,Mode,ModeNum")
EKF = Kind(154, "EKF1", "IccCffffffccc", "TimeMS,Roll,Pitch,Yaw,VN,VE,VD,PN,PE,PD,GX,GY,GZ")
ACC = Kind(155, "ACC1", "IIfff", "TimeMS,TimeUS,AccX,AccY,AccZ")
PARM = Kind(156, "PARM", "Nf", "Name,Value")
KINDS = (FMT, GPS, CURR, ATT, MODE, EKF, PARM)

WEEK = 1800
"""GPS week: July 2014."""
WEEK_MS = 345_600_000
"""GPS time of week at boot [ms]."""

VOLTS_V, AMPS_A, SPEED_MPS = 24.6, 12.25, 2.5
ORIGIN_DEG = 45.0, -30.0
METRES_PER_DEG = 111_320.0

TICKS = 2**32


def milliseconds_log(seconds: int = 60, boot_ms: int = 40_000, fix_from_s: float = 2.0) -> bytes:
    """Return a log of a craft that heads north at constant power, at five records a second.

    Parameters
    ----------
    seconds
        Its duration.
    boot_ms
        Time since boot at its start; beyond 2**32 the stamps have wrapped.
    fix_from_s
        Time of the first fix.
    """
    parts = [format_record(kind) for kind in KINDS]
    parts.append(PARM.record(Name=b"BATT_MONITOR", Value=4.0))
    parts.append(MODE.record(TimeMS=boot_ms % TICKS, Mode=10, ModeNum=10))
    for n in range(5 * seconds):
        since_s = n / 5
        at_ms = (boot_ms + 200 * n) % TICKS
        has = since_s >= fix_from_s
        parts.append(
            GPS.record(
                Status=3 if has else 1,
                TimeMS=WEEK_MS + 200 * n if has else 0,
                Week=WEEK if has else 0,
                NSats=9,
                HDop=1.4,
                Lat=ORIGIN_DEG[0] + SPEED_MPS * since_s / METRES_PER_DEG,
                Lng=ORIGIN_DEG[1],
                Spd=SPEED_MPS if has else 0.0,
                GCrs=0.0,
                T=at_ms,
            )
        )
        parts.append(
            CURR.record(
                TimeMS=at_ms,
                ThrOut=600,
                Volt=round(100 * VOLTS_V),
                Curr=round(100 * (AMPS_A + 0.01 * math.sin(n))),
                Vcc=4980,
                CurrTot=AMPS_A * since_s / 3.6,
            )
        )
        parts.append(ATT.record(TimeMS=at_ms, Roll=-1.5, Pitch=0.25, Yaw=359.5))
        parts.append(EKF.record(TimeMS=at_ms, Yaw=359.5, VN=SPEED_MPS, VE=0.01))
    return b"".join(parts)
