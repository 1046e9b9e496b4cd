"""A file under a passphrase: AES-256-GCM in pieces, the key from scrypt; the library `cryptography` does both.

A piece carries its number and whether it is the last, so that none can be left out, exchanged or added.  Lost passphrase,
lost file: there is no other way in.
"""

from __future__ import annotations

import os
import struct
from pathlib import Path
from typing import IO, Any, Final

from intake.errors import BadInput, Finding, StoreTrouble

__all__ = ["is_sealed", "seal_file", "unseal_file"]

_MAGIC: Final = b"vatside sealed 1\n"
_SALT_BYTES: Final = 16
_PREFIX_BYTES: Final = 7
_PIECE_BYTES: Final = 1 << 20
_COST: Final = 1 << 17  # scrypt N; with r 8 and p 1 about 128 MB and half a second (RFC 7914, section 2; from memory)
_LEAST: Final = 10


def is_sealed(file: Path) -> bool:
    """Whether a file was written by :func:`seal_file`."""
    with file.open("rb") as opened:
        return opened.read(len(_MAGIC)) == _MAGIC


def seal_file(plain: Path, target: Path, passphrase: str) -> None:
    """Write a file again under a passphrase.

    Raises
    ------
    BadInput
        A passphrase of fewer than ten signs.
    StoreTrouble
        The library `cryptography` is not installed.
    """
    if len(passphrase) < _LEAST:
        raise BadInput(Finding("passphrase", f"{len(passphrase)} signs", f"{_LEAST} or more"))
    salt, prefix = os.urandom(_SALT_BYTES), os.urandom(_PREFIX_BYTES)
    cipher = _cipher(passphrase, salt)
    with plain.open("rb") as source, target.open("wb") as out:
        out.write(_MAGIC + salt + prefix)
        number, piece = 0, source.read(_PIECE_BYTES)
        while True:
            after = source.read(_PIECE_BYTES)
            out.write(cipher.encrypt(_nonce(prefix, number, last=not after), piece, None))
            if not after:
                break
            number, piece = number + 1, after


def unseal_file(sealed: Path, target: Path, passphrase: str) -> None:
    """Write the plain file.

    Raises
    ------
    StoreTrouble
        Another passphrase, or a file that was altered or cut.
    """
    with sealed.open("rb") as source, target.open("wb") as out:
        source.read(len(_MAGIC))
        salt, prefix = source.read(_SALT_BYTES), source.read(_PREFIX_BYTES)
        _pieces(source, out, _cipher(passphrase, salt), prefix, sealed)


def _pieces(source: IO[bytes], out: IO[bytes], cipher: Any, prefix: bytes, sealed: Path) -> None:
    from cryptography.exceptions import InvalidTag

    length = _PIECE_BYTES + 16
    number, piece = 0, source.read(length)
    while True:
        after = source.read(length)
        try:
            out.write(cipher.decrypt(_nonce(prefix, number, last=not after), piece, None))
        except InvalidTag as error:
            do = "Type the passphrase again, or use another copy."
            raise StoreTrouble(
                Finding(str(sealed), "it does not open", "its passphrase and an unaltered file", do)
            ) from error
        if not after:
            return
        number, piece = number + 1, after


def _nonce(prefix: bytes, number: int, *, last: bool) -> bytes:
    return prefix + struct.pack(">I?", number, last)


def _cipher(passphrase: str, salt: bytes) -> Any:
    try:
        from cryptography.hazmat.primitives.ciphers.aead import AESGCM
        from cryptography.hazmat.primitives.kdf.scrypt import Scrypt
    except ImportError as error:
        do = "Install it: pip install 'vatside[sealed]', or make the copy without a passphrase."
        raise StoreTrouble(Finding("passphrase", str(error), "the library cryptography", do)) from error
    return AESGCM(Scrypt(salt=salt, length=32, n=_COST, r=8, p=1).derive(passphrase.encode()))
