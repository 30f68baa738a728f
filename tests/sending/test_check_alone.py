"""The checker that stands alone: its curve against RFC 8032's own vectors, and receipts against an export."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from pullbook.cli import main as pullbook
from pullbook.sending import check_alone
from pullbook.sending.check_alone import is_signed, main, short_form
from pullbook.shop import fingerprinting
from pullbook.shop.attesting import note_of, read_key
from tests.api.pull_files import Steady, filed

# RFC 8032, section 7.1, tests 1, 2 and 3: secret key, public key, message, signature
VECTORS = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
]


@pytest.mark.parametrize(("secret", "public", "message", "signature"), VECTORS)
def test_it_takes_the_signatures_of_rfc_8032(secret: str, public: str, message: str, signature: str) -> None:
    own = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))  # the vectors are typed right
    assert own.sign(bytes.fromhex(message)).hex() == signature
    assert is_signed(*(bytes.fromhex(one) for one in (public, message, signature)))


@pytest.mark.parametrize("bit", [0, 255, 256, 511])
@pytest.mark.parametrize(("_secret", "public", "message", "signature"), VECTORS)
def test_it_refuses_a_signature_of_which_one_bit_is_another(
    _secret: str, public: str, message: str, signature: str, bit: int
) -> None:
    altered = bytearray.fromhex(signature)
    altered[bit // 8] ^= 1 << bit % 8
    assert not is_signed(bytes.fromhex(public), bytes.fromhex(message), bytes(altered))
    assert not is_signed(bytes.fromhex(public), bytes.fromhex(message) + b"!", bytes.fromhex(signature))


def test_it_refuses_a_signature_whose_number_is_too_large() -> None:
    """RFC 8032, 5.1.7: S must be below the group's order, or one signature could be turned into another."""
    _, public, message, signature = (bytes.fromhex(one) for one in VECTORS[1])
    larger = int.from_bytes(signature[32:], "little") + check_alone.Q
    assert not is_signed(public, message, signature[:32] + larger.to_bytes(32, "little"))


@pytest.fixture
def kept(app: Any, tuner: Any, house: Any, tmp_path: Path, monkeypatch: Any, capsys: Any) -> Any:
    """Gives an export, a receipt, the file itself and the key, as somebody outside has them."""
    data = Steady().csv()
    pull = filed(tuner, house, data)
    files = {name: tmp_path / name for name in ("export.jsonl", "receipt.txt", "run.csv")}
    files["receipt.txt"].write_text(tuner.get(f"/api/v1/pulls/{pull['id']}/receipt").text, encoding="utf-8")
    files["run.csv"].write_bytes(data)
    key = tuner.get("/api/v1/chain/key").json()["items"][0]["line"]
    monkeypatch.setenv("PULLBOOK_DATABASE_URL", app.state.settings.database_url)
    monkeypatch.setenv("PULLBOOK_DATA_DIR", str(app.state.settings.data_dir))

    def export() -> None:
        assert pullbook(["chain", "export", "--out", str(files["export.jsonl"])]) == 0

    export()
    asked = [str(files["export.jsonl"]), "--key", key, "--receipt", str(files["receipt.txt"])]
    return files, [*asked, "--file", str(files["run.csv"])], export, pull


def test_a_receipt_and_its_file_are_found_in_the_export(kept: Any, capsys: Any) -> None:
    _, asked, _, pull = kept
    assert main(asked) == 0
    said = capsys.readouterr().out
    assert f"entry {pull['receipt']['entry_number']}, pull {pull['id']}" in said
    assert "all holds" in said


def test_it_runs_by_itself_with_nothing_installed(kept: Any, tmp_path: Path) -> None:
    copy = tmp_path / "check_alone.py"
    copy.write_bytes(Path(check_alone.__file__).read_bytes())
    done = subprocess.run([sys.executable, "-I", "-S", str(copy), *kept[1]], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_fingerprint_from_paper_is_found_and_another_is_not(kept: Any, capsys: Any) -> None:
    files, _, _, pull = kept
    short = fingerprinting.short_form(pull["receipt"]["head"])
    assert short.replace("-", "") == short_form(pull["receipt"]["head"])
    assert main([str(files["export.jsonl"]), "--fingerprint", short.upper().replace("-", " ")]) == 0
    assert "No key was given" in capsys.readouterr().out
    assert main([str(files["export.jsonl"]), "--fingerprint", "0000-0000-0000-0000-0000-0000"]) == 1


def test_an_export_with_its_end_cut_off_is_told_by_the_receipt(kept: Any, capsys: Any) -> None:
    files, asked, _, pull = kept
    lines = files["export.jsonl"].read_text().splitlines()
    number = pull["receipt"]["entry_number"]
    left = [one for one in lines if json.loads(one).get("number", 0) < number]
    files["export.jsonl"].write_text("\n".join(left))
    main(asked[:-2])
    assert f"it is for entry {number}" in capsys.readouterr().out


def test_an_entry_that_was_altered_is_named(kept: Any, app: Any, capsys: Any) -> None:
    files, asked, _, pull = kept
    text = files["export.jsonl"].read_text()
    files["export.jsonl"].write_text(text.replace(f'"size":{pull["size_bytes"]}', '"size":7'))
    assert main(asked) == 1
    assert f"entry {pull['receipt']['entry_number']} does not follow" in capsys.readouterr().out


def test_a_receipt_that_was_altered_is_told(kept: Any, capsys: Any) -> None:
    files, asked, _, _ = kept
    altered = files["receipt.txt"].read_text(encoding="utf-8").replace("sha256 ", "sha256 f")
    files["receipt.txt"].write_text(altered, encoding="utf-8")
    assert main(asked) == 1
    assert "the signature is not over what it says" in capsys.readouterr().out


def test_a_receipt_of_another_file_under_a_true_head_is_told(kept: Any, app: Any, capsys: Any) -> None:
    """As only whoever has the key can make one: the very entry and head, and a file that was never in it."""
    files, asked, _, pull = kept
    signer = read_key(app.state.settings.signing_key)
    assert signer is not None
    said = files["receipt.txt"].read_text(encoding="utf-8").partition("\n\n")[0] + "\n"
    forged = said.replace(pull["sha256"], "ab" * 32)
    files["receipt.txt"].write_text(note_of(forged, signer.key_id, signer.sign(forged)), encoding="utf-8")
    assert main(asked) == 1
    assert "what it says of its file is not what entry" in capsys.readouterr().out
