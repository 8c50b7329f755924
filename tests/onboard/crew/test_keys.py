"""Key and certificate: made once, private, with the same fingerprint as by other tools."""

import multiprocessing
import os
import stat
import subprocess
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes

from onboard.crew.keys import (
    identity_path,
    is_paired,
    make_identity,
    own_fingerprint,
    readable_by_others,
    server_context,
)
from onboard.crew.members import Crew, CrewBook
from onboard.errors import UsageError
from tests.onboard.crew.doors import member, paired_folder
from tests.patience import PATIENCE_S


def modes(folder: Path) -> set[int]:
    return {stat.S_IMODE(path.stat().st_mode) for path in folder.iterdir()}


def test_files_are_private_whatever_the_umask(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        folder = paired_folder(tmp_path)
    finally:
        os.umask(before)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert modes(folder) == {0o600}
    assert readable_by_others(folder) == []
    identity_path(folder).chmod(0o640)
    assert readable_by_others(folder) == [identity_path(folder)]


def test_the_fingerprint_is_the_librarys_own(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    certificate = x509.load_pem_x509_certificate(identity_path(folder).read_bytes())
    assert own_fingerprint(folder) == certificate.fingerprint(hashes.SHA256())
    assert "wattwake" in certificate.subject.rfc4514_string()


@pytest.mark.slow
def test_the_fingerprint_is_openssls_too(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    reported = subprocess.run(
        ["openssl", "x509", "-noout", "-fingerprint", "-sha256", "-in", identity_path(folder)],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert own_fingerprint(folder).hex().upper() in reported.replace(":", "")


def test_a_new_key_empties_the_crew(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    token = member(folder)
    make_identity(folder)
    assert CrewBook(folder).read().member_with(token)
    code = CrewBook(folder).invite("crew")
    identity_path(folder).unlink()
    make_identity(folder)
    assert CrewBook(folder).read() == Crew()
    assert CrewBook(folder).redeem(code, "phone") is None


def make_and_report(folder: Path, ready: Any, reported: Any) -> None:
    ready.wait()
    make_identity(folder)
    reported.put(own_fingerprint(folder))


@pytest.mark.slow
def test_concurrent_first_pairings_share_one_key(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    for turn in range(3):
        folder = tmp_path / str(turn) / "pairing"
        ready, reported = context.Barrier(4), context.Queue()
        makers = [
            context.Process(target=make_and_report, args=(folder, ready, reported))
            for _ in range(4)
        ]
        for maker in makers:
            maker.start()
        prints = [reported.get(timeout=PATIENCE_S) for _ in makers]
        for maker in makers:
            maker.join()
        assert set(prints) == {own_fingerprint(folder)}


def test_a_second_time_changes_nothing(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    first = identity_path(folder).read_bytes()
    make_identity(folder)
    assert identity_path(folder).read_bytes() == first
    assert own_fingerprint(paired_folder(tmp_path / "other")) != own_fingerprint(folder)


def test_a_damaged_key_is_an_error(tmp_path: Path) -> None:
    folder = paired_folder(tmp_path)
    identity_path(folder).write_text("nonsense")
    assert is_paired(folder)
    for read in (own_fingerprint, server_context):
        with pytest.raises(UsageError, match="pair all viewers anew"):
            read(folder)


def test_a_folder_accessible_to_others_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "pairing"
    folder.mkdir()
    folder.chmod(0o755)
    with pytest.raises(UsageError, match="chmod 700"):
        make_identity(folder)
    assert not is_paired(folder)


def test_a_folder_of_another_user_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: os.getuid() + 1)
    with pytest.raises(UsageError, match="is not yours: run pair as"):
        make_identity(tmp_path / "pairing")
