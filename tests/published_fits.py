"""Limit deviations as they are printed elsewhere, um: what the tables of fits are held by.

Each was read; none was made from the project's own tables. Steps of size follow one another; where
a table goes by finer steps, each figure has its step beside it.
"""

from __future__ import annotations

from typing import Final

HOUSING_BORES: Final = {
    "K6": "-7 2 -9 2 -11 2 -13 3 -15 4 -18 4 -21 4 -24 5",
    "K7": "-10 5 -12 6 -15 6 -18 7 -21 9 -25 10 -28 12 -33 13",
    "M5": "-10 -4 -12 -4 -14 -5 -16 -5 -19 -6 -23 -8 -27 -9 -31 -11",
    "M6": "-12 -3 -15 -4 -17 -4 -20 -4 -24 -5 -28 -6 -33 -8 -37 -8",
    "M7": "-15 0 -18 0 -21 0 -25 0 -30 0 -35 0 -40 0 -46 0",
    "N6": "-16 -7 -20 -9 -24 -11 -28 -12 -33 -14 -38 -16 -45 -20 -51 -22 -57 -25",
    "N7": "-19 -4 -23 -5 -28 -7 -33 -8 -39 -9 -45 -10 -52 -12 -60 -14 -66 -14",
    "P6": "-21 -12 -26 -15 -31 -18 -37 -21 -45 -26 -52 -30 -61 -36 -70 -41 -79 -47",
    "P7": "-24 -9 -29 -11 -35 -14 -42 -17 -51 -21 -59 -24 -68 -28 -79 -33 -88 -36",
}
"""Limit deviations of bearing seats in housings, lower and upper, from the step 6-10 mm on.

Source: a bearing catalogue's tables "Housing tolerances and resultant fits" (deviations of ISO
286-2), germany-bearing.com. For M5 of 18-30 mm it prints -14 to -4; that is 10 wide where IT5 is 9,
so it is taken for a misprint of -5.
"""

COARSE_BORES: Final = {
    "K8": "3 5 -13 18 10 -23 30 12 -27 50 14 -32 80 16 -38 120 20 -43 180 22 -50",
    "M8": "18 4 -29 30 5 -34 50 5 -41 80 6 -48 120 8 -55 180 9 -63",
    "N8": "1 -4 -18 3 -2 -20 6 -3 -25 10 -3 -30 18 -3 -36 30 -3 -42 50 -4 -50 80 -4 -58 120 -4 -67 "
          "180 -5 -77",
    "R7": "1 -10 -20 3 -11 -23 6 -13 -28 10 -16 -34 18 -20 -41 30 -25 -50 50 -30 -60 65 -32 -62 "
          "80 -38 -73 100 -41 -76 120 -48 -88 140 -50 -90 160 -53 -93 180 -60 -106 200 -63 -109 "
          "225 -67 -113",
}  # fmt: skip
"""Over which size, upper, lower: a mould-plate catalogue's "Tolerances for inside dimensions"."""

SHAFTS: Final = {
    "k5": "4 0 6 1 7 1 9 1 11 2 13 2 15 2",
    "k6": "6 0 9 1 10 1 12 1 15 2 18 2 21 2",
    "m5": "6 2 9 4 12 6 15 7 17 8 20 9 24 11",
    "m6": "8 2 12 4 15 6 18 7 21 8 25 9 30 11",
    "n6": "10 4 16 8 19 10 23 12 28 15 33 17 39 20",
    "p6": "12 6 20 12 24 15 29 18 35 22 42 26 51 32",
    "r6": "16 10 23 15 28 19 34 23 41 28 50 34 60 41",
    "s6": "20 14 27 19 32 23 39 28 48 35 59 43 72 53",
}
"""Upper and lower from the first step to 50-65 mm: JIS B 0401 (1999), as a catalogue copies it."""

LOOSE_SHAFTS: Final = {
    "d8": "-20 -34 -30 -48 -40 -62 -50 -77 -65 -98 -80 -119 -100 -146 -120 -174",
    "d9": "-20 -45 -30 -60 -40 -76 -50 -93 -65 -117 -80 -142 -100 -174 -120 -207",
    "e7": "-14 -24 -20 -32 -25 -40 -32 -50 -40 -61 -50 -75 -60 -90 -72 -107",
    "e8": "-14 -28 -20 -38 -25 -47 -32 -59 -40 -73 -50 -89 -60 -106 -72 -126",
    "e9": "-14 -39 -20 -50 -25 -61 -32 -75 -40 -92 -50 -112 -60 -134 -72 -159",
    "f6": "-6 -12 -10 -18 -13 -22 -16 -27 -20 -33 -25 -41 -30 -49 -36 -58",
    "f7": "-6 -16 -10 -22 -13 -28 -16 -34 -20 -41 -25 -50 -30 -60 -36 -71",
    "f8": "-6 -20 -10 -28 -13 -35 -16 -43 -20 -53 -25 -64 -30 -76 -36 -90",
    "g5": "-2 -6 -4 -9 -5 -11 -6 -14 -7 -16 -9 -20 -10 -23 -12 -27",
    "g6": "-2 -8 -4 -12 -5 -14 -6 -17 -7 -20 -9 -25 -10 -29 -12 -34",
}
"""Upper and lower from the first step to 80-120 mm.

Source: "Deviations of Shafts to be Used in Commonly Used Fits", a catalogue of machine elements
(nbk1560.com), which copies JIS B 0401. Another copy of it prints f8 of the first step as -8 to -20.
"""

LOOSE_BORES: Final = {
    "E7": "32 20 40 25 50 32 61 40 75 50 90 60 107 72 125 85 146 100 162 110",
    "E8": "38 20 47 25 59 32 73 40 89 50 106 60 126 72 148 85 172 100 191 110",
    "E9": "50 20 61 25 75 32 92 40 112 50 134 60 159 72 185 85 215 100 240 110",
    "F6": "18 10 22 13 27 16 33 20 41 25 49 30 58 36 68 43 79 50 88 56",
    "F7": "22 10 28 13 34 16 41 20 50 25 60 30 71 36 83 43 96 50 108 56",
    "F8": "28 10 35 13 43 16 53 20 64 25 76 30 90 36 106 43 122 50 137 56",
    "G6": "12 4 14 5 17 6 20 7 25 9 29 10 34 12 39 14 44 15 49 17",
    "G7": "16 4 20 5 24 6 28 7 34 9 40 10 47 12 54 14 61 15 69 17",
}
"""Upper and lower from the step 3-6 mm to 250-315 mm.

Source: "Fitting Tolerances (Excerpt from JIS B 0401)", a coupling maker's tables, mikipulley.co.jp.
"""

TEXTBOOK_UPPER: Final = {
    "d": (-170, -190, -210, -230),
    "e": (-100, -110, -125, -135),
    "f": (-50, -56, -62, -68),
    "g": (-15, -17, -18, -20),
}
"""Upper deviations of shafts, the last four steps, 180-250 to 400-500 mm.

Source: Narayana and others, Machine Drawing, table 15.2, page 215.
"""

TEXTBOOK_HOLES: Final = {
    "D": (145, 170, 190, 210, 230),
    "E": (85, 100, 110, 125, 135),
    "F": (43, 50, 56, 62, 68),
    "G": (14, 15, 17, 18, 20),
}
"""Lower deviations of holes, the last five steps, 120-180 to 400-500 mm: table 15.3, page 219."""

TEXTBOOK_LOWER: Final = {
    "m": "3 2 6 4 10 6 18 7 30 8 50 9 65 11 80 11 100 13 120 13 140 15 160 15 180 15",
    "n": "3 4 6 8 10 10 18 12 30 15 50 17 65 20 80 20 100 23 120 23 140 27 160 27 180 27",
    "p": "3 6 6 12 10 15 18 18 30 22 50 26 65 32 80 32 100 37 120 37 140 43 160 43 180 43",
    "r": "3 10 6 15 10 19 18 23 30 28 50 34 65 41 80 43 100 51 120 54 140 63 160 65 180 68",
    "s": "3 14 6 19 10 23 18 28 30 35 50 43 65 53 80 59 100 71 120 79 140 92 160 100 180 108",
    "k": "250 4 315 4 400 4 500 5",
}
"""Up to which size, lower deviation of shafts: table 15.2, pages 215 (k) and 216."""

TEXTBOOK_TIGHT_HOLES: Final = {
    "M9": "250 -17 315 -20 400 -21 500 -23",
    "P8": "250 -50 315 -56 400 -62 500 -68",
    "R8": "200 -77 225 -80 250 -84 280 -94 315 -98 355 -108 400 -114 450 -126 500 -132",
    "S8": "200 -122 225 -130 250 -140 280 -158 315 -170 355 -190 400 -208 450 -232 500 -252",
}
"""Up to which size, upper deviation of holes without delta: table 15.3, pages 219 and 221."""

TEXTBOOK_N8: Final = "180 -31 26 250 -34 29 315 -37 32 400 -40 34"
"""Over which size, upper deviation of N without delta, delta of grade 8: pages 219 and 221."""

TOOLMAKER_H4: Final = (3, 4, 4, 5, 6, 7, 8, 10, 12, 14, 16, 18, 20)
"""Width of grade 4 by steps: the h4 column of a toolmaker's table "Shaft tolerances"."""

CORRECTED: Final = (("E8", 100, 126, 72), ("R10", 25, -28, -112), ("f9", 300, -56, -186))
"""Class, a size, upper and lower: what ISO 286-2:1988/Cor.1:2006 puts right.

It prints the upper one of E8 (80-120 mm) and R10 (18-30 mm), and the lower one of f9 (250-315 mm);
the other end follows from the grade.
"""


def pairs(text: str, many: int = 2) -> list[tuple[int, ...]]:
    """Take the figures of a row by twos, or by so many.

    >>> pairs("1 2 3 4")
    [(1, 2), (3, 4)]
    """
    figures = [int(word) for word in text.split()]
    return [tuple(figures[at : at + many]) for at in range(0, len(figures), many)]
