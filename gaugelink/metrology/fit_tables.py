"""Tolerance grades and fundamental deviations of ISO 286-1, up to 500 mm, micrometres.

They are looked up, never computed: the tables are rounded.

Source: tables of ISO 286-1 as copied in textbooks (Narayana and others, Machine Drawing, tables
15.2 and 15.3; Machinery's Handbook, table 6a, of BS 4500:1969), and of JIS B 0401, which has the
same figures, as copied in catalogues. IT5 to IT11: a copied table; IT4: the h4 column of a
toolmaker's table. Each deviation is held by one of them; the tests name which.
"""

from __future__ import annotations

from bisect import bisect_left
from typing import Final

from gaugelink.quantity import PM_PER_MM

STEPS_MM: Final = (3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500)
"""Upper ends of the steps of nominal size."""

FINE_STEPS_MM: Final = (3, 6, 10, 18, 30, 50, 65, 80, 100, 120, 140, 160, 180, 200, 225, 250,
                        280, 315, 355, 400, 450, 500)  # fmt: skip
"""Upper ends of the finer steps, by which r and s go."""

GRADES_UM: Final = {
    4: (3, 4, 4, 5, 6, 7, 8, 10, 12, 14, 16, 18, 20),
    5: (4, 5, 6, 8, 9, 11, 13, 15, 18, 20, 23, 25, 27),
    6: (6, 8, 9, 11, 13, 16, 19, 22, 25, 29, 32, 36, 40),
    7: (10, 12, 15, 18, 21, 25, 30, 35, 40, 46, 52, 57, 63),
    8: (14, 18, 22, 27, 33, 39, 46, 54, 63, 72, 81, 89, 97),
    9: (25, 30, 36, 43, 52, 62, 74, 87, 100, 115, 130, 140, 155),
    10: (40, 48, 58, 70, 84, 100, 120, 140, 160, 185, 210, 230, 250),
    11: (60, 75, 90, 110, 130, 160, 190, 220, 250, 290, 320, 360, 400),
}
"""Widths of the grades; IT4 is there for the rule of delta alone."""

UPPER_UM: Final = {
    "d": (-20, -30, -40, -50, -65, -80, -100, -120, -145, -170, -190, -210, -230),
    "e": (-14, -20, -25, -32, -40, -50, -60, -72, -85, -100, -110, -125, -135),
    "f": (-6, -10, -13, -16, -20, -25, -30, -36, -43, -50, -56, -62, -68),
    "g": (-2, -4, -5, -6, -7, -9, -10, -12, -14, -15, -17, -18, -20),
    "h": (0,) * 13,
}
"""Upper deviation of shafts; holes of the same letter in capitals are the mirror image."""

LOWER_UM: Final = {
    "k": (0, 1, 1, 1, 2, 2, 2, 3, 3, 4, 4, 4, 5),
    "m": (2, 4, 6, 7, 8, 9, 11, 13, 15, 17, 20, 21, 23),
    "n": (4, 8, 10, 12, 15, 17, 20, 23, 27, 31, 34, 37, 40),
    "p": (6, 12, 15, 18, 22, 26, 32, 37, 43, 50, 56, 62, 68),
    "r": (10, 15, 19, 23, 28, 34, 41, 43, 51, 54, 63, 65, 68, 77, 80, 84, 94, 98, 108, 114, 126,
          132),
    "s": (14, 19, 23, 28, 35, 43, 53, 59, 71, 79, 92, 100, 108, 122, 130, 140, 158, 170, 190, 208,
          232, 252),
}  # fmt: skip
"""Lower deviation of shafts: by `STEPS_MM`, r and s by `FINE_STEPS_MM`; k in grades 4 to 7."""


def step_of(nominal_pm: int, ends_mm: tuple[int, ...] = STEPS_MM) -> int:
    """Find the step of a nominal size: "over" excludes a size, "up to" includes it.

    >>> step_of(6 * 10**9), step_of(6 * 10**9 + 1)
    (1, 2)
    """
    return bisect_left([end * PM_PER_MM for end in ends_mm], nominal_pm)


def lower_um(letter: str, grade: int, nominal_pm: int) -> int:
    """Look up the lower deviation of a shaft k to s.

    >>> lower_um("s", 6, 70 * 10**9), lower_um("k", 8, 70 * 10**9)
    (59, 0)
    """
    if letter == "k" and grade > 7:
        return 0
    ends = FINE_STEPS_MM if letter in "rs" else STEPS_MM
    return LOWER_UM[letter][step_of(nominal_pm, ends)]


def hole_upper_um(letter: str, grade: int, nominal_pm: int) -> int:
    """Look up the upper deviation of a hole K to S.

    It is that of the shaft, turned round, plus delta: by how much the grade is wider than the next
    finer one. So a hole with a shaft one grade finer gives the fit that the shaft of the same
    letter gives with a hole H. Delta is added over 3 mm: to K, M, N up to grade 8, to P, R, S up
    to grade 7.

    Raises:
        ValueError: a class that the standard does not have.

    >>> hole_upper_um("P", 7, 20 * 10**9), hole_upper_um("P", 8, 20 * 10**9)  # delta 8
    (-14, -22)
    """
    step, small = step_of(nominal_pm), letter.lower()
    fine = grade <= (8 if letter in "KMN" else 7)
    if letter == "K" and not fine and step:
        raise ValueError(f"found K{grade}, needed: grade 8 at most over 3 mm, the standard has no "
                         "other")  # fmt: skip
    if letter == "N" and not fine:
        if nominal_pm <= PM_PER_MM:
            raise ValueError(f"found N{grade} up to 1 mm, needed: grade 8 at most, the standard "
                             "has no other")  # fmt: skip
        return 0 if step else -4
    if (letter, grade) == ("M", 6) and STEPS_MM[step] == 315:
        return -9  # the standard's own exception; the rule gives -11
    # In K the deviation of the shaft holds for all grades.
    turned = -lower_um(small, min(grade, 7) if small == "k" else grade, nominal_pm)
    delta = GRADES_UM[grade][step] - GRADES_UM[grade - 1][step] if fine and step else 0
    return turned + delta
