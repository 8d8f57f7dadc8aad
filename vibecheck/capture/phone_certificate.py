"""A certificate made here and now, so that a phone's browser opens its microphone."""

from __future__ import annotations

import datetime
import ipaddress
import os
import socket
from pathlib import Path

from vibecheck.errors import DeviceError

LASTS = datetime.timedelta(days=820)
"""Browsers refuse a server certificate that lasts longer than 825 days."""
RENEW_BEFORE = datetime.timedelta(days=30)
INSTALL = "Install the phone extra: 'pip install vibecheck[phone]'."


def own_addresses() -> list[str]:
    """This computer's address on the local network, if it has one, then its own for itself."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # sends nothing: asks which address would be used
        except OSError:
            return ["127.0.0.1"]
        return list(dict.fromkeys([str(probe.getsockname()[0]), "127.0.0.1"]))


def certificate(folder: Path, addresses: list[str]) -> tuple[Path, Path]:
    """Certificate and key for these addresses, kept in ``folder`` and made anew when stale."""
    try:
        from cryptography import x509
        from cryptography.hazmat.primitives import hashes, serialization
        from cryptography.hazmat.primitives.asymmetric import ec
        from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
    except ImportError:
        raise DeviceError("the Python package cryptography is missing", INSTALL) from None
    crt, key_path = folder / "phone.crt", folder / "phone.key"
    if _still_good(crt, key_path, addresses):
        return crt, key_path
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "vibecheck on this computer")])
    now = datetime.datetime.now(datetime.UTC)
    places = [x509.IPAddress(ipaddress.ip_address(address)) for address in addresses]
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + LASTS)
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("localhost"), *places]), False)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), True)
        .sign(key, hashes.SHA256())
    )
    folder.mkdir(parents=True, exist_ok=True)
    crt.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    handle = os.open(key_path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(
            key.private_bytes(
                serialization.Encoding.PEM,
                serialization.PrivateFormat.PKCS8,
                serialization.NoEncryption(),
            )
        )
    return crt, key_path


def _still_good(crt: Path, key: Path, addresses: list[str]) -> bool:
    from cryptography import x509

    if not (crt.is_file() and key.is_file()):
        return False
    try:
        had = x509.load_pem_x509_certificate(crt.read_bytes())
        names = had.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (ValueError, x509.ExtensionNotFound):
        return False
    covered = {str(place) for place in names.get_values_for_type(x509.IPAddress)}
    left = had.not_valid_after_utc - datetime.datetime.now(datetime.UTC)
    return set(addresses) <= covered and left > RENEW_BEFORE
