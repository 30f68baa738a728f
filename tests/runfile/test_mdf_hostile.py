"""Whatever a measurement file claims of itself, reading it ends in a reason, and within what decoding is given."""

import contextlib
import struct

import numpy as np
import pytest
from asammdf import Signal

from pullbook.runfile.any_kind import read_run
from pullbook.runfile.mdf import read_mdf
from pullbook.runfile.not_read import RefusedFile, RunFileError
from tests.runfile.mdf_files import two_groups, written

# where a block's own figures stand behind its mark: after 24 bytes of head and its links of 8 bytes each
CYCLES = 24 + 6 * 8 + 8
UNPACKED_SIZE = 24 + 8


def patched(data: bytes, mark: bytes, at: int, value: int) -> bytes:
    """The file with one 64-bit figure of its first block of a kind changed."""
    altered = bytearray(data)
    struct.pack_into("<Q", altered, data.index(mark) + at, value)
    return bytes(altered)


@pytest.mark.parametrize("claimed", [2**31, 2**40, 2**63])
def test_a_group_that_claims_too_many_samples_is_refused_before_any_is_read(tmp_path, claimed):
    data = patched(two_groups(tmp_path / "a.mf4"), b"##CG", CYCLES, claimed)
    with pytest.raises(RefusedFile, match=f"{claimed} samples; at most 2000000"):
        read_run(data)


def test_a_group_that_claims_more_than_it_has_gives_what_is_there(tmp_path):
    run = read_run(patched(two_groups(tmp_path / "a.mf4"), b"##CG", CYCLES, 100_000))
    assert run.values.shape[1] == 880
    assert run.found["channels with fewer samples than their group says"] == "3"


@pytest.mark.parametrize("claimed", [2**33, 2**40])
def test_a_packed_block_that_claims_too_much_is_refused_before_it_is_unpacked(tmp_path, claimed):
    data = patched(two_groups(tmp_path / "a.mf4", compression=1), b"##DZ", UNPACKED_SIZE, claimed)
    with pytest.raises(RefusedFile, match="Unpacked"):
        read_run(data)


def test_a_packed_block_that_lies_about_its_size_is_damaged(tmp_path):
    data = patched(two_groups(tmp_path / "a.mf4", compression=1), b"##DZ", UNPACKED_SIZE, 100_000_000)
    with pytest.raises((RunFileError, RefusedFile)):
        read_run(data)


def test_a_small_file_that_unpacks_to_gigabytes_is_refused(tmp_path):
    stamps = np.arange(400_000) / 1000.0
    zeros = [Signal(np.zeros(400_000), stamps, name=f"c{place}") for place in range(90)]
    data = written(tmp_path / "a.mf4", zeros, compression=2)
    assert len(data) < 1_000_000
    with pytest.raises(RefusedFile, match="Unpacked"):
        read_run(data)


@pytest.mark.parametrize("mark", [b"##DG", b"##CN"])
def test_a_chain_of_blocks_that_never_ends_is_cut_off(tmp_path, mark):
    data = two_groups(tmp_path / "a.mf4")
    with pytest.raises(RunFileError, match="more memory or time"):
        read_mdf(patched(data, mark, 24, data.index(mark)), processor_s=3)


@pytest.mark.parametrize("share", [0.01, 0.1, 0.5, 0.9, 0.999])
def test_a_file_that_breaks_off_is_damaged(tmp_path, share):
    data = two_groups(tmp_path / "a.mf4")
    with pytest.raises(RunFileError, match="damaged or breaks off"):
        read_run(data[: max(100, int(len(data) * share))])


def test_bytes_changed_anywhere_end_in_columns_or_a_reason(tmp_path):
    data = two_groups(tmp_path / "a.mf4", rows=100, compression=1)
    random = np.random.default_rng(11)
    for _ in range(12):
        altered = bytearray(data)
        for place in random.integers(64, len(data), size=random.integers(1, 25)):
            altered[place] = int(random.integers(0, 256))
        with contextlib.suppress(RefusedFile, RunFileError):  # anything else, or a hang, fails
            assert read_run(bytes(altered)).values.ndim == 2
