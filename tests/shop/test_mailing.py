"""Mail over a private line, to a real server with a certificate made here; and servers that take for ever."""

import datetime
import ipaddress
import ssl
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import NameOID

from pullbook.errors import NotReady
from pullbook.shop.mailing import LinkMail, MailServer, link_message, send_mail
from tests.mail_server import Mailbox, mail_server

URL = "https://pulls.example.test/r/token"


def certificate(folder: Path, host: str) -> tuple[ssl.SSLContext, Path]:
    """A server's context and the certificate by which it is known: signed by itself, good for today."""
    key, now = ec.generate_private_key(ec.SECP256R1()), datetime.datetime.now(datetime.UTC)
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, host)])
    names: list[x509.GeneralName] = [x509.DNSName(host)]
    if host == "localhost":
        names.append(x509.IPAddress(ipaddress.ip_address("127.0.0.1")))
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(hours=1))
        .not_valid_after(now + datetime.timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    known, secret = folder / "known.pem", folder / "secret.pem"
    known.write_bytes(made.public_bytes(Encoding.PEM))
    secret.write_bytes(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(known, secret)
    return context, known


def send(box: Mailbox, security: Any, **limits: float) -> None:
    server = MailServer("localhost", box.port, security, "", "", "results@quarrystone.example.test")
    mail = LinkMail("ilse@example.test", "Quarrystone Motor Works", URL, "8 June 2026", False)
    send_mail(server, link_message(server, mail), **limits)


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_mail_goes_over_a_private_line(security: str, tmp_path: Path, monkeypatch: Any) -> None:
    context, known = certificate(tmp_path, "localhost")
    monkeypatch.setenv("SSL_CERT_FILE", str(known))  # as a shop does that has a certificate of its own
    with mail_server(security=security, context=context) as box:
        send(box, security)
        assert box.privately == [True]
        assert URL in box.messages[0].get_content()


@pytest.mark.parametrize("security", ["starttls", "tls"])
@pytest.mark.parametrize(("host", "is_known"), [("localhost", False), ("mail.elsewhere.example.test", True)])
def test_nothing_is_told_to_a_server_that_cannot_say_who_it_is(
    security: str, host: str, is_known: bool, tmp_path: Path, monkeypatch: Any
) -> None:
    context, known = certificate(tmp_path, host)
    if is_known:
        monkeypatch.setenv("SSL_CERT_FILE", str(known))
    with mail_server(security=security, context=context) as box:
        with pytest.raises(NotReady, match="could not be spoken to privately"):
            send(box, security)
        assert (box.receivers, box.messages) == ([], [])


def test_a_server_that_does_not_offer_a_private_line_is_told_nothing(tmp_path: Path) -> None:
    context, _ = certificate(tmp_path, "localhost")
    with mail_server(security="starttls", context=context, offers_starttls=False) as box:
        with pytest.raises(NotReady, match="does not offer what is set for it: STARTTLS"):
            send(box, "starttls")
        assert (box.receivers, box.messages) == ([], [])


@pytest.mark.parametrize("at", ["greeting", "EHLO", "RCPT", "DATA"])
def test_a_server_that_says_nothing_is_waited_for_so_long_and_no_longer(at: str) -> None:
    with mail_server(stalls_at=at) as box, pytest.raises(NotReady, match="did not answer in time"):
        send(box, "none", wait_s=0.3)


@pytest.mark.parametrize("at", ["greeting", "EHLO", "RCPT", "DATA"])
def test_a_server_that_drips_is_cut_off_before_it_is_through(at: str) -> None:
    """Each byte comes well within the time for one answer; it would drip for ten seconds, and then break off."""
    with mail_server(stalls_at=at, drips=True) as box, pytest.raises(NotReady, match="took longer than 1 s"):
        send(box, "none", wait_s=5.0, whole_s=1.0)


def test_a_server_that_drips_where_a_private_line_should_begin_is_cut_off_too() -> None:
    with mail_server(stalls_at="greeting", drips=True) as box, pytest.raises(NotReady, match="not sent"):
        send(box, "tls", wait_s=5.0, whole_s=1.0)


def test_a_server_that_says_nothing_where_a_private_line_should_begin_is_cut_off_too() -> None:
    with mail_server(stalls_at="greeting") as box, pytest.raises(NotReady, match="took longer than 1 s"):
        send(box, "tls", wait_s=30.0, whole_s=1.0)
