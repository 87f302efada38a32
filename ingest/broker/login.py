"""Logins of the broker we start: the sensors' user, and our own."""

import base64
import hashlib
import os
import secrets
from pathlib import Path

OWN_USER = "paneltide"
OWN_PASSWORD_FILE = "own-password"

# mosquitto's own figure. The sensors' password stands readable in the settings file beside it, so a slower
# hash would protect nothing and would cost the broker time at each connection.
ITERATIONS = 101
SALT_BYTES, HASH_BYTES = 12, 64

# Letters and figures that can't be taken for one another, as it is typed off a screen into a sensor.
LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"


def new_password() -> str:
    """A password to be typed into sensors: four groups of four, 79 bits."""
    return "-".join("".join(secrets.choice(LETTERS) for _ in range(4)) for _ in range(4))


def own_password(folder: Path, *, make: bool = False) -> str:
    """The password with which our own parts log in; empty when there is none, made when asked for."""
    path = folder / OWN_PASSWORD_FILE
    found = path.read_text("ascii").strip() if path.exists() else ""
    if not found and make:
        found = secrets.token_urlsafe(24)
        write_private(path, found)
    return found


def hashed(password: str) -> str:
    """A password as mosquitto's password file holds it: PBKDF2 with SHA-512, see mosquitto_passwd(1)."""
    salt = secrets.token_bytes(SALT_BYTES)
    digest = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, ITERATIONS, HASH_BYTES)
    return f"$7${ITERATIONS}${base64.b64encode(salt).decode()}${base64.b64encode(digest).decode()}"


def rights(user: str, publishes: str = "") -> str:
    """mosquitto's access list: sensors write and read nothing but what we publish, we do both."""
    told = f"topic read {publishes}/#\n" if publishes else ""
    return f"user {OWN_USER}\ntopic readwrite #\n\nuser {user}\ntopic write #\n{told}"


def write_private(path: Path, text: str) -> None:
    """Write a file that its owner alone can read, whole or not at all."""
    beside = path.with_name(f".{path.name}.new")
    beside.unlink(missing_ok=True)
    with os.fdopen(
        os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8"
    ) as out:
        out.write(text)
    beside.replace(path)
