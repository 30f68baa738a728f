"""Mailing a results link: one plain message through the shop's own mail server, and in words what went wrong."""

import smtplib
import socket
import ssl
import threading
from contextlib import suppress
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import formatdate, make_msgid
from typing import Literal, Self

from pullbook.errors import FieldProblem, Invalid, NotReady
from pullbook.late_methods import dataclass

Security = Literal["starttls", "tls", "none"]
WAIT_S = 15.0  # for any one answer
WHOLE_S = 60.0  # for all of it: a server that sends a byte now and then always answers in time


@dataclass(frozen=True, slots=True)
class MailServer:
    """The shop's mail server. `security` is none for a server on this very machine only."""

    host: str
    port: int
    security: Security
    user: str
    password: str
    sender: str


@dataclass(frozen=True, slots=True)
class LinkMail:
    """What a customer is told; the car and the figures are not in it, for mail is read by many machines."""

    to: str
    shop_name: str
    url: str
    ends_on: str
    wants_pin: bool
    language: str = "en"  # as the page is told


_WORDS = {
    "en": {
        "subject": "Your results on the rolling road",
        "here": "Your results on the rolling road are here:",
        "pin": "The page asks for the PIN that the shop told you.",
        "until": "The page opens until {ends_on}. Whoever has this address can open it.",
    },
    "de": {
        "subject": "Ihr Ergebnis vom Leistungsprüfstand",
        "here": "Ihr Ergebnis vom Leistungsprüfstand liegt hier:",
        "pin": "Die Seite fragt nach der PIN, die Ihnen die Werkstatt genannt hat.",
        "until": "Die Seite ist bis {ends_on} zu sehen. Wer diese Adresse hat, kann sie öffnen.",
    },
}


def link_message(server: MailServer, mail: LinkMail) -> EmailMessage:
    """The message. Invalid for an address that is none: what was typed can add no header and no second receiver."""
    message = EmailMessage()
    message["From"] = _address(server.sender, mail.shop_name)
    message["To"] = _address(mail.to)
    words = _WORDS.get(mail.language, _WORDS["en"])
    message["Subject"] = words["subject"]
    message["Date"] = formatdate(localtime=False)
    message["Message-ID"] = make_msgid(domain=server.sender.rpartition("@")[2])
    message["Auto-Submitted"] = "auto-generated"
    pin = f"{words['pin']}\n" if mail.wants_pin else ""
    until = words["until"].format(ends_on=mail.ends_on)
    message.set_content(f"{words['here']}\n\n{mail.url}\n\n{pin}{until}\n\n{mail.shop_name}\n")
    return message


class _Line:
    """The connection to the mail server, which is cut when all of it has taken too long."""

    def __init__(self, whole_s: float) -> None:
        self.is_cut = False
        self._socket: socket.socket | None = None
        self._lock = threading.Lock()
        self._timer = threading.Timer(whole_s, self._cut)
        self._timer.daemon = True

    def __enter__(self) -> Self:
        self._timer.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._timer.cancel()
        with self._lock:
            if self._socket is not None:
                self._socket.close()

    def connect(self, host: str, port: int, timeout: float) -> socket.socket:
        """A socket, of which a second handle is kept: whatever is wrapped around the first, cutting this cuts both."""
        made = socket.create_connection((host, port), timeout)
        with self._lock:
            self._socket = made.dup()
        if self.is_cut:
            self._cut()
        return made

    def _cut(self) -> None:
        self.is_cut = True
        with self._lock, suppress(OSError):
            if self._socket is not None:
                self._socket.shutdown(socket.SHUT_RDWR)


class _Plain(smtplib.SMTP):
    """A client on such a line."""

    def __init__(self, line: _Line, server: MailServer, wait_s: float) -> None:
        self._line = line
        super().__init__(server.host, server.port, timeout=wait_s)

    def _get_socket(self, host: str, port: int, timeout: float) -> socket.socket:
        return self._line.connect(host, port, timeout)


class _Private(_Plain):
    """The same, private from the first byte."""

    def __init__(self, line: _Line, server: MailServer, wait_s: float, context: ssl.SSLContext) -> None:
        self._context = context
        super().__init__(line, server, wait_s)

    def _get_socket(self, host: str, port: int, timeout: float) -> socket.socket:
        return self._context.wrap_socket(super()._get_socket(host, port, timeout), server_hostname=host)


def send_mail(server: MailServer, message: EmailMessage, wait_s: float = WAIT_S, whole_s: float = WHOLE_S) -> None:
    """Hand the message over. NotReady, in words for whoever sends it, where the mail server did not take it.

    `wait_s`: how long any one answer may take; `whole_s`: how long all of it may, after which the line is cut.
    """
    with _Line(whole_s) as line:
        try:
            _hand_over(server, message, line, wait_s)
        except NotReady:
            if line.is_cut:
                raise NotReady(_not_sent(f"it took longer than {whole_s:.0f} s")) from None
            raise


def _hand_over(server: MailServer, message: EmailMessage, line: _Line, wait_s: float) -> None:
    context = ssl.create_default_context()
    try:
        is_tls = server.security == "tls"
        with _Private(line, server, wait_s, context) if is_tls else _Plain(line, server, wait_s) as connection:
            if server.security == "starttls":
                connection.starttls(context=context)
            if server.user:
                connection.login(server.user, server.password)
            connection.send_message(message)
    except smtplib.SMTPNotSupportedError as error:
        raise NotReady(_not_sent(f"it does not offer what is set for it: {error}")) from error
    except smtplib.SMTPRecipientsRefused as error:
        told = "; ".join(_words(code, text) for code, text in error.recipients.values())
        raise NotReady(
            f"The mail server does not take mail for that address: {told}. The link itself is kept."
        ) from error
    except smtplib.SMTPAuthenticationError as error:
        raise NotReady(_not_sent("it refuses the name or password that is set for it")) from error
    except smtplib.SMTPResponseException as error:
        raise NotReady(_not_sent(_words(error.smtp_code, error.smtp_error))) from error
    except ssl.SSLError as error:
        raise NotReady(_not_sent(f"it could not be spoken to privately ({error.reason or 'TLS'})")) from error
    except (smtplib.SMTPException, OSError) as error:
        # a server that answers too late has broken off, as the library says it
        is_late = isinstance(error, TimeoutError) or isinstance(error.__context__, TimeoutError)
        why = "it did not answer in time" if is_late else "it cannot be reached, or broke off"
        raise NotReady(_not_sent(why)) from error


def _not_sent(why: str) -> str:
    return f"The mail was not sent: {why}. The link itself is kept; copy it, or try again."


def _words(code: int, text: bytes | str) -> str:
    plain = text.decode("utf-8", "replace") if isinstance(text, bytes) else text
    return f"{code} {' '.join(plain.split())[:200]}"


def _address(typed: str, called: str = "") -> Address:
    """One mail address. Invalid where it is none, or more than one."""
    would_do = FieldProblem("to", typed, "one address, like name@example.test")
    local, _, domain = typed.strip().rpartition("@")
    plain = typed.strip().isascii() and typed.strip().isprintable() and not set(typed.strip()) & set(' ,;:<>()[]\\"')
    if not local or "." not in domain.strip(".") or not plain:
        raise Invalid("That is no mail address.", would_do)
    try:
        return Address(display_name=called, username=local, domain=domain)
    except (ValueError, IndexError) as error:
        raise Invalid("That is no mail address.", would_do) from error
