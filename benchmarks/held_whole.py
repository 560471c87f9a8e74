"""Published values that come out or do not: steps of tables, sizes of books, bytes, verdicts."""

from __future__ import annotations

import base64
import json
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import published_fits as published
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from published_fits import pairs

from gaugelink.errors import RecordError
from gaugelink.force import parse_force
from gaugelink.metrology.fit_tables import GRADES_UM, STEPS_MM, UPPER_UM
from gaugelink.metrology.fits import fit, permitted
from gaugelink.metrology.rock import clearance
from gaugelink.metrology.rock_bore import foretell
from gaugelink.metrology.roundness import Between, clearances
from gaugelink.planning.pairing import assign
from gaugelink.quantity import PM_PER_INCH, agree_within_rounding, parse_length
from gaugelink.record.canonical import LARGEST, encode, parse
from gaugelink.record.keys import public_bytes
from gaugelink.record.tree import Tree, check_consistency, check_inclusion, leaf_hash
from gaugelink.wire import bridge_lines, modbus

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from held_kit import Values, Whole

MM, UM = 10**9, 10**6

MISPRINTS = {
    "tm_9-6115-604-34_diesel_generator": {"0.105", "0.8456", "0.8435"},
    "tm_9-2815-205-24_6V53": set(),
    "tm_5-2420-222-34_tractor": set(),
    "tm_10-3930-653-14P_forklift": set(),
    "tm_9-2815-257-24_small_diesel": set(),
    "tm_9-6115-670-14P_generator": set(),
}
"""Of each manual's table the inch figures that its remarks call wrong beyond rounding."""


def row(what: str, source: str, right: Iterable[bool]) -> Whole:
    """Count what comes out."""
    listed = [*right]
    return what, source, sum(listed), len(listed)


def both(size_mm: int, name: str, *, just_over: bool = False) -> tuple[int, int]:
    """Give upper and lower deviation of a class, um."""
    found = permitted(size_mm * MM + just_over, name)
    return found.upper_pm // UM, found.lower_pm // UM


def steps(tables: dict[str, str], first: int, *, turned: bool = False) -> Iterator[bool]:
    """Hold limit deviations step by step, at both ends of each."""
    ends = (0, *STEPS_MM)
    for name, text in tables.items():
        for step, held in enumerate(pairs(text), first):
            wanted = held[::-1] if turned else held
            yield (both(ends[step], name, just_over=True), both(ends[step + 1], name)) == (
                wanted,
                wanted,
            )


def fits(values: Values) -> Iterator[Whole]:
    """Go through the tables of ISO 286."""
    grades = values.rows("iso286_it_grades.csv")
    yield row(
        "widths of IT5 to IT11",
        "ISO 286-1, a copied table",
        (
            Fraction(line[f"IT{grade}"]) * 1000 == GRADES_UM[grade][step]
            for step, line in enumerate(grades)
            for grade in range(5, 12)
        ),
    )
    yield row(
        "widths of IT4",
        "a toolmaker's table",
        (one == other for one, other in zip(GRADES_UM[4], published.TOOLMAKER_H4, strict=True)),
    )
    yield row(
        "clearances of H7/g6",
        "ISO 286-2, a copied table",
        (
            getattr(fit(int(line["upto_mm"]) * MM, "H7/g6"), name) == int(line[key]) * UM
            for line in values.rows("iso286_h7_g6_3_to_18mm.csv")
            for name, key in (("least_pm", "min_clearance"), ("most_pm", "max_clearance"))
        ),
    )
    yield row(
        "limit deviations of shafts d to g, to 120 mm",
        "JIS B 0401, as a catalogue copies it",
        steps(published.LOOSE_SHAFTS, 0),
    )
    yield row(
        "limit deviations of holes E to G, 3 to 315 mm",
        "JIS B 0401, another catalogue",
        steps(published.LOOSE_BORES, 1),
    )
    yield row(
        "deviations d to g, 120 to 500 mm",
        "Narayana, Machine Drawing, tables 15.2, 15.3",
        [
            *(
                one == other
                for letter, held in published.TEXTBOOK_UPPER.items()
                for one, other in zip(UPPER_UM[letter][-4:], held, strict=True)
            ),
            *(
                -one == other
                for letter, held in published.TEXTBOOK_HOLES.items()
                for one, other in zip(UPPER_UM[letter.lower()][-5:], held, strict=True)
            ),
        ],
    )
    yield row(
        "limit deviations of holes K to P, 6 to 250 mm",
        "a bearing catalogue, of ISO 286-2",
        steps(published.HOUSING_BORES, 2, turned=True),
    )
    yield row(
        "limit deviations of K8, M8, N8, R7",
        "a mould-plate catalogue",
        (
            both(over, name, just_over=True) == tuple(held)
            for name, text in published.COARSE_BORES.items()
            for over, *held in pairs(text, 3)
        ),
    )
    yield row(
        "limit deviations of shafts k to s, to 65 mm",
        "JIS B 0401 (1999), a catalogue",
        (
            both(size, name) == held
            for name, text in published.SHAFTS.items()
            for size, held in zip((3, 6, 10, 18, 30, 50, 65), pairs(text), strict=False)
        ),
    )
    yield row(
        "deviations k to s, to 500 mm",
        "Narayana, tables 15.2, 15.3",
        [
            *(
                both(size, f"{name}6")[1] == lower
                for name, text in published.TEXTBOOK_LOWER.items()
                for size, lower in pairs(text)
            ),
            *(
                both(size, name)[0] == upper
                for name, text in published.TEXTBOOK_TIGHT_HOLES.items()
                for size, upper in pairs(text)
            ),
            *(
                both(over, "N8", just_over=True)[0] == upper + delta
                for over, upper, delta in pairs(published.TEXTBOOK_N8, 3)
            ),
        ],
    )
    yield row(
        "what was put right: E8, R10, f9",
        "ISO 286-2:1988/Cor.1:2006",
        (both(size, name) == (upper, lower) for name, size, upper, lower in published.CORRECTED),
    )


def books(values: Values) -> Iterator[Whole]:
    """Go through sizes that books print."""
    yield row(
        "clearances from the sizes of stem and guide",
        "a car's service data; TM 9-6115-670-14&P",
        (
            clearances(
                [pm(line["guide_min"]), pm(line["guide_max"])],
                [pm(line["stem_min"]), pm(line["stem_max"])],
            )
            == Between(pm(line["clearance_min_printed"]), pm(line["clearance_max_printed"]))
            for line in values.rows("guide_clearance_consistency.csv")
        ),
    )
    wobbles = [
        (pm(line[f"wobble_{which}"]), pm(line[f"clearance_{which}"]))
        for line in values.rows("guide_rock_wobble_vs_clearance.csv")
        for which in ("min", "max", "limit")
    ]
    yield row(
        "clearances from a rock, factor 2",
        "service data of a V6, both methods on a page",
        (
            clearance(travel, guide_length_pm=50 * MM, reach_pm=25 * MM).clearance_pm == held
            for travel, held in wobbles
        ),
    )
    yield row(
        "the rock foretold from the clearance",
        "the same page",
        (foretell({0: held}, 50 * MM, 25 * MM).travel_pm == travel for travel, held in wobbles),
    )
    printed = [
        (line[f"{end}_in"], line[f"{end}_mm_printed"], wrong)
        for name, wrong in MISPRINTS.items()
        for line in values.rows(f"{name}.csv")
        for end in ("min", "max", "limit")
        if line[f"{end}_in"] and line[f"{end}_mm_printed"]
    ]
    yield row(
        "inches and millimetres that agree, and misprints that do not",
        "US Army manuals, six tables",
        (
            agree_within_rounding(parse_length(inch, "in"), parse_length(mm, "mm"))
            == (inch not in wrong)
            for inch, mm, wrong in printed
        ),
    )
    yield row(
        "inch, pound-force, kilogram-force",
        "NIST SP 811",
        (
            PM_PER_INCH == 25_400_000_000,
            parse_force("1 lbf") == Fraction("4.4482216152605"),
            parse_force("1 kgf") == Fraction("9.80665"),
        ),
    )
    yield row(
        "the cheapest assignment",
        "scipy's documentation and tests, by trying everything",
        (
            assign(case["cost"]).cost == case["total"]
            for case in values.json("assignment_cases.json")["cases"]
        ),
    )


def pm(text: str) -> int:
    """Read millimetres."""
    return parse_length(text, "mm").pm


def record(values: Values) -> Iterator[Whole]:
    """Go through canonical bytes, hashes, proofs and signatures."""
    vectors = values.json("rfc8785_jcs_vectors.json")["vectors"]
    yield row(
        "canonical documents; the two with floats or null refused",
        "RFC 8785, reference test data",
        (
            refused(lambda data=data: parse(data)) if odd else encode(parse(data)) == data
            for item in vectors
            for data in [bytes.fromhex(item["canonical_hex"])]
            for odd in [unrecorded(json.loads(data))]
        ),
    )
    yield row(
        "numbers: 0 as there; floats and what is beyond 2^53 - 1 refused",
        "RFC 8785, appendix B",
        (
            encode(parse(text)) == text if text == b"0" else refused(lambda text=text: parse(text))
            for line in values.rows("rfc8785_numbers.csv")
            for text in [line["text"].encode()]
        ),
    )
    trees = values.json("merkle_rfc6962_roots.json")
    leaves = [leaf_hash(bytes.fromhex(text)) for text in trees["leaf_inputs_hex"]]
    tree = Tree(leaves)
    yield row(
        "roots of trees of 0 to 8 leaves",
        "RFC 6962, 2.1; transparency-dev/merkle",
        (tree.root(size).hex() == held for size, held in enumerate(trees["root_by_tree_size"])),
    )
    yield row(
        "inclusion proofs",
        "the same",
        (
            [one.hex() for one in tree.inclusion_proof(item["leaf"], item["tree_size"])]
            == item["proof"]
            for item in trees["inclusion_proofs_all"]
        ),
    )
    yield row(
        "verdicts on good and forged proofs",
        "the same",
        (
            refused(lambda item=item, check=check: check(item)) == item["wantErr"]
            for kind, check in (("inclusion", included), ("consistency", consistent))
            for item in values.json("merkle_proof_vectors.json")[kind]
        ),
    )
    yield row(
        "signatures, and each refused with one bit changed",
        "RFC 8032, 7.1, and the reference list",
        (signed(item) for item in values.json("ed25519_vectors.json")["vectors"]),
    )


def refused(work: Callable[[], object]) -> bool:
    """Tell whether the record refuses something."""
    try:
        work()
    except RecordError:
        return True
    return False


def unrecorded(document: Any) -> bool:
    """Tell whether there is null, a float or a number too large in a document."""
    if isinstance(document, dict):
        return any(map(unrecorded, document.values()))
    if isinstance(document, list):
        return any(map(unrecorded, document))
    return (
        document is None
        or isinstance(document, float)
        or (isinstance(document, int) and abs(document) > LARGEST)
    )


def hashes(texts: Iterable[str | None] | None) -> list[bytes]:
    """Read hashes."""
    return [base64.b64decode(text or "") for text in texts or []]


def included(item: Any) -> None:
    """Check a proof of inclusion."""
    hashed, root = hashes([item["leafHash"], item["root"]])
    check_inclusion(hashed, item["leafIdx"], item["treeSize"], hashes(item["proof"]), root)


def consistent(item: Any) -> None:
    """Check a proof of consistency."""
    old, new = hashes([item["root1"], item["root2"]])
    check_consistency(item["size1"], item["size2"], old, new, hashes(item["proof"]))


def signed(item: Any) -> bool:
    """Sign a message, and tell a changed signature."""
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(item["secret"]))
    message, held = bytes.fromhex(item["message"]), bytes.fromhex(item["signature"])
    try:
        key.public_key().verify(bytes([held[0] ^ 1]) + held[1:], message)
    except InvalidSignature:
        return public_bytes(key).hex() == item["public"] and key.sign(message) == held
    return False


def wire(values: Values) -> Iterator[Whole]:
    """Go through checks of frames."""
    checks = {
        line["name"].partition(" ")[0]: line["check"]
        for line in values.rows("crc_catalogue_check_values.csv")
    }
    yield row(
        "check values of the two CRCs in use",
        "catalogue of parametrised CRC algorithms",
        (
            modbus.crc16(b"123456789") == int(checks["CRC-16/MODBUS"], 16),
            int(bridge_lines.crc16(b"123456789"), 16) == int(checks["CRC-16/IBM-3740"], 16),
        ),
    )
    yield row(
        "checks of Modbus frames, low byte first",
        "MODBUS over Serial Line V1.02, 6.2.2",
        (
            modbus.crc16(bytes.fromhex(line["frame_without_crc"])).to_bytes(2, "little")
            == bytes.fromhex(line["crc_bytes_as_sent"])
            for line in values.rows("modbus_crc16_frames.csv")
        ),
    )


PARTS = (fits, books, record, wire)
