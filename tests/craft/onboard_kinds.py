"""Record types of an autopilot's on-board log, and how they are packed.

A record is A3 95, a type number, and the fields; format records (type 128) describe the others.
Source of the format: pymavlink 2.4.50, DFReader.py (it reads such logs; the tests open these with
it). Which records and fields an autopilot writes, and in which letters: from memory, no definition
at hand.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

LETTERS = {
    "b": "i1", "B": "u1", "M": "u1", "h": "<i2", "H": "<u2", "i": "<i4", "I": "<u4", "q": "<i8",
    "Q": "<u8", "g": "<f2", "f": "<f4", "d": "<f8", "n": "S4", "N": "S16", "Z": "S64", "a": "V64",
    "c": "<i2", "C": "<u2", "e": "<i4", "E": "<u4", "L": "<i4",
}  # fmt: skip
TIMES = {"c": 1e2, "C": 1e2, "e": 1e2, "E": 1e2, "L": 1e7}
"""The stored value is the quantity times this, rounded."""


@dataclass(frozen=True)
class Kind:
    """One type of record."""

    number: int
    name: str
    letters: str
    columns: str
    units: str = ""
    """A letter of `UNITS` for each field, '#' for the instance."""

    @property
    def stored(self) -> np.dtype[Any]:
        """Layout of the whole record, header included."""
        fields = zip(self.columns.split(","), self.letters, strict=True)
        head = [("mark 1", "u1"), ("mark 2", "u1"), ("type", "u1")]
        return np.dtype(head + [(name, LETTERS[letter]) for name, letter in fields])

    def records(self, count: int, **values: Any) -> np.ndarray[Any, Any]:
        """Return records as stored, shape (count, length); fields not given are zero."""
        rows = np.zeros(count, self.stored)
        rows["mark 1"], rows["mark 2"], rows["type"] = 0xA3, 0x95, self.number
        letters = dict(zip(self.columns.split(","), self.letters, strict=True))
        for name, value in values.items():
            if letters[name] in TIMES:
                rows[name] = np.rint(np.asarray(value) * TIMES[letters[name]])
            else:
                rows[name] = value
        return rows.view(np.uint8).reshape(count, -1)

    def record(self, **values: Any) -> bytes:
        """Return one record."""
        return self.records(1, **values).tobytes()


FMT = Kind(128, "FMT", "BBnNZ", "Type,Length,Name,Format,Columns", "-b---")
UNIT = Kind(176, "UNIT", "QbZ", "TimeUS,Id,Label", "s--")
FMTU = Kind(177, "FMTU", "QBNN", "TimeUS,FmtType,UnitIds,MultIds", "s---")
MULT = Kind(178, "MULT", "Qbd", "TimeUS,Id,Mult", "s--")
PARM = Kind(64, "PARM", "QNff", "TimeUS,Name,Value,Default", "s---")
MSG = Kind(65, "MSG", "QZ", "TimeUS,Message", "s-")
MODE = Kind(66, "MODE", "QMBB", "TimeUS,Mode,ModeNum,Rsn", "s---")
ARM = Kind(67, "ARM", "QBIBB", "TimeUS,ArmState,ArmChecks,Forced,Method", "s----")
BAT = Kind(
    70,
    "BAT",
    "QBfffffcfBBB",
    "TimeUS,Inst,Volt,VoltR,Curr,CurrTot,EnrgTot,Temp,Res,RemPct,H,SH",
    "s#vvAaXOw%-%",
)
GPS = Kind(
    71,
    "GPS",
    "QBBIHBcLLeffffB",
    "TimeUS,I,Status,GMS,GWk,NSats,HDop,Lat,Lng,Alt,Spd,GCrs,VZ,Yaw,U",
    "s#-s-S-DUmnhnh-",
)
GPA = Kind(
    72,
    "GPA",
    "QBCCCCfBIH",
    "TimeUS,I,VDop,HAcc,VAcc,SAcc,YAcc,VV,SMS,Delta",
    "s#-mmnd-ss",
)
ATT = Kind(
    73,
    "ATT",
    "QffffffB",
    "TimeUS,DesRoll,Roll,DesPitch,Pitch,DesYaw,Yaw,AEKF",
    "sddddhh-",
)
XKF1 = Kind(
    74,
    "XKF1",
    "QBccCfffffffccce",
    "TimeUS,C,Roll,Pitch,Yaw,VN,VE,VD,dPD,PN,PE,PD,GX,GY,GZ,OH",
    "s#ddhnnnnmmmkkkm",
)
ESC = Kind(
    75,
    "ESC",
    "QBffffcfcf",
    "TimeUS,Instance,RPM,RawRPM,Volt,Curr,Temp,CTot,MotTemp,Err",
    "s#qqvAOaO%",
)
THR = Kind(76, "THR", "Qhhffff", "TimeUS,ThrIn,ThrOut,DesSpeed,Speed,AccX,Pitch", "s--nnod")
IMU = Kind(
    77,
    "IMU",
    "QBffffffIIfBBHH",
    "TimeUS,I,GyrX,GyrY,GyrZ,AccX,AccY,AccZ,EG,EA,T,GH,AH,GHz,AHz",
    "s#EEEooo--O--zz",
)
VIBE = Kind(78, "VIBE", "QBfffI", "TimeUS,IMU,VibeX,VibeY,VibeZ,Clip", "s#----")
KINDS = (
    FMT, UNIT, FMTU, MULT, PARM, MSG, MODE, ARM, BAT, GPS, GPA, ATT, XKF1, ESC, THR, IMU, VIBE,
)  # fmt: skip

UNITS = {
    "-": "", "#": "instance", "s": "s", "v": "V", "A": "A", "a": "Ah", "X": "Wh", "O": "degC",
    "w": "Ohm", "%": "%", "D": "deglatitude", "U": "deglongitude", "m": "m", "n": "m/s",
    "h": "degheading", "d": "deg", "k": "deg/s", "q": "rpm", "E": "rad/s", "o": "m/s/s", "z": "Hz",
    "S": "satellites", "b": "B",
}  # fmt: skip
MULTS = {"-": 0.0, "0": 1.0, "A": 1e-1, "B": 1e-2, "C": 1e-3, "F": 1e-6, "G": 1e-7}


def format_record(kind: Kind) -> bytes:
    """Return the record that describes a type."""
    return FMT.record(
        Type=kind.number,
        Length=kind.stored.itemsize,
        Name=kind.name.encode(),
        Format=kind.letters.encode(),
        Columns=kind.columns.encode(),
    )


def descriptions(kinds: Iterable[Kind], time_us: int) -> bytes:
    """Return the start of a log: formats, then units and multipliers."""
    kinds = tuple(kinds)
    return b"".join(
        [
            *(format_record(kind) for kind in kinds),
            *(
                UNIT.record(TimeUS=time_us, Id=ord(letter), Label=label.encode())
                for letter, label in UNITS.items()
            ),
            *(
                MULT.record(TimeUS=time_us, Id=ord(letter), Mult=factor)
                for letter, factor in MULTS.items()
            ),
            *(
                FMTU.record(
                    TimeUS=time_us,
                    FmtType=kind.number,
                    UnitIds=kind.units.encode(),
                    MultIds=b"F" + b"-" * (len(kind.letters) - 1),
                )
                for kind in kinds
            ),
        ]
    )
