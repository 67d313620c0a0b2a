"""Seeds and mutations for readers that must survive anything."""

from __future__ import annotations

import io
import random
import zipfile

DRILL_METRIC = b"""M48
; FORMAT={-:-/ absolute / metric / decimal}
; #@! TF.FileFunction,Plated,1,2,PTH
FMAT,2
METRIC
T1C0.800
T2C1.000
%
G90
G05
T1
X10.16Y-5.08
X12.7Y-5.08
X15.24
Y-7.62
T2
X20.0Y-10.0G85X22.5Y-10.0
G00X30.0Y-10.0
M15
G01X32.0Y-10.0
G01X32.0Y-12.0
M16
G05
X25.4Y-20.32
R3X2.54
M25
X40.0Y-20.0
M01
M02X5.0Y0
R2M02Y-5.0
M02
M08
T0
M30
"""
DRILL_INCH = b"""%
M48
M72
T01C0.0315F200S65
T02C.04
%
T01
X9250Y4064
X10250Y4064
X11250Y4064
X12250Y5064
X12250Y6064
T02
X17500Y9064
X18500Y9064
M30
"""
DRILL_LZ = b"""M48
;FILE_FORMAT=2:5
;TYPE=PLATED
INCH,LZ
ICI,OFF
T1F00S00C0.0300
%
G91
T1
X006281Y0025273
X001Y001
G93X0Y0
M47,HELLO
G90
X02Y02
M97,TEXT
X0Y0
M30
"""
CSV_COMMA = b"""# board
x_mm,y_mm,diameter_mm,plated
1.0,2.0,0.8,yes
3.54,2.0,0.8,no
6.08,2.0,1.0,
"""
CSV_DECIMAL_COMMA = b"""x;y;drill
1,27;2,54;0,8
3,81;2,54;0,8
6,35;2,54;0,8
8,89;2,54;1,0
11,43;5,08;1,0
13,97;5,08;1,0
"""
CSV_BARE = b"0.1\t0.2\t0.03\n0.2\t0.2\t0.03\n0.3\t0.2\t0.04\n1.3\t1.2\t0.04\n2.5\t1.5\t0.04\n"
NETLIST = b"""C  header
P  UNITS CUST 0
317+3.3V            J13   -2    D0400PA00X+043550Y+006480
317VIA              VIA         D0098PA00X+023895Y+022535X0240Y    R000 S0
327GND              C1    -1          A01X+020114Y+014930X0120Y    R090 S1
367N/C              H1          D1260UA00X+010000Y+010000
999
"""
GERBER_OUTLINE = b"""%TF.FileFunction,Profile,NP*%
%FSLAX26Y26*%
%MOMM*%
%ADD10C,0.010*%
D10*
X0Y-30000000D02*
G01*
X50000000Y-30000000D01*
X50000000Y0D01*
X0Y0D01*
X0Y-30000000D01*
M02*
"""
PLAIN = [DRILL_METRIC, DRILL_INCH, DRILL_LZ, CSV_COMMA, CSV_DECIMAL_COMMA, CSV_BARE, NETLIST]
TOKENS = [
    b"M48", b"%", b"M30", b"M00", b"T1", b"T0", b"T1C0.8", b"T1C", b"C-1", b"X", b"Y", b"XY",
    b"X1Y1X2", b"G85", b"G00", b"G01", b"G02X1Y1I1J1", b"G82", b"G41", b"M15", b"M16", b"M25",
    b"M01", b"M02X1Y1", b"M08", b"R999999999X1", b"R3X0.1", b"R", b"INCH,TZ", b"METRIC,LZ,000.00",
    b"M71", b"M72", b"G91", b"G90", b"ICI,ON", b"FMAT,1", b"FMAT,9", b"VER,2", b"N10", b"/X1Y1",
    b";", b"; FORMAT={3:3/ absolute / inch / keep zeros}", b";FILE_FORMAT=9:9", b"T1-5C0.8", b"\0",
    b"\xff\xfe", b"\xef\xbb\xbf", b"nan", b"inf", b"1e9", b"1e308", b"-", b"+", b".", b",", b";;",
    b'"', b'""', b"#", b"# units: mil", b"x,y,d", b"P  UNITS CUST 2", b"P  UNITS CUST 1",
    b"D  24P", b"317", b"367", b"999", b"9" * 30, b"9" * 5000, b"0" * 40, b"X99999999999Y1", b"Z1",
    b"M97,A", b"M99,A", b"G93X1Y1", b"X-.5Y+.5", "é".encode("latin-1"), "ø".encode(), b"\x0b",
    b"\x85", b"G04X1", b"(note)", b"( X1Y1", b"M47", b";T1 Holesize 1 = 31.5 PLATED MILS",
]  # fmt: skip


def mutate(data: bytes, random_source: random.Random) -> bytes:
    """One to six random edits: bytes, lines, tokens, line ends, encodings, a cut end."""
    edited = bytearray(data)
    for _ in range(random_source.randint(1, 6)):
        kind = random_source.randrange(9)
        at = random_source.randrange(len(edited) + 1)
        if kind == 0 and edited:
            edited[at % len(edited)] = random_source.randrange(256)
        elif kind == 1:
            edited[at:at] = random_source.choice(TOKENS)
        elif kind == 2:
            del edited[at : at + random_source.randint(1, 12)]
        elif kind == 3:
            lines = bytes(edited).split(b"\n")
            random_source.shuffle(lines)
            edited = bytearray(b"\n".join(lines))
        elif kind == 4:
            lines = bytes(edited).split(b"\n")
            lines.insert(random_source.randrange(len(lines) + 1), random_source.choice(TOKENS))
            edited = bytearray(b"\n".join(lines))
        elif kind == 5:
            lines = bytes(edited).split(b"\n")
            picked = random_source.randrange(len(lines))
            lines[picked:picked] = [lines[picked]] * random_source.randint(1, 3)
            edited = bytearray(b"\n".join(lines))
        elif kind == 6:
            edited = edited[:at]
        elif kind == 7:
            ending = random_source.choice([b"\r\n", b"\r", b"\n\n"])
            edited = bytearray(bytes(edited).replace(b"\n", ending))
        elif random_source.random() < 0.2:
            text = bytes(edited).decode("latin-1")
            edited = bytearray(text.encode(random_source.choice(["utf-16", "utf-8", "utf-8-sig"])))
    return bytes(edited)


def zipped(files: dict[str, bytes], *, packed: bool = True) -> bytes:
    """A zip archive of `files` in memory."""
    buffer = io.BytesIO()
    method = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
    with zipfile.ZipFile(buffer, "w", method) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return buffer.getvalue()
