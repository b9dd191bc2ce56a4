"""Signed notes, cosignatures, changes of key and Merkle proofs, made a second time.

Written from the published texts alone (C2SP signed-note, tlog-checkpoint, tlog-cosignature; RFC 9162, section 2.1),
on the Ed25519 of the Python package `cryptography` (OpenSSL). It shares no code with the program.

    python3 tests/reference/notes.py                 writes tests/reference/notes.json
    python3 tests/reference/notes.py --check NOTE LOG-KEY [WITNESS-KEY ...]
                                                     checks a checkpoint that the program handed out
"""

import base64
import hashlib
import json
import pathlib
import sys

import cryptography
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

NOTE, COSIGNATURE = 1, 4


def b64(data):
    return base64.b64encode(data).decode()


def leaf(data):
    return hashlib.sha256(b"\0" + data).digest()


def node(left, right):
    return hashlib.sha256(b"\1" + left + right).digest()


def split(n):
    k = 1
    while k * 2 < n:
        k *= 2
    return k


def root(hashes):
    if not hashes:
        return hashlib.sha256(b"").digest()
    if len(hashes) == 1:
        return hashes[0]
    k = split(len(hashes))
    return node(root(hashes[:k]), root(hashes[k:]))


def path(m, hashes):
    if len(hashes) <= 1:
        return []
    k = split(len(hashes))
    if m < k:
        return path(m, hashes[:k]) + [root(hashes[k:])]
    return path(m - k, hashes[k:]) + [root(hashes[:k])]


def consistency(m, hashes, whole=True):
    n = len(hashes)
    if m == n:
        return [] if whole else [root(hashes)]
    k = split(n)
    if m <= k:
        return consistency(m, hashes[:k], whole) + [root(hashes[k:])]
    return consistency(m - k, hashes[k:], False) + [root(hashes[:k])]


class Key:
    def __init__(self, name, seed, kind):
        self.name, self.kind = name, kind
        self.secret = Ed25519PrivateKey.from_private_bytes(seed)
        self.public = bytes([kind]) + self.secret.public_key().public_bytes_raw()
        self.id = hashlib.sha256(name.encode() + b"\n" + self.public).digest()[:4]

    def text(self):
        return f"{self.name}+{self.id.hex()}+{b64(self.public)}"

    def line(self, text):
        return f"\u2014 {self.name} {b64(self.id + self.secret.sign(text.encode()))}\n"

    def cosign(self, text, time):
        message = f"cosignature/v1\ntime {time}\n{text}".encode()
        value = time.to_bytes(8, "big") + self.secret.sign(message)
        return f"\u2014 {self.name} {b64(self.id + value)}\n"


def checkpoint(origin, hashes):
    return f"{origin}\n{len(hashes)}\n{b64(root(hashes))}\n"


def vectors():
    origin = "programme.example/log"
    old, new = Key(origin, bytes([3] * 32), NOTE), Key(origin, bytes([4] * 32), NOTE)
    witness = Key("witness.example/one", bytes([5] * 32), COSIGNATURE)
    other = Key("witness.example/two", bytes([6] * 32), COSIGNATURE)
    leaves = [f"entry {n}".encode() for n in range(11)]
    hashes = [leaf(data) for data in leaves]
    size = 7
    text = checkpoint(origin, hashes[:size])
    change = (
        f"emberbook log-key-changed v1\n{origin}\n{size}\n{b64(root(hashes[:size]))}\n{old.text()}\n{new.text()}\n"
    )
    after = checkpoint(origin, hashes)
    return {
        "made_with": f"cryptography {cryptography.__version__}",
        "leaves": [data.decode() for data in leaves],
        "roots": [root(hashes[:n]).hex() for n in range(len(hashes) + 1)],
        "inclusion": [
            {"index": m, "size": n, "path": [h.hex() for h in path(m, hashes[:n])]}
            for n in range(1, len(hashes) + 1)
            for m in range(n)
        ],
        "consistency": [
            {"old": m, "new": n, "path": [h.hex() for h in consistency(m, hashes[:n])]}
            for n in range(1, len(hashes) + 1)
            for m in range(1, n + 1)
        ],
        "old_seed": "03" * 32,
        "new_seed": "04" * 32,
        "old_key": old.text(),
        "new_key": new.text(),
        "change_at": size,
        "change": change + "\n" + old.line(change) + new.line(change),
        "checkpoint": text + "\n" + old.line(text),
        "after": after + "\n" + new.line(after),
        "witness_seed": "05" * 32,
        "witness": witness.text(),
        "other_witness": other.text(),
        "time": 1772357400,
        "cosignature": witness.cosign(text, 1772357400),
        "other_cosignature": other.cosign(text, 1772357401),
    }


def check(note, keys):
    """Checks every line of a note that is by one of the keys; every key must have signed."""
    text, lines = note[: note.rindex("\n\n") + 1], note[note.rindex("\n\n") + 2 :]
    held = set()
    for line in lines.splitlines():
        _, name, value = line.split(" ")
        value = base64.b64decode(value, validate=True)
        for key in keys:
            key_name, key_id, public = key.split("+", 2)
            public = base64.b64decode(public, validate=True)
            if (key_name, bytes.fromhex(key_id)) != (name, value[:4]):
                continue
            message = text.encode()
            signature = value[4:]
            if public[0] == COSIGNATURE:
                time = int.from_bytes(signature[:8], "big")
                message, signature = f"cosignature/v1\ntime {time}\n".encode() + message, signature[8:]
            Ed25519PublicKey.from_public_bytes(public[1:]).verify(signature, message)
            held.add(key)
    missing = [key for key in keys if key not in held]
    if missing:
        raise SystemExit(f"no signature by {missing}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--check"]:
        try:
            check(pathlib.Path(sys.argv[2]).read_text(), sys.argv[3:])
        except InvalidSignature:
            raise SystemExit("a signature does not hold")
        print("holds")
    else:
        target = pathlib.Path(__file__).with_name("notes.json")
        target.write_text(json.dumps(vectors(), indent=1, ensure_ascii=False) + "\n")
