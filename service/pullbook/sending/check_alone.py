"""Checks receipts and printed fingerprints against an export of a shop's chain. One file; Python 3.9 or newer, no more.

    python check_alone.py EXPORT.jsonl --key pullbook+1a2b3c4d+AXyz…     the chain and its signed heads
    python check_alone.py EXPORT.jsonl --key … --receipt receipt-17.txt   and these receipts
    python check_alone.py EXPORT.jsonl --key … --file run.csv             and whether these files are in it
    python check_alone.py EXPORT.jsonl --fingerprint abcd-efgh-jkmn-pqrs-tvwx-yz01

`pullbook chain export` writes the export, `pullbook chain key` prints the key: write it down when you get your first
receipt, since a key that comes with the export proves nothing against whoever made it. Ends with 0 when all holds.
"""

from __future__ import annotations

import argparse
import base64
import hashlib
import json
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator

# Ed25519 as RFC 8032, 5.1 defines it: the curve -x² + y² = 1 + d·x²·y² over the integers modulo 2**255 - 19
P, Q = 2**255 - 19, 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, P - 2, P) % P


def add(a: Any, b: Any) -> Any:
    """The sum of two points (RFC 8032, 5.1.4)."""
    low, high = (a[1] - a[0]) * (b[1] - b[0]) % P, (a[1] + a[0]) * (b[1] + b[0]) % P
    c, d = 2 * a[3] * b[3] * D % P, 2 * a[2] * b[2] % P
    e, f, g, h = high - low, d - c, d + c, high + low
    return (e * f % P, g * h % P, f * g % P, e * h % P)


def times(number: int, point: Any) -> Any:
    """A point added to itself so many times."""
    total = (0, 1, 1, 0)
    while number:
        if number & 1:
            total = add(total, point)
        point, number = add(point, point), number >> 1
    return total


def unpacked(data: bytes) -> Any:
    """The point behind 32 bytes; None where there is none (RFC 8032, 5.1.3)."""
    y, odd = int.from_bytes(data, "little") & (1 << 255) - 1, data[31] >> 7
    if y >= P:
        return None
    square = (y * y - 1) * pow(D * y * y + 1, P - 2, P) % P
    x = pow(square, (P + 3) // 8, P)
    if (x * x - square) % P:
        x = x * pow(2, (P - 1) // 4, P) % P
    if (x * x - square) % P or (x == 0 and odd):
        return None
    x = P - x if x & 1 != odd else x
    return (x, y, 1, x * y % P)


BASE = unpacked((4 * pow(5, P - 2, P) % P).to_bytes(32, "little"))


def is_signed(public: bytes, message: bytes, signature: bytes) -> bool:
    """Whether S·B = R + SHA-512(R, A, M)·A (RFC 8032, 5.1.7)."""
    if len(public) != 32 or len(signature) != 64:
        return False
    a, r, s = unpacked(public), unpacked(signature[:32]), int.from_bytes(signature[32:], "little")
    if a is None or r is None or s >= Q:
        return False
    h = int.from_bytes(hashlib.sha512(signature[:32] + public + message).digest(), "little") % Q
    left, right = times(s, BASE), add(r, times(h, a))
    return all((left[axis] * right[2] - right[axis] * left[2]) % P == 0 for axis in (0, 1))


def head_after(entry: dict[str, Any]) -> str:
    """The chain's head after an entry: SHA-256 over a line that says what it is of, and the entry as bare JSON."""
    body = json.dumps({k: v for k, v in entry.items() if k != "head"}, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(b"pullbook chain, entry, 1\n" + body.encode("ascii")).hexdigest()


def short_form(head: str) -> str:
    """A head as it is printed: 110 bits and ten more, the remainder by 1021, in base 32 without i, l, o and u."""
    told = int(head, 16) >> 146
    number, digits = told << 10 | told % 1021, "0123456789abcdefghjkmnpqrstvwxyz"
    return "".join(digits[number >> 5 * place & 31] for place in range(23, -1, -1))


def chain_faults(entries: list[dict[str, Any]]) -> Iterator[str]:
    """What does not follow."""
    previous = "0" * 64
    for place, entry in enumerate(entries, 1):
        if entry["number"] != place or entry["previous"] != previous or entry["head"] != head_after(entry):
            yield f"entry {place} does not follow from the one before it"
        previous = entry["head"]


def note_fault(note: str, keys: dict[str, bytes], entries: list[dict[str, Any]]) -> str:
    """What is wrong with a receipt or a signed head; empty when all holds."""
    text, _, line = note.replace("\r\n", "\n").partition("\n\n")
    found = re.fullmatch(r"— pullbook ([A-Za-z0-9+/]+=*)\s*", line)
    if not found:
        return "it is not signed"
    raw, said = base64.b64decode(found[1]), dict(row.split(" ", 1) for row in text.split("\n")[1:])
    if raw[:4].hex() not in keys:
        return f"it is signed by key {raw[:4].hex()}, which is not one of those given"
    if not is_signed(keys[raw[:4].hex()], f"{text}\n".encode(), raw[4:]):
        return "the signature is not over what it says"
    number = int(said.get("entry") or said["entries"])
    if number > len(entries):
        return f"it is for entry {number}, and the export ends at {len(entries)}: entries are cut off"
    if said["head"] != (entries[number - 1]["head"] if number else "0" * 64):
        return f"entry {number} is another than the one it is for: the chain was written anew"
    told = (("received", "at"), ("size", "size"), ("sha256", "sha256"))  # what a receipt and an entry call the same
    if "entry" in said and any(said[name] != str(entries[number - 1][theirs]) for name, theirs in told):
        return f"what it says of its file is not what entry {number} says"
    return ""


def told(entry: dict[str, Any]) -> str:
    """An entry in a few words."""
    return f"entry {entry['number']}, {entry['kind']} {entry['record']}, {entry['at']}"


def main(words: list[str]) -> int:
    """Check what was asked; 0 when all holds."""
    parser = argparse.ArgumentParser(description="Checks receipts and fingerprints against an export of the chain.")
    parser.add_argument("export", type=Path)
    for name, kind in (("key", str), ("receipt", Path), ("file", Path), ("fingerprint", str)):
        parser.add_argument(f"--{name}", type=kind, nargs="+", default=[])
    asked = parser.parse_args(words)
    lines = [json.loads(line) for line in asked.export.read_text("ascii").splitlines() if line.strip()]
    entries = [one for one in lines if "number" in one]
    given = asked.key or [one["line"] for one in lines if "public_key" in one]
    keys = {one.split("+", 2)[1]: base64.b64decode(one.split("+", 2)[2])[1:] for one in given}
    faults = list(chain_faults(entries))
    for one in (one for one in lines if "day" in one):
        names = [name for name in ("day", "entries", "head", "trail", "signed") if name in one]
        text = f"pullbook head {len(names) - 3}\n" + "".join(f"{name} {one[name]}\n" for name in names)
        raw = bytes.fromhex(one["key_id"]) + base64.b64decode(one["signature"])
        note = f"{text}\n— pullbook {base64.b64encode(raw).decode()}\n"
        faults += [f"head of {one['day']}: {fault}" for fault in [note_fault(note, keys, entries)] if fault]
    for path in asked.receipt:
        faults += [f"{path}: {fault}" for fault in [note_fault(path.read_text("utf-8"), keys, entries)] if fault]
    for path in asked.file:
        sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
        there = [told(one) for one in entries if one["sha256"] == sha256]
        print(f"{path}: {'; '.join(there) or 'not in the chain'}")
        faults += [] if there else [f"{path} is in no entry"]
    for typed in asked.fingerprint:
        bare = re.sub(r"[\s\-]", "", typed).lower().translate(str.maketrans("ilo", "110"))
        there = [told(one) for one in entries if bare in (one["head"], short_form(one["head"]))]
        print(f"{typed}: {'; '.join(there) or 'not in the chain'}")
        faults += [] if there else [f"{typed} is no entry's fingerprint"]
    if not asked.key:
        print("No key was given: the one in the export was believed, which proves nothing against who made the export.")
    print(*(faults or [f"{len(entries)} entries: all holds."]), sep="\n")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
